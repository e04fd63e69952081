"""The eyes of all frames of a burst in rank order, repeats tucked behind the frame they repeat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from PIL import Image

from haltere.keepers.verdict import JudgedFrame, Keepers
from haltere.show import words
from haltere.show.pictures import Seen, data_uri
from haltere.show.rail import reach_dof, short_rail
from haltere.show.svg import svg

Kind = tuple[JudgedFrame, tuple[JudgedFrame, ...]]

SMALL_QUALITY = 80
"""JPEG quality of crops in the strip: blocks must not be taken for blur."""


def kinds(frames: Sequence[JudgedFrame]) -> list[Kind]:
    """Put repeats behind the frame they repeat, all in rank order.

    Parameters
    ----------
    frames : sequence of JudgedFrame
        Frames of one burst.
    """
    order = sorted(frames, key=lambda frame: frame.rank)
    names = {frame.frame for frame in order}
    behind: dict[str, list[JudgedFrame]] = {}
    firsts = []
    for frame in order:
        if frame.like in names and frame.like != frame.frame:
            behind.setdefault(str(frame.like), []).append(frame)
        else:
            firsts.append(frame)
    return [(first, tuple(behind.get(first.frame, ()))) for first in firsts]


def eyes(
    keepers: Keepers,
    seen: Mapping[str, Seen],
    decided: Mapping[str, str],
    *,
    large: bool = False,
) -> str:
    """Write the strip.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    seen : mapping of str to Seen
        Pictures by the frame's name; frames without one are named all the same.
    decided : mapping of str to str
        What the person said, by the frame's name.
    large : bool, optional
        Whether firsts of a kind are shown as large as they were cut.
    """
    reach = reach_dof(keepers)
    parts = []
    for first, behind in kinds(keepers.frames):
        tile = _tile(first, seen.get(first.frame), decided, reach, large=large)
        tucked = "".join(
            _tile(one, seen.get(one.frame), decided, reach, large=False) for one in behind
        )
        if tucked:
            count = words.counted(len(behind), "frame repeats it", "frames repeat it")
            tucked = f'<p class="small soft">{count}</p><div class="tucked">{tucked}</div>'
        wide = ' class="kind held"' if behind else ' class="kind"'
        parts.append(f"<li{wide}>{tile}{tucked}</li>")
    size = "large" if large else "small-eyes"
    return f'<ol class="eyes {size}">{"".join(parts)}</ol>'


def eye_alt(frame: JudgedFrame) -> str:
    """Say what the crop of a frame's eye shows, for those who do not see it.

    Parameters
    ----------
    frame : JudgedFrame
        The frame.
    """
    return f"The eye in {frame.frame}, one picture pixel a screen pixel; {words.place(frame)}."


def caption(frame: JudgedFrame, decided: Mapping[str, str]) -> str:
    """Write what is said of a frame: keeper or not, its place, its faults, the person's word.

    Parameters
    ----------
    frame : JudgedFrame
        The frame.
    decided : mapping of str to str
        What the person said, by the frame's name.
    """
    said = [escape(words.place(frame))]
    if frame.keeper:
        said.insert(0, '<span class="good">keeper</span>')
    found = words.said_faults(frame)
    if found:
        said.append(f'<span class="bad">{escape(found)}</span>')
    yours = words.decided(decided.get(frame.frame))
    return ", ".join(said) + (f'<br><span class="you">{yours}</span>' if yours else "")


def _tile(
    frame: JudgedFrame,
    seen: Seen | None,
    decided: Mapping[str, str],
    reach: float,
    *,
    large: bool,
) -> str:
    crop: Image.Image | None = None
    if seen is not None:
        crop = seen.crop if large and seen.crop is not None else seen.small
    if crop is None:
        said = "no eye to show" if frame.eye_px is None else "not shown"
        picture = f'<span class="blank small soft">{said}</span>'
    else:
        picture = (
            f'<img src="{data_uri(crop, quality=SMALL_QUALITY)}" width="{crop.width}" '
            f'height="{crop.height}" alt="{escape(eye_alt(frame))}">'
        )
    kept = ' class="kept"' if frame.keeper else ""
    width = crop.width if crop is not None else 112
    return (
        f"<figure{kept}>{picture}{svg(short_rail(frame, reach, width))}"
        f'<figcaption><span class="rank">{frame.rank}</span> {escape(frame.frame)}<br>'
        f"{caption(frame, decided)}</figcaption></figure>"
    )
