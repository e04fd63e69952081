"""What a watcher gives out: answers to runs, and notices."""

from __future__ import annotations

from dataclasses import dataclass

from haltere.evening.answer import Answer, answer, answer_of_run
from haltere.evening.watch_words import Outcome, line_of, missing_of, outcome_of, rings_of
from haltere.frames import Skipped
from haltere.show import WorkedRun


@dataclass(frozen=True, slots=True)
class RunSaid:
    """What is said of one run.

    Attributes
    ----------
    worked : WorkedRun
        The run and its answer.
    before : tuple of str
        Frames of it that an earlier line has spoken of: another pass, or a run that went on.
    skipped : tuple of Skipped
        Files that came with it and could not be used.
    seconds : float
        From the last change in the folder to the answer.
    """

    worked: WorkedRun
    before: tuple[str, ...]
    skipped: tuple[Skipped, ...]
    seconds: float = 0.0

    @property
    def outcome(self) -> Outcome:
        """The answer in one word."""
        return outcome_of(self.worked)

    @property
    def line(self) -> str:
        """The answer in one line."""
        return line_of(self.worked, len(self.before))

    @property
    def rings(self) -> int:
        """How often the bell rings."""
        return rings_of(self.outcome)

    def answer(self) -> Answer:
        """Say it in the form of the JSON contract."""
        gaps = self.worked.gaps
        mm, dof = missing_of(gaps) if gaps is not None else (None, None)
        return {
            **answer_of_run(self.worked),
            "outcome": self.outcome,
            "text": self.line,
            "missing_mm": mm,
            "missing_dof": dof,
            "before": list(self.before),
            "skipped": [answer(one) for one in self.skipped],
            "seconds": round(self.seconds, 3),
        }


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the photographer should know that is no answer to a run."""

    text: str


Said = RunSaid | Notice
