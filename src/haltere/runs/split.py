"""Splits an evening's frames into runs, and says what each run is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haltere.frames import Decoder, Frame, Skipped
from haltere.progress import Progress, silent
from haltere.runs.likeness import Look, look_at
from haltere.runs.numbers import NUMBERS
from haltere.runs.run import Pass, Run
from haltere.runs.travel import course_of

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Splitting:
    """An evening, run by run.

    Attributes
    ----------
    runs : tuple of Run
        In order of time.
    skipped : tuple of Skipped
        Frames that could not be decoded.
    """

    runs: tuple[Run, ...]
    skipped: tuple[Skipped, ...]


@dataclass(frozen=True, slots=True)
class Taker:
    """Who goes on with each run while the evening is still being split.

    Attributes
    ----------
    longest_px : callable
        Given frames between two partings, the longest side at which their pictures will be asked
        for in grey, or in colour when it is one frame by itself: JPEGs are decoded so at once, and
        kept in the decoder.
    take : callable
        Given a run and its frames as soon as it is known, in order; what the decoder kept of them
        is then the taker's to use or to forget.
    """

    longest_px: Callable[[Sequence[Frame]], int]
    take: Callable[[Run, Sequence[Frame]], None]


def split_runs(
    frames: Sequence[Frame],
    decoder: Decoder,
    progress: Progress = silent,
    taker: Taker | None = None,
) -> Splitting:
    """Answer which frames belong together, and whether they are a burst or a sweep.

    Frames are parted by pauses, by another size or camera setting, and where two neighbours do
    not show the same thing; a dark or smeared frame parts nothing.  Holds a few small pictures
    at a time.

    Parameters
    ----------
    frames : sequence of Frame
        Frames in order of time, those without a time last.
    decoder : Decoder
        Open decoder.
    progress : Progress, optional
        Told of each frame.
    taker : Taker, optional
        Given each run as soon as it is known.

    Returns
    -------
    Splitting
        Every frame that could be decoded is in exactly one run.
    """
    runs: list[Run] = []

    def looked(looks: list[Look]) -> None:
        for group in _alike(looks):
            run = _named(group, f"run-{len(runs) + 1:02d}")
            runs.append(run)
            if taker is not None:
                taker.take(run, [look.frame for look in group])

    apart = partings(frames)
    larger: dict[int, int] = {}
    if taker is not None:
        starts = [k for k, new in enumerate(apart) if new or k == 0]
        for first, last in zip(starts, [*starts[1:], len(frames)], strict=True):
            longest = taker.longest_px(frames[first:last])
            larger |= dict.fromkeys(range(first, last), longest)
    _, skipped = look_at(frames, apart, decoder, progress, larger_px=larger, looked=looked)
    return Splitting(tuple(runs), tuple(skipped))


def partings(frames: Sequence[Frame]) -> list[bool]:
    """Tell for every frame whether a pause or another setting parts it from the one before.

    Parameters
    ----------
    frames : sequence of Frame
        Frames in order of time.

    Returns
    -------
    list of bool
        False for the first.
    """
    gaps = [_seconds(a, b) for a, b in pairwise(frames)]
    parted = [False] * min(1, len(frames))
    for k, gap in enumerate(gaps):
        before, after = frames[k], frames[k + 1]
        timed = (before.shooting.time is None, after.shooting.time is None)
        pause = gap is not None and gap > _longest_pause(gaps, k)
        parted.append(pause or timed[0] != timed[1] or _settings(before) != _settings(after))
    return parted


def _settings(frame: Frame) -> tuple[object, ...]:
    """Tell what stays the same through a run; a flash that fails to fire changes none of it."""
    shooting = frame.shooting
    size = (frame.width_px, frame.height_px)
    return (*size, shooting.focal_mm, shooting.f_number, shooting.serial)


def _longest_pause(gaps: Sequence[float | None], at: int) -> float:
    around = [*gaps[max(0, at - 5) : at], *gaps[at + 1 : at + 6]]
    usual = sorted(g for g in around if g is not None and g <= NUMBERS.usual_s)
    if not usual:
        return NUMBERS.pause_s
    return max(NUMBERS.pause_s, NUMBERS.pause_ratio * usual[len(usual) // 2])


def _seconds(before: Frame, after: Frame) -> float | None:
    first, second = before.shooting.time, after.shooting.time
    if first is None or second is None:
        return None
    gap = _comparable(second, first) - _comparable(first, second)
    return float(gap.total_seconds())


def _comparable(time: datetime, other: datetime) -> datetime:
    """Local time when only one of two clocks says its offset."""
    return time if other.tzinfo is not None else time.replace(tzinfo=None)


def _alike(looks: Sequence[Look]) -> list[list[Look]]:
    """Part looks that follow without pause where what they show changes."""
    group = list(range(len(looks)))
    for k, look in enumerate(looks):
        if look.back is not None:
            group[k] = group[k - look.back]
    ends = {g: max(k for k in range(len(looks)) if group[k] == g) for g in set(group)}
    cuts, reach = [0], ends[0]
    for k in range(1, len(looks)):
        if k > reach:
            cuts.append(k)
        reach = max(reach, ends[group[k]])
    parts = [list(looks[a:b]) for a, b in zip(cuts, [*cuts[1:], len(looks)], strict=True)]
    return _with_spoiled(parts)


def _with_spoiled(parts: list[list[Look]]) -> list[list[Look]]:
    """Give dark or smeared frames at the edge of a part to the part beside them."""
    out: list[list[Look]] = []
    for k, part in enumerate(parts):
        beside = [p for p in (out[-1] if out else None, *parts[k + 1 : k + 2]) if p]
        timed = part[0].frame.shooting.time is not None
        if len(part) == 1 and timed and any(_spoiled(part[0], p) for p in beside):
            if out and _spoiled(part[0], out[-1]):
                out[-1].extend(part)
            else:
                parts[k + 1].insert(0, part[0])
        else:
            out.append(part)
    return out


def _spoiled(look: Look, beside: Sequence[Look]) -> bool:
    level = float(np.median([b.level for b in beside]))
    fine = float(np.median([b.detail for b in beside]))
    return look.level < NUMBERS.dark * level or look.detail < NUMBERS.soft * fine


def _along(looks: Sequence[Look]) -> Floats:
    """Position along the axis of each look, NaN where it was tied to nothing."""
    along = np.full(len(looks), np.nan)
    for k, look in enumerate(looks):
        if look.back is not None and k - look.back >= 0:
            start = along[k - look.back]
            along[k] = start + np.log(look.scale)
        elif not np.isfinite(along).any():
            # the chain starts at the first frame that another is tied to
            tied = any(b.back == m - k for m, b in enumerate(looks) if m > k)
            along[k] = 0.0 if tied else np.nan
    return along


def _named(looks: Sequence[Look], name: str) -> Run:
    frames = tuple(look.frame.name for look in looks)
    if len(looks) == 1:
        return Run(name, "single", frames, (), "one frame by itself")
    spoiled = np.array([_spoiled(look, looks) for look in looks])
    along = np.where(spoiled, np.nan, _along(looks))
    course = course_of(along)
    if not course.pushed:
        return Run(name, "burst", frames, (), f"{len(frames)} frames; {course.reason}")
    passes = tuple(Pass(leg.direction, frames[leg.first : leg.last + 1]) for leg in course.legs)
    return Run(name, "sweep", frames, passes, f"{len(frames)} frames; {course.reason}")
