"""What one sheet shows: an outing with everything that was said of its runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from haltere.frames.frame import Frame, Skipped
from haltere.keepers.verdict import Keepers
from haltere.merge.merged import Merge
from haltere.runs.run import Run
from haltere.sweeps.coverage import Coverage


@dataclass(frozen=True, slots=True)
class WorkedRun:
    """One run and what was said of it.

    Attributes
    ----------
    run : Run
        The run itself.
    keepers : Keepers or None
        For a burst or a single.
    gaps : Coverage or None
        For a sweep that could be solved.
    merge : Merge or None
        For a sweep that could be merged; file names relative to the sheet's folder.
    failed : str or None
        Why something is missing, in the photographer's words.
    """

    run: Run
    keepers: Keepers | None = None
    gaps: Coverage | None = None
    merge: Merge | None = None
    failed: str | None = None


@dataclass(frozen=True, slots=True)
class Outing:
    """Everything a sheet needs; pixels are fetched while it is drawn.

    Attributes
    ----------
    name : str
        Name of the folder the card was copied to.
    runs : tuple of WorkedRun
        In order of time.
    skipped : tuple of Skipped
        Files that were left out.
    frames : mapping of str to Frame
        Every frame by its name.
    decided : mapping of str to str
        What the person said of frames, by name; shown beside what was found, never instead.
    """

    name: str
    runs: tuple[WorkedRun, ...]
    skipped: tuple[Skipped, ...]
    frames: Mapping[str, Frame]
    decided: Mapping[str, str] = field(default_factory=dict)
