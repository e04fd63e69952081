"""The overview: the same outing as one picture, for a look without a browser."""

from __future__ import annotations

import io
from collections.abc import Mapping

from PIL import Image

from haltere.keepers.verdict import Keepers
from haltere.merge.merged import Merge
from haltere.show import words
from haltere.show.best_frame import framed
from haltere.show.bursts import hook_x
from haltere.show.colours import DAY, Ink, depth_shades
from haltere.show.drawing import Box, Line, Shape, Text
from haltere.show.eyes_drawn import said_below
from haltere.show.ladder_time import time_ladder
from haltere.show.outing import Outing, WorkedRun
from haltere.show.paint import Canvas
from haltere.show.pictures import SIZES, Shading
from haltere.show.plates import Plates, SweepPlates
from haltere.show.rail import hung, in_space, rail
from haltere.show.strip import strip
from haltere.show.sweep_words import bars_said, signs
from haltere.show.table import Row, rows
from haltere.sweeps.coverage import Coverage

WIDTH, EDGE = 1168.0, 64.0
INSIDE = WIDTH - 2 * EDGE
HEADS = (
    "run", "frames", "verdict", "best frame", "plane of focus", "faults", "repeats", "prints to",
    "you",
)  # fmt: skip
"""Heads of the table's columns; one that is empty for every run is left out."""

TALLEST = 9000.0
"""Units a picture may be high; runs beyond that are named, not drawn."""


def overview_png(outing: Outing, plates: Mapping[str, Plates]) -> bytes:
    """Draw the overview.

    Parameters
    ----------
    outing : Outing
        What is shown.
    plates : mapping of str to Plates
        The small pictures of each run, by the run's id.

    Returns
    -------
    bytes
        A PNG file.
    """
    pieces = [_head(outing)]
    used = pieces[0].height / 2
    left_over = 0
    for worked in outing.runs:
        piece = _run(worked, outing, plates.get(worked.run.id, Plates()))
        if used + piece.height / 2 > TALLEST:
            left_over += 1
            continue
        used += piece.height / 2
        pieces.append(piece)
    pieces.append(_foot(outing, left_over))
    whole = Image.new("RGB", (pieces[0].width, sum(p.height for p in pieces)), DAY["paper"])
    at = 0
    for piece in pieces:
        whole.paste(piece, (0, at))
        at += piece.height
    size = (round(whole.width / 2), round(whole.height / 2))
    small = whole.resize(size, Image.Resampling.LANCZOS)
    buffer = io.BytesIO()
    small.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


class _Piece:
    """A strip of the overview that grows downward while it is written."""

    def __init__(self, room: float) -> None:
        self.canvas = Canvas(WIDTH, room, DAY)
        self.y = 0.0

    def write(
        self,
        text: str,
        size: float,
        ink: Ink = "ink",
        *,
        x: float = EDGE,
        width: float = INSIDE,
        bold: bool = False,
        gap: float = 6,
    ) -> None:
        """Write a paragraph and move below it."""
        for line in self.canvas.wrap(text, size, width):
            self.y += size * 1.32
            self.canvas.mark(Text(x, self.y - size * 0.3, line, size, ink, bold=bold))
        self.y += gap

    def cut(self) -> Image.Image:
        """Cut the strip off below what is written."""
        height = min(self.canvas.image.height, round(self.y * self.canvas.zoom))
        return self.canvas.image.crop((0, 0, self.canvas.image.width, height))


def _head(outing: Outing) -> Image.Image:
    drawing = strip(outing, INSIDE, links=False)
    told = rows(outing)
    piece = _Piece(380 + drawing.height + 19 * len(told))
    piece.y = 56
    piece.write(outing.name, 44, gap=2)
    piece.write(words.date_line(outing), 14, "soft", gap=12)
    piece.write(words.summary(outing), 20, width=700, gap=34)
    piece.canvas.put(drawing, EDGE, piece.y)
    piece.y += drawing.height + 20
    if told:
        _table(piece, told)
    return piece.cut()


