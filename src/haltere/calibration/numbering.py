"""Which mark of one frame is which mark of the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haltere.calibration.blur import RowFit
from haltere.calibration.marks import MarkRow

Floats = NDArray[np.float64]

_PER_PITCH = 4  # samples a pitch of the straightened picture
_ROWS = 16  # pitches to either side of the marks that are looked at
_SHIFT = 8  # marks by which frames may differ at most: two frames of a push seldom differ by three
_SIDE = 18  # samples across by which the hand may have swayed
_UNSTEADY = 0.08  # correlation that a step costs which is one mark longer than its neighbours
_LONG = 0.02  # the same for a step of one mark, while nothing is known of the push yet
_STEADY = 0.3  # spread of the sure steps, in marks, up to which steadiness alone tells the next
_CLEAR = 0.05  # lead of one shift before the next below which the choice is called doubtful
_LIKE = 0.6  # correlation below which the rule's own signs say nothing


@dataclass(frozen=True, slots=True)
class Straightened:
    """The rule of one frame seen square on, with what all marks share taken away.

    Attributes
    ----------
    first : int
        Number of the mark at column 0.
    picture : ndarray of float32, shape (R, C)
        Light, log scale; NaN outside the picture.
    sides : tuple of two ndarray of bool, shape (R,)
        Rows before and after the short marks.
    strength : tuple of two floats
        How much shows there.
    """

    first: int
    picture: NDArray[np.float32]
    sides: tuple[NDArray[np.bool_], ...]
    strength: tuple[float, float]


def straighten(row: MarkRow, fit: RowFit, pitch_mm: float) -> Straightened:
    """Undo perspective along the rule.

    Parameters
    ----------
    row : MarkRow
        The frame's marks.
    fit : RowFit
        Its geometry.
    pitch_mm : float
        From mark to mark.
    """
    import cv2

    first, last = int(row.chain.number[0]), int(row.chain.number[-1])
    count = (last - first) * _PER_PITCH
    mm = (first + (np.arange(count) + 0.5) / _PER_PITCH) * pitch_mm
    tau = mm - fit.focus_mm
    stretch = 1.0 + fit.convergence * tau
    middle = (row.turned.shape[1] - 1) / 2.0
    x = middle + fit.focus_px + fit.spacing * tau / stretch
    line = 0.5 * (row.rows[0] + row.rows[1])
    v = (np.arange(2 * _ROWS * _PER_PITCH) - _ROWS * _PER_PITCH) / _PER_PITCH * pitch_mm
    # across the rule nothing is shortened by the tilt; spacing does well enough here
    y = line + v[:, None] * fit.spacing / stretch[None, :]
    xs = np.broadcast_to(x, y.shape).astype(np.float32)
    seen = cv2.remap(
        np.log(np.maximum(row.turned, 0.003)), xs, y.astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=float("nan"),
    )  # fmt: skip
    picture = np.asarray(seen, np.float32)
    there = np.isfinite(picture).reshape(len(v), -1, _PER_PITCH)
    enough = there.mean(axis=1).min(axis=1) >= 0.5
    held = picture.reshape(there.shape)
    held[~enough] = np.nan
    shared = np.zeros((len(v), _PER_PITCH), np.float32)
    shared[enough] = np.nanmedian(held[enough], axis=1)
    picture = _levelled((held - shared[:, None, :]).reshape(picture.shape))
    beat = np.where(enough, shared.std(axis=1), 0.0)
    sides = _sides(enough, beat)
    strength = [float(np.nanquantile(np.abs(picture[s]), 0.98)) if s.any() else 0.0 for s in sides]
    return Straightened(first, picture, sides, (strength[0], strength[1]))


def _levelled(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Rows without their slope: light that falls off along the rule is no sign on it."""
    x = np.broadcast_to(np.linspace(-1.0, 1.0, picture.shape[1]), picture.shape)
    seen = np.isfinite(picture)
    count = np.maximum(seen.sum(axis=1, keepdims=True), 1)
    x0 = x - np.where(seen, x, 0.0).sum(axis=1, keepdims=True) / count
    filled = np.where(seen, picture, 0.0)
    square = np.maximum(np.where(seen, x0**2, 0.0).sum(axis=1, keepdims=True), 1e-9)
    slope = np.where(seen, filled * x0, 0.0).sum(axis=1, keepdims=True) / square
    mean = filled.sum(axis=1, keepdims=True) / count
    return np.asarray(picture - mean - slope * x0, np.float32)


