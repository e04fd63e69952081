"""The eye of a sweep is looked for where it is wanted, and no longer than needed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from haltere.errors import FrameError, UsageError
from haltere.evening.sweep_eye import told_against_eye
from haltere.frames import Frame, Shooting
from haltere.keepers.eye import Spot
from haltere.sweeps import Coverage
from tests.standins import made_coverage

ROOM = "haltere.evening.sweep_eye"
FRAMES = tuple(
    Frame(Path(f"f{k}.jpg"), f"f{k}.jpg", "jpeg", 400, 300, 1, Shooting()) for k in range(9)
)


class Looks:
    """A sweep of nine frames whose pictures show an eye with some chance."""

    def __init__(self, chance: float) -> None:
        self.chance = chance
        self.looked: list[str] = []
        self.told: list[tuple[Any, ...]] = []
        self.spoilt = False
        self.lost = False
        self.coverage = made_coverage(FRAMES)
        self.sweep: Any = SimpleNamespace(
            coverage=self.coverage, frames=FRAMES, reference=4, usable=np.ones(9, bool),
            poses=np.column_stack([np.zeros((9, 2)), np.arange(9.0), np.zeros((9, 3))]),
        )  # fmt: skip

    def rgb(self, frame: Frame, longest_px: int) -> str:
        self.looked.append(frame.name)
        if self.spoilt:
            raise FrameError(f"{frame.name}: is spoilt")
        return frame.name

    def look_for(self, pixels: str) -> Any:
        return SimpleNamespace(spots=(Spot(200.0, 150.0, 30.0, self.chance),))

    def in_reference(self, sweep: Any, frame: str, at: tuple[float, float]) -> Any:
        return None if self.lost else (at[0] + 1.0, at[1])

    def with_eye(self, *what: Any) -> Coverage:
        self.told.append(what[1:])
        return replace(self.coverage, reason="told")

    def ask(self, **more: Any) -> Coverage:
        return told_against_eye(self.sweep, self, **more)  # type: ignore[arg-type]


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> Looks:
    made = Looks(getattr(request, "param", 0.9))
    for name in ("look_for", "in_reference", "with_eye"):
        monkeypatch.setattr(f"{ROOM}.{name}", getattr(made, name))
    return made


def test_a_sure_eye_takes_one_look(looks: Looks) -> None:
    assert looks.ask().reason == "told"
    assert len(looks.looked) == 1
    assert looks.told == [((201.0, 150.0), 30.0, "proposed")]


def test_a_sweep_without_a_gap_is_not_looked_at(looks: Looks) -> None:
    looks.sweep.coverage = replace(looks.coverage, gaps=())
    assert looks.ask() is looks.sweep.coverage
    assert looks.looked == []


@pytest.mark.parametrize("looks", [0.4], indirect=True)
def test_where_one_look_is_not_sure_frames_at_other_depths_are_looked_at(looks: Looks) -> None:
    assert looks.ask().reason == "told"
    assert len(set(looks.looked)) == len(looks.looked) == 4


@pytest.mark.parametrize("looks", [0.1], indirect=True)
def test_an_unlikely_eye_is_not_told(looks: Looks) -> None:
    assert looks.ask() is looks.coverage
    assert looks.told == []


def test_pictures_that_cant_be_read_tell_nothing(looks: Looks) -> None:
    looks.spoilt = True
    assert looks.ask() is looks.coverage


def test_a_given_eye_is_carried_to_the_reference_frame_and_not_looked_for(looks: Looks) -> None:
    assert looks.ask(eye=(10.0, 20.0), eye_frame="f2.jpg").reason == "told"
    assert looks.looked == []
    ((at, _, source),) = looks.told
    assert (at, source) == ((11.0, 20.0), "given")


def test_a_given_eye_in_a_frame_without_a_place_is_refused(looks: Looks) -> None:
    looks.lost = True
    with pytest.raises(UsageError, match=r"f2\.jpg"):
        looks.ask(eye=(10.0, 20.0), eye_frame="f2.jpg")
