"""A turned focus ring is not taken for a push, nor a push for a turned ring."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from haltere.align.wander import Shift
from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.scene.camera import Lens
from haltere.scene.hand import make_hand
from haltere.sweeps import Coverage, Sweep, solve_sweep
from haltere.sweeps.focusing import Growth, stood_still, tell_focusing, without_scale

PLANES, WIDTH_PX, HEIGHT_PX, PITCH_MM = 9, 560, 420, 0.0135


@pytest.fixture(scope="module")
def turned(decoder: Decoder, tmp_path_factory: pytest.TempPathFactory) -> dict[bool, Coverage]:
    """Picture that shrinks twice as fast as a push lets it grow; magnification given or not."""
    out = tmp_path_factory.mktemp("ring")
    _make(out, -2.0)
    return {known: _told(out, decoder, known) for known in (True, False)}


@pytest.fixture(scope="module")
def held(decoder: Decoder, tmp_path_factory: pytest.TempPathFactory) -> Coverage:
    """The same ring turned on a camera in the hand, magnification given."""
    out = tmp_path_factory.mktemp("held")
    _make(out, -2.0, hand=3)
    return _told(out, decoder, known=True)


def _make(out: Path, growth: float, hand: int | None = None) -> None:
    """Texture blurred by its depths plane after plane, growing with depth against a push's law.

    A hand shifts, tilts and rolls the camera; what near and far shift against each other is left
    out, a tenth of a pixel and less.
    """
    rng = np.random.default_rng(5)
    grain = sum(
        cv2.GaussianBlur(rng.normal(size=(HEIGHT_PX, WIDTH_PX)), (0, 0), s) * s for s in (0.8, 2, 5)
    )
    sharp = np.clip(110 + 60 * grain / np.std(grain), 5, 250).astype(np.float32)
    y, x = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX]
    # a dome and a slope, so that near and far lie everywhere in the picture
    depth = 5.0 * np.hypot(x / WIDTH_PX - 0.5, y / HEIGHT_PX - 0.5) ** 2 * 4 + 3.0 * x / WIDTH_PX
    lens = Lens(2.0, 60.0, 8.0, WIDTH_PX * PITCH_MM, WIDTH_PX, HEIGHT_PX)
    middle = float(np.median(depth))
    each = growth * lens.depth_of_field_mm / lens.pupil_distance_mm
    holding = None if hand is None else make_hand(hand, scale=0.7)
    per_mm = lens.magnification / PITCH_MM
    for k in range(PLANES):
        plane = middle + 0.8 * (k - PLANES // 2)
        away = np.round(depth - plane)
        move = np.zeros(6) if holding is None else holding.at(k / 8) - holding.at(0.5)
        tilted = lens.pupil_distance_mm * np.array([move[4], move[3]])
        shift = per_mm * (tilted - move[:2])
        size = 1.0 + each * (plane - middle)
        picture = _frame(sharp, away, lens.coc_mm / PITCH_MM, size, move[5], shift)
        noisy = picture + rng.normal(0.0, 1.0, picture.shape)
        whole = np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
        cv2.imwrite(str(out / f"ring_{k}.jpg"), whole, [cv2.IMWRITE_JPEG_QUALITY, 95])


def _told(folder: Path, decoder: Decoder, known: bool) -> Coverage:
    how = capture(
        magnification=2.0 if known else None,
        focal_mm=60.0,
        f_number=8.0,
        pixel_pitch_mm=PITCH_MM,
    )
    sweep = solve_sweep(find_frames([folder]).frames, decoder, how)
    sweep.close()
    return sweep.coverage


def _frame(
    sharp: np.ndarray,
    away: np.ndarray,
    coc_px: float,
    size: float,
    roll_rad: float,
    shift_px: np.ndarray,
) -> np.ndarray:
    """Layers of a depth of field, each blurred by a disc, laid over each other from far to near."""
    away = np.clip(away, -12, 12)
    picture = np.zeros_like(sharp)
    covered = np.zeros_like(sharp)
    for layer in np.unique(away)[::-1]:
        own = (away == layer).astype(np.float32)
        radius = abs(float(layer)) * coc_px
        over = _disc(own, radius)
        picture = picture * (1 - over) + _disc(sharp * own, radius)
        covered = covered * (1 - over) + over
    picture /= np.maximum(covered, 1e-3)
    h, w = sharp.shape
    zoom = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), np.degrees(roll_rad), size)
    zoom[:, 2] += shift_px
    flags, border = cv2.INTER_CUBIC, cv2.BORDER_REFLECT
    return cv2.warpAffine(picture, zoom, (w, h), flags=flags, borderMode=border)


def _disc(picture: np.ndarray, radius: float) -> np.ndarray:
    if radius < 0.6:
        return picture
    reach = int(np.ceil(radius)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0).astype(np.float32)
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def test_a_hand_held_sweep_is_called_pushed(solved: tuple[Sweep, dict[str, Any]]) -> None:
    said = solved[0].coverage.focusing
    assert said is not None
    assert said.how == "pushed"
    assert said.wander_px is not None and said.wander_px > 3.0
    assert said.text == ""
    if said.depth_of_field_ratio is not None:
        assert said.depth_of_field_ratio == pytest.approx(1.0, abs=0.1)


def test_a_turned_ring_is_noticed_where_the_magnification_is_given(
    turned: dict[bool, Coverage],
) -> None:
    said = turned[True]
    assert said.focusing is not None
    assert said.focusing.how == "turned"
    assert said.focusing.wander_px is not None and said.focusing.wander_px < 0.3


def test_of_a_turned_ring_nothing_is_called_complete_and_no_millimetres_are_said(
    turned: dict[bool, Coverage],
) -> None:
    said = turned[True]
    assert said.complete is None
    assert "focus ring was turned" in said.reason
    assert said.gaps == ()
    assert said.push is None
    assert {plane.position_mm for plane in said.planes} == {None}


def test_planes_of_a_turned_ring_stand_in_order(turned: dict[bool, Coverage]) -> None:
    at = [p.position_dof for p in turned[True].planes if p.position_dof is not None]
    steps = np.diff(at)
    assert len(at) == PLANES
    assert (steps > 0).all() or (steps < 0).all()
    assert np.abs(steps).mean() == pytest.approx(0.8, rel=0.3)


def test_without_magnification_a_still_camera_is_said_not_to_tell_near_from_far(
    turned: dict[bool, Coverage],
) -> None:
    said = turned[False]
    assert said.focusing is not None
    assert said.focusing.how == "not-told"
    assert "near and far may be swapped" in said.reason


def test_a_still_camera_whose_picture_grows_by_the_law_of_a_push_is_not_called_turned(
    decoder: Decoder, tmp_path: Path
) -> None:
    _make(tmp_path, 1.0)
    said = _told(tmp_path, decoder, known=True).focusing
    assert said is not None
    assert said.how == "not-told"
    assert said.depth_of_field_ratio == pytest.approx(1.0, abs=0.15)


def test_a_ring_turned_in_the_hand_is_noticed_where_the_magnification_is_given(
    held: Coverage,
) -> None:
    said = held.focusing
    assert said is not None
    assert said.wander_px is not None and said.wander_px > 3.0
    assert said.how == "turned"
    assert said.depth_of_field_ratio == pytest.approx(2.0, rel=0.15)


def test_of_a_ring_turned_in_the_hand_neither_millimetres_nor_a_way_are_said(
    held: Coverage,
) -> None:
    assert held.complete is None
    assert held.reason.count("near and far may be swapped") == 1
    assert held.gaps == ()
    assert held.push is None
    assert held.depth_of_field_mm is None and held.mm_per_px is None
    assert {plane.position_mm for plane in held.planes} == {None}
    assert {plane.step_mm for plane in held.planes} == {None}
    assert {one.direction for one in held.passes} == {"unknown"}


def test_planes_of_a_ring_turned_in_the_hand_go_on_by_what_they_went(held: Coverage) -> None:
    at = [p.position_dof for p in held.planes if p.position_dof is not None]
    assert len(at) == PLANES
    assert np.abs(np.diff(at)).mean() == pytest.approx(0.8, rel=0.15)
    assert {plane.moved for plane in held.planes} == {"on"}


STILL, HELD, LONGER = 0.1, 30.0, 6000.0


def _growth(ratio: float, **other: Any) -> Growth:
    told = {"spread": 0.01, "places": 150, "lens_measured": True}
    return Growth(ratio, **(told | other))


def test_a_still_camera_whose_picture_grows_as_a_push_does_may_stand_on_a_rail() -> None:
    assert tell_focusing(STILL, LONGER, _growth(1.1)).how == "not-told"


@pytest.mark.parametrize("wander_px", [STILL, HELD])
@pytest.mark.parametrize("ratio", [0.5, 2.0])
def test_growth_by_another_law_is_a_turned_ring_on_a_stand_and_in_the_hand(
    ratio: float, wander_px: float
) -> None:
    assert tell_focusing(wander_px, LONGER, _growth(ratio)).how == "turned"


@pytest.mark.parametrize("ratio", [0.9, 1.0, 1.1])
def test_a_swaying_camera_whose_picture_grows_as_in_a_push_is_pushed(ratio: float) -> None:
    said = tell_focusing(HELD, LONGER, _growth(ratio))
    assert (said.how, said.text) == ("pushed", "")


def test_a_lens_of_which_little_is_known_must_differ_by_more() -> None:
    assert tell_focusing(HELD, LONGER, _growth(1.55)).how == "turned"
    assert tell_focusing(HELD, LONGER, _growth(1.55, lens_measured=False)).how == "pushed"


@pytest.mark.parametrize("doubt", [{"places": 4}, {"spread": 0.3}, {"spread": math.inf}])
def test_few_or_contrary_places_call_no_hand_held_ring_turned(doubt: dict[str, float]) -> None:
    assert tell_focusing(HELD, LONGER, _growth(2.0, **doubt)).how == "pushed"


def test_where_the_lens_foretells_nothing_a_hand_is_believed_and_a_stand_is_not() -> None:
    assert tell_focusing(HELD, LONGER, None).how == "pushed"
    assert tell_focusing(STILL, LONGER, None).how == "not-told"


@pytest.mark.parametrize("growth", [None, "as a push"])
@pytest.mark.parametrize(
    ("shift", "how"),
    [
        (Shift(-0.4, 0.05), "not-told"),
        (Shift(-0.4, 0.3), "pushed"),
        (Shift(0.1, 0.02), "pushed"),
        (None, "pushed"),
    ],
)
def test_a_hand_that_would_tilt_against_its_shifting_is_remarked_on_once(
    shift: Shift | None, how: str, growth: str | None
) -> None:
    said = tell_focusing(HELD, LONGER, None if growth is None else _growth(1.0), shift)
    assert said.how == how
    assert said.text.count("near and far may be swapped") == (how == "not-told")


def test_the_sway_of_a_camera_on_a_stand_tells_nothing() -> None:
    said = tell_focusing(STILL, LONGER, None, Shift(-5.0, 0.1))
    assert "As the hand sways" not in said.text


def test_an_unknown_sway_counts_as_a_hand() -> None:
    assert not stood_still(float("nan"), LONGER)
    assert tell_focusing(float("nan"), LONGER, None).wander_px is None


def test_a_turned_ring_belies_what_was_given_of_the_scale_and_nothing_else() -> None:
    given = capture(magnification=2.0, focal_mm=60.0, f_number=8.0, pixel_pitch_mm=PITCH_MM)
    pushed, turned = (tell_focusing(HELD, LONGER, _growth(ratio)) for ratio in (1.0, 2.0))
    assert without_scale(given, pushed) == given
    belied = without_scale(given, turned)
    assert belied == replace(given, magnification=None, pupil_distance_mm=None)