def _table(piece: _Piece, told: list[Row]) -> None:
    """Write the bursts and singles one below the other."""
    lines = [
        (
            row.run.removeprefix("run-"), str(row.frames), row.verdict, row.best, row.offset,
            row.faults, row.repeats, row.print_size, row.you,
        )
        for row in told
    ]  # fmt: skip
    used = [at for at in range(len(HEADS)) if any(line[at] for line in lines)]
    room = piece.canvas.room
    wide = {at: max(room(line[at], 13) for line in (HEADS, *lines)) + 22 for at in used}
    spare = sum(wide.values()) - INSIDE
    if spare > 0:  # names and faults of strangers' files may be long
        longest = max(used, key=lambda at: wide[at])
        wide[longest] -= min(spare, wide[longest] - 60)
    for number, line in enumerate((HEADS, *lines)):
        piece.y += 19
        x = EDGE
        for at in used:
            text = (piece.canvas.wrap(line[at], 13, wide[at] - 14) or [""])[0]
            ink: Ink = "soft" if number == 0 else "ink"
            if number and at == 2:
                ink = "accent" if told[number - 1].good else "warn"
            piece.canvas.mark(Text(x, piece.y, text, 13, ink, bold=number > 0 and at == 2))
            x += wide[at]
        piece.canvas.mark(Line(EDGE, piece.y + 5, WIDTH - EDGE, piece.y + 5, "line"))
    piece.y += 26


def _run(worked: WorkedRun, outing: Outing, plates: Plates) -> Image.Image:
    run = worked.run
    piece = _Piece(2600)
    piece.canvas.mark(Line(EDGE, 1, WIDTH - EDGE, 1, "line"))
    piece.y = 22
    title = words.run_title(run, outing)
    piece.canvas.mark(Text(EDGE, piece.y + 25, run.id.removeprefix("run-"), 27, "soft"))
    piece.write(title[0].upper() + title[1:], 27, x=EDGE + 56, gap=0)
    time = words.clock(outing.frames.get(run.frames[0]))
    span = run.frames[0] if len(run.frames) == 1 else f"{run.frames[0]} to {run.frames[-1]}"
    piece.write(", ".join(p for p in (time, span) if p), 14, "soft", x=EDGE + 56, gap=8)
    if worked.failed is not None:
        piece.write(
            f"Could not be worked to the end. {worked.failed}", 17, "warn", x=EDGE + 56, width=640
        )
    if worked.keepers is not None:
        _burst(piece, worked.keepers, plates, outing.decided, single=run.kind == "single")
    if worked.gaps is not None:
        _sweep(piece, worked.gaps, worked.merge, plates.sweep)
    piece.y += 26
    return piece.cut()


def _verdict(piece: _Piece, head: str, text: str, good: bool, width: float) -> None:
    piece.write(f"{head}.", 19, "accent" if good else "warn", x=EDGE + 56, bold=True, gap=0)
    piece.write(text, 17, x=EDGE + 56, width=width)


def _burst(
    piece: _Piece,
    keepers: Keepers,
    plates: Plates,
    decided: Mapping[str, str],
    *,
    single: bool,
) -> None:
    top = piece.y
    good = keepers.verdict.code == "keeper"
    best = keepers.best
    seen = plates.seen.get(best.frame) if best is not None else None
    _verdict(piece, words.verdict_head(keepers), keepers.verdict.text, good, 560)
    if best is not None and seen is not None and seen.look is not None:
        wide = 200.0 if single else 260.0
        x = WIDTH - EDGE - wide
        high = piece.canvas.paste(seen.look, x, top, wide)
        marks = framed(best, keepers.eye, seen.size_px, wide, keepers.eye_radius_px)
        piece.canvas.put(marks, x, top)
        if single and seen.crop is not None:
            side = min(high, seen.crop.width / 1.0)
            piece.canvas.paste(seen.crop, x - side - 16, top, side)
        piece.y = max(piece.y, top + high + 18)
    if single:
        return
    row = in_space([f for f in hung(keepers, SIZES.hung) if f.frame in plates.seen])
    if any(f.eye_offset_dof is not None for f in keepers.frames):
        hooks = [(f.frame, hook_x(i, len(row), INSIDE)) for i, f in enumerate(row)]
        drawing = rail(keepers, INSIDE, hooks)
        piece.canvas.put(drawing, EDGE, piece.y)
        piece.y += drawing.height
    side = INSIDE / SIZES.hung - 10
    lowest = piece.y
    for number, frame in enumerate(row):
        crop = plates.seen[frame.frame].crop
        if crop is None:
            continue
        x = EDGE + hook_x(number, len(row), INSIDE) - side / 2
        if frame.rank == 1:
            piece.canvas.mark(
                Box(
                    x - 4,
                    piece.y - 4,
                    x + side + 4,
                    piece.y + side + 4,
                    fill="accent" if frame.keeper else "line",
                )
            )
        piece.canvas.paste(crop, x, piece.y, side)
        below = piece.y + side + 3
        for ink, text, bold in said_below(frame, decided):
            for line in piece.canvas.wrap(text, 13, side):
                below += 17
                piece.canvas.mark(Text(x, below, line, 13, ink, bold=bold))
        lowest = max(lowest, below)
    piece.y = max(piece.y, lowest + 8)


