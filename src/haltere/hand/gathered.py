"""Collects what the book knows of a hand: judged bursts and placed sweeps."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from haltere.fieldbook.answers import Answered, newest_answers
from haltere.fieldbook.book import Book
from haltere.fieldbook.catalogue import frames_in, outings
from haltere.fieldbook.supports import supports
from haltere.frames.frame import Frame
from haltere.hand.numbers import NUMBERS
from haltere.hand.seen import BurstSeen, Floats, SweepSeen
from haltere.keepers.verdict import JudgedFrame, Keepers
from haltere.sweeps.coverage import Coverage

_MOTION, _MISFIRE = {"motion", "ghost"}, {"dark"}


def gather(book: Book) -> tuple[list[BurstSeen], list[SweepSeen], list[str]]:
    """Collect all bursts and sweeps of the book that tell something of the hand.

    Holds one answer and one outing's frames at a time.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    bursts : list of BurstSeen
        In order of time.
    sweeps : list of SweepSeen
        In order of time.
    left_out : list of str
        What was left out, counted by its reason.
    """
    order = {row.id: number for number, row in enumerate(reversed(outings(book)))}
    words = supports(book)
    left: Counter[str] = Counter()
    frames: dict[str, Frame] = {}
    loaded: int | None = None
    bursts: list[tuple[tuple[int, float], BurstSeen]] = []
    for found in newest_answers(book, "keepers", Keepers):
        if len(found.result.frames) < 2:
            continue
        if loaded != found.outing:
            frames, loaded = {one.name: one for one in frames_in(book, found.outing)}, found.outing
        support = words.get((found.outing, found.subject)) or words.get((found.outing, ""), "")
        one, why = _burst(found, frames, support)
        if one is None:
            left[why] += 1
        else:
            bursts.append(((order.get(found.outing, 0), _begin(found.result, frames)), one))
    bursts.sort(key=lambda pair: pair[0])
    sweeps: list[tuple[int, SweepSeen]] = []
    for swept in newest_answers(book, "gaps", Coverage):
        support = words.get((swept.outing, swept.subject)) or words.get((swept.outing, ""), "")
        pushed = _sweep(swept, support)
        if pushed is None:
            left["sweeps without measured steps"] += 1
        else:
            sweeps.append((order.get(swept.outing, 0), pushed))
    sweeps.sort(key=lambda pair: pair[0])
    return (
        [one for _, one in bursts],
        [pushed for _, pushed in sweeps],
        [f"{why}: {number}" for why, number in sorted(left.items())],
    )


def _begin(keepers: Keepers, frames: Mapping[str, Frame]) -> float:
    times = [_second(frames.get(one.frame)) for one in keepers.frames]
    known = [time for time in times if time is not None]
    return min(known, default=0.0)


def _second(frame: Frame | None) -> float | None:
    time = None if frame is None else frame.shooting.time
    return None if time is None else time.timestamp()


def _burst(
    found: Answered[Keepers], frames: Mapping[str, Frame], support: str
) -> tuple[BurstSeen | None, str]:
    """Turn a judged burst into numbers, or say why not."""
    judged = sorted(
        (one for one in found.result.frames if one.frame in frames),
        key=lambda one: (_second(frames[one.frame]) or 0.0, one.frame),
    )
    if len(judged) < 2:
        return None, "bursts whose frames are no longer in the book"
    if found.result.verdict.code == "unsure":
        return None, "bursts without a sure verdict"
    ratios = [
        one.eye_offset_mm / one.eye_offset_dof
        for one in judged
        if one.eye_offset_mm is not None and one.eye_offset_dof and abs(one.eye_offset_dof) > 0.02
    ]
    if not ratios:
        return None, "bursts without a scale, which --kit or --magnification gives"
    dof = float(np.median(ratios))
    times = _times(judged, frames)
    offset = np.array(
        [np.nan if one.eye_offset_mm is None else one.eye_offset_mm for one in judged]
    )
    doubt = np.array([one.uncertainty_dof or np.nan for one in judged]) * dof
    offset[~np.isfinite(doubt)] = np.nan
    capture: Mapping[str, Any] = found.params.get("capture") or {}
    magnification, pitch = capture.get("magnification"), capture.get("pixel_pitch_mm")
    pitch = pitch or frames[judged[0].frame].shooting.pixel_pitch_mm
    per_px = pitch / magnification if pitch and magnification else np.nan
    aside = np.array(
        [(np.nan, np.nan) if one.eye_px is None else one.eye_px for one in judged], float
    )
    time = frames[judged[0].frame].shooting.time
    return (
        BurstSeen(
            outing=found.outing,
            support=support,
            hour=None if time is None else time.hour,
            magnification=magnification,
            dof_mm=dof,
            times_s=times,
            offset_mm=offset,
            error_mm=np.where(np.isfinite(doubt), doubt, 1.0),
            aside_mm=aside * per_px,
            motion=sum(_has(one, _MOTION) for one in judged),
            misfire=sum(_has(one, _MISFIRE) for one in judged),
            spoilt=sum(_has(one, None) for one in judged),
            hit=any(one.keeper for one in judged),
        ),
        "",
    )


def _has(one: JudgedFrame, kinds: set[str] | None) -> bool:
    """Tell whether a fault is said; None asks for any but focus."""
    said = [fault for fault in one.faults if fault.confidence >= NUMBERS.said]
    if kinds is None:
        return any(fault.kind != "defocus" for fault in said)
    return any(fault.kind in kinds for fault in said)


def _times(judged: Sequence[JudgedFrame], frames: Mapping[str, Frame]) -> Floats:
    """Seconds from the first frame on; even where clocks give whole seconds, or none."""
    known = [_second(frames[one.frame]) for one in judged]
    usual: Floats = (
        np.arange(len(judged), dtype=np.float64) * 0.1
    )  # ten frames a second, as the plan assumes
    if any(time is None for time in known):
        return usual
    times: Floats = np.array(known, np.float64) - float(known[0] or 0.0)
    steps = np.diff(times)
    if (steps > 0).all():
        return times
    lasted = float(times[-1])
    # frames of one second are spread evenly over the burst; a second is lost at its ends
    return usual if lasted < 2 else usual * (lasted / float(usual[-1]))


def _sweep(found: Answered[Coverage], support: str) -> SweepSeen | None:
    cover = found.result
    push = cover.push
    if push is None or not push.step_dof or push.step_spread_dof is None:
        return None
    doubts = [plane.uncertainty_dof for plane in cover.planes if plane.uncertainty_dof is not None]
    capture: Mapping[str, Any] = found.params.get("capture") or {}
    return SweepSeen(
        outing=found.outing,
        support=support,
        magnification=capture.get("magnification"),
        steps=max(0, len(doubts) - len(cover.passes)),
        step_dof=push.step_dof,
        step_spread_dof=push.step_spread_dof,
        step_error_dof=float(np.median(doubts)) if doubts else 0.0,
        speed_mm_s=push.speed_mm_s,
        frames_per_s=push.frames_per_s,
        sway_mm=push.sway_mm,
    )
