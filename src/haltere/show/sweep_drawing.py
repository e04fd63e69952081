"""One sweep as a drawing in a file of its own: ladder and animal side by side, SVG."""

from __future__ import annotations

from functools import partial
from html import escape

from PIL import Image

from haltere.show import words
from haltere.show.colours import Ink
from haltere.show.drawing import Drawing, Shape, Text, text_width, wrap
from haltere.show.ladder_time import time_ladder
from haltere.show.pictures import data_uri
from haltere.show.style import css
from haltere.show.svg import svg
from haltere.show.sweep_subject import subject
from haltere.show.sweep_words import bars_said, push_lines, signs, title
from haltere.sweeps.coverage import Coverage

EDGE, APART = 48.0, 36.0
LADDER, SUBJECT = 640.0, 560.0
"""Room around, between the two, and their widths, units."""


def sweep_svg(coverage: Coverage, look: Image.Image | None, size_px: tuple[int, int]) -> str:
    """Write ladder and animal side by side as one SVG file that follows day and night.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    look : Image or None
        The reference frame, small.
    size_px : tuple of int
        Its size at full size.
    """
    ladder = time_ladder(coverage, LADDER)
    over = subject(coverage.gaps, size_px, SUBJECT)
    wide = LADDER + SUBJECT + APART + 2 * EDGE
    x = EDGE + LADDER + APART
    verdict_ink: Ink = "accent" if coverage.complete else "warn"
    lines: list[Text] = [Text(EDGE, 44, title(coverage), 24, "ink")]
    head = f"{words.coverage_head(coverage)}."
    lines.append(Text(EDGE, 72, head, 17, verdict_ink, bold=True))
    top = 94.0
    for line in wrap(coverage.reason, wide - 2 * EDGE, partial(text_width, size=15)):
        lines.append(Text(EDGE, top, line, 15, "ink"))
        top += 20
    top += 8
    y = top + over.height + 26
    for number, gap in enumerate(coverage.gaps, 1):
        text = f"{number}: {words.gap(gap)}, beside {words.listed(gap.beside)}"
        for line in wrap(text, SUBJECT, partial(text_width, size=14)):
            lines.append(Text(x, y, line, 14, "warn"))
            y += 19
    y += 8
    for said_ in push_lines(coverage):
        for line in wrap(said_, SUBJECT, partial(text_width, size=14)):
            lines.append(Text(x, y, line, 14, "ink"))
            y += 19
    at = top + ladder.height + 10
    marks: list[Shape | Text] = list(lines)
    left = EDGE
    for kind, ink, meaning in signs(coverage):
        room = text_width(meaning, 13) + 34
        if left > EDGE and left + room > EDGE + LADDER:
            left, at = EDGE, at + 22
        marks += [Shape(kind, left + 6, at + 8, 5, ink), Text(left + 18, at + 13, meaning, 13)]
        left += room
    at += 44
    for line in wrap(bars_said(coverage), LADDER, partial(text_width, size=13)):
        marks.append(Text(EDGE, at, line, 13, "soft"))
        at += 18
    high = max(at, y) + 24
    words_drawn = Drawing(wide, high, tuple(marks), "")
    picture = ""
    if look is not None:
        picture = (
            f'<image x="{x}" y="{top}" width="{SUBJECT}" height="{over.height:.1f}" '
            f'preserveAspectRatio="none" href="{data_uri(look)}"/>{_placed(over, x, top)}'
        )
    inner = svg(words_drawn).replace("<svg ", f'<svg width="{wide}" height="{high:.0f}" ', 1)
    rules = css().split("*{box-sizing", 1)[0]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {high:.0f}" '
        f'width="{wide:.0f}" height="{high:.0f}" role="img" '
        f'aria-label="{escape(ladder.alt)}"><style>{rules} text{{font-family:"Avenir Next",'
        '"Segoe UI","Helvetica Neue",Helvetica,Arial,sans-serif}</style>'
        f'<rect width="100%" height="100%" fill="var(--paper)"/>{inner}'
        f"{_placed(ladder, EDGE, top)}{picture}</svg>\n"
    )


def _placed(drawing: Drawing, x: float, y: float) -> str:
    size = f'x="{x:.1f}" y="{y:.1f}" width="{drawing.width:.1f}" height="{drawing.height:.1f}"'
    return svg(drawing).replace("<svg ", f"<svg {size} ", 1)
