"""The one line that says how far a step is."""

from __future__ import annotations

import io

from hypothesis import given
from hypothesis import strategies as st

from haltere.doors.cli.progress_line import ProgressLine


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_nothing_is_drawn_where_nobody_looks() -> None:
    stream = io.StringIO()
    with ProgressLine(stream) as progress:
        progress("merging", 1, 2)
    assert stream.getvalue() == ""


def test_nothing_is_drawn_when_asked_to_be_quiet() -> None:
    stream = Terminal()
    with ProgressLine(stream, quiet=True) as progress:
        progress("merging", 1, 2)
    assert stream.getvalue() == ""


def test_time_left_is_said_of_a_long_step() -> None:
    stream, clock = Terminal(), Clock()
    with ProgressLine(stream, clock=clock) as progress:
        progress("merging", 0, 10)
        clock.now = 4.0
        progress("merging", 1, 10)
    assert "merging: 1 of 10, 36 s left" in stream.getvalue()


def test_time_left_is_not_said_of_a_short_step() -> None:
    stream, clock = Terminal(), Clock()
    with ProgressLine(stream, clock=clock) as progress:
        progress("reading", 0, 10)
        clock.now = 0.15
        progress("reading", 1, 10)
    assert "left" not in stream.getvalue()


@given(st.lists(st.tuples(st.text(max_size=200), st.integers(0, 9)), min_size=1, max_size=6))
def test_the_line_is_wiped_at_the_end(steps: list[tuple[str, int]]) -> None:
    stream, clock = Terminal(), Clock()
    with ProgressLine(stream, clock=clock) as progress:
        for name, done in steps:
            clock.now += 1
            progress(name.replace("\r", " "), done, 9)
    assert stream.getvalue().rsplit("\r", 2)[-1] == ""
    assert stream.getvalue().rsplit("\r", 2)[-2].strip() == ""
