"""One burst as a picture: every frame's eye at full size, and the best frame as a whole."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from html import escape
from pathlib import Path

from PIL import Image

from haltere.frames import Decoder, Frame
from haltere.keepers.verdict import Keepers
from haltere.progress import Progress, silent
from haltere.show import words
from haltere.show.best_frame import crop_words, cut_by_plane, framed
from haltere.show.bursts import (
    NUMBERS_SAID,
    SLIM,
    WIDE,
    burst_signs,
    looks_at,
    verdict,
)
from haltere.show.colours import NIGHT, Ink
from haltere.show.drawing import Drawing, Shape, ShapeKind, Text
from haltere.show.eyes import eyes
from haltere.show.eyes_drawn import EyeStrip
from haltere.show.filing import file_away, refuse_picture
from haltere.show.paint import Canvas
from haltere.show.pictures import SIZES, Seen, seen_frames
from haltere.show.plates import shown
from haltere.show.rail import rail
from haltere.show.style import opened
from haltere.show.svg import svg

INSIDE, EDGE, APART = 1112.0, 48.0, 24.0
"""Five crops and the room between them, the room around, and between two pictures, pixels."""

LOOK_PX = 1000
"""Longest side of the whole frame: large enough to see what the plane of focus cuts."""

PAGES = (".html", ".htm")

SIGNS: tuple[tuple[ShapeKind, Ink, str], ...] = (
    ("disc", "accent", "keeper"),
    ("ring", "soft", "not a keeper"),
    ("cross", "warn", "another fault than focus"),
    ("left", "ink", "the plane lies in front"),
    ("right", "ink", "the plane lies behind"),
)


def draw_burst(
    keepers: Keepers,
    frames: Sequence[Frame],
    decoder: Decoder,
    path: Path,
    *,
    decided: Mapping[str, str] | None = None,
    progress: Progress = silent,
) -> Path:
    """Draw the evidence for a verdict: all eyes in rank order, focus and crop of the best frame.

    Holds a few frames at full size while they are cut, and all the crops.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    frames : sequence of Frame
        Its frames.
    decoder : Decoder
        Open decoder.
    path : Path
        PNG or HTML file to write.
    decided : mapping of str to str, optional
        What the person said of frames, by name.
    progress : Progress, optional
        Told of every frame; may raise to cancel.

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
    named = {frame.name: frame for frame in frames}
    judged = sorted(keepers.frames, key=lambda frame: frame.rank)
    names = [name for name in shown(judged, len(judged)) if name in named]
    seen: dict[str, Seen] = {}
    wanted = [named[name] for name in names]
    cut = seen_frames(judged, wanted, decoder, large=frozenset(names), look_px=LOOK_PX)
    for number, (name, one) in enumerate(cut, 1):
        progress("drawing the eyes", number, len(names))
        seen[name] = one
    folder = common_folder([frame.frame for frame in keepers.frames])
    seen = {name.removeprefix(folder): one for name, one in seen.items()}
    said = {name.removeprefix(folder): word for name, word in (decided or {}).items()}
    keepers = without_folder(keepers, folder)
    if path.suffix.lower() in PAGES:
        return file_away(path, burst_page(keepers, seen, said).encode())
    return file_away(path, burst_png(keepers, seen, said))


def common_folder(names: Sequence[str]) -> str:
    """Give the folder that all names begin with, and its last slash; empty without one.

    Parameters
    ----------
    names : sequence of str
        Names of frames, as they were given.
    """
    # names are kept as they were given, and may come from another system: no path is made of them
    folders = {name[: max(name.rfind("/"), name.rfind("\\")) + 1] for name in names}
    shared = min(folders, key=len, default="")
    return shared if all(folder.startswith(shared) for folder in folders) else ""


def without_folder(keepers: Keepers, folder: str) -> Keepers:
    """Leave the folder out of every name: below a crop there is room for the file's own.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    folder : str
        What all names begin with.
    """
    if not folder:
        return keepers
    frames = tuple(
        replace(
            one,
            frame=one.frame.removeprefix(folder),
            like=None if one.like is None else one.like.removeprefix(folder),
        )
        for one in keepers.frames
    )
    said = replace(keepers.verdict, text=keepers.verdict.text.replace(folder, ""))
    found = keepers.focus_map
    if found is not None:
        found = replace(found, frame=found.frame.removeprefix(folder))
    return replace(keepers, frames=frames, verdict=said, focus_map=found)


