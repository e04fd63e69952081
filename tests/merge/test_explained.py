from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from haltere.align.lumas import light_of
from haltere.merge.explained import contradicted
from haltere.merge.taken import Stretches, all_frames
from tests.merge.made import DOF, sweep_of, texture

PLANES, SIZE = 9, (160, 120)
NEAR, FAR = 2, 6
BLUR = 0.6  # radius of one depth of field's disc, as small pictures have it


def disc(radius: float) -> np.ndarray:
    """A lens's blur: even light over a disc, drawn five times finer than a pixel."""
    if radius == 0:
        return np.ones((1, 1), np.float32)
    reach = int(np.ceil(radius)) + 1
    fine = (np.arange(-5 * reach - 2, 5 * reach + 3)) / 5
    inside = (fine[:, None] ** 2 + fine[None, :] ** 2 <= radius**2).astype(np.float32)
    side = 2 * reach + 1
    kernel = inside.reshape(side, 5, side, 5).sum((1, 3))
    return np.asarray(kernel / kernel.sum(), np.float32)


def codes(light: np.ndarray) -> np.ndarray:
    """Code values of light on 0..255 (IEC 61966-2-1, from memory)."""
    share = np.clip(light / 255, 0, 1)
    shown = np.where(share <= 0.0031308, 12.92 * share, 1.055 * share ** (1 / 2.4) - 0.055)
    return np.rint(255 * shown).astype(np.uint8)


@pytest.fixture(scope="module")
def near_bar(tmp_path_factory):
    """A bright bar before a dark ground, nine planes a depth of field apart; nothing grows."""
    # no finer than what a place of a small picture shows
    grain = cv2.GaussianBlur(texture((SIZE[1], SIZE[0]), 8), (0, 0), 1.5)
    sharp = light_of(np.clip(grain, 0, 255).astype(np.uint8))
    bar = np.zeros(sharp.shape, np.float32)
    bar[:, 70:90] = 1.0
    ground, before = 0.5 * sharp, 1.5 * sharp
    poses = np.zeros((PLANES, 6))
    pictures = []
    for k in range(PLANES):
        mask = cv2.filter2D(bar, -1, disc(BLUR * abs(k - NEAR)), borderType=cv2.BORDER_REPLICATE)
        lit = cv2.filter2D(
            bar * before, -1, disc(BLUR * abs(k - NEAR)), borderType=cv2.BORDER_REPLICATE
        )
        behind = cv2.filter2D(
            ground, -1, disc(BLUR * abs(k - FAR)), borderType=cv2.BORDER_REPLICATE
        )
        pictures.append(np.repeat(codes(lit + (1 - mask) * behind)[..., None], 3, axis=2))
    # the plane of focus moves, the view stays: as far as a pose can say so
    poses[:, 2] = np.arange(PLANES) * DOF
    grown = []
    for k, picture in enumerate(pictures):
        far = 1.0 / (1.0 - poses[k, 2])
        x, y = (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2
        carry = np.array([[far, 0, x * (1 - far)], [0, far, y * (1 - far)]])
        grown.append(
            cv2.warpAffine(
                picture, carry, SIZE, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
            )
        )
    sweep = replace(sweep_of(tmp_path_factory.mktemp("bar"), grown, poses), c_px=BLUR)
    light = np.where(bar > 0, before, ground).astype(np.float32)
    depth = (np.where(bar > 0, NEAR, FAR) * DOF).astype(np.float32)
    yield sweep, light, depth
    sweep.lumas.close()


def held(sweep, light, depth, stretches=None):
    used = list(range(PLANES))
    stretches = stretches or all_frames(depth.shape, PLANES)
    return contradicted(sweep, used, np.ones(PLANES), light, depth, stretches)


def test_a_picture_with_the_right_depths_explains_its_frames(near_bar):
    found = held(*near_bar)
    open_ground = np.delete(found.strength, np.s_[62:98], axis=1)
    assert open_ground.max() < 0.6, "below what belongs to a spot"
    # behind the bar's rim frames show ground that the picture can't know
    assert (found.strength > 1.0).mean() < 0.02


def test_a_patch_at_a_wrong_depth_is_told_and_what_lies_around_it_is_not(near_bar):
    sweep, light, depth = near_bar
    wrong = depth.copy()
    wrong[40:70, 20:50] = NEAR * DOF
    # painted from the frame that is sharp there: the ground, blurred
    blurred = cv2.filter2D(light, -1, disc(BLUR * (FAR - NEAR)))
    painted = light.copy()
    painted[40:70, 20:50] = blurred[40:70, 20:50]
    found = held(sweep, painted, wrong)
    assert np.median(found.strength[44:66, 24:46]) > 0.6
    assert (found.strength[44:66, 24:46] > 1.0).mean() > 0.2
    away = np.ones(depth.shape, bool)
    away[30:80, 10:98] = away[:, 62:98] = False
    assert found.strength[away].max() < 0.6


def test_who_differs_is_named_and_by_how_much(near_bar):
    sweep, light, depth = near_bar
    painted = light.copy()
    painted[50:60, 30:40] *= 0.5  # too dark: frames are brighter than it foretells
    found = held(sweep, painted, depth)
    spot = (slice(53, 57), slice(33, 37))
    assert found.share[spot].min() > 0.3
    assert found.frame[spot].min() >= FAR - 5, "no frame that lies far from its depth"


def test_frames_that_a_moved_part_is_not_taken_from_are_not_asked_there(near_bar):
    sweep, light, depth = near_bar
    painted = light.copy()
    painted[50:60, 30:40] *= 0.5
    region = np.zeros(depth.shape, np.uint8)
    region[40:70, 20:50] = 1
    taken = np.ones((PLANES, 2), np.uint8)
    taken[:, 1] = 0
    found = held(sweep, painted, depth, Stretches(region, taken))
    assert found.strength[40:70, 20:50].max() == 0.0
