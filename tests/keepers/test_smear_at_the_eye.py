"""Whether patches on an eye, which overlap and show more than the eye, tell movement rightly."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from haltere.focus.blur import Blur, kept_power, look_up
from haltere.focus.patches import SECTORS, Patches, counts_of, window_of
from haltere.focus.smear import Places, Smear, smears_of
from haltere.keepers.depth import EyeDepth
from haltere.keepers.eye import Spot
from haltere.keepers.judge import _Measured, _with_eye

Floats = NDArray[np.float64]

SIDE_PX, RADIUS_PX = 64, 63.0
PLANES_DOF = np.array([-6.5, -5.5, -3.6, -1.2, -0.4, 0.2, 1.5, 2.6, 3.5, 4.4, 12.5])
SHARP = 5
BLUR = Blur(0.02, 1.39)
RINGS = window_of(SIDE_PX).frequencies
ACROSS, ALONG = slice(0, 2), slice(2, 5)


def energies(detail: Floats, depth_dof: Floats, seed: int) -> NDArray[np.float32]:
    """What every frame shows of some places' detail (P, F, SECTORS), with noise of power 1."""
    rng = np.random.default_rng(seed)
    table = kept_power(RINGS, SIDE_PX)
    disc = BLUR.disc_px(depth_dof * BLUR.dof, (PLANES_DOF * BLUR.dof)[:, None])
    left = np.stack([look_up(table, disc, f) for f in range(RINGS.size)], -1)[..., None]
    scatter = np.exp(0.08 * rng.standard_normal((*disc.shape, RINGS.size, SECTORS)))
    return np.asarray((detail * left + 1.0) * scatter, np.float32)


def patches(energy: NDArray[np.float32]) -> Patches:
    along = np.repeat(PLANES_DOF[:, None] * BLUR.dof, energy.shape[1], 1)
    return Patches(energy, along, np.ones(len(PLANES_DOF)), RINGS, SIDE_PX)


def told(smear_px: float = 0.0) -> list[Smear]:
    """Movement told of an eye with stripes one way before a body with edges the other way.

    The eye lies at 0, and the body seen below its middle 1.5 depths of field behind.
    """
    fall = (0.05 / RINGS[:, None]) ** 2
    depth = np.linspace(-5.0, 5.0, 24)
    seen = energies(np.tile(3000.0 * fall, (24, 1, SECTORS)), depth, 1)
    y, x = np.mgrid[-5:6, -5:6] / 5.0
    on = np.hypot(x, y) <= 1.0
    place = np.column_stack([x[on], y[on]])
    beside = place[:, 1] > 0.3
    eye, body = np.zeros((2, len(place), RINGS.size, SECTORS))
    eye[~beside, :, ACROSS] = 3000.0 * fall
    body[beside, :, ALONG] = 20000.0 * fall
    face = energies(eye, np.zeros(len(place)), 2) + energies(body, np.full(len(place), 1.5), 3) - 1
    if smear_px:
        # moved level: what lies across loses its detail
        middle = np.arange(SECTORS) * np.pi / SECTORS
        kept = np.sinc(smear_px * RINGS[:, None] * np.cos(middle)) ** 2
        for each in (seen, face):
            each[SHARP] = np.asarray((each[SHARP] - 1) * kept + 1, np.float32)
    dome = EyeDepth(0.0, 0.001, (0.0, 0.0, 0.0), np.zeros(1), np.ones(1))
    measured = _Measured(Spot(0.0, 0.0, 60.0, 1.0), dome, patches(face), place, RADIUS_PX)
    usable = np.ones(len(PLANES_DOF), bool)
    both, depths, places = _with_eye(patches(seen), depth * BLUR.dof, measured, usable, BLUR)
    return smears_of(both, depths, usable, BLUR, 2.0, places)


def test_a_body_with_edges_of_its_own_beside_the_eye_is_no_movement() -> None:
    assert [k for k, smear in enumerate(told()) if smear.longer >= 0.5] == []


@pytest.mark.parametrize("smear_px", [4.0, 7.0])
def test_a_smear_is_told_nevertheless(smear_px: float) -> None:
    said = told(smear_px)
    assert [k for k, smear in enumerate(said) if smear.longer >= 0.5] == [SHARP]
    assert said[SHARP].length_px == pytest.approx(smear_px, rel=0.3)


def wrong_by(depth_dof: float, surfaces: int) -> list[Smear]:
    """Movement told of places with detail all ways beside an eye with stripes, misjudged in depth.

    What the sharp frame then lacks is the same in all directions at the eye, and nothing elsewhere.
    """
    fall = (0.05 / RINGS[:, None]) ** 2
    depth = np.concatenate([np.linspace(-5.0, 5.0, 24), np.zeros(30)])
    detail = np.tile(3000.0 * fall, (54, 1, SECTORS))
    detail[24:, :, ALONG] = 0.0
    both = patches(energies(detail, depth, 5))
    depth[24:] += depth_dof
    places = Places(np.ones(54), np.repeat(np.arange(2) % surfaces, (24, 30)))
    return smears_of(both, depth * BLUR.dof, np.ones(len(PLANES_DOF), bool), BLUR, 2.0, places)


def test_an_eye_misjudged_in_depth_is_no_movement() -> None:
    assert max(smear.longer for smear in wrong_by(-0.9, surfaces=2)) < 0.5


def test_patches_at_one_place_count_as_one() -> None:
    assert counts_of(np.zeros((5, 2)), SIDE_PX).sum() == pytest.approx(1.0)


def test_patches_that_do_not_touch_count_fully() -> None:
    apart = np.arange(4)[:, None] * np.array([float(SIDE_PX), 0.0])
    assert counts_of(apart, SIDE_PX) == pytest.approx(np.ones(4))


def test_patches_that_overlap_count_as_their_power_goes_together() -> None:
    rng = np.random.default_rng(4)
    ramp = np.hanning(SIDE_PX + 2)[1:-1]
    noise = rng.standard_normal((20000, SIDE_PX + SIDE_PX // 4))
    cuts = noise[:, :SIDE_PX], noise[:, SIDE_PX // 4 :]
    first, second = (np.abs(np.fft.rfft(cut * ramp)[:, 8]) ** 2 for cut in cuts)
    alike = float(np.corrcoef(first, second)[0, 1])
    pair = np.array([[0.0, 0.0], [SIDE_PX / 4, 0.0]])
    assert counts_of(pair, SIDE_PX) == pytest.approx(1 / (1 + alike), abs=0.02)
