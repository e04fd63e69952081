"""One sweep as a picture: the ladder of its planes, and the gaps on the animal."""

from __future__ import annotations

import io
from collections.abc import Sequence
from html import escape
from pathlib import Path

from PIL import Image

from haltere.frames import Decoder, Frame, Pixels
from haltere.progress import Progress, silent
from haltere.show import words
from haltere.show.bursts import SLIM, said, signs_of
from haltere.show.colours import NIGHT, Ink
from haltere.show.drawing import Shape, ShapeKind, Text
from haltere.show.filing import file_away, refuse_picture
from haltere.show.ladder_time import time_ladder
from haltere.show.paint import Canvas
from haltere.show.pictures import data_uri, to_srgb
from haltere.show.style import opened
from haltere.show.svg import svg
from haltere.show.sweep_drawing import APART, EDGE, LADDER, SUBJECT, sweep_svg
from haltere.show.sweep_subject import subject
from haltere.show.sweep_words import bars_said, push_lines, signs, title
from haltere.sweeps.coverage import Coverage

LOOK_PX = 1120
ENDINGS = (".png", ".svg", ".html", ".htm")


def draw_sweep(
    coverage: Coverage,
    frames: Sequence[Frame],
    decoder: Decoder,
    path: Path,
    *,
    progress: Progress = silent,
) -> Path:
    """Draw the planes of a sweep over time along depth, and its gaps on the reference frame.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    frames : sequence of Frame
        Its frames.
    decoder : Decoder
        Open decoder.
    path : Path
        PNG, SVG or HTML file to write.
    progress : Progress, optional
        Told when it begins; may raise to cancel.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    UsageError
        When the file's name ends in something else, or it is one of the frames.
    WriteError
        When it can't be written.
    """
    refuse(path, frames)
    progress("drawing the sweep", 0, 1)
    look, size_px = _look(coverage, frames, decoder)
    ending = path.suffix.lower()
    if ending == ".png":
        content = sweep_png(coverage, look, size_px)
    elif ending == ".svg":
        content = sweep_svg(coverage, look, size_px).encode()
    else:
        content = sweep_page(coverage, look, size_px).encode()
    progress("drawing the sweep", 1, 1)
    return file_away(path, content)


def refuse(path: Path, frames: Sequence[Frame]) -> None:
    """Refuse a file that a sweep can't be drawn to, before any work is done.

    Parameters
    ----------
    path : Path
        PNG, SVG or HTML file to write.
    frames : sequence of Frame
        The frames, which are never written over.

    Raises
    ------
    UsageError
        When the file's name ends in something else, or it is one of the frames.
    """
    refuse_picture(path, frames, ENDINGS, "a PNG, an SVG or an HTML page")


def _look(
    coverage: Coverage, frames: Sequence[Frame], decoder: Decoder
) -> tuple[Image.Image | None, tuple[int, int]]:
    """Fetch the reference frame, small; None where it can't be read."""
    frame = next((f for f in frames if f.name == coverage.reference), None)
    if frame is None:
        return None, (4, 3)
    size = (frame.width_px, frame.height_px)
    for _, pixels in decoder.stream([frame], "rgb", LOOK_PX, ahead=1):
        if isinstance(pixels, Pixels):
            look = to_srgb(pixels)
            look.thumbnail((LOOK_PX, LOOK_PX), Image.Resampling.LANCZOS)
            return look, size
    return None, size


# ------------------------------------------------------------------ as a page


def sweep_page(coverage: Coverage, look: Image.Image | None, size_px: tuple[int, int]) -> str:
    """Write the picture as a page that needs nothing but itself.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    look : Image or None
        The reference frame, small.
    size_px : tuple of int
        Its size at full size.
    """
    head = escape(title(coverage))
    ladders = svg(time_ladder(coverage, LADDER), "wide") + svg(time_ladder(coverage, SLIM), "slim")
    figure = ""
    if look is not None:
        over = subject(coverage.gaps, size_px, SUBJECT)
        overs = svg(over, "wide") + svg(subject(coverage.gaps, size_px, SLIM), "slim")
        figure = (
            f'<figure><span class="spot"><img src="{data_uri(look)}" width="{look.width}" '
            f'height="{look.height}" alt="{escape(over.alt)}">{overs}</span><figcaption>'
            f"{escape(coverage.reference)}{_caption(coverage)}</figcaption></figure>"
        )
    gaps = "".join(
        f'<li><span class="bad">{number}</span> {escape(words.gap(gap))}, beside '
        f"{escape(words.listed(gap.beside))}</li>"
        for number, gap in enumerate(coverage.gaps, 1)
    )
    gaps = f'<ul class="plain small">{gaps}</ul>' if gaps else ""
    told = "".join(f"<p>{escape(line)}</p>" for line in push_lines(coverage))
    legend = f'{signs_of(*signs(coverage))}<p class="small soft">{escape(bars_said(coverage))}</p>'
    return "\n".join(
        (
            opened(f"{title(coverage)}: the planes", _RULES, alone=True),
            f"<h1>{head}</h1></header>",
            said(words.coverage_head(coverage), coverage.reason, coverage.complete is True),
            f'<div class="beside"><div>{ladders}{legend}</div>',
            f"<div>{figure}{gaps}{told}</div></div>",
            _left_out(coverage),
            "</main></body></html>\n",
        )
    )


