"""The simulator: invented animals before a thin lens in an unsteady hand.

A seed and a few settings come in; picture files as a camera writes them and the truth about them
go out. It must not know how any picture is judged, aligned or merged.
"""

from __future__ import annotations

from haltere.scene.card import Card, CardRun, make_card
from haltere.scene.kits import Outfit, pick_outfit
from haltere.scene.sets import render_burst, render_single, render_sweep
from haltere.scene.truth import FrameTruth, Gap, Truth

__all__ = [
    "Card",
    "CardRun",
    "FrameTruth",
    "Gap",
    "Outfit",
    "Truth",
    "make_card",
    "pick_outfit",
    "render_burst",
    "render_single",
    "render_sweep",
]
