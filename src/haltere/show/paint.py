"""Drawings as pixels, for the overview picture."""

from __future__ import annotations

import math
import unicodedata
from functools import cache
from itertools import pairwise

from PIL import Image, ImageDraw, ImageFont

from haltere.show.colours import Ink, Theme
from haltere.show.drawing import Box, Drawing, Line, Loop, Mark, Shape, Strokes, Text, wrap
from haltere.show.svg import corners

Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


@cache
def font(size: float) -> Font:
    """Load the typeface that travels with Pillow, at `size` pixels.

    Parameters
    ----------
    size : float
        Height of the letters.
    """
    return ImageFont.load_default(size=size)


_PLAIN = {0x2212: "-", 0x2013: "-", 0x2014: "-", 0x00D7: "x", 0x00B5: "u", 0x2264: "<="}


@cache
def _has(sign: str) -> bool:
    """Whether the typeface draws this sign; those it lacks all look alike."""
    face = font(20)
    return bytes(face.getmask(sign)) != bytes(face.getmask("\ufffe"))


def drawable(words: str) -> str:
    """Replace signs that the typeface lacks: letters lose their accents, others become '?'.

    Parameters
    ----------
    words : str
        What is written.
    """
    out = []
    for sign in words.translate(_PLAIN):
        if sign.isascii() or _has(sign):
            out.append(sign)
            continue
        bare = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
        out.append(bare or "?")
    return "".join(out)


