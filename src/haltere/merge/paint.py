"""The deep picture at full size, painted frame by frame."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import homography
from haltere.errors import FrameError
from haltere.frames import Decoder
from haltere.frames.decode import reduced_size
from haltere.frames.decoder import Member
from haltere.merge.depth import DepthMap
from haltere.merge.kernel import block_bounds, fast_closest, fast_paint, kernel_table
from haltere.merge.limits import NUMBERS
from haltere.merge.planes import plane_fit
from haltere.merge.source import sources
from haltere.merge.taken import Stretches, all_frames
from haltere.merge.threads import compiled, in_stretches
from haltere.progress import Progress, silent
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]
_FAR = np.float32(1e6)
_PIECES = 32  # of a frame: only a tenth of it is painted, somewhere


@dataclass(frozen=True, slots=True)
class Painted:
    """Sums of a painted picture.

    Attributes
    ----------
    linear : ndarray of float32, shape (H, W, 3)
        Linear light, primaries of the frames; 0 where nothing was seen.
    origin : ndarray of uint16, shape (H, W)
        Index of the frame with the largest weight, 65535 where none.
    whole : ndarray of bool, shape (H, W)
        Pixels that a frame saw about as well as the best plane would.
    depth : ndarray of float32, shape (H, W)
        Relative depth painted with.
    icc : bytes or None
        Profile of the frames.
    failed : dict of int to str
        Frames that could not be decoded, and why.
    """

    linear: Map
    origin: NDArray[np.uint16]
    whole: NDArray[np.bool_]
    depth: Map
    icc: bytes | None
    failed: dict[int, str]


def pose_numbers(sweep: Sweep, k: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give a frame's rotation and the numbers of its pose and plane of focus.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    k : int
        Index of the frame.

    Returns
    -------
    turn : ndarray of float64, shape (3, 3)
        Rotation.
    numbers : ndarray of float64, shape (7,)
        (focal, a, b, c, p0, p1, p2): the plane's relative depth at centred analysis pixel
        (x, y) is p0 + p1 x + p2 y.
    """
    pose = sweep.poses[k]
    p0, p1, p2 = plane_fit(pose, sweep.lumas.shape, sweep.focal_px)
    turn = rotation_of(pose, sweep.focal_px)
    return turn, np.array([sweep.focal_px, pose[0], pose[1], pose[2], p0, p1, p2])


def rotation_of(pose: NDArray[np.float64], focal_px: float) -> NDArray[np.float64]:
    """Read the rotation off a pose's map of points at infinity.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        See `haltere.align.pose`.
    focal_px : float
        See `haltere.align.pose`.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        Rotation matrix.
    """
    turned = pose.copy()
    turned[:3] = 0.0
    lens = np.diag([focal_px, focal_px, 1.0])
    # without a move the map is lens x rotation x inverse lens, at any depth
    matrix = np.linalg.inv(lens) @ homography(turned, 0.0, focal_px) @ lens
    result: NDArray[np.float64] = matrix / np.cbrt(np.linalg.det(matrix))
    return result


def enlarge(values: Map, size: tuple[int, int], tolerance: float) -> Map:
    """Bring a map to another size (W, H): smooth on surfaces, not between two of them.

    Parameters
    ----------
    values : ndarray of float32, shape (h, w)
        Map.
    size : tuple of int
        Wanted width and height.
    tolerance : float
        Largest step between neighbours that counts as one surface.

    Returns
    -------
    ndarray of float32, shape (H, W)
        The map at the wanted size.
    """
    if (values.shape[1], values.shape[0]) == size:
        return values
    smooth = np.asarray(cv2.resize(values, size, interpolation=cv2.INTER_LINEAR), np.float32)
    in_stretches(_fast_tear, size[1], smooth, values, np.float32(tolerance))
    return smooth


def _tear(top: int, bottom: int, smooth: Map, values: Map, tolerance: float) -> None:
    """Give pixels between two surfaces the value of the place they lie in."""
    rows, cols = values.shape
    down, across = rows / smooth.shape[0], cols / smooth.shape[1]
    for y in range(top, bottom):
        place = values[min(int(y * down), rows - 1)]
        for x in range(smooth.shape[1]):
            plain = place[min(int(x * across), cols - 1)]
            if abs(smooth[y, x] - plain) > tolerance:
                smooth[y, x] = plain


_fast_tear = compiled(_tear)


