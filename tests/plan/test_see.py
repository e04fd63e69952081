"""A made-up animal at planned settings: its size, its optics, and what sharpness it shows."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given as examples
from hypothesis import strategies as st

from haltere import optics
from haltere.errors import UsageError
from haltere.frames import Decoder
from haltere.kit import Kit
from haltere.plan.given import given
from haltere.plan.see import Imagined, imagine
from haltere.plan.see_animal import lens_of, noise_of
from haltere.plan.see_merged import known_sweep
from haltere.plan.see_numbers import SEEING, Seeing
from haltere.plan.see_view import planes_drawn
from haltere.plan.wishes import wishes_of
from haltere.scene.sensor import add_noise

KIT = Kit(
    sensor_width_mm=17.3, sensor_height_mm=13.0, width_px=5184, height_px=3888, focal_mm=60.0,
    magnification_max=1.0, f_number_min=2.8, f_number_max=22.0,
)  # fmt: skip
DIOPTRES = Kit(
    sensor_width_mm=23.5, sensor_height_mm=15.6, width_px=6000, focal_mm=90.0,
    magnification_max=1.0, close_up_dpt=8.0, converter=1.4,
)  # fmt: skip
QUICK = Seeing(
    whole_px=160, merged_px=220, detail_px=(160, 110), spare_px=8, views=8, single_views=12,
    texels_per_px=0.2,
)  # fmt: skip


def plan_of(
    single: float = 16.0, swept: float = 5.6, frames: int = 9, step_mm: float = 0.3, **wishes: Any
) -> Any:
    """As much of a plan as is looked at."""
    start = given(KIT, wishes_of({"magnification": 1.0, "depth_mm": 3.0, **wishes}))
    dof = optics.depth_of_field_mm(start.coc_mm, start.effective(swept), start.lens.magnification)
    sweep = SimpleNamespace(frames=frames, step_mm=step_mm, depth_of_field_mm=dof)
    return SimpleNamespace(
        given=start,
        single=SimpleNamespace(f_number=single),
        sweep=SimpleNamespace(f_number=swept, sweep=sweep),
    )


@pytest.fixture(name="decoder", scope="module")
def _decoder() -> Iterator[Decoder]:
    with Decoder(workers=1) as decoder:
        yield decoder


@pytest.fixture(name="seen", scope="module")
def _seen(decoder: Decoder, tmp_path_factory: pytest.TempPathFactory) -> Imagined:
    return imagine(plan_of(), decoder, tmp_path_factory.mktemp("seen"), seeing=QUICK)


def detail(picture: np.ndarray) -> float:
    grey = picture.astype(np.float64).mean(axis=2)
    return float(np.abs(np.diff(grey, axis=1)).mean())


@pytest.mark.parametrize(("kit", "m"), [(KIT, 0.5), (KIT, 1.0), (DIOPTRES, 2.0)])
def test_the_drawing_lens_has_the_perspective_and_effective_f_number_of_the_kit(
    kit: Kit, m: float
) -> None:
    start = given(kit, wishes_of({"magnification": m}))
    lens = lens_of(start, 8.0, (300, 200), start.pitch_mm)
    assert lens.pupil_distance_mm == pytest.approx(start.lens.pupil_distance_mm)
    assert lens.f_number_effective == pytest.approx(start.effective(8.0))
    assert lens.pixel_pitch_mm == pytest.approx(start.pitch_mm)


def test_half_a_depth_of_field_off_blurs_by_the_circle_of_confusion_whatever_is_attached() -> None:
    start = given(DIOPTRES, wishes_of({"magnification": 2.0}))
    lens = lens_of(start, 8.0, (300, 200), start.pitch_mm)
    depth = optics.depth_of_field_mm(start.coc_mm, start.effective(8.0), 2.0)
    blur_mm = lens.blur_disc_px(0.5 * depth) * lens.pixel_pitch_mm
    assert blur_mm == pytest.approx(start.coc_mm, rel=0.01)


def test_noise_falls_with_larger_pixels_and_grows_with_iso() -> None:
    grey = np.full((200, 200), 0.2, np.float32)

    def spread(iso: float, pitches: float) -> float:
        start = given(KIT, wishes_of({"magnification": 1.0, "iso": iso}))
        return float(add_noise(grey, noise_of(start, pitches * start.pitch_mm), 1).std())

    assert spread(800, 1) / spread(200, 1) == pytest.approx(2.0, rel=0.1)
    assert spread(200, 1) / spread(200, 4) == pytest.approx(4.0, rel=0.1)


def test_an_animal_is_as_large_in_the_frame_as_its_depth_says(
    seen: Imagined, decoder: Decoder, tmp_path: Path
) -> None:
    assert seen.field_mm == pytest.approx((17.3, 13.0))
    assert seen.animal_mm[2] == 3.0
    assert 2.0 < seen.animal_mm[0] < 4.5
    twice = imagine(plan_of(depth_mm=6.0, frames=1), decoder, tmp_path, seeing=QUICK)
    assert twice.animal_mm[0] / seen.animal_mm[0] == pytest.approx(2.0, rel=0.03)


def test_the_sweep_shows_detail_at_the_eye_that_the_one_shot_lost(seen: Imagined) -> None:
    assert seen.whole.merged
    assert seen.detail.merged
    assert detail(seen.detail.swept) > 1.3 * detail(seen.detail.single)


def test_closing_the_aperture_beyond_use_softens_the_sweep_too(
    seen: Imagined, decoder: Decoder, tmp_path: Path
) -> None:
    closed = imagine(plan_of(swept=64.0), decoder, tmp_path, seeing=QUICK)
    assert detail(closed.detail.swept) < 0.7 * detail(seen.detail.swept)


def test_one_frame_is_shown_as_it_is(decoder: Decoder, tmp_path: Path) -> None:
    seen = imagine(plan_of(frames=1, single=8.0, swept=8.0), decoder, tmp_path, seeing=QUICK)
    assert not seen.whole.merged
    assert seen.whole.planes == 1
    apart = seen.detail.single.astype(int) - seen.detail.swept.astype(int)
    assert np.abs(apart).mean() < 5


def test_both_pictures_show_the_same_part_and_the_detail_lies_on_the_whole(seen: Imagined) -> None:
    for look in (seen.whole, seen.detail):
        assert look.single.shape == look.swept.shape
        assert look.single.dtype == np.uint8
    x0, y0, x1, y1 = seen.detail_part
    assert (x1 - x0) * 5184 == pytest.approx(160)
    assert 0.0 < x0 < x1 < 1.0
    assert 0.0 < y0 < y1 < 1.0


def test_the_same_plan_gives_the_same_picture(
    seen: Imagined, decoder: Decoder, tmp_path: Path
) -> None:
    again = imagine(plan_of(), decoder, tmp_path, seeing=QUICK)
    assert (again.whole.swept == seen.whole.swept).all()
    assert (again.detail.single == seen.detail.single).all()


@pytest.mark.parametrize(("depth_mm", "what"), [(90.0, "reaches the lens"), (0.02, "too small")])
def test_an_animal_that_can_not_be_drawn_is_refused_with_a_cure(
    depth_mm: float, what: str, decoder: Decoder, tmp_path: Path
) -> None:
    with pytest.raises(UsageError, match=f"{what}.*ask for"):
        imagine(plan_of(depth_mm=depth_mm), decoder, tmp_path, seeing=QUICK)


def test_progress_may_stop_the_drawing(decoder: Decoder, tmp_path: Path) -> None:
    def stop(step: str, done: int, total: int, /) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        imagine(plan_of(), decoder, tmp_path, stop, seeing=QUICK)


@examples(st.integers(1, 400), st.floats(0.01, 2.0), st.floats(1.0, 2.0))
def test_planes_keep_the_step_or_a_multiple_of_it_and_stay_few(
    frames: int, step: float, overlap: float
) -> None:
    planes = planes_drawn(step, frames, step * overlap, (-np.inf, np.inf), SEEING)
    at = np.asarray(planes.at_mm)
    assert 1 <= len(at) <= SEEING.most_planes
    assert np.diff(at) == pytest.approx(planes.every * step)
    assert np.abs(at).max() <= (frames - 1) / 2 * step + 1e-9
    if frames <= SEEING.most_planes:
        assert len(at) == frames


def test_planes_far_from_what_the_detail_holds_are_not_drawn() -> None:
    planes = planes_drawn(0.1, 31, 0.14, (-1.55, -0.75), SEEING)
    assert planes.at_mm == pytest.approx((-1.5, -1.4, -1.3, -1.2, -1.1, -1.0, -0.9, -0.8))


def test_a_known_sweep_has_its_planes_where_they_were_drawn(tmp_path: Path) -> None:
    start = given(KIT, wishes_of({"magnification": 1.0}))
    lens = lens_of(start, 5.6, (40, 30), start.pitch_mm)
    frames = [np.full((30, 40, 3), 90, np.uint8)] * 3
    sweep = known_sweep(frames, (-0.5, 0.0, 0.5), lens, tmp_path)
    sweep.close()
    assert sweep.poses[:, 2] * lens.pupil_distance_mm == pytest.approx([-0.5, 0.0, 0.5])
    assert sweep.reference == 1
