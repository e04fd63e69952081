"""The page about a hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from haltere.errors import UsageError
from haltere.hand import report_on
from haltere.hand.predict import Bin
from haltere.hand.report import HandReport
from haltere.show import draw_hand
from haltere.show.drawing import Box, Shape, Text
from haltere.show.hand_drawn import calibration, rates_drawn
from haltere.show.hand_page import SLIM, WIDE, hand_page, rows_of
from tests.hand.made import Hand, burst, sweep


@pytest.fixture(scope="module")
def report() -> HandReport:
    draw = np.random.default_rng(1)
    bursts = [burst(Hand(), draw, 1 + n // 6, "<stick>" if n % 2 else "") for n in range(12)]
    sweeps = [sweep(Hand(), draw) for _ in range(4)]
    return report_on(bursts, sweeps, ["bursts without a scale: 2"])


def test_the_page_needs_nothing_from_outside_and_says_all(report: HandReport) -> None:
    page = hand_page(report)
    for word in ("http", "<script", "src="):
        assert word not in page
    assert "&lt;stick&gt;" in page
    assert report.advice[0] in page
    assert "bursts without a scale: 2" in page
    assert "slanted line" in page
    assert "Pushed sweeps" in page


def test_each_number_has_its_interval(report: HandReport) -> None:
    rows = rows_of(report)
    assert len(rows) == 12
    assert ("differs in speed from sweep to sweep by", "21 %", "12 to 55") in rows
    assert all(" to " in span for _, _, span in rows)


@pytest.mark.parametrize("width", [WIDE, SLIM])
def test_no_mark_leaves_the_drawing(report: HandReport, width: float) -> None:
    assert report.scored is not None
    for drawing in (rates_drawn(report.groups, width), calibration(report.scored.bins, 400.0)):
        for mark in drawing.marks:
            if isinstance(mark, Box):
                assert -0.1 <= mark.x0 <= mark.x1 <= drawing.width + 0.1
                assert -0.1 <= mark.y0 <= mark.y1 <= drawing.height + 0.1
            if isinstance(mark, (Text, Shape)):
                assert 0 <= mark.x <= drawing.width
                assert 0 <= mark.y <= drawing.height


def test_a_prediction_that_came_true_lies_on_the_line() -> None:
    (disc,) = (
        m for m in calibration([Bin(0.3, 0.3, 0.2, 0.4, 9)], 400.0).marks if isinstance(m, Shape)
    )
    frame = next(
        m for m in calibration([Bin(0.3, 0.3, 0.2, 0.4, 9)], 400.0).marks if isinstance(m, Box)
    )
    assert (disc.x - frame.x0) == pytest.approx(frame.y1 - disc.y)


def test_an_empty_book_has_a_page_too(tmp_path: Path) -> None:
    path = draw_hand(report_on([], []), tmp_path / "h.html")
    assert "tell nothing" in path.read_text(encoding="utf-8")


def test_the_page_is_html(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        draw_hand(report_on([], []), tmp_path / "h.png")