_RULES = (
    "main{max-width:1280px}"
    ".beside{display:grid;grid-template-columns:minmax(0,640fr) minmax(0,560fr);gap:36px;"
    "align-items:start;margin:8px 0 20px}"
    ".beside .signs{margin:10px 0 6px}.beside figure{margin-bottom:14px}"
    ".beside .plain{margin-bottom:14px}"
    "@media (max-width:820px){.beside{grid-template-columns:minmax(0,1fr)}}"
)


def _caption(coverage: Coverage) -> str:
    return ", hatched where nothing is sharp" if coverage.gaps else ", the reference frame"


def _left_out(coverage: Coverage) -> str:
    if coverage.choice is None or not coverage.choice.left_out:
        return ""
    rows = "".join(
        f"<tr><td>{escape(one.frame)}</td><td>{escape(one.why)}</td></tr>"
        for one in coverage.choice.left_out
    )
    count = words.counted(len(coverage.choice.left_out), "frame")
    return (
        f'<details><summary class="small">{count} left out, and why</summary>'
        f"<table>{rows}</table></details>"
    )


# --------------------------------------------------------------- as a picture


def sweep_png(coverage: Coverage, look: Image.Image | None, size_px: tuple[int, int]) -> bytes:
    """Compose the picture.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    look : Image or None
        The reference frame, small.
    size_px : tuple of int
        Its size at full size.

    Returns
    -------
    bytes
        A PNG file.
    """
    ladder = time_ladder(coverage, LADDER)
    over = subject(coverage.gaps, size_px, SUBJECT)
    wide = LADDER + SUBJECT + APART + 2 * EDGE
    canvas = Canvas(wide, 420 + max(ladder.height, over.height + 300), NIGHT, 2)
    y = canvas.paragraph(title(coverage), EDGE, EDGE - 12, wide - 2 * EDGE, 26, "ink") + 4
    good: Ink = "accent" if coverage.complete else "warn"
    y = canvas.paragraph(f"{words.coverage_head(coverage)}.", EDGE, y, 900, 19, good, bold=True)
    y = canvas.paragraph(coverage.reason, EDGE, y, wide - 2 * EDGE, 16, "ink") + 16
    canvas.put(ladder, EDGE, y)
    left = y + ladder.height + 8
    left = _signs(canvas, signs(coverage), EDGE, left, LADDER)
    left = canvas.paragraph(bars_said(coverage), EDGE, left, LADDER, 13, "soft")
    x, right = EDGE + LADDER + APART, y + 4
    if look is not None:
        high = canvas.paste(look, x, right, SUBJECT)
        canvas.put(over, x, right)
        right += high + 8
        caption = f"{coverage.reference}{_caption(coverage)}"
        right = canvas.paragraph(caption, x, right, SUBJECT, 13, "soft") + 8
    for number, gap in enumerate(coverage.gaps, 1):
        text = f"{number}: {words.gap(gap)}, beside {words.listed(gap.beside)}"
        right = canvas.paragraph(text, x, right, SUBJECT, 14, "warn")
    right += 8
    for line in push_lines(coverage):
        right = canvas.paragraph(line, x, right, SUBJECT, 15, "ink") + 4
    bottom = min(canvas.image.height, round((max(left, right) + EDGE - 12) * canvas.zoom))
    picture = canvas.image.crop((0, 0, canvas.image.width, bottom))
    buffer = io.BytesIO()
    picture.save(buffer, "PNG", compress_level=6)
    return buffer.getvalue()


def _signs(
    canvas: Canvas, shown: Sequence[tuple[ShapeKind, Ink, str]], x0: float, y: float, width: float
) -> float:
    x = x0
    for kind, ink, meaning in shown:
        room = canvas.room(meaning, 13) + 44
        if x > x0 and x + room > x0 + width:
            x, y = x0, y + 22
        canvas.mark(Shape(kind, x + 6, y + 8, 5, ink))
        canvas.mark(Text(x + 18, y + 13, meaning, 13, "soft"))
        x += room
    return y + 28
