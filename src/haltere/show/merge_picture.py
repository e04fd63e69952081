"""A merged picture with the places to look at first: numbered boxes, and a walk through them."""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from PIL import Image

from haltere.frames import Frame
from haltere.merge.merged import Merge, Suspicious
from haltere.show import words
from haltere.show.bursts import said
from haltere.show.colours import NIGHT
from haltere.show.drawing import Box, Drawing, Mark, Text, text_width
from haltere.show.filing import file_away, refuse_picture
from haltere.show.paint import Canvas
from haltere.show.pictures import data_uri, with_profile
from haltere.show.style import opened
from haltere.show.svg import svg

ENDINGS = (".png", ".html", ".htm")
LOOK_PX = 1400
WIDE, SLIM = 1040.0, 560.0
CLOSE_PX = 320
EDGE = 36


@dataclass(frozen=True, slots=True)
class Close:
    """A place at full size.

    Attributes
    ----------
    picture : Image
        The place with some room around it.
    part : float
        Size over full size; 1 unless the place is larger than what is shown.
    """

    picture: Image.Image
    part: float


def refuse(path: Path, frames: Sequence[Frame]) -> None:
    """Refuse a file that the places can't be drawn to, before any work is done.

    Parameters
    ----------
    path : Path
        PNG or HTML file to write.
    frames : sequence of Frame
        The frames, which are never written over.

    Raises
    ------
    UsageError
        When the file's name ends in something else, or it is one of the frames.
    """
    refuse_picture(path, frames, ENDINGS, "a PNG or an HTML page")


def draw_merge(merge: Merge, folder: Path, path: Path) -> Path:
    """Draw a merged picture with numbered boxes, and every place at full size.

    Parameters
    ----------
    merge : Merge
        As merged.
    folder : Path
        Folder that `merge` names its files against.
    path : Path
        PNG or HTML file to write.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    UsageError
        When the file's name ends in something else.
    WriteError
        When it can't be written.
    """
    refuse(path, ())
    with warnings.catch_warnings():
        # a picture of our own may be large
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        picture = Image.open(folder / merge.picture_jpeg)
    with picture:
        icc = picture.info.get("icc_profile")
        whole = with_profile(picture.convert("RGB"), icc if isinstance(icc, bytes) else None)
    look = whole.copy()
    look.thumbnail((LOOK_PX, LOOK_PX), Image.Resampling.LANCZOS)
    closes = [_close(whole, _in_picture(spot, merge)) for spot in merge.suspicious]
    if path.suffix.lower() == ".png":
        return file_away(path, merge_png(merge, look, whole.size, closes))
    return file_away(path, merge_page(merge, look, whole.size, closes).encode())


def _in_picture(spot: Suspicious, merge: Merge) -> tuple[float, float, float, float]:
    x0, y0 = merge.crop_px[:2]
    return (
        spot.box_px[0] - x0, spot.box_px[1] - y0, spot.box_px[2] - x0, spot.box_px[3] - y0,
    )  # fmt: skip


def _close(whole: Image.Image, box: tuple[float, float, float, float]) -> Close:
    x0, y0, x1, y1 = box
    side = max(x1 - x0, y1 - y0, CLOSE_PX * 0.6) * 1.25
    side = min(max(side, CLOSE_PX), whole.width, whole.height)
    left = min(max((x0 + x1 - side) / 2, 0), whole.width - side)
    top = min(max((y0 + y1 - side) / 2, 0), whole.height - side)
    crop = whole.crop((round(left), round(top), round(left + side), round(top + side)))
    part = min(1.0, CLOSE_PX / side)
    if part < 1:
        crop = crop.resize((CLOSE_PX, CLOSE_PX), Image.Resampling.LANCZOS)
    return Close(crop, part)


def places_drawn(merge: Merge, size_px: tuple[int, int], width: float) -> Drawing:
    """Draw numbered boxes over the merged picture.

    Parameters
    ----------
    merge : Merge
        As merged.
    size_px : tuple of int
        Width and height of the merged picture.
    width : float
        Width in units that it is seen at.
    """
    scale = width / size_px[0]
    height = size_px[1] * scale
    marks: list[Mark] = []
    labels: list[Mark] = []
    taken: list[tuple[float, float]] = []
    for number, spot in enumerate(merge.suspicious, 1):
        x0, y0, x1, y1 = (at * scale for at in _in_picture(spot, merge))
        marks += [
            Box(x0, y0, x1, y1, outline="paper", width=3.6),
            Box(x0, y0, x1, y1, outline="warn", width=1.8, dashed=spot.kind == "gap"),
        ]
        label = str(number)
        wide = text_width(label, 13) + 9
        x = min(max(x0, 1.0), width - wide - 1)
        y = min(max(y0 - 21, 1.0), height - 21)
        while any(abs(y - b) < 20 and abs(x - a) < wide for a, b in taken):
            x += wide + 1
            if x > width - wide:
                x, y = min(max(x0, 1.0), width - wide - 1), y + 21
        taken.append((x, y))
        labels += [
            Box(x, y, x + wide, y + 19, fill="paper", outline="warn"),
            Text(x + wide / 2, y + 14, label, 13, "warn", "middle", bold=True),
        ]
    told = "; ".join(f"{n}: {spot.text}" for n, spot in enumerate(merge.suspicious, 1))
    alt = f"The merged picture, boxes where to look first. {told}"
    return Drawing(width, height, tuple(marks + labels), alt)


def _head(merge: Merge) -> tuple[str, str]:
    count = len(merge.suspicious)
    if not count:
        return "No place stands out", "Look at the feelers and the eyes all the same."
    places = words.counted(count, "place")
    text = (
        "Boxes are where the frames contradict each other or the picture can't be whole; the "
        "rest may still hold a flaw."
    )
    return f"{places} to look at first", text


