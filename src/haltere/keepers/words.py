"""Rank and verdict in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from haltere.keepers.faults import chance_beyond
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.verdict import JudgedFrame, Verdict

_SPOILED = {"motion", "dark", "off-frame", "hidden"}


def spoiled(frame: JudgedFrame) -> bool:
    """Whether a frame is lost for another reason than its plane.

    Parameters
    ----------
    frame : JudgedFrame
        Frame with its faults.
    """
    return any(f.kind in _SPOILED and f.confidence >= 0.5 for f in frame.faults)


def best_first(frames: Sequence[JudgedFrame]) -> list[int]:
    """Give places of frames from the best to the worst, repeats not yet told apart.

    Parameters
    ----------
    frames : sequence of JudgedFrame
        In order of time.

    Returns
    -------
    list of int
        Keepers by distance from the eye, then the others, spoiled ones last.
    """

    def key(place: int) -> tuple[bool, bool, float, float, int]:
        f = frames[place]
        off = abs(f.eye_offset_dof) if f.eye_offset_dof is not None else 99.0
        return (not f.keeper, spoiled(f), off, -f.sharpness, place)

    return sorted(range(len(frames)), key=key)


def ranked(frames: Sequence[JudgedFrame]) -> tuple[JudgedFrame, ...]:
    """Order frames: one keeper of each pose, keepers that repeat them, then the others.

    Parameters
    ----------
    frames : sequence of JudgedFrame
        In order of time, `like` told.

    Returns
    -------
    tuple of JudgedFrame
        With their ranks; the first is the best keeper. Frames that are none stay in order of
        their distance from the eye: of those the nearest is wanted, not the most different.
    """
    best = [frames[place] for place in best_first(frames)]
    firsts = [f for f in best if f.keeper and f.like is None]
    behind = [f for f in best if f.keeper and f.like is not None]
    others = [f for f in best if not f.keeper]
    order = [*firsts, *behind, *others]
    return tuple(replace(f, rank=k) for k, f in enumerate(order, start=1))


def told_only(frame: JudgedFrame) -> JudgedFrame:
    """Leave out an offset that is no more than a guess; its uncertainty stays.

    Parameters
    ----------
    frame : JudgedFrame
        Ranked by what is known.
    """
    if (frame.uncertainty_dof or 0.0) <= NUMBERS.untold_dof:
        return frame
    return replace(frame, eye_offset_mm=None, eye_offset_dof=None)


def verdict_of(
    frames: Sequence[JudgedFrame],
    chance: float,
    given: bool,
    measured: bool,
    animals: int = 1,
    *,
    bare: bool = False,
) -> Verdict:
    """Say whether one of the frames is sharp on the eye.

    Parameters
    ----------
    frames : sequence of JudgedFrame
        In rank order.
    chance : float
        How sure the eye is.
    given : bool
        Whether the photographer pointed at it.
    measured : bool
        Whether its depth could be measured.
    animals : int
        How many animals were seen.
    bare : bool
        Whether no frame shows more than noise on the eye.
    """
    said = _said(frames, chance, given, measured, bare)
    return among(said, animals) if animals > 1 and not given else said


def among(said: Verdict, animals: int) -> Verdict:
    """Add to a verdict that there are other animals.

    Parameters
    ----------
    said : Verdict
        What was said of the main one.
    animals : int
        How many there are.
    """
    return replace(said, text=f"{said.text} There are {animals} animals; this is the main one.")


def _said(
    frames: Sequence[JudgedFrame], chance: float, given: bool, measured: bool, bare: bool
) -> Verdict:
    if not measured:
        return Verdict(
            "unsure",
            "too few frames can be compared, or the eye shows no detail in any of them: "
            "look for yourself.",
        )
    if not given and chance < NUMBERS.sure:
        return Verdict(
            "unsure",
            f"no place looks clearly like an eye; judged at the likeliest one, {frames[0].frame} "
            "is sharpest: point at the eye to be sure.",
        )
    best = frames[0]
    sigma = best.uncertainty_dof or 0.0
    missed = chance_beyond(best.eye_offset_dof or 0.0, sigma) > NUMBERS.surely_lost
    if bare or (best.keeper and missed):
        return Verdict("none", "none of these shows detail on the eye as a sharp frame would.")
    if best.keeper and sigma > NUMBERS.vague_dof:
        return Verdict(
            "unsure",
            f"{best.frame} may be sharp on the eye, but too little there tells how far its plane "
            "lies from it: look for yourself.",
        )
    if best.keeper:
        others = sum(f.keeper for f in frames) - 1
        more = f", and {others} more" if others else ""
        return Verdict("keeper", f"{best.frame} is sharp on the eye{more}.")
    clean = [f for f in frames if not spoiled(f) and f.eye_offset_dof is not None]
    if not clean:
        return Verdict("none", "none of these can be kept: every frame is dark, smeared or misses.")
    near = min(clean, key=lambda f: abs(f.eye_offset_dof or 0.0))
    if (near.uncertainty_dof or 0.0) > NUMBERS.untold_dof:
        return Verdict(
            "unsure",
            "the eye shows too little detail to tell how far the planes miss it: "
            "look for yourself.",
        )
    if _may_be_near(near):
        return Verdict(
            "unsure",
            f"{near.frame} may be sharp on the eye, as nearly as can be told: look for yourself.",
        )
    return Verdict("none", f"none of these is sharp on the eye: {_nearest_words(near)}.")


def _may_be_near(frame: JudgedFrame) -> bool:
    """Whether a frame that is no keeper is so by a doubtful margin only."""
    sigma = frame.uncertainty_dof or 0.0
    return chance_beyond(frame.eye_offset_dof or 0.0, sigma) < NUMBERS.lost


def _nearest_words(near: JudgedFrame) -> str:
    off = near.eye_offset_dof or 0.0
    side = "behind it" if off > 0 else "before it"
    if near.eye_offset_mm is not None:
        size = f"{abs(near.eye_offset_mm):.2g} mm"
    else:
        size = f"{abs(off):.1f} depths of field"
    return f"the plane of the nearest, {near.frame}, lies {size} {side}"