def refuse(path: Path, frames: Sequence[Frame]) -> None:
    """Refuse a file that a burst can't be drawn to, before any work is done.

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
    refuse_picture(path, frames, (".png", *PAGES), "a PNG or an HTML page")


def title(keepers: Keepers) -> str:
    """Name a burst by its frames.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    """
    names = sorted(frame.frame for frame in keepers.frames)
    if len(names) < 2:
        return "".join(names)
    return f"{words.counted(len(names), 'frame')}, {names[0]} to {names[-1]}"


def burst_page(keepers: Keepers, seen: Mapping[str, Seen], decided: Mapping[str, str]) -> str:
    """Write the picture as a page that needs nothing but itself.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    seen : mapping of str to Seen
        Pictures by the frame's name.
    decided : mapping of str to str
        What the person said, by the frame's name.
    """
    best = keepers.best
    looks = looks_at(best, keepers, seen, (WIDE - APART) / 2)
    placed = any(frame.eye_offset_dof is not None for frame in keepers.frames)
    rails = svg(rail(keepers, WIDE), "wide") + svg(rail(keepers, SLIM), "slim") if placed else ""
    head = escape(title(keepers))
    return "\n".join(
        (
            opened(f"{title(keepers)}: the eyes", alone=True),
            f"<h1>{head}</h1></header>",
            verdict(keepers),
            f'<div class="looks">{looks}</div>' if looks else "",
            burst_signs(),
            f'<p class="small soft">{NUMBERS_SAID}</p>' if placed else "",
            rails,
            f"<h3>{STRIP_SAID}</h3>",
            eyes(keepers, seen, decided, large=True),
            "</main></body></html>\n",
        )
    )


STRIP_SAID = "The eye in every frame, best first, one picture pixel a screen pixel"


def burst_png(keepers: Keepers, seen: Mapping[str, Seen], decided: Mapping[str, str]) -> bytes:
    """Compose the picture; crops are not resampled.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    seen : mapping of str to Seen
        Pictures by the frame's name.
    decided : mapping of str to str
        What the person said, by the frame's name.

    Returns
    -------
    bytes
        A PNG file.
    """
    strip = EyeStrip(keepers, seen, decided, float(SIZES.crop_px), float(SIZES.small_px))
    wide = INSIDE + 2 * EDGE
    long = strip.put(Canvas(wide, 8, NIGHT, 1), EDGE, 0, INSIDE, dry=True)
    canvas = Canvas(wide, 1500 + long, NIGHT, 1)
    y = canvas.paragraph(title(keepers), EDGE, EDGE - 12, INSIDE, 26, "ink") + 6
    good: Ink = "accent" if keepers.verdict.code == "keeper" else "warn"
    y = canvas.paragraph(f"{words.verdict_head(keepers)}.", EDGE, y, INSIDE, 19, good, bold=True)
    y = canvas.paragraph(keepers.verdict.text, EDGE, y, INSIDE, 17, "ink") + 16
    y = _looks(canvas, keepers, seen, y)
    y = _signs(canvas, y, SIGNS if keepers.focus_map is not None else SIGNS[:3])
    if any(frame.eye_offset_dof is not None for frame in keepers.frames):
        drawn = rail(keepers, INSIDE)
        canvas.put(drawn, EDGE, y)
        y = canvas.paragraph(NUMBERS_SAID, EDGE, y + drawn.height, INSIDE, 13, "soft") + 8
    y = canvas.paragraph(STRIP_SAID, EDGE, y + 8, INSIDE, 15, "soft") + 10
    y = strip.put(canvas, EDGE, y, INSIDE)
    high = min(canvas.image.height, round(y + EDGE - 12))
    buffer = io.BytesIO()
    canvas.image.crop((0, 0, canvas.image.width, high)).save(buffer, "PNG", compress_level=6)
    return buffer.getvalue()


def _looks(canvas: Canvas, keepers: Keepers, seen: Mapping[str, Seen], y: float) -> float:
    """Hang the best frame, once with eye and crop and once with the plane's cut."""
    best = keepers.best
    one = seen.get(best.frame) if best is not None else None
    if best is None or one is None or one.look is None:
        return y
    half = (INSIDE - APART) / 2
    marks = framed(best, keepers.eye, one.size_px, half, keepers.eye_radius_px)
    said = [f"{marks.alt}."]
    if best.crop is not None:
        said.append(crop_words(best.crop))
    bottom = _hang(canvas, one.look, marks, EDGE, y, said)
    found = keepers.focus_map
    if found is not None and found.frame == best.frame:
        cut = cut_by_plane(found, one.size_px, half)
        said = [f"Hatched is sharp in {best.frame}."]
        bottom = max(bottom, _hang(canvas, one.look, cut, EDGE + half + APART, y, said))
    return bottom + 12


def _hang(
    canvas: Canvas, look: Image.Image, marks: Drawing, x: float, y: float, said: Sequence[str]
) -> float:
    # drawn at twice the size and shrunk, so that slanted lines are smooth
    fine = Canvas(marks.width, marks.height, NIGHT, 2)
    fine.paste(look, 0, 0, marks.width)
    fine.put(marks, 0, 0)
    high = canvas.paste(fine.image, x, y, marks.width)
    y += high + 6
    for text in said:
        y = canvas.paragraph(text, x, y, marks.width, 14, "soft")
    return y


def _signs(canvas: Canvas, y: float, signs: Sequence[tuple[ShapeKind, Ink, str]]) -> float:
    x = EDGE
    for kind, ink, meaning in signs:
        canvas.mark(Shape(kind, x + 6, y + 8, 5, ink))
        canvas.mark(Text(x + 18, y + 13, meaning, 13, "soft"))
        x += 18 + canvas.room(meaning, 13) + 26
    return y + 32
