"""How a number of the plan came about, told with this kit's own numbers."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.kit import Kit
    from haltere.plan.plan import Plan
    from haltere.plan.wishes import Wishes


@dataclass(frozen=True, slots=True)
class Explanation:
    """One number of the plan, explained.

    Attributes
    ----------
    key : str
        Its place in the JSON, with dots: "flash.power".
    title : str
        What it answers, in a photographer's words.
    formula : str
        In symbols, or in words where no formula is short.
    filled : callable
        The formula with this plan's numbers put in.
    inputs : tuple of str
        Numbers it rests on: attributes of Kit ("kit.focal_mm") and Wishes ("wishes.depth_mm").
    assumption : str or callable
        The one that matters most; where it depends on the kit, told from the plan.
    source : str
        Where the formula comes from.
    """

    key: str
    title: str
    formula: str
    filled: Callable[[Plan], str]
    inputs: tuple[str, ...]
    assumption: str | Callable[[Plan], str]
    source: str


@dataclass(frozen=True, slots=True)
class Move:
    """What the number does when one input moves.

    Attributes
    ----------
    name : str
        The input: "kit.focal_mm".
    value : float
        Its value here.
    up, down : float or None
        The number when the input is 10 % larger and 10 % smaller; None where the kit can't.
    """

    name: str
    value: float
    up: float | None
    down: float | None


@dataclass(frozen=True, slots=True)
class Why:
    """The answer to "why this number?".

    Attributes
    ----------
    key, title, formula, filled, assumption, source : str
        As in `Explanation`, `filled` as text.
    value : object
        The number itself.
    moves : tuple of Move
        How it answers to its inputs.
    """

    key: str
    title: str
    formula: str
    filled: str
    value: Any
    moves: tuple[Move, ...]
    assumption: str
    source: str


SHARE = 0.1
SAME = {
    "f_number": "f_number_marked",
    "settings.single.f_number": "best_f_number",
    "settings.sweep.f_number": "sweep_f_number",
    "flash_power": "flash.power_step",
    "sharpness.f_number": "f_number_marked",
}
"""Numbers that go by two names."""


def explanations() -> dict[str, Explanation]:
    """Give every explanation by its key.

    Returns
    -------
    dict
        In the order of the chapters.
    """
    from haltere.plan import (
        ambient,
        aperture,
        burst,
        crop,
        flash,
        hours,
        lens_told,
        motion,
        sharpness,
        sweep,
    )
    from haltere.plan.given import EXPLANATIONS as OF_GIVEN

    chapters = (
        OF_GIVEN,
        lens_told.EXPLANATIONS,
        sharpness.EXPLANATIONS,
        aperture.EXPLANATIONS,
        sweep.EXPLANATIONS,
        burst.EXPLANATIONS,
        flash.EXPLANATIONS,
        ambient.EXPLANATIONS,
        motion.EXPLANATIONS,
        crop.EXPLANATIONS,
        hours.EXPLANATIONS,
    )
    return {one.key: one for chapter in chapters for one in chapter}


def why(kit: Kit, wishes: Wishes, word: str) -> Why:
    """Explain one number of a plan.

    Parameters
    ----------
    kit : Kit
        What the photographer owns.
    wishes : Wishes
        What is to be photographed.
    word : str
        The number's key: "airy_um", "flash.power"; its last part is enough where it is unique.

    Returns
    -------
    Why
        Formula with these numbers, what it rests on, and how it moves.

    Raises
    ------
    UsageError
        When there is no such number.
    """
    from haltere.plan.make import make_plan
    from haltere.plan.told import as_dict

    known = explanations()
    plan = make_plan(kit, wishes)
    for setting, at in (("single", plan.single), ("sweep", plan.sweep)):
        start = f"settings.{setting}."
        if word.startswith(start) and word != f"{start}f_number":
            word = word.removeprefix(start)
            plan = make_plan(kit, replace(wishes, f_number=at.f_number))
    one = known[key_named(word, known)]
    pinned = replace(wishes, f_number=plan.chosen.f_number)

    def answer(kit_now: Kit, wishes_now: Wishes) -> float | None:
        try:
            number = at_path(as_dict(make_plan(kit_now, wishes_now)), one.key)
        except UsageError:
            return None
        return number if isinstance(number, (int, float)) else None

    moves = []
    for name in one.inputs:
        base = _base(plan, name)
        if base is None:
            continue
        up, down = (
            answer(*_moved(kit, pinned, name, base * (1.0 + share))) for share in (SHARE, -SHARE)
        )
        moves.append(Move(name, base, up, down))
    return Why(
        one.key,
        one.title,
        one.formula,
        one.filled(plan),
        at_path(as_dict(plan), one.key),
        tuple(moves),
        one.assumption if isinstance(one.assumption, str) else one.assumption(plan),
        one.source,
    )


def key_named(word: str, known: Mapping[str, Explanation]) -> str:
    """Find the number that a word means.

    Parameters
    ----------
    word : str
        A key, the last part of one, or the start of one.
    known : mapping
        Explanations by key.

    Returns
    -------
    str
        The key.

    Raises
    ------
    UsageError
        When none or several fit; names near ones.
    """
    wanted = word.strip().lower().replace("-", "_")
    wanted = SAME.get(wanted, wanted)
    for setting in ("settings.single.", "settings.sweep."):
        wanted = wanted.removeprefix(setting)
    wanted = SAME.get(wanted, wanted)
    if wanted in known:
        return wanted
    above = wanted
    while "." in above:  # a number of a table is explained with its table
        above = above.rpartition(".")[0]
        if above in known:
            return above
    last = wanted.rpartition(".")[2]
    fits = [key for key in known if key.rpartition(".")[2] == last]
    fits = fits or [key for key in known if key.rpartition(".")[2].startswith(last)]
    if len(fits) == 1:
        return fits[0]
    if fits:
        raise UsageError(f"--why {word}: fits several numbers; try {', '.join(fits)}")
    near = _near(wanted, last, known)
    cure = f"try {', '.join(near)}" if near else "--json lists them"
    raise UsageError(f"--why {word}: is no number of the plan; {cure}")


def _near(wanted: str, last: str, known: Mapping[str, Explanation]) -> list[str]:
    """Find keys that are spelt alike, as a whole or in their last part."""
    ends = {key.rpartition(".")[2]: key for key in reversed(list(known))}
    whole = difflib.get_close_matches(wanted, known, n=3, cutoff=0.7)
    parts = difflib.get_close_matches(last, ends, n=3, cutoff=0.7)
    return list(dict.fromkeys([*whole, *(ends[part] for part in parts)]))[:3]


def at_path(document: Mapping[str, Any], key: str) -> Any:
    """Take a value from nested dictionaries.

    Parameters
    ----------
    document : mapping
        As `as_dict` gives it.
    key : str
        With dots.

    Returns
    -------
    object
        None where a part of the way is missing.
    """
    value: Any = document
    for part in key.split("."):
        value = value.get(part) if isinstance(value, dict) else None
    return value


def _base(plan: Plan, name: str) -> float | None:
    """Give an input's number here, with what stands in for it."""
    start = plan.given
    stands: dict[str, float] = {
        "wishes.magnification": start.lens.magnification,
        "wishes.f_number": plan.chosen.f_number,
        "wishes.iso": start.iso,
        "wishes.shutter_s": start.shutter_s,
        "wishes.unevenness": start.unevenness,
        "kit.push_unevenness": start.unevenness,
        "kit.coc_mm": start.coc_mm,
        "kit.burst_fps": start.rate_fps,
        "kit.height_px": start.picture_px[1],
    }
    if name in stands:
        return stands[name]
    where, field = name.split(".", 1)
    value = getattr(start.kit if where == "kit" else start.wishes, field)
    return value if isinstance(value, (int, float)) and value != 0 else None


def _moved(kit: Kit, wishes: Wishes, name: str, value: float) -> tuple[Kit, Wishes]:
    where, field = name.split(".", 1)
    changed: dict[str, Any] = {field: value}
    if field == "width_px" and kit.width_px:  # the sensor keeps its shape
        changed["height_px"] = None
    if field == "coc_mm":
        wishes = replace(wishes, coc_rule="given")
    if field == "unevenness":
        kit = replace(kit, push_unevenness=None)
    if where == "kit":
        return replace(kit, **changed), wishes
    return kit, replace(wishes, **changed)
