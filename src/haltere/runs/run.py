"""What a run is: consecutive exposures of one animal that belong together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

RunKind = Literal["burst", "sweep", "single"]
Direction = Literal["away", "toward", "unknown"]


@dataclass(frozen=True, slots=True)
class Pass:
    """Frames of a sweep between two turning points; away = the plane moves deeper."""

    direction: Direction
    frames: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Run:
    """Frames that answer one question together.

    Attributes
    ----------
    id : str
        Short name, unique within the outing: 'run-03'.
    kind : {"burst", "sweep", "single"}
        What the photographer did.
    frames : tuple of str
        Frame names in order of time.
    passes : tuple of Pass
        Passes of a sweep, empty otherwise.
    reason : str
        Why it was taken for that kind, in words.
    """

    id: str
    kind: RunKind
    frames: tuple[str, ...]
    passes: tuple[Pass, ...]
    reason: str
