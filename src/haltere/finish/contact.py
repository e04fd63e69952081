"""A contact sheet: what was delivered, small, side by side, with names."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.finish.limits import DELIVERY


@dataclass(frozen=True, slots=True)
class Small:
    """One picture of a contact sheet: its name and its pixels, sRGB, no larger than `room_px`."""

    name: str
    codes: NDArray[np.uint8]


def room_px() -> tuple[int, int]:
    """Give the width and height that a picture has on a page.

    Returns
    -------
    tuple of int
        Pixels.
    """
    wide, high = DELIVERY.sheet_px
    letters = _letters_px()
    margin = 2 * DELIVERY.sheet_margin_px
    return (
        (wide - margin) // DELIVERY.sheet_columns - letters,
        (high - margin) // DELIVERY.sheet_rows - 3 * letters,
    )


def contact_pages(pictures: Sequence[Small]) -> tuple[bytes, ...]:
    """Draw pictures on pages.

    Parameters
    ----------
    pictures : sequence of Small
        In order.

    Returns
    -------
    tuple of bytes
        JPEG files, A4; they carry no shooting data and no place.
    """
    from PIL import Image, ImageDraw, ImageFont

    wide, high = DELIVERY.sheet_px
    margin, letters, room = DELIVERY.sheet_margin_px, _letters_px(), room_px()
    columns, a_page = DELIVERY.sheet_columns, DELIVERY.sheet_columns * DELIVERY.sheet_rows
    font = ImageFont.load_default(letters)
    count = -(-len(pictures) // a_page)
    pages = []
    for number in range(count):
        page = Image.new("RGB", (wide, high), (255, 255, 255))
        draw = ImageDraw.Draw(page)

        def long(text: str, draw: ImageDraw.ImageDraw = draw) -> float:
            return draw.textlength(text, font=font)

        for place, one in enumerate(pictures[number * a_page : (number + 1) * a_page]):
            x = margin + place % columns * (room[0] + letters)
            y = margin + place // columns * (room[1] + 3 * letters)
            small = Image.fromarray(one.codes)
            page.paste(small, (x + (room[0] - small.width) // 2, y + room[1] - small.height))
            line = _shortened(one.name, room[0], long)
            left = x + (room[0] - long(line)) / 2
            draw.text((left, y + room[1] + letters // 3), line, font=font, fill=(40, 40, 40))
        if count > 1:
            draw.text(
                (wide - margin, high - margin // 2), f"{number + 1} of {count}",
                font=font, fill=(90, 90, 90), anchor="rs",
            )  # fmt: skip
        buffer = io.BytesIO()
        page.save(buffer, "JPEG", quality=90, dpi=(200, 200))
        pages.append(buffer.getvalue())
    return tuple(pages)


def _letters_px() -> int:
    return max(18, DELIVERY.sheet_px[0] // 75)


def _shortened(name: str, room: int, long: Callable[[str], float]) -> str:
    """Cut the middle out of a name that is too long, so that number and suffix stay."""
    if long(name) <= room:
        return name
    keep = len(name) - 1
    while keep > 4 and long(name[: keep // 2] + "..." + name[-(keep - keep // 2) :]) > room:
        keep -= 1
    return name[: keep // 2] + "..." + name[-(keep - keep // 2) :]
