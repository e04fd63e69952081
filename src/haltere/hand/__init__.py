"""How this photographer's hand moves, from all runs of the book, and what it means for the next.

Answers on bursts and sweeps come in, as plain numbers; one report goes out, with an interval at
every number and its own predictions scored. It must not know how pictures were judged or planes
placed, nor change anything: the plan takes its numbers over only when the person asks for it.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from haltere.hand.gathered import gather
    from haltere.hand.report import HandReport, PlanNumbers, numbers_for_plan, report_on
    from haltere.hand.seen import BurstSeen, SweepSeen

__all__ = [
    "BurstSeen",
    "HandReport",
    "PlanNumbers",
    "SweepSeen",
    "gather",
    "numbers_for_plan",
    "report_on",
]

_HOMES = {
    "BurstSeen": "seen",
    "HandReport": "report",
    "PlanNumbers": "report",
    "SweepSeen": "seen",
    "gather": "gathered",
    "numbers_for_plan": "report",
    "report_on": "report",
}


def __getattr__(name: str) -> Any:
    """Fetch a name when it is first used: counting needs no scipy."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