def _facts(merge: Merge) -> str:
    left = f", {words.counted(len(merge.left_out), 'frame')} left out" if merge.left_out else ""
    return (
        f"{words.counted(len(merge.frames_used), 'frame')} merged{left}; view of "
        f"{merge.reference}, of which {100 * merge.kept_share:.0f} % is kept"
    )


def _where(spot: Suspicious, merge: Merge) -> str:
    x0, y0, x1, y1 = (round(v) for v in _in_picture(spot, merge))
    return f"x {x0} to {x1}, y {y0} to {y1}"


def _size(close: Close) -> str:
    return "full size" if close.part == 1 else f"{100 * close.part:.0f} % of full size"


# ------------------------------------------------------------------ as a page


def merge_page(
    merge: Merge, look: Image.Image, size_px: tuple[int, int], closes: Sequence[Close]
) -> str:
    """Write the walk as a page that needs nothing but itself.

    Parameters
    ----------
    merge : Merge
        As merged.
    look : Image
        The merged picture, small.
    size_px : tuple of int
        Its size at full size.
    closes : sequence of Close
        Each place.
    """
    head, text = _head(merge)
    wide = svg(places_drawn(merge, size_px, WIDE), "wide")
    slim = svg(places_drawn(merge, size_px, SLIM), "slim")
    cards = "".join(
        f'<figure><img src="{data_uri(close.picture)}" width="{close.picture.width}" '
        f'height="{close.picture.height}" alt=""><figcaption><span class="bad">{number} '
        f"{words.SUSPICION_WORDS[spot.kind]}</span><br>{escape(spot.text)}<br>"
        f'<span class="soft">{_where(spot, merge)}; {_size(close)}</span></figcaption></figure>'
        for number, (spot, close) in enumerate(zip(merge.suspicious, closes, strict=True), 1)
    )
    left = "".join(
        f"<tr><td>{escape(one.frame)}</td><td>{escape(one.why)}</td></tr>" for one in merge.left_out
    )
    figure = (
        f'<figure><span class="spot"><img src="{data_uri(look)}" width="{look.width}" '
        f'height="{look.height}" alt="">{wide}{slim}</span>'
        f"<figcaption>{escape(_facts(merge))}</figcaption></figure>"
    )
    count = words.counted(len(merge.left_out), "frame")
    details = (
        f'<details><summary class="small">{count} left out, and why</summary>'
        f"<table>{left}</table></details>"
        if left
        else ""
    )
    return "\n".join(
        (
            opened("Merged: where to look first", _RULES, alone=True),
            "<h1>Where to look first</h1></header>",
            said(head, text, not merge.suspicious),
            figure,
            f'<div class="walk">{cards}</div>',
            details,
            "</main></body></html>\n",
        )
    )


_RULES = (
    ".walk{display:grid;grid-template-columns:repeat(auto-fill,minmax(240px,1fr));gap:24px;"
    "margin:28px 0}.walk img{aspect-ratio:1;object-fit:cover}"
    "@media (max-width:820px){.walk{grid-template-columns:1fr 1fr;gap:16px 12px}}"
)


# --------------------------------------------------------------- as a picture


def merge_png(
    merge: Merge, look: Image.Image, size_px: tuple[int, int], closes: Sequence[Close]
) -> bytes:
    """Compose the walk as one picture.

    Parameters
    ----------
    merge : Merge
        As merged.
    look : Image
        The merged picture, small.
    size_px : tuple of int
        Its size at full size.
    closes : sequence of Close
        Each place.

    Returns
    -------
    bytes
        A PNG file.
    """
    over = places_drawn(merge, size_px, WIDE)
    columns, apart = 4, 20.0
    each = (WIDE - (columns - 1) * apart) / columns
    wide = WIDE + 2 * EDGE
    rows = -(-len(closes) // columns)
    canvas = Canvas(wide, over.height + 260 + rows * (each + 190), NIGHT, 2)
    head, text = _head(merge)
    y = canvas.paragraph("Where to look first", EDGE, EDGE - 12, WIDE, 26, "ink") + 4
    y = canvas.paragraph(
        f"{head}.", EDGE, y, WIDE, 19, "warn" if merge.suspicious else "accent", bold=True
    )
    y = canvas.paragraph(text, EDGE, y, WIDE, 16, "ink") + 16
    y0 = y
    y += canvas.paste(look, EDGE, y, WIDE)
    canvas.put(over, EDGE, y0)
    y = canvas.paragraph(_facts(merge), EDGE, y + 4, WIDE, 13, "soft") + 20
    for row in range(rows):
        lowest = y
        for column in range(columns):
            number = row * columns + column
            if number >= len(closes):
                break
            spot, close = merge.suspicious[number], closes[number]
            x = EDGE + column * (each + apart)
            at = y + canvas.paste(close.picture, x, y, each) + 2
            name = f"{number + 1} {words.SUSPICION_WORDS[spot.kind]}"
            at = canvas.paragraph(name, x, at, each, 14, "warn", bold=True)
            at = canvas.paragraph(spot.text, x, at, each, 13, "ink")
            place = f"{_where(spot, merge)}; {_size(close)}"
            lowest = max(lowest, canvas.paragraph(place, x, at, each, 12, "soft"))
        y = lowest + 22
    bottom = min(canvas.image.height, round((y + EDGE - 12) * canvas.zoom))
    buffer = io.BytesIO()
    canvas.image.crop((0, 0, canvas.image.width, bottom)).save(buffer, "PNG", compress_level=6)
    return buffer.getvalue()