def _sides(enough: NDArray[np.bool_], beat: Floats) -> tuple[NDArray[np.bool_], ...]:
    """Rows on either side of the short marks.

    Among the short marks themselves the difference of sharp and blurred ones is all there is, and
    that goes with the focus, not with the rule.
    """
    rows = np.arange(len(beat))
    middle = len(beat) // 2  # of the rows the marks were found in
    around = beat[middle - 3 : middle + 4]
    if not (around > 0.0).any():
        return np.zeros(len(beat), bool), np.zeros(len(beat), bool)
    busy = np.flatnonzero(beat > 0.4 * np.median(around[around > 0.0]))
    # the block about the middle; a row or two may be missing in it
    blocks = np.split(busy, np.flatnonzero(np.diff(busy) > 3) + 1)
    busy = min(blocks, key=lambda block: float(np.abs(block - middle).min()))
    margin = round(0.6 * _PER_PITCH)
    return enough & (rows < busy[0] - margin), enough & (rows > busy[-1] + margin)


def _pictures(straight: Sequence[Straightened]) -> list[Straightened]:
    """Leave only that side of the short marks where more frames show longer ones or numbers."""
    side = int(np.argmax(np.median([one.strength for one in straight], axis=0)))
    out = []
    for one in straight:
        picture = np.where(one.sides[side][:, None], one.picture, np.float32(np.nan))
        out.append(replace(one, picture=picture))
    return out


def _likeness(a: Straightened, b: Straightened, shift: int) -> float:
    """Best correlation over sideways sway when mark n of `a` is mark n + shift of `b`."""
    start = max(a.first, b.first - shift)
    end = min(
        a.first + a.picture.shape[1] // _PER_PITCH,
        b.first - shift + b.picture.shape[1] // _PER_PITCH,
    )
    if end - start < 3:
        return -1.0
    one = a.picture[:, (start - a.first) * _PER_PITCH : (end - a.first) * _PER_PITCH]
    from_b = start + shift - b.first
    two = b.picture[:, from_b * _PER_PITCH : (from_b + end - start) * _PER_PITCH]
    best = -1.0
    height = one.shape[0]
    for side in range(-_SIDE, _SIDE + 1):
        p = one[max(0, side) : height + min(0, side)]
        q = two[max(0, -side) : height + min(0, -side)]
        both = np.isfinite(p) & np.isfinite(q)
        if both.sum() < 100:
            continue
        x, y = p[both], q[both]
        norm = float(np.sqrt((x @ x) * (y @ y)))
        if norm > 0.0:
            best = max(best, float(x @ y) / norm)
    return best


def number_marks(
    rows: Sequence[MarkRow], fits: Sequence[RowFit], pitch_mm: float
) -> tuple[Floats, int, float]:
    """Place of focus of each frame on the rule, mm from one and the same mark.

    Longer marks, numbers and scratches tell which mark is which; where they don't, the focus is
    taken to move on steadily.

    Parameters
    ----------
    rows : sequence of MarkRow
        Frames in order of time.
    fits : sequence of RowFit
        Their geometry.
    pitch_mm : float
        From mark to mark.

    Returns
    -------
    focus_mm : ndarray of float64, shape (N,)
        Place of focus.
    doubtful : int
        Frames whose marks were numbered by steadiness alone.
    doubt_mm : float
        What that adds to the error of the way from first to last frame, along the rule.
    """
    pictures = _pictures(
        [straighten(row, fit, pitch_mm) for row, fit in zip(rows, fits, strict=True)]
    )
    own = [fit.focus_mm for fit in fits]
    shifts, likeness = [], []
    for k, (before, now) in enumerate(pairwise(pictures)):
        # mark n before is mark n + shift now
        tried = np.arange(-_SHIFT, _SHIFT + 1) + round((own[k + 1] - own[k]) / pitch_mm)
        shifts.append(tried)
        likeness.append(np.array([_likeness(before, now, int(t)) for t in tried]))
    moved = [own[k + 1] - tried * pitch_mm - own[k] for k, tried in enumerate(shifts)]
    telling = [like.max() >= _LIKE for like in likeness]
    # first the shortest of the likely steps, then each against its neighbours
    short = [
        way[np.argmax(like - _LONG * (way / pitch_mm) ** 2)]
        for way, like in zip(moved, likeness, strict=True)
    ]
    steps = np.full(len(moved), float(np.median(short)))
    spread = pitch_mm
    sure = np.array(telling)
    doubtful = np.zeros(len(moved), bool)
    for _ in range(4):
        before_steps = steps.copy()
        spread = float(np.std(before_steps[sure])) if sure.sum() > 2 else pitch_mm
        for k, (way, like) in enumerate(zip(moved, likeness, strict=True)):
            expected = float(np.median(before_steps[max(0, k - 3) : k + 4]))
            unlike = _UNSTEADY * ((way - expected) / pitch_mm) ** 2
            score = (like if telling[k] else np.zeros(len(like))) - unlike
            order = np.argsort(-score)
            steps[k] = way[order[0]]
            guessed = not telling[k] and spread > _STEADY * pitch_mm
            doubtful[k] = guessed or score[order[0]] - score[order[1]] < _CLEAR
    count = int(doubtful.sum())
    return (
        np.asarray(own[0] + np.concatenate([[0.0], np.cumsum(steps)])),
        count,
        float(np.sqrt(count) * max(0.7 * pitch_mm, spread)) if count else 0.0,
    )
