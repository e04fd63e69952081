"""The JSON that other programs may rely on, as JSON Schema (draft 2020-12).

One file a verb. Keys are only ever added; none is renamed, retyped or dropped.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

VERBS = (
    "plan",
    "calibrate",
    "runs",
    "keepers",
    "gaps",
    "merge",
    "preview",
    "repair",
    "relief",
    "finish",
    "measure",
    "deliver",
    "watch",
    "evening",
    "unload",
    "verify",
    "clock",
    "decide",
    "undo",
    "sidecars",
    "drop",
    "checklist",
    "sight",
    "sightings",
    "sensitive",
    "export",
    "season",
    "hand",
)


def schema(verb: str) -> dict[str, Any]:
    """Read the schema of what a verb prints with `--json`.

    Parameters
    ----------
    verb : str
        One of `VERBS`.

    Returns
    -------
    dict
        The schema; it may refer to others by their `$id`, 'haltere:' and the verb.
    """
    text = files(__name__).joinpath(f"{verb}.json").read_text(encoding="utf-8")
    read: dict[str, Any] = json.loads(text)
    return read
