"""The rail of a burst: where each frame's plane of focus lies against the eye."""

from __future__ import annotations

from collections.abc import Sequence

from haltere.keepers.verdict import JudgedFrame, Keepers
from haltere.show import words
from haltere.show.colours import Ink
from haltere.show.drawing import Box, Drawing, Line, Mark, Shape, Text, text_width

REACHES_DOF = (1.5, 2.0, 3.0, 4.0, 6.0)
"""Half lengths the rail may have; the shortest that holds the frames worth a look is taken."""

LANE = 17.0
"""Height of one lane of marks; neighbours that would touch go to different lanes."""


def hung(keepers: Keepers, most: int) -> list[JudgedFrame]:
    """Choose the best frames whose eye was found, each kind once before any repeats; best first.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    most : int
        How many at most.
    """
    found = [frame for frame in keepers.frames if frame.eye_px is not None]
    chosen = sorted(found, key=lambda frame: (frame.like is not None, frame.rank))[:most]
    return sorted(chosen, key=lambda frame: frame.rank)


def in_space(frames: Sequence[JudgedFrame]) -> list[JudgedFrame]:
    """Sort frames from the nearest plane to the farthest, unknown places last.

    Parameters
    ----------
    frames : sequence of JudgedFrame
        The frames.
    """
    return sorted(
        frames,
        key=lambda f: (f.eye_offset_dof is None, f.eye_offset_dof or 0.0, f.rank),
    )


def reach_dof(keepers: Keepers) -> float:
    """Half length of the rail, in depths of field.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    """
    near = sorted(abs(f.eye_offset_dof) for f in keepers.frames if f.eye_offset_dof is not None)
    if not near:
        return REACHES_DOF[0]
    wanted = near[min(len(near) - 1, max(4, round(0.75 * len(near))))]
    return next((reach for reach in REACHES_DOF if reach >= wanted), REACHES_DOF[-1])


def rail(keepers: Keepers, width: float, hooks: Sequence[tuple[str, float]] = ()) -> Drawing:
    """Draw the rail.

    Parameters
    ----------
    keepers : Keepers
        The burst as judged.
    width : float
        Width in units; a wide one for screens and print, a narrow one for the phone.
    hooks : sequence of (str, float)
        Frames whose pictures hang below, and at which x; threads lead there.
    """
    reach = reach_dof(keepers)
    margin = 26.0
    scale = (width - 2 * margin) / (2 * reach)
    placed = [f for f in keepers.frames if f.eye_offset_dof is not None]
    lanes = _lanes(placed, scale, reach)
    top, axis = 34.0, 34.0 + LANE * (max(lanes.values(), default=0) + 1) + 8
    middle = width / 2

    def x_of(frame: JudgedFrame) -> float:
        return middle + scale * max(-reach, min(reach, frame.eye_offset_dof or 0.0))

    marks: list[Mark] = [
        Box(middle - 0.5 * scale, top - 8, middle + 0.5 * scale, axis, fill="wash"),
        Text(middle, top - 16, "eye sharp", 12, "accent", "middle", bold=True),
        Shape("left", 8, top - 20, 4.5, "soft"),
        Text(18, top - 16, "in front of the eye", 12, "soft"),
        Shape("right", width - 8, top - 20, 4.5, "soft"),
        Text(width - 18, top - 16, "behind the eye", 12, "soft", "end"),
        Line(margin - 12, axis, width - margin + 12, axis, "ink", 1.2),
        Line(middle, top - 8, middle, axis + 6, "ink", 1.0),
    ]
    marks += _scale(placed, middle, scale, reach, axis)
    position: dict[str, tuple[float, float]] = {}
    for frame in placed:
        x, y = x_of(frame), axis - 12 - LANE * lanes[frame.frame]
        position[frame.frame] = (x, y)
        marks += _frame(frame, x, y, scale, reach, width)
    height = axis + 40
    if hooks:
        height += 34
        threads: list[Mark] = []
        for name, hook in hooks:
            if name in position:
                x, y = position[name]
                threads += [
                    Line(x, y, x, axis + 38, "line", 1.2),
                    Line(x, axis + 38, hook, height, "line", 1.2),
                ]
        marks[1:1] = threads  # over the band, under everything else
    lost = len(keepers.frames) - len(placed)
    alt = (
        f"Places of {words.counted(len(placed), 'frame')} against the eye, from {reach:g} depths "
        f"of field in front to {reach:g} behind; {_said(keepers)}"
    )
    if lost:
        alt += f" {words.counted(lost, 'frame')} could not be placed."
    return Drawing(width, height, tuple(marks), alt)


