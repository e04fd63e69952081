"""Frames of a sweep that moved while they were lit, on one picture treated in known ways."""

from functools import lru_cache

import cv2
import numpy as np
import pytest
from scipy.special import j1

from haltere.align.lumas import Lumas
from haltere.align.pose import homography
from haltere.align.solve import centred
from haltere.focus.curves import find_peaks, focus_stack
from haltere.focus.depths import believed
from haltere.sweeps.faults import NUMBERS, find_faults
from haltere.sweeps.smears import NUMBERS as SMEARS
from haltere.sweeps.smears import Pictures, witnesses

WIDTH, HEIGHT, FOCAL_PX = 600, 450, 9000.0
DOF, C_PX, AIRY_PX = 0.002, 1.4, 2.5
PLANES_DOF = np.array([-1.5, -1.1, -0.5, -0.2, 0.1, 0.5, 0.8, 1.3, 1.7])


def waves():
    return np.fft.rfftfreq(WIDTH)[None], np.fft.fftfreq(HEIGHT)[:, None]


def transferred(light, kept):
    return np.fft.irfft2(np.fft.rfft2(light) * kept, s=light.shape)


@lru_cache
def texture():
    """Natural-looking light with hairs on it."""
    rng = np.random.default_rng(5)
    fx, fy = waves()
    noise = np.fft.rfft2(rng.standard_normal((HEIGHT, WIDTH)))
    ground = np.fft.irfft2(noise / np.maximum(np.hypot(fx, fy), 0.004) ** 1.3, s=(HEIGHT, WIDTH))
    light = 0.25 + 0.06 * ground / ground.std()
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    for _ in range(90):
        at, turn = rng.uniform(0, 1, 2) * (WIDTH, HEIGHT), rng.uniform(0, np.pi)
        dx, dy = x - at[0], y - at[1]
        along, across = (
            dx * np.cos(turn) + dy * np.sin(turn),
            dy * np.cos(turn) - dx * np.sin(turn),
        )
        light += 0.3 * np.exp(-((along / 30) ** 4) - (across / 1.2) ** 2)
    return np.clip(light, 0.01, 0.95)


def disc(diameter_px):
    fx, fy = waves()
    at = np.pi * diameter_px * np.hypot(fx, fy) + 1e-6
    return 2 * j1(at) / at


def soft(sigma_px):
    fx, fy = waves()
    return np.exp(-2 * (np.pi * sigma_px) ** 2 * (fx**2 + fy**2))


def line(length_px, degrees):
    fx, fy = waves()
    turn = np.radians(degrees)
    return np.sinc(length_px * (fx * np.cos(turn) + fy * np.sin(turn)))


def said_of(treated, brightness=None, scale=1.0, seen=True, planes=PLANES_DOF):
    """Faults and kept detail of a sweep through one flat picture, some frames treated."""
    rng = np.random.default_rng(9)
    light = texture()
    poses = np.zeros((len(planes), 6))
    poses[:, 2] = planes * DOF
    level = brightness or {}
    gains = np.array([1 / level.get(k, 1.0) for k in range(len(poses))])
    with Lumas() as lumas:
        for k, pose in enumerate(poses):
            kept = soft(0.6) * disc(2 * C_PX * abs(planes[k])) * treated.get(k, 1.0)
            size = (WIDTH, HEIGHT)
            moved = centred(homography(pose, 0.0, FOCAL_PX), size[::-1], size[::-1])
            blurred = transferred(light, kept) * level.get(k, 1.0)
            there = cv2.warpPerspective(blurred, moved, size, flags=cv2.INTER_LANCZOS4)
            noisy = there + rng.normal(0, 0.003, there.shape)
            lumas.add(np.rint(255 * np.clip(noisy, 0, 1) ** (1 / 2.2)).astype(np.uint8))
        found = np.ones(len(poses), bool)
        stack = focus_stack(lumas, poses, gains, FOCAL_PX)
        peaks = find_peaks(stack, gains < 2, DOF, C_PX, AIRY_PX)
        pictures = Pictures(lumas, poses, FOCAL_PX, scale) if seen else None
        return find_faults(
            stack, peaks, believed(peaks), gains, found, DOF, C_PX, AIRY_PX, pictures
        )