def paint(
    sweep: Sweep,
    decoder: Decoder,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    *,
    stretches: Stretches | None = None,
    longest_px: int | None = None,
    progress: Progress = silent,
) -> Painted:
    """Paint every pixel from the frames whose planes lie at its depth.

    Each frame is decoded once, adds what it has and is dropped: memory holds the sums and one
    or two frames, however many there are.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    decoder : Decoder
        Decoder.
    used : list of int
        Frames to paint from.
    gains : ndarray of float64, shape (len(used),)
        Factors on linear light.
    ground : DepthMap
        Depth to paint at.
    stretches : Stretches, optional
        Frames for parts that moved; without it all frames are taken everywhere.
    longest_px : int, optional
        Longest side of the picture, painted from frames that are decoded small (of pairs the
        JPEG); without it full size.
    progress : Progress, optional
        Told of each frame.

    Returns
    -------
    Painted
        The sums, divided by their weights.
    """
    reference = sweep.frames[sweep.reference]
    width, height = reduced_size(reference.width_px, reference.height_px, longest_px)
    scale = sweep.lumas.shape[1] / width
    rows, cols = ground.depth.shape
    chosen = stretches or all_frames((rows, cols), len(used))
    size_px = np.array([width * scale, height * scale])
    (region, eased), taken = chosen.eased(ground.known), chosen.taken
    poses = [pose_numbers(sweep, k) for k in used]

    def closest(region: NDArray[np.uint8]) -> tuple[Map, Map]:
        best, seen = np.full((2, rows, cols), _FAR, np.float32)

        def note(top: int, bottom: int) -> None:
            for (turn, numbers), its in zip(poses, taken, strict=True):
                extra = np.concatenate([numbers, [scale]])
                where = (ground.depth, ground.factor, region, its)
                fast_closest(top, bottom, size_px, turn, extra, *where, best, seen)

        in_stretches(note, rows)
        return best, seen

    best, seen = closest(chosen.region)
    if eased.any():
        _, own = closest(region)
        seen += np.where(own < _FAR, (1 - eased) * (own - seen), 0)
    whole_small = seen <= best + np.float32(NUMBERS.border_dof * sweep.dof)
    whole_small |= (~ground.known) & (seen < _FAR)
    size = (width, height)
    depth = enlarge(ground.depth, size, 0.5 * sweep.dof)
    widths = weight_widths(ground, sweep.dof)
    blocks = block_bounds(depth, seen, widths, NUMBERS.reach)
    total = np.zeros((height, width, 3), np.float32)
    weight = np.zeros((height, width), np.float32)
    largest = np.zeros((height, width), np.float32)
    origin = np.full((height, width), 65535, np.uint16)
    taps = kernel_table()
    raw = longest_px is None and all(sweep.frames[k].raw_path is not None for k in used)
    icc: bytes | None = None
    failed: dict[int, str] = {}
    member: Member = "raw" if raw else "jpeg"
    given = sources(sweep, decoder, used, longest_px, member)
    # counted by hand: `enumerate` holds on to what it gave until it has the next
    for index in range(len(used)):
        source = next(given)
        if isinstance(source, FrameError):
            failed[index] = str(source)
            continue
        if index == 0 or len(failed) == index or used[index] == sweep.reference:
            icc = source.icc
        turn, numbers = poses[index]
        more = [scale, gains[index], NUMBERS.reach, NUMBERS.feather_px]
        in_stretches(
            fast_paint,
            blocks.shape[1],
            source.codes,
            source.parts,
            source.light,
            taps,
            turn,
            np.concatenate([numbers, more]),
            depth,
            seen,
            widths,
            blocks,
            region,
            taken[index],
            eased,
            total,
            weight,
            largest,
            origin,
            index,
            pieces=_PIECES,
        )
        del source
        progress("painting", index + 1, len(used))
    del largest
    whole = _enlarged_where(whole_small, weight)
    in_stretches(_fast_divide, height, total, weight)
    return Painted(total, origin, whole, depth, icc, failed)


def _enlarged_where(small: NDArray[np.bool_], weight: Map) -> NDArray[np.bool_]:
    """Bring a map of yes and no to the size of the weights, and say no where these are nothing."""
    size = (weight.shape[1], weight.shape[0])
    yes = small.astype(np.uint8)
    large = np.asarray(cv2.resize(yes, size, interpolation=cv2.INTER_NEAREST)).view(np.bool_)
    large &= weight > 0
    return large


def _divide(top: int, bottom: int, total: Map, weight: Map) -> None:
    """Divide sums by their weights; what nobody saw stays 0."""
    for y in range(top, bottom):
        for x in range(weight.shape[1]):
            share = np.float32(1.0) / max(weight[y, x], np.float32(1e-12))
            for channel in range(3):
                total[y, x, channel] *= share


_fast_divide = compiled(_divide)


def weight_widths(ground: DepthMap, dof: float) -> Map:
    """Tell the standard deviation of the weights by place: wider off the animal, against noise.

    Parameters
    ----------
    ground : DepthMap
        Depth.
    dof : float
        Relative depth of field.

    Returns
    -------
    ndarray of float32, shape of the depth
        Relative depth, one standard deviation.
    """
    off = np.clip(ground.away_px / NUMBERS.smooth_background_px - 0.25, 0, 1)
    return np.asarray(NUMBERS.soft_dof * dof * (1 + 2 * off), np.float32)
