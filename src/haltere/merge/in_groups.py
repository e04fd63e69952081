"""A long series painted in overlapping groups of neighbours; each group is kept and used again."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import project
from haltere.errors import UsageError
from haltere.frames import encode, make_folder, to_linear, write_bytes
from haltere.frames.writing import replacing
from haltere.merge.depth import DepthMap
from haltere.merge.limits import NUMBERS
from haltere.merge.paint import Painted, enlarge, weight_widths
from haltere.merge.planes import plane_map
from haltere.merge.taken import Stretches
from haltere.progress import Progress, silent
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]
PaintSome = Callable[[list[int]], Painted]
_ROWS = 256


@dataclass(frozen=True, slots=True)
class GroupNumbers:
    """Numbers that say when a painted group still fits.

    Attributes
    ----------
    least : int
        Frames of the smallest group: fewer, and groups cost more than they save.
    overlap : int
        Frames that neighbouring groups have in common, so that no depth lies between them.
    shift_px : float
        A group is painted again when a frame's view has moved by more, analysis pixels: a third
        of what registration itself may be off.
    depth_dof, depth_share : float
        And when the depth it was painted at has changed by more than this on more than that share
        of the picture.
    gain : float
        And when a frame's light is evened out by another factor, as a share.
    """

    least: int = 4
    overlap: int = 2
    shift_px: float = 0.15
    depth_dof: float = 0.35
    depth_share: float = 0.01
    gain: float = 0.01


GROUPS = GroupNumbers()


@dataclass(frozen=True, slots=True)
class _Group:
    """One painted group."""

    codes: NDArray[np.uint16]
    origin: NDArray[np.uint16]
    whole: NDArray[np.bool_]
    icc: bytes | None


def groups_of(order: list[int], size: int) -> list[list[int]]:
    """Cut frames into overlapping groups, counted from the near end.

    Parameters
    ----------
    order : list of int
        Frames from near to far.
    size : int
        Frames of a group.

    Returns
    -------
    list of list of int
        Each frame in one group or, at a seam, in two.

    Raises
    ------
    UsageError
        When groups would be too small.
    """
    if size < GROUPS.least:
        raise UsageError(f"groups of {size} frames are too small; take {GROUPS.least} or more")
    step = size - GROUPS.overlap
    out = []
    for first in range(0, len(order), step):
        out.append(order[first : first + size])
        if first + size >= len(order):
            break
    return out


def paint_in_groups(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    stretches: Stretches,
    size: int,
    store: Path,
    paint_some: PaintSome,
    progress: Progress = silent,
) -> Painted:
    """Paint every group, or take it from an earlier merge, and put the groups together.

    All groups are painted in the reference view at the same depth, so that together they are
    what one painting would be, but for which of many equal frames are averaged.  Holds the sums
    and one group.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    used : list of int
        Frames to paint from.
    gains : ndarray of float64, shape (len(used),)
        Factors on linear light.
    ground : DepthMap
        Depth to paint at.
    stretches : Stretches
        Frames for parts that moved.
    size : int
        Frames of a group.
    store : Path
        Folder that keeps the groups; some eight bytes a pixel each.
    paint_some : callable
        Paints the frames at some places of `used`; origins count within those.
    progress : Progress, optional
        Told of each group.

    Returns
    -------
    Painted
        As `paint` gives it.

    Raises
    ------
    UsageError
        When groups would be too small.
    WriteError
        When a group can't be kept.
    """
    order = sorted(range(len(used)), key=lambda i: (sweep.poses[used[i], 2], i))
    groups = groups_of(order, size)
    make_folder(store)
    nearest = [_nearest(sweep, used, group, ground, stretches) for group in groups]
    best = np.min(nearest, axis=0)
    width = weight_widths(ground, sweep.dof)
    reference = sweep.frames[sweep.reference]
    shape = (reference.height_px, reference.width_px)
    total = np.zeros((*shape, 3), np.float32)
    weight = np.zeros(shape, np.float32)
    largest = np.zeros(shape, np.float32)
    origin = np.full(shape, 65535, np.uint16)
    whole = np.zeros(shape, np.bool_)
    icc: bytes | None = None
    failed: dict[int, str] = {}
    keys = set()
    for number, (group, away) in enumerate(zip(groups, nearest, strict=True)):
        key = _key(sweep, [used[i] for i in group], stretches.of(group))
        keys.add(key)
        found = _found(store, key, sweep, used, gains, ground, group)
        if found is None:
            painted = paint_some(group)
            failed |= {group[k]: why for k, why in painted.failed.items()}
            found = _Group(
                encode(painted.linear, painted.icc, 16), painted.origin, painted.whole, painted.icc
            )
            del painted
            if not failed:
                _keep(store, key, sweep, used, gains, ground, group, found)
        behind = np.maximum(away - best, 0) / width
        # a group that alone saw a place counts there, however far its planes lie
        share = np.asarray(np.exp(-0.5 * np.minimum(behind, 6.0) ** 2), np.float32)
        close = away <= best + np.float32(NUMBERS.border_dof * sweep.dof)
        close |= ~ground.known
        icc = found.icc
        numbers = np.full(65536, 65535, np.uint16)
        numbers[: len(group)] = group
        for top in range(0, shape[0], _ROWS):
            rows = slice(top, min(top + _ROWS, shape[0]))
            part = _rows_of(share, rows, shape)
            part = np.where(found.origin[rows] == 65535, np.float32(0), part)
            light = to_linear(found.codes[rows], found.icc, False)
            total[rows] += part[..., None] * light
            weight[rows] += part
            better = part > largest[rows]
            largest[rows][better] = part[better]
            origin[rows][better] = numbers[found.origin[rows][better]]
            near = _rows_of(close.astype(np.float32), rows, shape) > 0.5
            whole[rows] |= near & found.whole[rows]
        del found
        progress("painting groups", number + 1, len(groups))
    _clear(store, keys)
    np.maximum(weight, np.float32(1e-12), out=weight)
    for channel in range(3):
        total[..., channel] /= weight
    depth = enlarge(ground.depth, (shape[1], shape[0]), 0.5 * sweep.dof)
    return Painted(total, origin, whole, depth, icc, failed)


def _nearest(
    sweep: Sweep, used: list[int], group: list[int], ground: DepthMap, stretches: Stretches
) -> Map:
    """How near the nearest plane of a group comes to the depth of each place."""
    best = np.full(ground.depth.shape, 1e6, np.float32)
    for i in group:
        plane = plane_map(sweep.poses[used[i]], ground.depth.shape, ground.factor, sweep.focal_px)
        away = np.abs(plane - ground.depth)
        away[stretches.taken[i][stretches.region] == 0] = 1e6
        np.minimum(best, away, out=best)
    return best


def _rows_of(small: Map, rows: slice, shape: tuple[int, int]) -> Map:
    """Bring some rows of a map to full size by the nearest place."""
    up = np.arange(rows.start, rows.stop) * small.shape[0] // shape[0]
    across = np.arange(shape[1]) * small.shape[1] // shape[1]
    return np.asarray(small[up][:, across], np.float32)


def _key(sweep: Sweep, frames: list[int], own: Stretches) -> str:
    told = [sweep.frames[sweep.reference].name]
    if own.moved:
        told.append(hashlib.sha256(own.region.tobytes() + own.taken.tobytes()).hexdigest())
    for k in frames:
        about = sweep.frames[k].path.stat()
        told.append(f"{sweep.frames[k].name} {about.st_size} {about.st_mtime_ns}")
    return hashlib.sha256("\n".join(told).encode()).hexdigest()[:24]


def _clipped(sweep: Sweep, used: list[int], ground: DepthMap, group: list[int], depth: Map) -> Map:
    """Depth as far as it matters to a group: what lies beyond its planes is painted the same."""
    planes = [sweep.poses[used[i], 2] for i in group]
    return np.asarray(
        np.clip(depth, min(planes) - sweep.dof, max(planes) + sweep.dof) / sweep.dof, np.float32
    )


def _keep(
    store: Path,
    key: str,
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    group: list[int],
    found: _Group,
) -> None:
    for name, array in (("codes", found.codes), ("origin", found.origin)):
        with replacing(store / f"{key}.{name}.npy") as stream:
            np.lib.format.write_array(stream, np.ascontiguousarray(array), allow_pickle=False)
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        poses=sweep.poses[[used[i] for i in group]],
        gains=gains[group],
        depth=_clipped(sweep, used, ground, group, ground.depth),
        whole=np.packbits(found.whole),
        icc=np.frombuffer(found.icc or b"", np.uint8),
    )
    write_bytes(store / f"{key}.npz", buffer.getvalue())  # last: with it the group is whole


def _found(
    store: Path,
    key: str,
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    group: list[int],
) -> _Group | None:
    """Take a group from an earlier merge if it would be painted the same now."""
    try:
        with np.load(store / f"{key}.npz", allow_pickle=False) as kept:
            old = {name: kept[name] for name in kept.files}
        if not _fits(old, sweep, used, gains, ground, group):
            return None
        codes = np.load(store / f"{key}.codes.npy", mmap_mode="r", allow_pickle=False)
        origin = np.load(store / f"{key}.origin.npy", allow_pickle=False)
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    reference = sweep.frames[sweep.reference]
    shape = (reference.height_px, reference.width_px)
    if codes.shape != (*shape, 3) or origin.shape != shape:
        return None
    whole = np.unpackbits(old["whole"], count=shape[0] * shape[1]).reshape(shape) > 0
    icc = old["icc"].tobytes() or None
    return _Group(codes, origin, whole, icc)


def _fits(
    old: dict[str, NDArray[np.generic]],
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    group: list[int],
) -> bool:
    depth = old["depth"]
    if depth.shape != ground.depth.shape or len(old["poses"]) != len(group):
        return False
    now = _clipped(sweep, used, ground, group, ground.depth)
    apart = np.abs(now - np.asarray(depth, np.float32)) > GROUPS.depth_dof
    if float(apart.mean()) > GROUPS.depth_share:
        return False
    if np.abs(np.asarray(old["gains"], np.float64) / gains[group] - 1).max() > GROUPS.gain:
        return False
    height, width = sweep.lumas.shape
    corners = np.array([[x * width, y * height] for x in (-0.5, 0, 0.5) for y in (-0.5, 0, 0.5)])
    for i, pose in zip(group, np.asarray(old["poses"], np.float64), strict=True):
        new = sweep.poses[used[i]]
        at = project(new, corners, float(new[2]), sweep.focal_px)
        was = project(pose, corners, float(new[2]), sweep.focal_px)
        if np.abs(at - was).max() > GROUPS.shift_px:
            return False
    return True


def _clear(store: Path, keys: set[str]) -> None:
    """Remove groups that this merge had no use for; they take much room."""
    for path in store.glob("*.np[yz]"):
        if path.name.split(".")[0] not in keys:
            path.unlink(missing_ok=True)
