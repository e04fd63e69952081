"""Draws what was found: the sheet of an outing, a burst, the curves of a plan, the field card.

Results and a decoder come in, files go out. This room decides nothing: every word and mark
repeats what a room below has said. It must not know who asked, nor how a result came about.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from haltere.show.burst_picture import draw_burst
    from haltere.show.card import make_card
    from haltere.show.curves import draw_plan
    from haltere.show.filing import file_away
    from haltere.show.hand_page import draw_hand
    from haltere.show.make import Sheet, make_sheet
    from haltere.show.outing import Outing, WorkedRun
    from haltere.show.season_page import draw_season
    from haltere.show.seen import see_plan

__all__ = [
    "Outing",
    "Sheet",
    "WorkedRun",
    "draw_burst",
    "draw_hand",
    "draw_plan",
    "draw_season",
    "file_away",
    "make_card",
    "make_sheet",
    "see_plan",
]

_HOMES = {
    "draw_burst": "burst_picture",
    "make_card": "card",
    "draw_plan": "curves",
    "draw_hand": "hand_page",
    "draw_season": "season_page",
    "file_away": "filing",
    "Sheet": "make",
    "make_sheet": "make",
    "see_plan": "seen",
    "Outing": "outing",
    "WorkedRun": "outing",
}


def __getattr__(name: str) -> Any:
    """Fetch a name when it is first used: the sheet needs every room, the field card only two."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
