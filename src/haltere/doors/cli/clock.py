"""haltere clock: how wrong a camera's clock is."""

from __future__ import annotations

import re
from dataclasses import asdict
from pathlib import Path

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.options import json_option
from haltere.errors import UsageError

_SHIFT = re.compile(r"([+-]?)(\d{1,7}):([0-5]\d):([0-5]\d)", re.ASCII)


@click.command(
    short_help="Tell how wrong a camera's clock is.",
    epilog="Example: haltere clock --camera 0012345 --shift -1:00:00",
    context_settings={"ignore_unknown_options": False},
)
@click.option("--camera", "serial", metavar="SERIAL", help="The body's serial number.")
@click.option(
    "--shift", metavar="[-]H:MM:SS", help="What to add to its times; 0:00:00 trusts it again."
)
@book_option
@json_option
def clock(serial: str | None, shift: str | None, book_folder: Path | None, as_json: bool) -> None:
    """Tell the field book what to add to a camera's times, or list what it knows.

    No file is touched. Setting another shift undoes this one.
    """
    if (serial is None) != (shift is None):
        raise UsageError("--camera and --shift go together; leave both out to list the cameras")
    seconds = None if shift is None else seconds_of(shift)
    from haltere.doors.cli import saying
    from haltere.evening import as_json as written
    from haltere.fieldbook.clock import clocks, set_clock

    with opened(book_folder) as book:
        before = None if serial is None or seconds is None else set_clock(book, serial, seconds)
        known = clocks(book)
    if as_json:
        said: dict[str, object] = {"before_s": before, "cameras": [asdict(one) for one in known]}
        saying.say_json(written(said))
        return
    if before is not None and seconds is not None:
        saying.say(f"Camera {serial}: {shift_words(seconds)} from now on.")
        saying.say(f"  Before, {shift_words(before)}. Setting that again undoes this.")
        if not any(one.serial == serial and one.frames for one in known):
            saying.say(
                "  No frame in the book is of this camera; it holds for those that you unload "
                "next. haltere clock lists the numbers it knows."
            )
        return
    if not known:
        saying.say("The field book knows no camera yet.")
    for one in known:
        saying.say(f"{one.serial}: {shift_words(one.shift_s)}; {one.frames} frames")


def seconds_of(text: str, option: str = "--shift") -> float:
    """Read a shift.

    Raises
    ------
    UsageError
        When it is none.
    """
    match = _SHIFT.fullmatch(text.strip())
    if match is None:
        raise UsageError(f"{option} {text}: give hours, minutes and seconds, for example -1:00:00")
    seconds = int(match[2]) * 3600 + int(match[3]) * 60 + int(match[4])
    return float(-seconds if match[1] == "-" else seconds)


def shift_words(seconds: float) -> str:
    """Say what is added to a camera's times."""
    if seconds == 0:
        return "its clock is trusted (0:00:00)"
    whole = round(abs(seconds))
    sign = "-" if seconds < 0 else ""
    said = f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{said} is added to its times"
