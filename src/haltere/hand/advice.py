"""Two sentences on what to change, from what is known of a hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from haltere.hand.numbers import NUMBERS

if TYPE_CHECKING:
    from haltere.hand.groups import Group
    from haltere.hand.told import Causes, Moves, Pushes


def advise(
    moves: Moves | None,
    pushes: Pushes,
    causes: Causes | None,
    groups: Sequence[Group],
    bursts: int,
) -> tuple[str, ...]:
    """Say in two sentences how the hand does and what to change.

    Parameters
    ----------
    moves : Moves or None
        How it moves.
    pushes : Pushes
        How it pushes.
    causes : Causes or None
        What spoils frames.
    groups : sequence of Group
        Bursts by what they have in common.
    bursts : int
        How many were seen.

    Returns
    -------
    tuple of str
        First what is, then what helps most; a cause counts only where its whole interval lies
        beyond what is tolerated.
    """
    if moves is None:
        return (
            f"{bursts} judged burst{'' if bursts == 1 else 's'} tell nothing of a hand yet.",
            "Let haltere evening judge outings with bursts: from three on there are numbers.",
        )
    spread, low, high = moves.spread_mm.value, moves.spread_mm.low, moves.spread_mm.high
    first = (
        f"Your hand wanders by {spread:.2g} mm along the axis ({low:.2g} to {high:.2g}) and "
        f"forgets where it was in {moves.sway_s.value:.2g} s."
    )
    return first, _second(moves, pushes, causes, groups)


def _second(moves: Moves, pushes: Pushes, causes: Causes | None, groups: Sequence[Group]) -> str:
    if causes is not None and causes.misfire.low > NUMBERS.misfired:
        return (
            f"{100 * causes.misfire.value:.0f} % of your frames come without flash: use less power "
            "or a slower rate, before anything else."
        )
    if causes is not None and causes.motion.low > NUMBERS.smeared:
        return (
            f"{100 * causes.motion.value:.0f} % of your frames are smeared: a shorter flash, or "
            "more shade on the animal, saves more than a longer burst."
        )
    bias = moves.bias_mm
    if bias.low > 0 or bias.high < 0:
        side, way = ("behind", "back") if bias.value > 0 else ("in front of", "forward")
        if abs(bias.value) > 0.3 * moves.spread_mm.value:
            return (
                f"On average you focus {abs(bias.value):.1f} mm {side} the eye: lean {way} by that "
                "much before you press."
            )
    supports = [one for one in groups if one.by == "support" and one.spread_mm is not None]
    if len(supports) > 1:
        best = min(supports, key=lambda one: one.spread_mm.value if one.spread_mm else 0.0)
        worst = max(supports, key=lambda one: one.spread_mm.value if one.spread_mm else 0.0)
        if best.spread_mm and worst.spread_mm and best.spread_mm.high < worst.spread_mm.low:
            return (
                f"With {best.name} it is {best.spread_mm.value:.1f} mm, with {worst.name} "
                f"{worst.spread_mm.value:.1f} mm: take {best.name} along."
            )
    if pushes.step_dof is not None and pushes.step_dof.low > 0.8:
        slower = 0.6 / pushes.step_dof.value
        return (
            f"In sweeps you step {pushes.step_dof.value:.1f} depths of field: go at "
            f"{100 * slower:.0f} % of that speed."
        )
    needed = [one for one in groups if one.by == "magnification"]
    usual = max(needed, key=lambda one: one.bursts, default=None)
    if usual is not None and usual.frames_for_95 is not None:
        most = "many more" if usual.frames_high is None else f"{usual.frames_high}"
        return (
            f"At {usual.name.removeprefix('about ')} a burst of {usual.frames_for_95} frames "
            f"({usual.frames_low} to {most}) has the eye sharp in 95 of 100 cases."
        )
    if usual is not None:
        return (
            f"At {usual.name.removeprefix('about ')} no burst is long enough for 95 of 100: rest "
            "the hand, or close the aperture."
        )
    return "Give a magnification with the kit, and the length of a burst is told, too."
