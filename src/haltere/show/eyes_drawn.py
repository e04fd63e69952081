"""The strip of eyes as pixels: for pictures that are looked at without a browser."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from PIL import Image

from haltere.keepers.verdict import JudgedFrame, Keepers
from haltere.show import words
from haltere.show.colours import Ink
from haltere.show.drawing import Box, Line, Text
from haltere.show.eyes import Kind, kinds
from haltere.show.paint import Canvas
from haltere.show.pictures import Seen
from haltere.show.rail import reach_dof, short_rail

LETTER, LEADING, GAP = 13.0, 17.0, 18.0
"""Height of letters and lines below a crop, and room between crops, in units."""


@dataclass(frozen=True, slots=True)
class EyeStrip:
    """The strip of one burst, ready to be put on a canvas.

    Attributes
    ----------
    keepers : Keepers
        The burst as judged.
    seen : mapping of str to Seen
        Pictures by the frame's name.
    decided : mapping of str to str
        What the person said, by the frame's name.
    side : float
        Width of the first of a kind, units.
    tucked : float
        Width of the frames behind it.
    """

    keepers: Keepers
    seen: Mapping[str, Seen]
    decided: Mapping[str, str]
    side: float
    tucked: float

    def put(self, canvas: Canvas, x: float, y: float, width: float, *, dry: bool = False) -> float:
        """Draw the strip, as many rows as it takes; answer where it ends.

        Parameters
        ----------
        canvas : Canvas
            Where to.
        x, y : float
            Top left corner, units.
        width : float
            Width, units.
        dry : bool, optional
            Whether only to measure.
        """
        left, below = x, y
        for kind in kinds(self.keepers.frames):
            wide = self._width(kind, width)
            if left > x and left + wide > x + width + 1:
                left, y = x, below + GAP
            below = max(below, self._kind(canvas, kind, left, y, wide, dry=dry))
            left += wide + GAP
        return below

    def _columns(self, kind: Kind, width: float) -> int:
        room = int((width - self.side - GAP) // (self.tucked + GAP / 2))
        return max(1, min(len(kind[1]), room))

    def _width(self, kind: Kind, width: float) -> float:
        if not kind[1]:
            return self.side
        columns = self._columns(kind, width)
        return self.side + GAP + columns * (self.tucked + GAP / 2)

    def _kind(
        self, canvas: Canvas, kind: Kind, x: float, y: float, wide: float, *, dry: bool
    ) -> float:
        first, behind = kind
        end = self._tile(canvas, first, x, y, self.side, dry=dry)
        if not behind:
            return end
        left, top = x + self.side + GAP, y + 20.0
        columns = max(1, round((wide - self.side - GAP) / (self.tucked + GAP / 2)))
        if not dry:
            said = words.counted(len(behind), "frame repeats it", "frames repeat it")
            canvas.mark(Text(left, y + 12, said, LETTER, "soft"))
        for start in range(0, len(behind), columns):
            top += GAP / 3 if start else 0.0
            ends = [
                self._tile(
                    canvas, one, left + at * (self.tucked + GAP / 2), top, self.tucked, dry=dry
                )
                for at, one in enumerate(behind[start : start + columns])
            ]
            top = max(ends)
        if not dry:  # a bracket says what belongs together
            canvas.mark(Line(left - GAP / 2, y, left - GAP / 2, top, "line", 1.2))
            canvas.mark(Line(x + wide, y, x + wide, top, "line", 1.2))
        return max(end, top)

    def _tile(
        self, canvas: Canvas, frame: JudgedFrame, x: float, y: float, side: float, *, dry: bool
    ) -> float:
        seen = self.seen.get(frame.frame)
        crop = None if seen is None else seen.crop if side >= self.side else seen.small
        if crop is None and seen is not None:
            crop = seen.small
        if not dry:
            self._picture(canvas, frame, crop, x, y, side)
        rail = short_rail(frame, reach_dof(self.keepers), side)
        if not dry:
            canvas.put(rail, x, y + side + 2)
        below = y + side + rail.height + 2
        for ink, text, bold in said_below(frame, self.decided):
            for line in canvas.wrap(text, LETTER, side):
                below += LEADING
                if not dry:
                    canvas.mark(Text(x, below - 3, line, LETTER, ink, bold=bold))
        return below + 4

    def _picture(
        self,
        canvas: Canvas,
        frame: JudgedFrame,
        crop: Image.Image | None,
        x: float,
        y: float,
        side: float,
    ) -> None:
        if frame.keeper:
            canvas.mark(Box(x - 3, y - 3, x + side + 3, y + side + 3, fill="accent"))
        canvas.mark(Box(x, y, x + side, y + side, fill="card"))
        if crop is None:
            said = "no eye to show" if frame.eye_px is None else "not shown"
            canvas.mark(Text(x + side / 2, y + side / 2, said, LETTER, "soft", "middle"))
            return
        canvas.paste(middle_of(crop, side), x, y, min(side, crop.width))


def said_below(frame: JudgedFrame, decided: Mapping[str, str]) -> list[tuple[Ink, str, bool]]:
    """Say below a crop what a page says there: ink, words, whether bold.

    Parameters
    ----------
    frame : JudgedFrame
        The frame.
    decided : mapping of str to str
        What the person said, by the frame's name.
    """
    lines: list[tuple[Ink, str, bool]] = [("ink", f"{frame.rank}  {frame.frame}", True)]
    kept = "keeper, " if frame.keeper else ""
    lines.append(("accent" if frame.keeper else "soft", kept + words.place(frame), False))
    found = words.said_faults(frame)
    if found:
        lines.append(("warn", found, False))
    yours = words.decided(decided.get(frame.frame))
    if yours:
        lines.append(("ink", yours, True))
    return lines


def middle_of(crop: Image.Image, side: float) -> Image.Image:
    """Cut the middle of a crop where it is larger than its place: a pixel stays a pixel.

    Parameters
    ----------
    crop : Image
        The crop.
    side : float
        Side of its place.
    """
    size = min(round(side), crop.width, crop.height)
    x, y = (crop.width - size) // 2, (crop.height - size) // 2
    return crop.crop((x, y, x + size, y + size))
