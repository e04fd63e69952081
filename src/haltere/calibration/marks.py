"""Where the marks of a rule are in a picture: their direction, their row, their places."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haltere.calibration.numbers import NUMBERS
from haltere.calibration.spacing import fit_line

Floats = NDArray[np.float64]
Light = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Chain:
    """Neighbouring marks on one line across the picture.

    Attributes
    ----------
    at_px : ndarray of float64, shape (K,)
        Places along the line.
    number : ndarray of int64, shape (K,)
        Number of each mark; neighbours differ by one.
    depth : ndarray of float64, shape (K,)
        How much darker than the card around it, 0 to 1.
    """

    at_px: Floats
    number: NDArray[np.int64]
    depth: Floats

    @property
    def spacing_px(self) -> float:
        """Median distance of neighbours."""
        return float(np.median(np.diff(self.at_px) / np.diff(self.number)))


@dataclass(frozen=True, slots=True)
class MarkRow:
    """The row of marks of one picture.

    Attributes
    ----------
    angle_deg : float
        Direction of the rule in the picture; 0 = along the rows, + = falling to the right.
    turned : ndarray of float32, shape (H, W)
        The picture turned so that the marks stand upright; NaN outside.
    rows : tuple of int
        First and last + 1 row of the turned picture that were averaged.
    profile : ndarray of float64, shape (W,)
        Mean light over those rows; NaN outside the picture.
    chain : Chain
        The marks; places are columns of `turned`.
    finer : bool
        True when another row with twice the spacing was passed over.
    """

    angle_deg: float
    turned: Light
    rows: tuple[int, int]
    profile: Floats
    chain: Chain
    finer: bool


def directions(light: Light, count: int = 3) -> list[float]:
    """Directions in degrees, -90 to 90, across which most edges run; strongest first.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W)
        Picture.
    count : int
        Directions at most.
    """
    import cv2

    smooth = cv2.GaussianBlur(np.sqrt(np.maximum(light, 0.0)), (0, 0), 1.5)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    angle = np.degrees(np.arctan2(gy, gx)) % 180.0
    weight = np.hypot(gx, gy)
    # the weak half is paper and noise, whose directions are those of the pixels
    weight[weight < np.quantile(weight, 0.7)] = 0.0
    votes = np.histogram(angle, bins=180, range=(0.0, 180.0), weights=weight)[0]
    votes = votes + 0.5 * (np.roll(votes, 1) + np.roll(votes, -1))
    found: list[float] = []
    left = votes.copy()
    for _ in range(count):
        top = int(np.argmax(left))
        if left[top] <= 0.05 * votes.max():
            break
        near = (np.arange(-3, 4) + top) % 180
        mean = top + 0.5 + float((np.arange(-3, 4) * votes[near]).sum() / votes[near].sum())
        found.append((mean + 90.0) % 180.0 - 90.0)
        left[(np.arange(-8, 9) + top) % 180] = 0.0
    return found


def turn(light: Light, angle_deg: float) -> Light:
    """Picture turned about its middle so that direction `angle_deg` lies along the rows.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W)
        Picture.
    angle_deg : float
        Direction.

    Returns
    -------
    ndarray of float32
        Odd sides; its middle pixel is the picture's middle; NaN outside the picture.
    """
    import cv2

    h, w = light.shape
    a = np.radians(angle_deg)
    c, s = float(np.cos(a)), float(np.sin(a))
    tw = int(np.ceil((abs(c) * w + abs(s) * h) / 2)) * 2 + 1
    th = int(np.ceil((abs(s) * w + abs(c) * h) / 2)) * 2 + 1
    ox, oy, tx, ty = (w - 1) / 2, (h - 1) / 2, (tw - 1) / 2, (th - 1) / 2
    # from turned pixels to picture pixels
    matrix = np.array([[c, -s, ox - c * tx + s * ty], [s, c, oy - s * tx - c * ty]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    turned = cv2.warpAffine(
        light, matrix, (tw, th), flags=flags, borderMode=cv2.BORDER_CONSTANT, borderValue=0.0
    )
    seen = cv2.warpAffine(
        np.ones_like(light), matrix, (tw, th), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT, borderValue=0.0,
    )  # fmt: skip
    out = np.asarray(turned, np.float32)
    out[seen < 0.999] = np.nan
    return out


def mean_profile(turned: Light, rows: tuple[int, int]) -> Floats:
    """Mean over some rows; NaN in columns where one of them lies outside the picture.

    Parameters
    ----------
    turned : ndarray of float32, shape (H, W)
        Turned picture.
    rows : tuple of int
        First and last + 1 row.
    """
    return np.asarray(turned[rows[0] : rows[1]].mean(axis=0, dtype=np.float64))


def find_chain(profile: Floats) -> Chain | None:
    """Find the longest regular chain of dark marks on a line.

    Spacings may change slowly along it, as perspective makes them.

    Parameters
    ----------
    profile : ndarray of float64, shape (W,)
        Light along the line.

    Returns
    -------
    Chain or None
        None when there are fewer marks than a row needs.
    """
    from scipy.ndimage import gaussian_filter1d

    seen = np.flatnonzero(np.isfinite(profile))
    if len(seen) < 40:
        return None
    first = int(seen[0])
    line = profile[first : int(seen[-1]) + 1]
    line = np.nan_to_num(line, nan=float(np.nanmedian(line)))
    best: Chain | None = None
    # sharp marks are thin, blurred ones broad and rough: whichever smoothing shows more of them
    for smoothing_px in (1.0, 2.5, 5.0):
        chain = _chain_of(gaussian_filter1d(line, smoothing_px))
        if chain is not None and (best is None or len(chain.at_px) > len(best.at_px)):
            best = Chain(chain.at_px + first, chain.number, chain.depth)
    return best


def _chain_of(line: Floats) -> Chain | None:
    from scipy.signal import find_peaks, peak_prominences

    level = float(np.quantile(line, 0.9))
    if level <= 0.0:
        return None
    peaks, _ = find_peaks(-line)
    if len(peaks) < NUMBERS.least_marks:
        return None
    deep = peak_prominences(-line, peaks, wlen=max(len(line) // 3, 31))[0]
    # brightness around each dip: what it would be without it
    depth = deep / np.maximum(line[peaks] + deep, 0.1 * level)
    kept = depth >= NUMBERS.least_contrast
    peaks, depth = peaks[kept], depth[kept]
    if len(peaks) < NUMBERS.least_marks:
        return None
    strong = depth >= NUMBERS.fading * np.sort(depth)[-3]
    at = _refined(line, peaks[strong])
    return _longest(at, depth[strong])


def _refined(line: Floats, peaks: NDArray[np.intp]) -> Floats:
    a, b, c = line[peaks - 1], line[peaks], line[peaks + 1]
    bend = np.maximum(a - 2 * b + c, 1e-12)
    return np.asarray(peaks + np.clip(0.5 * (a - c) / bend, -0.5, 0.5))


def _longest(at: Floats, depth: Floats) -> Chain | None:
    """Best chain that any two near dips begin."""
    places, depths = at.tolist(), depth.tolist()
    best: tuple[list[int], list[int]] = ([], [])
    best_score = 0.0
    order = np.argsort(-depth, kind="stable")[: 2 * NUMBERS.least_marks]
    tried: set[tuple[int, int]] = set()
    for j in sorted(int(i) for i in order):
        for other in (j + 1, j + 2, j - 1, j - 2):
            if not 0 <= other < len(places):
                continue
            pair = (min(j, other), max(j, other))
            step = places[pair[1]] - places[pair[0]]
            if pair in tried or step < NUMBERS.least_spacing_px:
                continue
            tried.add(pair)
            right = _follow(places, pair[1], step, 1)
            left = _follow(places, pair[0], step, -1)
            index = [i for i, _ in reversed(left)] + [*pair] + [i for i, _ in right]
            # any two neighbours of this chain would begin it again
            tried.update(pairwise(index))
            number = [-n for _, n in reversed(left)] + [0, 1] + [1 + n for _, n in right]
            middle = sorted(depths[i] for i in index)[len(index) // 2]
            # a chain that jumps over deep marks has missed the beat
            deep = sum(d > 0.4 * middle for d in depths[index[0] : index[-1] + 1])
            deep -= sum(depths[i] > 0.4 * middle for i in index)
            holes = number[-1] - number[0] + 1 - len(number)
            score = len(index) - 1.0 * deep - 0.7 * holes
            if score > best_score:
                best, best_score = (index, number), score
    index, number = best
    if len(index) < NUMBERS.least_marks or best_score < 0.6 * len(index):
        return None
    return Chain(at[index], np.array(number) - number[0], depth[index])


def _follow(at: list[float], start: int, step: float, sign: int) -> list[tuple[int, int]]:
    """Follow the marks from `start` on and count the steps to each; one missing is forgiven."""
    found: list[tuple[int, int]] = []
    last, count, skipped = start, 0, 0
    while skipped < 2:
        expected = at[last] + sign * step * (1 + skipped)
        after = bisect_left(at, expected)
        near = [i for i in (after - 1, after) if 0 <= i < len(at)]
        nearest = near[0]
        if abs(at[near[-1]] - expected) < abs(at[nearest] - expected):
            nearest = near[-1]
        if (nearest - last) * sign > 0 and abs(at[nearest] - expected) < NUMBERS.off_beat * step:
            # perspective changes the spacing slowly
            step = 0.5 * (step + abs(at[nearest] - at[last]) / (1 + skipped))
            count += 1 + skipped
            found.append((nearest, count))
            last, skipped = nearest, 0
        else:
            skipped += 1
    return found


def find_marks(light: Light, near_deg: float | None = None) -> MarkRow | None:
    """Find the row of marks in a picture.

    Bands of rows all over the picture are searched; among regular chains the one with the finest
    spacing is the rule's, since longer marks at every fifth and tenth make coarser chains only.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W)
        Linear light.
    near_deg : float, optional
        Direction of the rule in another picture of the series.

    Returns
    -------
    MarkRow or None
        None when no row of marks is there.
    """
    row = _dark_marks(light, near_deg)
    if row is None:
        # light marks on a dark rule are dark ones on a light rule in the negative
        row = _dark_marks(np.asarray(np.quantile(light, 0.999) - light, np.float32), near_deg)
    return row


def _dark_marks(light: Light, near_deg: float | None) -> MarkRow | None:
    rows: list[tuple[bool, float, MarkRow]] = []
    tried = directions(light)
    if near_deg is not None:
        tried = [a for a in tried if abs((a - near_deg + 90.0) % 180.0 - 90.0) < 12.0] or [near_deg]
        # a rule keeps its ends from frame to frame, even near 90 degrees
        tried = [near_deg + (a - near_deg + 90.0) % 180.0 - 90.0 for a in tried]
    for angle in tried:
        row = _row_at(light, angle)
        if row is None:
            continue
        slant = _slant_deg(row)
        for _ in range(3):
            if slant is None or abs(slant) < 0.05:
                break
            row = _row_at(light, row.angle_deg + slant) or row
            slant = _slant_deg(row)
        # leaning marks are marks that were turned wrongly
        upright = slant is not None and abs(slant) < 0.3
        rows.append((upright, len(row.chain.at_px) * float(np.median(row.chain.depth)), row))
    return max(rows, key=lambda found: found[:2])[2] if rows else None


def _row_at(light: Light, angle_deg: float) -> MarkRow | None:
    turned = turn(light, angle_deg)
    height = min(light.shape)
    tall = max(8, height // 40)
    starts = list(range(0, turned.shape[0] - tall, tall // 2))
    chains: list[tuple[int, Chain]] = []
    for top in starts:
        chain = find_chain(mean_profile(turned, (top, top + tall)))
        if chain is not None and _regular(chain):
            chains.append((top, chain))
    chains = _believed(chains, tall)
    if not chains:
        return None
    spacing = np.array([c.spacing_px for _, c in chains])
    marks = np.array([len(c.at_px) for _, c in chains])
    alike = np.abs(spacing[:, None] / spacing - 1.0) < 0.25
    seen = alike @ marks
    # of the spacings that many marks speak for, the finest
    fine = float(spacing[seen >= max(NUMBERS.least_evidence, 0.3 * seen.max())].min(initial=np.inf))
    if not np.isfinite(fine):
        return None
    same = np.abs(spacing / fine - 1.0) < 0.25
    tops = np.array([top for top, _ in chains])
    rows = _best_rows(tops[same], marks[same], tall)
    profile = mean_profile(turned, rows)
    chain = find_chain(profile)
    if chain is None or not _regular(chain) or abs(chain.spacing_px / fine - 1.0) > 0.4:
        return None
    # fives and tens are on every rule; twice the spacing is another scale on the same rule
    halves = int((np.abs(spacing / chain.spacing_px - 2.0) < 0.2).sum()) >= 3
    return MarkRow(angle_deg, turned, rows, profile, chain, halves)


def _believed(chains: list[tuple[int, Chain]], tall: int) -> list[tuple[int, Chain]]:
    """Chains that go on in the next band and are not much fainter than the best.

    Paper and leaves make regular chains by chance, but not the same one three times.
    """
    peak = max((float(c.depth.max()) for _, c in chains), default=0.0)
    deep = {
        top: c
        for top, c in chains
        if c.depth.max() >= max(NUMBERS.least_peak, NUMBERS.faint * peak)
    }
    step = tall // 2 * 2  # bands overlap by half; those beyond share no pixel
    goes_on = {
        top for top, c in deep.items() if (d := deep.get(top + step)) is not None and _same(c, d)
    }
    kept: set[int] = set()
    for top in goes_on:
        if top + step in goes_on:
            kept |= {top, top + step, top + 2 * step}
    return [(top, chain) for top, chain in chains if top in kept]


def _same(a: Chain, b: Chain) -> bool:
    """Whether two bands show the same marks."""
    apart = np.abs(a.at_px[:, None] - b.at_px).min(axis=1) / a.spacing_px
    return bool(abs(b.spacing_px / a.spacing_px - 1.0) < 0.25 and np.quantile(apart, 0.7) < 0.25)


def _best_rows(tops: NDArray[np.int64], marks: NDArray[np.int64], tall: int) -> tuple[int, int]:
    """Rows in the middle of the longest block of neighbouring bands, away from the marks' ends."""
    breaks = np.flatnonzero(np.diff(tops) > tall)
    blocks = np.split(np.arange(len(tops)), breaks + 1)
    block = max(blocks, key=lambda b: float(marks[b].sum()))
    good = block[marks[block] >= 0.8 * np.quantile(marks[block], 0.9)]
    low, high = int(tops[good[0]]), int(tops[good[-1]]) + tall
    inset = int(0.25 * (high - low)) if high - low > 2 * tall else 0
    low, high = low + inset, high - inset
    most = 6 * tall  # taller bands average nothing more but the marks' slant
    if high - low > most:
        middle = (low + high) // 2
        low, high = middle - most // 2, middle + most // 2
    return low, high