class Canvas:
    """A picture that drawings and words are put on, at `zoom` pixels a unit.

    Drawn larger than wanted and shrunk at the end, so that slanted lines are smooth.

    Parameters
    ----------
    width, height : float
        Size in units.
    theme : dict
        Colours by ink.
    zoom : int
        Pixels a unit.
    """

    def __init__(self, width: float, height: float, theme: Theme, zoom: int = 2) -> None:
        self.zoom = zoom
        self.theme = theme
        size = (round(width * zoom), round(height * zoom))
        self.image = Image.new("RGB", size, theme["paper"])
        self._pen = ImageDraw.Draw(self.image)

    def put(self, drawing: Drawing, x: float, y: float) -> None:
        """Draw with the top left corner at (x, y).

        Parameters
        ----------
        drawing : Drawing
            What to draw.
        x : float
            Left edge, in units.
        y : float
            Top edge, in units.
        """
        for mark in drawing.marks:
            self.mark(mark, x, y)

    def paste(self, picture: Image.Image, x: float, y: float, width: float) -> float:
        """Put a picture `width` units wide at (x, y); answers its height in units.

        Parameters
        ----------
        picture : Image
            The picture.
        x : float
            Left edge, in units.
        y : float
            Top edge, in units.
        width : float
            Width, in units.
        """
        wide = max(1, round(width * self.zoom))
        high = max(1, round(wide * picture.height / picture.width))
        self.image.paste(
            picture.convert("RGB").resize((wide, high), Image.Resampling.LANCZOS),
            (round(x * self.zoom), round(y * self.zoom)),
        )
        return high / self.zoom

    def mark(self, mark: Mark, dx: float = 0, dy: float = 0) -> None:
        """Draw one mark, shifted by (dx, dy) units.

        Parameters
        ----------
        mark : Mark
            What to draw.
        dx : float, optional
            Shift to the right.
        dy : float, optional
            Shift down.
        """
        z = self.zoom
        if isinstance(mark, Text):
            self._words(mark, dx, dy)
        elif isinstance(mark, Line):
            ends = ((mark.x0 + dx) * z, (mark.y0 + dy) * z, (mark.x1 + dx) * z, (mark.y1 + dy) * z)
            self._stroke(ends, self.theme[mark.ink], mark.width * z, mark.dashed)
        elif isinstance(mark, Box):
            x0, y0, x1, y1 = (
                (mark.x0 + dx) * z,
                (mark.y0 + dy) * z,
                (mark.x1 + dx) * z,
                (mark.y1 + dy) * z,
            )
            if mark.fill:
                self._pen.rectangle((x0, y0, x1, y1), fill=self.theme[mark.fill])
            if mark.outline:
                corners_ = ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))
                for start, end in pairwise(corners_):
                    side = (*start, *end)
                    self._stroke(side, self.theme[mark.outline], mark.width * z, mark.dashed)
        elif isinstance(mark, Loop):
            self._loop(mark, dx, dy)
        elif isinstance(mark, Strokes):
            for x0, y0, x1, y1 in mark.ends:
                ends = ((x0 + dx) * z, (y0 + dy) * z, (x1 + dx) * z, (y1 + dy) * z)
                self._stroke(ends, self.theme[mark.ink], mark.width * z, False)
        else:
            self._sign(mark, dx, dy)

    def room(self, words: str, size: float) -> float:
        """Width of words in units.

        Parameters
        ----------
        words : str
            What is written.
        size : float
            Height of the letters.
        """
        return self._pen.textlength(drawable(words), font=font(size * self.zoom)) / self.zoom

    def wrap(self, words: str, size: float, width: float) -> list[str]:
        """Break words into lines no wider than `width` units.

        Parameters
        ----------
        words : str
            What is written.
        size : float
            Height of the letters.
        width : float
            Width, in units.
        """
        return wrap(words, width, lambda line: self.room(line, size))

    def paragraph(
        self, words: str, x: float, y: float, width: float, size: float, ink: Ink,
        *, bold: bool = False,
    ) -> float:  # fmt: skip
        """Write a paragraph below y; answer where it ends.

        Parameters
        ----------
        words : str
            What is written.
        x, y : float
            Left end and top, in units.
        width : float
            Width, in units.
        size : float
            Height of the letters.
        ink : Ink
            Colour.
        bold : bool, optional
            Whether the letters are bold.
        """
        for line in self.wrap(words, size, width):
            y += size * 1.34
            self.mark(Text(x, y - size * 0.3, line, size, ink, bold=bold))
        return y

    def _words(self, mark: Text, dx: float, dy: float) -> None:
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[mark.anchor]
        self._pen.text(
            ((mark.x + dx) * self.zoom, (mark.y + dy) * self.zoom),
            drawable(mark.words),
            fill=self.theme[mark.ink],
            font=font(mark.size * self.zoom),
            anchor=anchor,
            stroke_width=0.35 * self.zoom if mark.bold else 0,
            stroke_fill=self.theme[mark.ink],
        )

    def _stroke(
        self, ends: tuple[float, float, float, float], colour: str, width: float, dashed: bool
    ) -> None:
        wide = max(1, round(width))
        if not dashed:
            self._pen.line(ends, fill=colour, width=wide)
            return
        x0, y0, x1, y1 = ends
        long = max(1e-6, ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
        ux, uy = (x1 - x0) / long, (y1 - y0) / long
        at = 0.0
        while at < long:
            to = min(at + 4 * self.zoom, long)
            self._pen.line((x0 + ux * at, y0 + uy * at, x0 + ux * to, y0 + uy * to), colour, wide)
            at += 7 * self.zoom

    def _loop(self, mark: Loop, dx: float, dy: float) -> None:
        z, r = self.zoom, mark.radius * self.zoom
        x, y = (mark.x + dx) * z, (mark.y + dy) * z
        wide = max(1, round(mark.width * z))
        # dashes of 5 and gaps of 3 units along the circle, as on the page
        parts = max(1, round(2 * math.pi * mark.radius / 8)) if mark.dashed else 1
        step = 360 / parts
        for part in range(parts):
            end = (part + (0.625 if mark.dashed else 1.0)) * step
            self._pen.arc(
                (x - r, y - r, x + r, y + r), part * step, end, self.theme[mark.ink], wide
            )

    def _sign(self, mark: Shape, dx: float, dy: float) -> None:
        z, colour = self.zoom, self.theme[mark.ink]
        x, y, r = (mark.x + dx) * z, (mark.y + dy) * z, mark.radius * z
        if mark.kind == "disc":
            self._pen.ellipse((x - r, y - r, x + r, y + r), fill=colour)
        elif mark.kind == "ring":
            self._pen.ellipse(
                (x - r, y - r, x + r, y + r),
                fill=self.theme["paper"],
                outline=colour,
                width=round(1.5 * z),
            )
        elif mark.kind == "cross":
            self._pen.line((x - r, y - r, x + r, y + r), fill=colour, width=2 * z)
            self._pen.line((x + r, y - r, x - r, y + r), fill=colour, width=2 * z)
        else:
            moved = [((px + dx) * z, (py + dy) * z) for px, py in corners(mark)]
            self._pen.polygon(moved, fill=colour)
