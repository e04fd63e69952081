"""How each frame of a pass moved on from the ones before: on, back, still, or with a jump."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from haltere.runs.run import Pass

Moved = Literal["on", "back", "still", "jump"]


@dataclass(frozen=True, slots=True)
class StepNumbers:
    """Numbers that name a step, in depths of field.

    Attributes
    ----------
    still : float
        A frame less far on than this shows the same plane again: about the error of a plane.
    back : float
        A frame this far behind the foremost one has fallen back.
    jump : float
        A step longer than this leaves a hole that counts: half a depth of field uncovered.
    """

    still: float = 0.15
    back: float = 0.2
    jump: float = 1.5


NUMBERS = StepNumbers()


@dataclass(frozen=True, slots=True)
class Step:
    """How one frame moved.

    Attributes
    ----------
    moved : {"on", "back", "still", "jump"}
        On: further along the pass; back: behind a plane reached before; still: the same plane
        again; jump: so far on that the depths between are held by neither.
    dof : float or None
        Way from the foremost plane so far, in depths of field, + = on; None for the first.
    why : str
        The same in words.
    """

    moved: Moved
    dof: float | None
    why: str


def steps_of(passes: Sequence[Pass], at_dof: Mapping[str, float]) -> dict[str, Step]:
    """Say of each placed frame how it moved on within its pass.

    Parameters
    ----------
    passes : sequence of Pass
        Passes in order of time.
    at_dof : mapping of str to float
        Planes by frame name, in depths of field; frames without one are left out.

    Returns
    -------
    dict of str to Step
        By frame name, placed frames only.
    """
    said: dict[str, Step] = {}
    for one in passes:
        sign = -1.0 if one.direction == "toward" else 1.0
        foremost: tuple[float, str] | None = None
        for name in one.frames:
            at = at_dof.get(name)
            if at is None:
                continue
            along = sign * at
            said[name] = _step(along, foremost)
            if foremost is None or along > foremost[0]:
                foremost = (along, name)
    return said


def _step(along: float, foremost: tuple[float, str] | None) -> Step:
    if foremost is None:
        return Step("on", None, "begins the pass")
    way, name = along - foremost[0], foremost[1]
    if way > NUMBERS.jump:
        hole = f"{way - 1:.1f} depths of field between them are held by neither"
        return Step("jump", way, f"jumps {way:.1f} depths of field on from {name}: {hole}")
    if way < -NUMBERS.back:
        return Step("back", way, f"falls back {-way:.1f} depths of field behind {name}")
    if way < NUMBERS.still:
        return Step("still", way, f"stands still at the plane of {name}")
    return Step("on", way, f"moves {way:.1f} depths of field on from {name}")
