"""What the picture of a sweep says beside its drawings."""

from __future__ import annotations

from haltere.show import words
from haltere.show.colours import Ink
from haltere.show.drawing import ShapeKind
from haltere.show.ladder_time import sign_of_pass
from haltere.sweeps.coverage import Coverage


def title(coverage: Coverage) -> str:
    """Name a sweep by its frames.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    """
    names = [plane.frame for plane in coverage.planes]
    if len(names) < 2:
        return "".join(names)
    return f"{words.counted(len(names), 'frame')}, {names[0]} to {names[-1]}"


def push_lines(coverage: Coverage) -> list[str]:
    """Say what else is worth knowing, a sentence each: choice, push, sway.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    """
    lines = []
    if coverage.choice is not None and coverage.choice.frames:
        few, all_ = len(coverage.choice.frames), len(coverage.planes)
        lines.append(f"{few} of {words.counted(all_, 'frame')} hold all that this sweep holds.")
    push = coverage.push
    if push is None:
        return lines
    if push.step_dof is not None:
        step = f"{push.step_dof:.2f} depths of field"
        if push.step_mm is not None:
            step = f"{push.step_mm:.2f} mm ({push.step_dof:.2f} depths of field)"
        spread = "" if push.unevenness is None else f", uneven by {100 * push.unevenness:.0f} %"
        lines.append(f"Mean step {step}{spread}.")
    lines.append(push.advice)
    return lines


def signs(coverage: Coverage) -> list[tuple[ShapeKind, Ink, str]]:
    """List what the signs mean, as far as they occur.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    """
    shown: list[tuple[ShapeKind, Ink, str]] = []
    for number, one in enumerate(coverage.passes):
        kind, ink = sign_of_pass(number)
        way = {"away": ", away from you", "toward": ", toward you"}.get(one.direction, "")
        shown.append((kind, ink, f"pass {number + 1}{way}"))
    if any(not plane.usable for plane in coverage.planes):
        shown.append(("cross", "warn", "can't be used"))
    return shown


def bars_said(coverage: Coverage) -> str:
    """Say what the bars mean.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    """
    dof = coverage.depth_of_field_mm
    size = "" if dof is None else f", {dof:.2f} mm"
    text = f"Each bar is one frame's depth of field{size}; the sign in it is its plane of focus."
    if coverage.choice is not None:
        text += " Filled: suffice together. Thin: not needed."
    if coverage.eye is not None:
        text += " Dashed line: the eye."
    return f"{text} 0 is the reference frame, {coverage.reference}."
