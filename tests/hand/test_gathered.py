"""What the book knows of a hand, as numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from haltere.fieldbook import Book, open_book
from haltere.fieldbook.steps import record
from haltere.fieldbook.supports import set_support, supports
from haltere.focus.fault import Fault
from haltere.hand import gather
from haltere.keepers.verdict import Eye, JudgedFrame, Keepers, Verdict
from haltere.sweeps.coverage import Coverage, Plane
from haltere.sweeps.push import Push
from tests.records.meadow import meadow

NAMES = ("M_0001.JPG", "M_0002.JPG", "M_0003.JPG")
PARAMS = {"capture": {"magnification": 2.0, "pixel_pitch_mm": 0.004}}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book(tmp_path / "book") as opened:
        meadow(opened, tmp_path / "lane")
        yield opened


def judged(*, scale: bool = True, verdict: str = "keeper") -> Keepers:
    """Ranked as the third, first, second frame; the second smeared, the third without flash."""
    faults = {
        1: (Fault("motion", 0.9, ""),),
        2: (Fault("dark", 0.8, ""), Fault("defocus", 0.9, "")),
    }
    frames = tuple(
        JudgedFrame(
            NAMES[at], rank, (100.0 + at, 50.0), 1.0, 0.2 * at if scale else None,
            1.0 * at, 0.1, faults.get(at, ()), at == 0,
        )
        for rank, at in enumerate((2, 0, 1), 1)
    )  # fmt: skip
    return Keepers(Eye(NAMES[0], 1.0, 1.0, "given"), frames, Verdict(verdict, ""))  # type: ignore[arg-type]


def keep(
    book: Book, result: Keepers | Coverage, verb: str = "keepers", run: str = "run-01"
) -> None:
    record(book, 1, verb, run, f"{verb} {run} {id(result)}", PARAMS, result)


def test_a_judged_burst_becomes_numbers_in_order_of_time(book: Book) -> None:
    keep(book, judged())
    (one,), sweeps, left = gather(book)
    assert (sweeps, left) == ([], [])
    assert one.offset_mm.tolist() == pytest.approx([0.0, 0.2, 0.4])
    assert one.times_s.tolist() == [0.0, 2.0, 4.0]
    assert one.dof_mm == pytest.approx(0.2)
    assert one.error_mm.tolist() == pytest.approx([0.02] * 3)
    assert one.aside_mm[:, 0].tolist() == pytest.approx([0.2, 0.202, 0.204])
    assert (one.motion, one.misfire, one.spoilt, one.hit) == (1, 1, 2, True)
    assert (one.magnification, one.hour) == (2.0, 18)


def test_the_newest_answer_on_a_run_counts(book: Book) -> None:
    keep(book, judged())
    newer = judged()
    keep(book, replace(newer, frames=tuple(replace(f, keeper=False) for f in newer.frames)))
    (one,), _, _ = gather(book)
    assert not one.hit


@pytest.mark.parametrize(
    ("result", "why"),
    [
        (judged(scale=False), "without a scale"),
        (judged(verdict="unsure"), "without a sure verdict"),
    ],
)
def test_what_tells_nothing_is_counted_by_its_reason(book: Book, result: Keepers, why: str) -> None:
    keep(book, result)
    bursts, _, left = gather(book)
    assert bursts == []
    assert why in left[0]
    assert left[0].endswith(": 1")


def test_frames_that_could_not_be_placed_are_gaps_not_zeros(book: Book) -> None:
    result = judged()
    first, *rest = result.frames
    hidden = replace(
        first, eye_px=None, eye_offset_mm=None, eye_offset_dof=None, uncertainty_dof=None
    )
    keep(book, replace(result, frames=(hidden, *rest)))
    (one,), _, _ = gather(book)
    assert np.isnan(one.offset_mm).tolist() == [False, False, True]
    assert np.isnan(one.aside_mm[2]).all()


def test_a_run_s_support_counts_before_its_outing_s(book: Book) -> None:
    keep(book, judged())
    set_support(book, 1, "", "nothing")
    assert gather(book)[0][0].support == "nothing"
    set_support(book, 1, "run-01", "  a   stick ")
    assert gather(book)[0][0].support == "a stick"
    set_support(book, 1, "run-01", "")
    assert supports(book) == {(1, ""): "nothing"}


def test_a_placed_sweep_becomes_numbers(book: Book) -> None:
    push = Push(0.1, 0.04, 0.5, 0.2, 0.4, 3.0, 15.0, 30.0, None, 0.2, 90.0, 0.1, 0, 0, 0, "")
    planes = tuple(Plane(name, 0.1, 0.5, 0.01, 0.05, True, ()) for name in NAMES)
    cover = Coverage(
        NAMES[0], 0.2, "", 0.015, 0.004, "kit", planes, (), (), True, "", None, push
    )  # fmt: skip
    keep(book, cover, "gaps")
    _, (one,), _ = gather(book)
    assert (one.speed_mm_s, one.step_dof, one.step_error_dof, one.magnification) == (
        3.0, 0.5, 0.05, 2.0,
    )  # fmt: skip
    keep(book, replace(cover, push=None), "gaps", "run-02")
    assert gather(book)[2] == ["sweeps without measured steps: 1"]
