"""The picture of a made-up animal: full-size details, honest captions."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from PIL import Image

from haltere.errors import UsageError
from haltere.plan.see import Imagined
from haltere.plan.see_view import Look
from haltere.show import seen as page


def plan_of(depth_mm: float = 3.0) -> Any:
    """As much of a plan as the captions tell."""
    return SimpleNamespace(
        given=SimpleNamespace(
            lens=SimpleNamespace(magnification=1.0),
            wishes=SimpleNamespace(depth_mm=depth_mm),
            iso=200.0,
            shutter_s=1 / 250,
            effective=lambda f_number: 2.0 * f_number,
        ),
        single=SimpleNamespace(f_number=16.0),
        sweep=SimpleNamespace(f_number=5.6, sweep=SimpleNamespace(step_mm=0.21)),
    )


def look(seed: int, size: tuple[int, int], planes: int = 15, every: int = 1) -> Look:
    rng = np.random.default_rng(seed)
    one, other = (rng.integers(0, 256, (*size, 3)).astype(np.uint8) for _ in range(2))
    return Look(one, other, planes, every, 3.0, True)


SEEN = Imagined(
    look(1, (150, 200)), look(2, (100, 200)), (0.4, 0.4, 0.6, 0.5), 15, "fly", (3.2, 2.3, 3.0),
    (17.3, 13.0), 3.34,
)  # fmt: skip


def test_details_are_not_resampled() -> None:
    picture = np.asarray(Image.open(io.BytesIO(page.seen_png(plan_of(), SEEN))))
    for one in (SEEN.detail.single, SEEN.detail.swept):
        # rows without the rule at the bottom, found by their first pixels
        row = one[10]
        found = [
            y
            for y in range(picture.shape[0])
            for x in (36, 36 + 200 + 20)
            if (picture[y, x : x + 200] == row).all()
        ]
        assert len(found) == 1


def test_the_picture_says_that_it_is_drawn() -> None:
    assert "made-up" in page.title(plan_of(), SEEN)
    assert "not photographed" in page.title(plan_of(), SEEN)
    assert any("simulator" in note for note in page.notes(plan_of(), SEEN))


def test_settings_are_told_for_either_picture() -> None:
    head, text = page.single_words(plan_of())
    assert "f/16" in head
    assert "f/32" in text
    head, text = page.sweep_words(plan_of(), SEEN)
    assert "15 frames at f/5.6" in head
    assert "0.21 mm" in text
    assert "ISO 200, 1/250 s" in text


def test_planes_that_were_left_out_are_owned_up_to() -> None:
    thinned = replace(SEEN, whole=look(1, (150, 200), 8, 2), planned_frames=16)
    assert any("every other plane" in note for note in page.notes(plan_of(), thinned))
    shallow = replace(SEEN, whole=replace(SEEN.whole, covered_mm=1.0))
    assert any("cover 1 mm" in note for note in page.notes(plan_of(), shallow))
    assert not any("plane" in note for note in page.notes(plan_of(), SEEN))


def test_a_single_frame_is_not_called_a_sweep() -> None:
    alone = replace(SEEN, planned_frames=1, whole=replace(SEEN.whole, planes=1, merged=False))
    head, text = page.sweep_words(plan_of(), alone)
    assert "sweep of" not in head
    assert "nothing to merge" in text


def test_a_small_animal_is_called_small() -> None:
    assert "18 %" in page.size_line(plan_of(), SEEN)
    assert "crop" in page.size_line(plan_of(), SEEN)
    assert "crop" not in page.size_line(plan_of(), replace(SEEN, animal_mm=(9.0, 6.0, 9.0)))


def test_another_kind_of_file_is_refused_before_the_work(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="png"):
        page.see_plan(plan_of(), tmp_path / "fly.jpg")
