"""The field card laid out on one A6 page, upright, in points."""

from __future__ import annotations

import unicodedata
from itertools import pairwise

from haltere.show.card import ROWS, Card, Column
from haltere.show.card_words import CAUTIONS, ratio
from haltere.show.colours import Ink
from haltere.show.drawing import Anchor, Box, Drawing, Line, Mark, Text

PT_PER_MM = 72 / 25.4
WIDTH, HEIGHT = 105 * PT_PER_MM, 148 * PT_PER_MM
"""A6 (ISO 216)."""

_MARGIN = 4.2 * PT_PER_MM  # printers at home leave 3 to 4 mm white
_LABELS = 74.0
_ROW, _F_ROW, _HEAD = 12.6, 19.5, 16.0
_REASON, _FOOT, _LEADING = 6.6, 7.2, 1.17
_LONG_NAME = 8.4
_LEAST = 5.2  # smaller letters are not read in the field


def card_page(card: Card) -> Drawing:
    """Lay out the card.

    Parameters
    ----------
    card : Card
        What it says.

    Returns
    -------
    Drawing
        In points; nothing outside the page.
    """
    left, right = _MARGIN, WIDTH - _MARGIN
    marks: list[Mark] = []
    marks += _name(card.name, left, right - left)
    y = _MARGIN + 23.5
    first = "  ·  ".join(card.settings[:3])
    marks.append(_fitted(left, y, first, right - left, 8, bold=True))
    y += 9.5
    marks.append(_fitted(left, y, "  ·  ".join(card.settings[3:]), right - left, 7))
    y += 5
    top = y
    marks += _heads(card, y)
    y += _HEAD
    rows, y = _table(card, y)
    marks += rows + _greys(card, top, y)
    marks.append(Line(left, top, right, top, "ink", 0.8))
    marks.append(Line(left, y, right, y, "ink", 0.8))
    return Drawing(WIDTH, HEIGHT, tuple(marks + _foot(card, y)), f"Field card of {card.name}")


def width_pt(said: str, size: float, bold: bool = False) -> float:
    """Tell the room that words take on the page.

    Parameters
    ----------
    said : str
        What is written.
    size : float
        Height of the letters, points.
    bold : bool, optional
        Whether they are bold.

    Returns
    -------
    float
        Points, exact for the fonts of the PDF.
    """
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(said, font_name(bold), size))


def font_name(bold: bool) -> str:
    """Name the font, one of those that every reader of PDF has.

    Parameters
    ----------
    bold : bool
        Whether the letters are bold.

    Returns
    -------
    str
        As PDF calls it.
    """
    return "Helvetica-Bold" if bold else "Helvetica"


def typeset(said: str) -> str:
    """Replace signs that these fonts lack: letters lose their accents, others become '?'.

    Parameters
    ----------
    said : str
        What is written.

    Returns
    -------
    str
        In the signs of Windows-1252.
    """
    out = []
    for sign in said.replace("\u2212", "–"):
        if sign.encode("cp1252", "ignore"):
            out.append(sign)
        else:
            plain = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
            out.append(plain or "?")
    return "".join(out)


def wrapped(said: str, size: float, width: float, bold: bool = False) -> list[str]:
    """Break words into lines.

    Parameters
    ----------
    said : str
        What is written.
    size : float
        Height of the letters, points.
    width : float
        Room, points.
    bold : bool, optional
        Whether they are bold.

    Returns
    -------
    list of str
        Lines no wider than that, words too long being cut.
    """
    lines: list[str] = []
    for word in typeset(said).split():
        rest = word
        if lines and width_pt(f"{lines[-1]} {rest}", size, bold) <= width:
            lines[-1] += f" {rest}"
            continue
        while width_pt(rest, size, bold) > width and len(rest) > 1:
            cut = next(
                n
                for n in range(len(rest) - 1, 0, -1)
                if width_pt(rest[:n], size, bold) <= width or n == 1
            )
            lines.append(rest[:cut])
            rest = rest[cut:]
        lines.append(rest)
    return lines


def _fitted(
    x: float,
    y: float,
    said: str,
    width: float,
    size: float,
    *,
    bold: bool = False,
    ink: Ink = "ink",
    anchor: Anchor = "start",
) -> Text:
    """Write in the largest letters that fit; what does not fit in small ones is cut."""
    said = typeset(said)
    least = max(_LEAST, size * 0.55)
    while size > least and width_pt(said, size, bold) > width:
        size = max(least, size - 0.1)
    if width_pt(said, size, bold) > width:
        while said and width_pt(f"{said}…", size, bold) > width:
            said = said[:-1].rstrip()
        said += "…"
    return Text(x, y, said, size, ink, anchor, bold)


def _name(name: str, x: float, width: float) -> list[Mark]:
    """Write the kit's name as large as it fits, a long one on two lines."""
    said = typeset(name)
    if width_pt(said, _LONG_NAME, True) <= width:
        return [_fitted(x, _MARGIN + 12, said, width, 15, bold=True)]
    first, *rest = wrapped(said, _LONG_NAME, width, bold=True)
    lines = (first, " ".join(rest))
    return [
        _fitted(x, _MARGIN + 6.6 + 8.6 * number, line, width, _LONG_NAME, bold=True)
        for number, line in enumerate(lines)
    ]