@pytest.fixture(scope="module")
def smeared():
    return said_of({2: line(6.0, 30.0), 5: line(3.0, 105.0)})


def test_smeared_frames_are_called_and_no_others(smeared):
    faults, _ = smeared

    assert [k for k, told in enumerate(faults) if told] == [2, 5]
    assert {f.kind for told in faults for f in told} == {"motion"}


@pytest.mark.parametrize(("frame", "length_px", "degrees"), [(2, 6.0, 30.0), (5, 3.0, 105.0)])
def test_a_smear_is_told_with_its_length_and_direction(smeared, frame, length_px, degrees):
    (fault,) = smeared[0][frame]
    words = fault.detail.split()
    px, way = float(words[words.index("px,") - 1]), float(words[words.index("degrees") - 1])

    assert px == pytest.approx(length_px, rel=0.25)
    assert abs((way - degrees + 90) % 180 - 90) <= 15


LONE_DOF = np.array([-3.6, -2.9, -2.2, -1.6, 0.0, 1.7, 2.3, 3.0, 3.6])


def test_a_frame_that_lies_alone_is_called_smeared_if_it_is_and_not_otherwise():
    smeared, _ = said_of({4: line(3.5, 30.0)}, planes=LONE_DOF)
    still, _ = said_of({}, planes=LONE_DOF)

    assert [k for k, told in enumerate(smeared) if told] == [4]
    assert not any(still)


def test_two_smeared_frames_side_by_side_in_a_hole_are_both_called():
    side_by_side = np.array([-3.2, -2.6, -2.0, -1.4, 0.0, 0.25, 1.7, 2.3, 2.9, 3.5])
    smeared, _ = said_of({4: line(6.0, 30.0), 5: line(6.0, 35.0)}, planes=side_by_side)
    still, _ = said_of({}, planes=side_by_side)

    assert [k for k, told in enumerate(smeared) if told] == [4, 5]
    assert not any(still)


def test_what_only_four_others_foretell_must_tell_more_plainly():
    few = np.array([-3.2, -1.6, 0.0, 1.7, 3.2])
    hardly, _ = said_of({2: line(3.5, 30.0)}, planes=few)
    plainly, _ = said_of({2: line(4.5, 30.0)}, planes=few)

    assert not any(hardly)
    assert [k for k, told in enumerate(plainly) if told] == [2]


def test_a_smear_is_told_in_pixels_of_the_full_picture(smeared):
    whole = smeared[0][2][0].detail
    faults, _ = said_of({2: line(6.0, 30.0)}, scale=0.5)
    half = faults[2][0].detail

    assert float(half.split()[3]) == pytest.approx(2 * float(whole.split()[3]), rel=0.1)


def test_what_was_shaken_all_round_keeps_little_and_is_called_without_a_direction():
    faults, kept = said_of({3: soft(1.3)})

    assert [k for k, told in enumerate(faults) if told] == [3]
    assert "degrees" not in faults[3][0].detail
    assert kept[3] < NUMBERS.keeps
    assert np.nanmin(np.delete(kept, 3)) > 0.8


def test_a_dark_frame_is_called_dark_and_not_smeared():
    faults, _ = said_of({4: line(6.0, 30.0)}, {4: 0.2})

    assert [f.kind for f in faults[4]] == ["dark"]


def test_without_the_pictures_no_direction_is_told():
    faults, _ = said_of({2: line(3.0, 30.0)}, seen=False)

    assert not any("degrees" in f.detail for told in faults for f in told)


def test_witnesses_are_spread_over_the_picture():
    class Fields:
        depth = np.zeros((60, 80))
        amplitude = np.arange(4800.0).reshape(60, 80)
        y, x = np.mgrid[0:60, 0:80] * 8.0
        points_px = np.column_stack([x.ravel(), y.ravel()])

    here, _ = witnesses(Fields, Fields, np.ones((60, 80), bool), DOF)

    blocks = np.unique(np.floor(here / SMEARS.apart_px), axis=0)
    assert len(here) == len(blocks) == SMEARS.layer_places
