"""What the watcher says of a run: one line, short enough to be read at a glance."""

from __future__ import annotations

from typing import Literal

from haltere.keepers.verdict import Keepers
from haltere.show import WorkedRun, words
from haltere.sweeps.coverage import Coverage

Outcome = Literal["complete", "missing", "keeper", "no-keeper", "unsure", "single", "failed"]

CAUTION = (
    "One more pass if it lets you: stop when it answers by moving off, "
    "going rigid or lifting its legs."
)
"""Stands beside every call for another pass; from the guides of those who watch animals for a
living, common practice, no source."""


def outcome_of(worked: WorkedRun) -> Outcome:
    """Answer a run's question with one word.

    Parameters
    ----------
    worked : WorkedRun
        The run and what was said of it.
    """
    if worked.failed is not None:
        return "failed"
    if worked.gaps is not None:
        told: dict[bool | None, Outcome] = {True: "complete", False: "missing", None: "unsure"}
        return told[worked.gaps.complete]
    if worked.keepers is not None:
        codes: dict[str, Outcome] = {"keeper": "keeper", "none": "no-keeper", "unsure": "unsure"}
        return codes[worked.keepers.verdict.code]
    return "single"


def rings_of(outcome: Outcome) -> int:
    """Say how often the bell rings: once when all is there, twice when not, never for a single.

    Parameters
    ----------
    outcome : str
        From `outcome_of`.
    """
    if outcome == "single":
        return 0
    return 1 if outcome in ("complete", "keeper") else 2


def missing_of(coverage: Coverage) -> tuple[float | None, float]:
    """Add up what a sweep lacks.

    Parameters
    ----------
    coverage : Coverage
        What was said of it.

    Returns
    -------
    mm : float or None
        In millimetres; None where the scale is unknown.
    dof : float
        In depths of field.
    """
    sizes = [
        None if gap.from_mm is None or gap.to_mm is None else gap.to_mm - gap.from_mm
        for gap in coverage.gaps
    ]
    known = [size for size in sizes if size is not None]
    mm = sum(known) if len(known) == len(sizes) and sizes else None
    return mm, sum(gap.to_dof - gap.from_dof for gap in coverage.gaps)


def line_of(worked: WorkedRun, passes_before: int = 0) -> str:
    """Say what came of a run, in one line.

    Parameters
    ----------
    worked : WorkedRun
        The run and what was said of it.
    passes_before : int, optional
        Frames of earlier passes that were taken together with it.
    """
    count = len(worked.run.frames)
    what = {
        "sweep": f"Sweep of {words.counted(count, 'frame')}",
        "burst": f"Burst of {words.counted(count, 'frame')}",
        "single": "One frame",
    }[worked.run.kind]
    if passes_before:
        what += f", {passes_before} of them from the pass before"
    if worked.failed is not None:
        return f"{what}: no answer. {_sentence(worked.failed)}"
    if worked.gaps is not None:
        return f"{what}: {_of_sweep(worked.gaps)}"
    if worked.keepers is not None:
        return f"{what}: {_of_burst(worked.keepers)}"
    return f"{what}: {worked.run.frames[0]}."


def _of_sweep(coverage: Coverage) -> str:
    if coverage.complete:
        remark = "" if coverage.focusing is None else _sentence(coverage.focusing.text)
        return f"complete. {remark}".rstrip()
    reason = _sentence(coverage.reason)
    if coverage.complete is None:
        return f"not sure. {reason}"
    mm, dof = missing_of(coverage)
    depths = f"{dof:.1f} depths of field"
    size = depths if mm is None else f"{mm:.2f} mm ({depths})"
    advice = "" if coverage.push is None else _sentence(coverage.push.advice)
    return " ".join(part for part in (f"{size} missing.", reason, advice, CAUTION) if part)


def _of_burst(keepers: Keepers) -> str:
    head = words.verdict_head(keepers)
    text = _sentence(keepers.verdict.text)
    best = keepers.best
    if keepers.verdict.code == "keeper" and best is not None:
        text += f" The plane of the best lies {words.place(best)}."
    return f"{head[0].lower()}{head[1:]}. {text}"


def _sentence(text: str) -> str:
    text = text.strip()
    if not text:
        return ""
    text = f"{text[:1].upper()}{text[1:]}" if not text[:1].isupper() else text
    return text if text.endswith((".", "!", "?")) else f"{text}."