def _regular(chain: Chain) -> bool:
    """Whether a projective map of the numbers gives the places."""
    if len(chain.at_px) < NUMBERS.least_marks:
        return False
    missing = chain.number[-1] - chain.number[0] + 1 - len(chain.number)
    fit = fit_line(chain.number.astype(np.float64), chain.at_px)
    even = np.median(np.abs(fit.residual_px)) < 0.05 * chain.spacing_px
    # focus makes one sharpest place from which marks fade; chance makes a jumble
    left = np.maximum.accumulate(chain.depth)
    right = np.maximum.accumulate(chain.depth[::-1])[::-1]
    jumble = int((chain.depth < 0.6 * np.minimum(left, right)).sum())
    return bool(even and missing + jumble <= 0.2 * len(chain.number))


def centres(row: MarkRow) -> Floats:
    """Places of the marks to a small part of a pixel: centroids of what is missing of the light.

    Parameters
    ----------
    row : MarkRow
        A row of marks.
    """
    from scipy.ndimage import map_coordinates

    chain = row.chain
    line = np.nan_to_num(row.profile, nan=float(np.nanmedian(row.profile)))
    out = chain.at_px.copy()
    steps = np.gradient(chain.at_px, chain.number.astype(np.float64))
    grid = np.linspace(-0.5, 0.5, 81)
    for k, place in enumerate(chain.at_px):
        at = float(place)
        for _ in range(6):
            x = at + grid * float(steps[k])
            y = map_coordinates(line, [x], order=3, mode="nearest")
            # card between the marks on either side: a straight line
            left, right = float(np.median(y[:9])), float(np.median(y[-9:]))
            missing = np.clip(1.0 - y / (left + (right - left) * (grid + 0.5)), 0.0, None)
            missing *= np.cos(np.pi * grid) ** 2
            moved = float((missing * x).sum() / max(missing.sum(), 1e-9)) - at
            # the taper pulls towards its middle, so step a little farther
            at += float(np.clip(1.3 * moved, -0.2 * steps[k], 0.2 * steps[k]))
        out[k] = at
    return np.asarray(out)


def _slant_deg(row: MarkRow) -> float | None:
    """How far the marks lean from upright in the turned picture."""
    low, high = row.rows
    if high - low < 12:
        return None
    third = (high - low) // 3
    tops = find_chain(mean_profile(row.turned, (low, low + third)))
    feet = find_chain(mean_profile(row.turned, (high - third, high)))
    if tops is None or feet is None:
        return None
    shift = [
        float(d)
        for place in tops.at_px
        if abs(d := feet.at_px[np.argmin(np.abs(feet.at_px - place))] - place)
        < 0.3 * row.chain.spacing_px
    ]
    if len(shift) < 3:
        return None
    # x grows downwards: upright again when the picture is turned by minus that angle
    return float(-np.degrees(np.arctan2(np.median(shift), high - low - third)))
