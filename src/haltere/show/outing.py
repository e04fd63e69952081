"""What one sheet shows: an outing with everything that was said of its runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

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

    def covered(self, gaps: Coverage) -> WorkedRun:
        """Take up what was said of a sweep; a turned ring takes the way from its passes.

        Parameters
        ----------
        gaps : Coverage
            What was said.
        """
        run = self.run
        if gaps.focusing is not None and gaps.focusing.how == "turned":
            run = replace(run, passes=tuple(replace(p, direction="unknown") for p in run.passes))
        return replace(self, run=run, gaps=gaps)


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
