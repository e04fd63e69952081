"""Letters that a terminal can't show are written with those that it can."""

from __future__ import annotations

import codecs
import io
import sys

# only what haltere itself says; letters of names become a question mark
_PLAINLY = {
    "µ": "u", "±": "+-", "×": "x", "·": "-", "–": "-", "—": "-", "−": "-", "…": "...",
    "°": " deg", "→": "->", "“": '"', "”": '"', "’": "'",
}  # fmt: skip
NAME = "haltere-plain"


def plainly(error: UnicodeError) -> tuple[str, int]:
    """Write letters plainly that an encoding lacks.

    Parameters
    ----------
    error : UnicodeError
        Which letters, of what.

    Returns
    -------
    str, int
        What is written instead, and where to go on.
    """
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(_PLAINLY.get(letter, "?") for letter in lacking), error.end


def speak_plainly() -> None:
    """Let the answer come whole on terminals that know fewer letters."""
    codecs.register_error(NAME, plainly)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=NAME)