def _sweep(
    piece: _Piece, coverage: Coverage, merge: Merge | None, plates: SweepPlates | None
) -> None:
    _verdict(piece, words.coverage_head(coverage), coverage.reason, coverage.complete is True, 900)
    top = piece.y + 8
    drawing = time_ladder(coverage, 340)
    piece.canvas.put(drawing, EDGE, top)
    below_ladder = top + drawing.height + 8
    piece.y = below_ladder
    for number, gap in enumerate(coverage.gaps, 1):
        piece.write(f"{number}: {words.gap(gap)}", 13, "warn", width=340, gap=2)
    piece.y += 6
    for sign, ink, said in signs(coverage):
        piece.canvas.mark(Shape(sign, EDGE + 6, piece.y + 9, 5, ink))
        piece.write(said, 13, "soft", x=EDGE + 20, gap=2)
    piece.y += 4
    piece.write(bars_said(coverage), 13, "soft", width=340, gap=2)
    below_ladder = piece.y
    if merge is None or plates is None:
        return
    x, wide = EDGE + 380, INSIDE - 380
    piece.y = top
    if plates.picture is not None:
        high = piece.canvas.paste(plates.picture, x, top, wide)
        _outline(piece, merge, x, top, wide)
        piece.y = top + high + 4
        piece.write(
            f"Merged from {words.counted(len(merge.frames_used), 'frame')} as seen from "
            f"{merge.reference}",
            13,
            "soft",
            x=x,
            width=wide,
            gap=4,
        )
    for number, spot in enumerate(merge.suspicious, 1):
        said = f"{number}  {words.SUSPICION_WORDS[spot.kind]}: {spot.text}"
        piece.write(said, 13, x=x, width=wide, gap=2)
    if plates.shading is not None:
        piece.y += 10
        _legend(piece, plates.shading, x, wide)
    piece.y = max(piece.y, below_ladder)


def _outline(piece: _Piece, merge: Merge, x: float, y: float, wide: float) -> None:
    x0, y0, x1, _ = merge.crop_px
    scale = wide / max(1, x1 - x0)
    for number, spot in enumerate(merge.suspicious, 1):
        left, top = x + (spot.box_px[0] - x0) * scale, y + (spot.box_px[1] - y0) * scale
        right, bottom = x + (spot.box_px[2] - x0) * scale, y + (spot.box_px[3] - y0) * scale
        right, bottom = max(right, left + 6), max(bottom, top + 6)
        piece.canvas.mark(Box(left, top, right, bottom, outline="ink", width=3))
        piece.canvas.mark(Box(left, top, right, bottom, outline="paper", width=1.5, dashed=True))
        piece.canvas.mark(Box(left, top, left + 15, top + 17, fill="ink"))
        piece.canvas.mark(Text(left + 4, top + 13, str(number), 13, "paper", bold=True))


def _legend(piece: _Piece, shading: Shading, x: float, wide: float) -> None:
    picture_wide = wide * 0.62
    high = piece.canvas.paste(shading.picture, x, piece.y, picture_wide)
    at, room = x + picture_wide + 18, wide - picture_wide - 18
    y = piece.y + high - 70
    ramp = Image.fromarray(depth_shades(256)[None].repeat(20, axis=0))
    if shading.near is not None and shading.far is not None:
        piece.canvas.paste(ramp, at, y, room)
        y += room * 20 / 256
        piece.canvas.mark(Text(at, y + 16, f"{shading.near:.2f}", 13, "soft"))
        far = f"{shading.far:.2f} {shading.unit}"
        piece.canvas.mark(Text(at + room, y + 16, far, 13, "soft", "end"))
    bottom = piece.y + high + 10
    piece.y = y + 20
    piece.write("which plane each part comes from", 13, "soft", x=at, width=room)
    piece.y = max(piece.y, bottom)


def _foot(outing: Outing, left_over: int) -> Image.Image:
    piece = _Piece(160 + 24 * min(8, len(outing.skipped)))
    piece.canvas.mark(Line(EDGE, 1, WIDTH - EDGE, 1, "line"))
    piece.y = 16
    if left_over:
        piece.write(f"{words.counted(left_over, 'run')} more on the sheet itself.", 14, "soft")
    if outing.skipped:
        count = words.counted(len(outing.skipped), "file")
        piece.write(f"Left out: {count}", 15, bold=True, gap=2)
        for one in outing.skipped[:6]:
            piece.write(f"{one.file}: {one.why}"[:150], 13, "soft", gap=0)
    piece.y += 40
    return piece.cut()
