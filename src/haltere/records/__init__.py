"""What leaves the field book for other programs, and comes back from them; sightings.

An open book and an outing come in; sidecars and moved files go out, and what other programs wrote
comes back as decisions. Sightings are put together here from pictures, tracks and words. It must
not know how a picture was judged, nor who asked.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from haltere.records.checklist import read_checklist
    from haltere.records.dropped import bring_back, move_away
    from haltere.records.leaving import Exported, Wanted, export, makers, observers_of
    from haltere.records.moving import Moved
    from haltere.records.sidecars import Conflict, Exchange, Said, exchange
    from haltere.records.sighting import (
        Asked,
        evidence_named,
        same_animal,
        sighting_from,
        speaks_of,
    )
    from haltere.records.terms import Titles, one_line
    from haltere.records.vague import refuse_grid

__all__ = [
    "Asked",
    "Conflict",
    "Exchange",
    "Exported",
    "Moved",
    "Said",
    "Titles",
    "Wanted",
    "bring_back",
    "evidence_named",
    "exchange",
    "export",
    "makers",
    "move_away",
    "observers_of",
    "one_line",
    "read_checklist",
    "refuse_grid",
    "same_animal",
    "sighting_from",
    "speaks_of",
]

_HOMES = {
    "Asked": "sighting",
    "Conflict": "sidecars",
    "Exchange": "sidecars",
    "Exported": "leaving",
    "Moved": "moving",
    "Said": "sidecars",
    "Titles": "terms",
    "Wanted": "leaving",
    "bring_back": "dropped",
    "evidence_named": "sighting",
    "exchange": "sidecars",
    "export": "leaving",
    "makers": "leaving",
    "move_away": "dropped",
    "observers_of": "leaving",
    "one_line": "terms",
    "read_checklist": "checklist",
    "refuse_grid": "vague",
    "same_animal": "sighting",
    "sighting_from": "sighting",
    "speaks_of": "sighting",
}


def __getattr__(name: str) -> Any:
    """Fetch a name when it is first used: a sighting needs nothing of moving files."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
