"""What a person at a terminal is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from haltere.doors.cli.saying import say_coverage
from haltere.focus.fault import Fault
from haltere.frames import find_frames
from tests.standins import made_coverage


def test_a_frame_that_was_not_placed_is_named_with_the_reason(capsys: Any, card: Path) -> None:
    said = made_coverage(find_frames([card]).frames[:5])
    short = Fault("hidden", 0.99, "is cut short; copy it again from the card")
    lost = replace(said.planes[1], position_mm=None, position_dof=None, faults=(short,))
    say_coverage(replace(said, planes=(said.planes[0], lost, *said.planes[2:])))
    line = f"  not placed: {lost.frame}: is cut short; copy it again from the card"
    assert line in capsys.readouterr().out.splitlines()
