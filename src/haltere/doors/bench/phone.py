"""Addresses of the phone: the code that lets one in, and who has joined."""

from __future__ import annotations

import io

from fastapi import APIRouter, Request, Response
from starlette.exceptions import HTTPException

from haltere.doors.bench.guard import ONLY_LOOKS, PHONE
from haltere.doors.bench.pairing import Pairing
from haltere.doors.bench.said import PhoneSaid
from haltere.errors import UsageError

NO_PHONE = "This bench is for this computer only; open it with haltere open --lan for a phone."

routes = APIRouter(prefix="/api/phone", tags=["phone"])


class Svg(Response):
    """A drawing."""

    media_type = "image/svg+xml"


@routes.get("")
def phone(request: Request) -> PhoneSaid:
    """Tell whether this page only looks, and whether a phone may join."""
    pairing: Pairing | None = request.app.state.phone
    if request.scope.get(PHONE, False):
        return PhoneSaid(True, False, "", "", 0, 0)
    if pairing is None:
        return PhoneSaid(False, False, "", "", 0, 0)
    return PhoneSaid(
        False, True, pairing.host, pairing.fingerprint, round(pairing.left_s), pairing.phones
    )


@routes.post("/invite")
def invite(request: Request) -> PhoneSaid:
    """Make a new code; the one before works no more."""
    _pairing(request).invite()
    return phone(request)


@routes.get("/code", response_class=Svg)
def code(request: Request) -> Response:
    """Give the code as a drawing that a phone reads."""
    link = _pairing(request).link
    if link is None:
        raise UsageError("The code was used or is too old; make a new one.")
    import segno

    drawn = io.BytesIO()
    segno.make(link, error="m", micro=False).save(
        drawn, kind="svg", scale=8, border=4, dark="#000", light="#fff", svgclass=None,
        lineclass=None,
    )  # fmt: skip
    return Svg(drawn.getvalue())


def _pairing(request: Request) -> Pairing:
    if request.scope.get(PHONE, False):
        raise HTTPException(403, ONLY_LOOKS)
    pairing: Pairing | None = request.app.state.phone
    if pairing is None:
        raise UsageError(NO_PHONE)
    return pairing


def for_terminal(link: str) -> str:
    """Draw the code with letters, two rows of it in a line, dark on light whatever the theme.

    Parameters
    ----------
    link : str
        What it says.
    """
    import segno

    rows = [bytes(row) for row in segno.make(link, error="l", micro=False).matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append(bytes(len(rows[0])))
    signs = {(0, 0): " ", (1, 0): "\u2580", (0, 1): "\u2584", (1, 1): "\u2588"}
    lines = []
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        drawn = "".join(signs[bool(a), bool(b)] for a, b in zip(upper, lower, strict=True))
        lines.append(f"\x1b[38;5;16;48;5;231m{drawn}\x1b[0m")
    return "\n".join(lines)