def _edges(card: Card) -> list[float]:
    """Give the edges of the columns."""
    start, room = _MARGIN + _LABELS, WIDTH - 2 * _MARGIN - _LABELS
    return [start + room * k / len(card.columns) for k in range(len(card.columns) + 1)]


def _heads(card: Card, y: float) -> list[Mark]:
    marks: list[Mark] = []
    for column, (x0, x1) in zip(card.columns, pairwise(_edges(card)), strict=True):
        said = ratio(column.magnification)
        marks.append(
            _fitted((x0 + x1) / 2, y + 12.4, said, x1 - x0 - 2, 13, bold=True, anchor="middle")
        )
    return marks


def _table(card: Card, y: float) -> tuple[list[Mark], float]:
    """Write the rows; answers where they end."""
    edges = _edges(card)
    left, right = _MARGIN, WIDTH - _MARGIN
    marks: list[Mark] = []
    for number, (row, label) in enumerate(zip(ROWS, card.labels, strict=True)):
        heading = row.unit == "f/"
        high = _F_ROW if heading else _ROW
        base = y + high * (0.745 if heading else 0.73)
        ink: Ink = "paper" if heading else "ink"
        if heading:
            marks.append(Box(left, y, right, y + high, "ink"))
            marks.append(_fitted(left + 3, base, label, 48, 11, bold=True, ink=ink))
            marks.append(Text(edges[0] - 6, base, "f/", 11, ink, "end", True))
        else:
            marks.append(Line(left, y, right, y, "line", 0.4))
            marks += _label(label, row.unit, left, base, edges[0] - left - 3)
        for column, (x0, x1) in zip(card.columns, pairwise(edges), strict=True):
            if not column.cells:
                continue
            said = column.cells[number].text
            size = 14.0 if heading else 9.4
            marks.append(
                _fitted(
                    (x0 + x1) / 2,
                    base,
                    said,
                    x1 - x0 - 2.5,
                    size,
                    bold=True,
                    ink=ink,
                    anchor="middle",
                )
            )
        y += high
    return marks, y


def _label(label: str, unit: str, x: float, y: float, width: float) -> list[Mark]:
    if not unit:
        return [_fitted(x, y, label, width, 7.2)]
    room = width_pt(unit, 6.4) + 3
    name = _fitted(x, y, label, width - room, 7.2)
    return [name, Text(x + width, y, unit, 6.4, "soft", "end")]


def _greys(card: Card, top: float, bottom: float) -> list[Mark]:
    """Cover columns out of reach with grey, and say why."""
    marks: list[Mark] = []
    for column, (x0, x1) in zip(card.columns, pairwise(_edges(card)), strict=True):
        if column.cells:
            continue
        marks.append(Box(x0, top, x1, bottom, "card"))
        marks.append(Line(x0, top, x0, bottom, "paper", 1.5))
        head = ratio(column.magnification)
        marks.append(
            _fitted(
                (x0 + x1) / 2,
                top + 12.4,
                head,
                x1 - x0 - 2,
                13,
                bold=True,
                ink="soft",
                anchor="middle",
            )
        )
        marks += _reason(column, x0 + 3, x1 - 2, top + _HEAD, bottom)
    return marks


def _reason(column: Column, x0: float, x1: float, top: float, bottom: float) -> list[Mark]:
    """Write the reason down a column, in letters as large as there is room for."""
    size = _REASON
    lines = wrapped(column.reason, size, x1 - x0)
    while size > _LEAST and (len(lines) + 1) * size * _LEADING > bottom - top - 8:
        size -= 0.1
        lines = wrapped(column.reason, size, x1 - x0)
    marks: list[Mark] = [Text(x0, top + 8, "out of reach", _LEAST + 0.6, "ink", "start", True)]
    y = top + 11
    for line in lines:
        y += size * _LEADING
        marks.append(Text(x0, y, line, size, "ink"))
    return marks


def _foot(card: Card, y: float) -> list[Mark]:
    """Write notes and cautions, in letters as large as there is room for."""
    left, width = _MARGIN, WIDTH - 2 * _MARGIN
    room = HEIGHT - _MARGIN - y - 6
    said = [("", note) for note in card.notes] + [(one.about, one.words) for one in CAUTIONS]
    size = _FOOT
    while True:
        broken = [_after(typeset(about), text, size, width) for about, text in said]
        if size <= _LEAST or sum(map(len, broken)) * size * _LEADING <= room:
            break
        size -= 0.1
    marks: list[Mark] = []
    y += 2
    for number, ((about, _), lines) in enumerate(zip(said, broken, strict=True)):
        if number == len(card.notes):
            y += 3.5
            marks.append(Line(left, y, left + width, y, "ink", 0.8))
        for first, line in enumerate(lines):
            y += size * _LEADING
            x = left
            if about and first == 0:
                marks.append(Text(x, y, typeset(about), size, "ink", "start", True))
                x += width_pt(f"{typeset(about)} ", size, True)
            marks.append(Text(x, y, line, size, "ink"))
    return marks


def _after(about: str, text: str, size: float, width: float) -> list[str]:
    """Break words that go on after bold ones."""
    taken = width_pt(f"{about} ", size, True) if about else 0.0
    first = wrapped(text, size, width - taken)[0]
    rest = typeset(text)[len(first) :].strip()
    return [first, *wrapped(rest, size, width)]
