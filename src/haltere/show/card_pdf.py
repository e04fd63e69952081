"""The field card as a PDF: one A6 page, the same bytes for the same card."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from haltere.show.card_page import HEIGHT, WIDTH, card_page, font_name
from haltere.show.colours import Theme
from haltere.show.drawing import Box, Line, Mark, Text

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

    from haltere.show.card import Card

PRINT: Theme = {
    "paper": "#ffffff",
    "card": "#e6e6e6",
    "ink": "#000000",
    "soft": "#3a3a3a",
    "line": "#9a9a9a",
    "accent": "#000000",
    "warn": "#000000",
    "wash": "#e6e6e6",
    "warnwash": "#e6e6e6",
}
"""Black on white: it is read in full sun, and printed on whatever there is."""


def card_pdf(card: Card) -> bytes:
    """Write the card as a PDF.

    Parameters
    ----------
    card : Card
        What it says.

    Returns
    -------
    bytes
        The file. It holds no date and no number that differs from run to run.
    """
    from reportlab.pdfgen.canvas import Canvas

    file = io.BytesIO()
    # left uncompressed: a page is 10 kB, and its words can be found by any program
    page = Canvas(file, pagesize=(WIDTH, HEIGHT), invariant=1, pageCompression=0, lang="en")
    page.setTitle(f"Field card: {card.name}")
    page.setCreator("haltere")
    page.setAuthor("haltere")
    page.setSubject("Settings by magnification, and cautions")
    for mark in card_page(card).marks:
        _put(page, mark)
    page.showPage()
    page.save()
    return file.getvalue()


def _put(page: Canvas, mark: Mark) -> None:
    """Draw one mark; PDF counts upwards from the bottom."""
    if isinstance(mark, Line):
        page.setStrokeColor(PRINT[mark.ink])
        page.setLineWidth(mark.width)
        page.line(mark.x0, HEIGHT - mark.y0, mark.x1, HEIGHT - mark.y1)
    elif isinstance(mark, Box) and mark.fill:
        page.setFillColor(PRINT[mark.fill])
        size = (mark.x1 - mark.x0, mark.y1 - mark.y0)
        page.rect(mark.x0, HEIGHT - mark.y1, *size, stroke=0, fill=1)
    elif isinstance(mark, Text):
        page.setFillColor(PRINT[mark.ink])
        page.setFont(font_name(mark.bold), mark.size)
        write = {
            "start": page.drawString,
            "middle": page.drawCentredString,
            "end": page.drawRightString,
        }[mark.anchor]
        write(mark.x, HEIGHT - mark.y, mark.words)
