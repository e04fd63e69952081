"""A burst or a single on the page: verdict, best frame, rail, and the eyes of all frames."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from haltere.keepers.verdict import JudgedFrame, Keepers
from haltere.show import words
from haltere.show.best_frame import crop_words, cut_by_plane, framed
from haltere.show.colours import Ink
from haltere.show.drawing import Drawing, Shape, ShapeKind
from haltere.show.eyes import caption, eye_alt, eyes
from haltere.show.pictures import SIZES, Seen, data_uri
from haltere.show.plates import Plates
from haltere.show.rail import hung, in_space, rail
from haltere.show.svg import svg

WIDE, SLIM = 1040.0, 358.0
"""Widths that drawings are made for: a page, and a phone."""

BESIDE = 300.0
"""Width of a look beside the verdict."""

NUMBERS_SAID = (
    "Numbers are ranks, 1 is the best. A line through a sign is one standard deviation to each "
    "side."
)


def section_class(keepers: Keepers | None, plates: Plates, *, single: bool) -> str:
    """Name the kind of section, so that the head leaves room for the pictures beside it.

    Parameters
    ----------
    keepers : Keepers or None
        What was said of the run.
    plates : Plates
        Its pictures.
    single : bool
        Whether the run is a single frame.
    """
    if keepers is None or not plates.seen:
        return ""
    if single:
        return ' class="single-run"'
    return ' class="burst mapped"' if keepers.focus_map is not None else ' class="burst"'


def said(head: str, text: str, good: bool) -> str:
    """Write a verdict.

    Parameters
    ----------
    head : str
        In two or three words.
    text : str
        In a sentence.
    good : bool
        Whether it is good news.
    """
    mark = "good" if good else "bad"
    return f'<p class="said"><span class="{mark}">{escape(head)}.</span> {escape(text)}</p>'


def verdict(keepers: Keepers) -> str:
    """Write the verdict of a burst.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    """
    good = keepers.verdict.code == "keeper"
    return said(words.verdict_head(keepers), keepers.verdict.text, good)


def signs_of(*signs: tuple[ShapeKind, Ink, str]) -> str:
    """Write what signs mean.

    Parameters
    ----------
    *signs : tuple of (str, Ink, str)
        Sign, colour and meaning.
    """
    rows = ""
    for kind, ink, meaning in signs:
        mark = Shape(kind, 7, 7, 5, ink)
        rows += f'<li class="small soft">{svg(Drawing(14, 14, (mark,), ""))}{escape(meaning)}</li>'
    return f'<ul class="signs">{rows}</ul>'


def burst_signs() -> str:
    """Write what the signs of a burst mean."""
    return signs_of(
        ("disc", "accent", "keeper"),
        ("ring", "soft", "not a keeper"),
        ("cross", "warn", "another fault than focus"),
    )


def burst(keepers: Keepers, seen: Mapping[str, Seen], decided: Mapping[str, str]) -> str:
    """Write the section of a burst.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    seen : mapping of str to Seen
        Pictures by the frame's name.
    decided : mapping of str to str
        What the person said, by the frame's name.
    """
    row = in_space([frame for frame in hung(keepers, SIZES.hung) if frame.frame in seen])
    hooks = [(f.frame, hook_x(i, len(row), WIDE)) for i, f in enumerate(row)]
    best = keepers.best
    text = f'{verdict(keepers)}{burst_signs()}<p class="small soft">{NUMBERS_SAID}</p>'
    looks = looks_at(best, keepers, seen)
    html = f'<div class="pair"><div>{text}</div>{looks}</div>' if looks else text
    if any(frame.eye_offset_dof is not None for frame in keepers.frames):
        html += svg(rail(keepers, WIDE, hooks), "wide") + svg(rail(keepers, SLIM), "slim")
    if row:
        html += f'<div class="hung" style="--n:{len(row)}">'
        html += "".join(_crop(f, seen[f.frame], decided) for f in row) + "</div>"
    if len(keepers.frames) > len(row):
        count = words.counted(len(keepers.frames), "frame")
        html += f"<h3>All {count}, best first</h3>{eyes(keepers, seen, decided)}"
    return html


def looks_at(
    best: JudgedFrame | None, keepers: Keepers, seen: Mapping[str, Seen], width: float = BESIDE
) -> str:
    """Write the best frame as a whole: with eye and crop, and once more with the plane's cut.

    Parameters
    ----------
    best : JudgedFrame or None
        The best frame.
    keepers : Keepers
        The burst as judged.
    seen : mapping of str to Seen
        Pictures by the frame's name.
    width : float, optional
        About how wide each will be seen, units: marks keep their size.
    """
    shown = seen.get(best.frame) if best is not None else None
    if best is None or shown is None or shown.look is None:
        return ""
    marks = framed(best, keepers.eye, shown.size_px, width, keepers.eye_radius_px)
    print_words = f"<br>{escape(crop_words(best.crop))}" if best.crop is not None else ""
    html = _laid_over(shown, marks, f"{escape(marks.alt)}.{print_words}")
    found = keepers.focus_map
    if found is not None and found.frame == best.frame:
        cut = cut_by_plane(found, shown.size_px, width)
        signs = signs_of(
            ("left", "ink", "the plane lies in front"), ("right", "ink", "the plane lies behind")
        )
        html += _laid_over(shown, cut, f"Hatched is sharp in {escape(best.frame)}.{signs}")
    return html


def _laid_over(shown: Seen, marks: Drawing, caption_html: str) -> str:
    look = shown.look
    if look is None:
        return ""
    return (
        f'<figure><span class="spot"><img src="{data_uri(look, quality=80)}" '
        f'width="{look.width}" height="{look.height}" alt="{escape(marks.alt)}">'
        f"{svg(marks)}</span><figcaption>{caption_html}</figcaption></figure>"
    )


def hook_x(number: int, count: int, width: float) -> float:
    """Where the middle of the `number`-th of `count` hung crops is; each takes a fifth.

    Parameters
    ----------
    number : int
        Place in the row, from 0.
    count : int
        How many hang.
    width : float
        Width, in units.
    """
    fifth = width / SIZES.hung
    return width / 2 + (number - (count - 1) / 2) * fifth


def _crop(frame: JudgedFrame, seen: Seen, decided: Mapping[str, str]) -> str:
    if seen.crop is None:
        return ""
    best = ""
    if frame.rank == 1:
        best = ' class="best"' if frame.keeper else ' class="best soft-best"'
    return (
        f'<figure{best} style="--rank:{frame.rank}">'
        f'<img src="{data_uri(seen.crop)}" width="{seen.crop.width}" height="{seen.crop.height}" '
        f'alt="{escape(eye_alt(frame))}">'
        f'<figcaption><span class="rank">{frame.rank}</span> {escape(frame.frame)}<br>'
        f"{caption(frame, decided)}</figcaption></figure>"
    )


def single(keepers: Keepers, seen: Mapping[str, Seen], decided: Mapping[str, str]) -> str:
    """Write the section of a single frame.

    Parameters
    ----------
    keepers : Keepers
        The frame as judged.
    seen : mapping of str to Seen
        Pictures by the frame's name.
    decided : mapping of str to str
        What the person said, by the frame's name.
    """
    html = verdict(keepers)
    frame = keepers.frames[0] if keepers.frames else None
    shown = seen.get(frame.frame) if frame is not None else None
    if frame is None or shown is None:
        return html
    crop = ""
    if shown.crop is not None:
        crop = (
            f'<figure class="crop"><img src="{data_uri(shown.crop)}" width="{shown.crop.width}" '
            f'height="{shown.crop.height}" alt="{escape(eye_alt(frame))}">'
            f"<figcaption>The eye, full size<br>{caption(frame, decided)}</figcaption></figure>"
        )
    return f'<div class="single"><div>{html}</div>{crop}{looks_at(frame, keepers, seen)}</div>'
