"""Options that say where the eye is, and what they mean to the rooms below."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from haltere.doors.cli.options import frame_named
from haltere.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from haltere.frames.frame import Frame

Verb = TypeVar("Verb", bound=Callable[..., Any])
Point = tuple[float, float]


def eye_options(verb: Verb) -> Verb:
    """Add --eye and --eye-frame to a verb."""
    for option in (
        click.option("--eye-frame", metavar="FILE", help="The frame in which --eye was read."),
        click.option(
            "--eye",
            metavar="X,Y",
            help="The eye in one frame, in full-size pixels of the upright picture.",
        ),
    ):
        verb = option(verb)
    return verb


def eye_point(eye: str | None, eye_frame: str | None) -> Point | None:
    """Read 'X,Y', before any picture is read; None where no eye was given.

    Raises
    ------
    UsageError
        When it is not two numbers, or a frame was named without them.
    """
    if eye is None:
        if eye_frame is not None:
            raise UsageError("--eye-frame says where --eye was read; give --eye X,Y as well.")
        return None
    try:
        x_px, y_px = (float(part) for part in eye.split(","))
    except ValueError:
        raise UsageError(f"--eye {eye} is not a point; give X,Y such as 1310,842.") from None
    if not (math.isfinite(x_px) and math.isfinite(y_px)):
        raise UsageError(f"--eye {eye} is not a point; give X,Y such as 1310,842.")
    return x_px, y_px


def eye_frame_named(
    frames: Sequence[Frame], point: Point | None, eye_frame: str | None
) -> str | None:
    """Name the frame in which the eye was read; None where no eye was given.

    Raises
    ------
    UsageError
        When no frame goes by that name, or the eye lies outside it.
    """
    if point is None:
        return None
    if eye_frame is None and len(frames) > 1:
        raise UsageError("--eye needs --eye-frame FILE: the frame in which it was read.")
    frame = frames[0] if eye_frame is None else frame_named(frames, eye_frame, "--eye-frame")
    if not (0 <= point[0] <= frame.width_px - 1 and 0 <= point[1] <= frame.height_px - 1):
        raise UsageError(
            f"--eye {point[0]:g},{point[1]:g} lies outside {frame.name}, which is "
            f"{frame.width_px} x {frame.height_px} px; read it in the upright full-size picture."
        )
    return frame.name
