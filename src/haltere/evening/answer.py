"""Results as the JSON that other programs rely on."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from haltere.frames.frame import Skipped
from haltere.keepers.verdict import Keepers
from haltere.merge.merged import Merge
from haltere.merge.preview import Preview
from haltere.runs.run import Run
from haltere.show.outing import WorkedRun
from haltere.sweeps.coverage import Coverage

Answer = dict[str, Any]

_ONE = r"(?:-?[0-9][-+.0-9eE]*|null)"
_ROW = re.compile(rf"\[\n\s*{_ONE}(?:,\n\s*{_ONE})*\n\s*\]")
"""A list of nothing but numbers: written on one line, or a map of focus would fill a thousand. No
text can look like it, because JSON writes a line's end in a text as two signs."""


def answer(result: Keepers | Coverage | Merge | Preview | Run | Skipped) -> Answer:
    """Turn a result into plain lists and dictionaries; the field names are the keys.

    The blur of a gap follows from its width, and is told with it.

    Parameters
    ----------
    result : Keepers or Coverage or Merge or Preview or Run or Skipped
        What a room found.
    """
    said = asdict(result)
    if isinstance(result, Coverage):
        for gap, found in zip(said["gaps"], result.gaps, strict=True):
            gap["blur_coc"] = found.blur_coc
    return said


def with_skipped(said: Answer, skipped: Iterable[Skipped]) -> Answer:
    """Add what was left out, only when something was.

    Parameters
    ----------
    said : Answer
        An answer.
    skipped : iterable of Skipped
        What was left out.
    """
    left = [answer(one) for one in skipped]
    return {**said, "skipped": left} if left else said


def answer_of_run(worked: WorkedRun) -> Answer:
    """Turn a run and what was said of it into one dictionary.

    Parameters
    ----------
    worked : WorkedRun
        The run and what was said of it.
    """
    said = answer(worked.run)
    for key, result in (
        ("keepers", worked.keepers),
        ("gaps", worked.gaps),
        ("merge", worked.merge),
    ):
        if result is not None:
            said[key] = answer(result)
    if worked.failed is not None:
        said["failed"] = worked.failed
    return said


def as_json(said: Answer) -> str:
    """Write an answer as JSON text.

    Parameters
    ----------
    said : Answer
        An answer.

    Raises
    ------
    ValueError
        When a number is not finite: NaN has no place in JSON, `null` says unknown.
    """
    text = json.dumps(said, indent=1, ensure_ascii=False, allow_nan=False, default=_plain)
    return _ROW.sub(lambda row: " ".join(row[0].split()), text) + "\n"


def _plain(value: object) -> object:
    """Numpy scalars that slipped into a result."""
    item = getattr(value, "item", None)
    if item is None:
        raise TypeError(f"{type(value).__name__} has no form in JSON")
    return item()