def short_rail(frame: JudgedFrame, reach: float, width: float) -> Drawing:
    """Draw one frame's place alone, for below its picture.

    Parameters
    ----------
    frame : JudgedFrame
        The frame.
    reach : float
        Half length in depths of field, that of the burst's rail.
    width : float
        Width in units.
    """
    scale, middle, axis = (width - 20) / (2 * reach), width / 2, 13.0
    marks: list[Mark] = [
        Box(middle - 0.5 * scale, 2, middle + 0.5 * scale, axis, fill="wash"),
        Line(4, axis, width - 4, axis, "line", 1.2),
        Line(middle, 2, middle, axis + 3, "ink", 1.0),
    ]
    offset = frame.eye_offset_dof
    if offset is not None:
        x = middle + scale * max(-reach, min(reach, offset))
        marks += _sign(frame, x, axis - 5, 0.8)
        if abs(offset) > reach:
            marks.append(Shape("left" if offset < 0 else "right", x, axis - 5, 3, "soft"))
    elif words.faults(frame.faults, but=("defocus",)):
        marks.append(Shape("cross", 8, axis - 5, 3.6, "warn"))
    return Drawing(width, axis + 4, tuple(marks), words.place(frame))


def _said(keepers: Keepers) -> str:
    inside = sum(
        f.eye_offset_dof is not None and abs(f.eye_offset_dof) <= 0.5 for f in keepers.frames
    )
    return f"{words.counted(inside, 'frame')} with the eye inside the depth of field."


def _lanes(placed: Sequence[JudgedFrame], scale: float, reach: float) -> dict[str, int]:
    """Lane of each frame, so that no two marks touch; the best keep the lowest lane."""
    taken: list[list[float]] = []
    lanes: dict[str, int] = {}
    for frame in sorted(placed, key=lambda f: f.rank):
        x = scale * max(-reach, min(reach, frame.eye_offset_dof or 0.0))
        for lane, others in enumerate(taken):
            if all(abs(x - other) >= 30 for other in others):
                others.append(x)
                lanes[frame.frame] = lane
                break
        else:
            lanes[frame.frame] = len(taken)
            taken.append([x])
    return lanes


def _scale(
    placed: Sequence[JudgedFrame], middle: float, scale: float, reach: float, axis: float
) -> list[Mark]:
    mm_per_dof = next(
        (
            f.eye_offset_mm / f.eye_offset_dof
            for f in placed
            if f.eye_offset_mm is not None and f.eye_offset_dof and abs(f.eye_offset_dof) > 0.05
        ),
        None,
    )
    unit = "depths of field"
    marks: list[Mark] = []
    beside = text_width(unit, 11) / 2
    for tick in range(int(reach) + 1):
        mm = f"{tick * mm_per_dof:.2f} mm" if mm_per_dof is not None and tick else ""
        half = text_width(mm, 11) / 2
        clear = tick * scale - half > beside
        for side in (-1, 1) if tick else (1,):
            x = middle + side * tick * scale
            marks.append(Line(x, axis, x, axis + 5, "ink"))
            marks += _label(x, axis + 18, f"{tick}" if tick else "eye", 12)
            if mm and clear:
                marks += _label(x, axis + 32, mm, 11)
        if mm and clear:
            beside = tick * scale + half
    return marks + _label(middle, axis + 32, unit, 11)


def _label(x: float, y: float, said: str, size: float) -> list[Mark]:
    """Words on a patch of paper, so that a thread behind them does not strike them out."""
    half = text_width(said, size) / 2
    return [
        Box(x - half, y - size, x + half, y + 2, fill="paper"),
        Text(x, y, said, size, "soft", "middle"),
    ]


def _frame(
    frame: JudgedFrame, x: float, y: float, scale: float, reach: float, width: float
) -> list[Mark]:
    marks: list[Mark] = []
    offset = frame.eye_offset_dof or 0.0
    if abs(offset) > reach:
        side = -1 if offset < 0 else 1
        marks.append(Shape("left" if side < 0 else "right", x + side * 13, y, 4, "soft"))
    elif frame.uncertainty_dof:
        half = min(frame.uncertainty_dof * scale, 60)
        marks.append(Line(max(0.0, x - half), y, min(width, x + half), y, "soft", 1.0))
    bad = bool(words.faults(frame.faults, but=("defocus",)))
    marks += _sign(frame, x, y, 1.0)
    label: Ink = "soft" if bad or not frame.keeper else "accent"
    marks.append(Text(x + 8, y - 4, str(frame.rank), 11, label, bold=frame.keeper))
    return marks


def _sign(frame: JudgedFrame, x: float, y: float, size: float) -> list[Mark]:
    if words.faults(frame.faults, but=("defocus",)):
        return [Shape("cross", x, y, 4.5 * size, "warn")]
    if frame.keeper:
        return [Shape("disc", x, y, 6 * size, "accent")]
    return [Shape("ring", x, y, 5 * size, "soft")]
