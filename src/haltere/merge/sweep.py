"""From a solved sweep to one deep picture on disk."""

from __future__ import annotations

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.errors import SweepError
from haltere.frames import Decoder, encode, make_folder, write_jpeg, write_map, write_picture
from haltere.freed_memory import give_back_freed
from haltere.merge.averaged import FILE as NOISE
from haltere.merge.averaged import noise_left
from haltere.merge.crop import whole_part
from haltere.merge.depth import DepthMap
from haltere.merge.in_groups import paint_in_groups
from haltere.merge.limits import NUMBERS
from haltere.merge.merged import LeftOut, Merge
from haltere.merge.moved import find_moved
from haltere.merge.paint import Painted, paint
from haltere.merge.prepared import prepare
from haltere.merge.regained import blur_of_averaging, give_back
from haltere.merge.suspects import glance_at, list_suspicious
from haltere.merge.views import FILE as VIEWS
from haltere.merge.views import View, Views, write_views
from haltere.progress import Progress, silent
from haltere.sweeps.sweep import Sweep

_FILES = 5
GROUPS_FOLDER = "groups"


def peak_mib() -> float:
    """Most memory this process has held so far, MiB; 0 where the system does not tell."""
    if sys.platform == "win32":
        return 0.0
    import resource

    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / (1 << 20 if sys.platform == "darwin" else 1 << 10)


def _depth_unit(sweep: Sweep) -> tuple[Literal["mm", "dof"], float]:
    """Choose the unit of the depth map, and say what relative depth is multiplied by."""
    distance = sweep.capture.pupil_distance_mm
    if sweep.capture.magnification is not None and distance is not None:
        return "mm", distance
    return "dof", 1.0 / sweep.dof


def _renumber(origin: NDArray[np.uint16], merged: list[int], count: int) -> None:
    """Count only the frames that were merged: those that could not be decoded painted nothing."""
    if len(merged) == count:
        return
    table = np.full(65536, 65535, np.uint16)
    table[merged] = np.arange(len(merged))
    table.take(origin, out=origin)


def _views(
    sweep: Sweep,
    chosen: list[int],
    gains: NDArray[np.float64],
    box: tuple[int, int, int, int],
    unit: float,
) -> Views:
    """How each merged frame saw the animal, for repairs."""
    reference = sweep.frames[sweep.reference]
    frames = [sweep.frames[k] for k in chosen]
    height, width = sweep.lumas.shape
    return Views(
        size_px=(reference.width_px, reference.height_px),
        crop_px=box,
        analysis_px=(width, height),
        focal_px=sweep.focal_px,
        dof=sweep.dof,
        unit=unit,
        raw=all(frame.raw_path is not None for frame in frames),
        views=tuple(
            View(
                frame.name,
                str(frame.path.resolve()),
                None if frame.raw_path is None else str(frame.raw_path.resolve()),
                (p[0], p[1], p[2], p[3], p[4], p[5]),
                float(gain),
            )
            for frame, p, gain in zip(frames, sweep.poses[chosen].tolist(), gains, strict=True)
        ),
        mm_per_px=sweep.coverage.mm_per_px,
    )


def _rounded(depth: NDArray[np.float32]) -> NDArray[np.float32]:
    """Depth to one part in 30,000, in place: finer is no knowledge, and packs badly and slowly."""
    bits = depth.view(np.uint32)
    bits += np.uint32(0x80)
    # what is unknown stays so: of it no bit that counts lies among the last eight
    bits &= np.uint32(0xFFFFFF00)
    return bits.view(np.float32)


def _write_quick(
    linear: NDArray[np.float32], icc: bytes | None, exif_from: Path, out: Path
) -> None:
    """Write the JPEG for a quick look."""
    write_jpeg(out / "picture.jpg", encode(linear, icc, 8), icc, exif_from)


def _write_maps(
    painted: Painted,
    ground: DepthMap,
    box: tuple[int, int, int, int],
    depth_scale: float,
    out: Path,
    progress: Progress,
) -> None:
    """Write where the picture comes from, how deep it lies, and how sure that is."""
    x0, y0, x1, y1 = box
    part = (slice(y0, y1), slice(x0, x1))
    size = (painted.depth.shape[1], painted.depth.shape[0])
    seen = np.where(painted.whole, np.uint8(128), np.uint8(0))
    seen[part][painted.whole[part]] = 255
    write_map(out / "seen.tif", seen)
    del seen
    write_map(out / "origin.tif", painted.origin[part])
    progress("writing", 1, _FILES)
    known = cv2.resize(ground.known.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    depth = painted.depth[part] * np.float32(depth_scale)
    depth[known[part] == 0] = np.nan
    write_map(out / "depth.tif", _rounded(depth))
    del depth, known
    progress("writing", 2, _FILES)
    shown = np.asarray(cv2.resize(ground.confidence, size)[part], np.float32)
    # in whole steps of 1/255, which pack well
    shown *= np.float32(255)
    np.rint(shown, out=shown)
    shown /= np.float32(255)
    write_map(out / "confidence.tif", shown)
    progress("writing", 3, _FILES)


def _part_of(
    small: NDArray[np.float32], shape: tuple[int, ...], box: tuple[int, int, int, int]
) -> NDArray[np.float32]:
    """Give the part of a small map that the picture shows, in steps of a hundredth."""
    down, across = small.shape[0] / shape[0], small.shape[1] / shape[1]
    rows = slice(round(box[1] * down), max(round(box[3] * down), round(box[1] * down) + 1))
    columns = slice(round(box[0] * across), max(round(box[2] * across), round(box[0] * across) + 1))
    return np.ascontiguousarray(np.round(small[rows, columns], 2), np.float32)


def merge_sweep(
    sweep: Sweep,
    decoder: Decoder,
    out: Path,
    *,
    keep_share: float = NUMBERS.keep_share,
    with_background: bool = False,
    group_frames: int | None = None,
    progress: Progress = silent,
) -> Merge:
    """Merge the usable frames of a solved sweep into one deep picture.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    decoder : Decoder
        Decoder for the full-size frames.
    out : Path
        Folder to write to; made when missing.
    keep_share : float
        Least share of the reference frame's area that must be left after cropping.
    with_background : bool
        Merge also frames whose planes lie wholly behind the animal.
    group_frames : int, optional
        Paint in overlapping groups of so many frames, and keep the groups in the folder.
    progress : Progress, optional
        Told of every step; may raise to cancel.

    Returns
    -------
    Merge
        What was written and what was left out.

    Raises
    ------
    SweepError
        When there are fewer than two usable frames, or too little of the reference is left.
    WriteError
        When a file can't be written.
    """
    begun = time.monotonic()
    ready = prepare(sweep, with_background=with_background, progress=progress)
    used, left, gains = list(ready.used), list(ready.left_out), ready.gains
    ground, stretches = ready.ground, ready.stretches
    sweep.lumas.forget()  # painting needs the room
    frames = [sweep.frames[k] for k in used]
    if any(frame.kind == "raw" or frame.raw_path is not None for frame in frames):
        give_back_freed()  # developing needs it; of JPEGs it would cost a hundredth of the time
    if group_frames is None:
        painted = paint(sweep, decoder, used, gains, ground, stretches=stretches, progress=progress)
    else:

        def some(places: list[int]) -> Painted:
            frames, own = [used[i] for i in places], stretches.of(places)
            return paint(
                sweep, decoder, frames, gains[places], ground, stretches=own, progress=progress
            )

        store = make_folder(out) / GROUPS_FOLDER
        painted = paint_in_groups(
            sweep, used, gains, ground, stretches, group_frames, store, some, progress
        )
    give_back(painted, blur_of_averaging(sweep, used, ground, stretches))
    for index, why in painted.failed.items():
        left.append(LeftOut(sweep.frames[used[index]].name, why))
    merged = [index for index in range(len(used)) if index not in painted.failed]
    chosen = [used[index] for index in merged]
    _renumber(painted.origin, merged, len(used))
    reference = sweep.frames[sweep.reference]
    box = whole_part(painted.whole)
    x0, y0, x1, y1 = box
    kept = (x1 - x0) * (y1 - y0) / painted.whole.size
    if kept < keep_share:
        msg = (
            f"{reference.name}: only {100 * kept:.0f} % of it was seen by the frames that are "
            "sharp there; choose another reference frame, or accept less with --keep-less"
        )
        raise SweepError(msg)
    progress("writing", 0, _FILES)
    make_folder(out)
    unit, depth_scale = _depth_unit(sweep)
    stay = stretches.of(merged)
    part = painted.linear[y0:y1, x0:x1]
    with ThreadPoolExecutor(1) as other:
        left_of_noise = other.submit(noise_left, sweep, chosen, gains[merged], ground, stay)
        quick = other.submit(_write_quick, part, painted.icc, reference.path, out)
        moved = ready.moved
        if painted.failed or stretches.moved:
            moved = find_moved(sweep, chosen, gains[merged], ground)
        glance = other.submit(glance_at, painted, box, moved.strength.shape)
        write_map(out / NOISE, _part_of(left_of_noise.result(), painted.whole.shape, box))
        _write_maps(painted, ground, box, depth_scale, out, progress)
        quick.result()
        told = (sweep, chosen, gains[merged], glance.result(), ground, moved, stay, box)
        spots = other.submit(list_suspicious, *told)
        progress("writing", 4, _FILES)
        icc, codes = painted.icc, encode(part, painted.icc, 16)
        del painted, part, glance, told  # packing needs the room
        # the picture comes last: with it the merge is whole
        write_picture(out / "picture.tif", codes, icc, reference.path)
        del codes
        suspicious = spots.result()
    progress("writing", 5, _FILES)
    write_views(_views(sweep, chosen, gains[merged], box, depth_scale), out)
    names = tuple(sweep.frames[k].name for k in chosen)
    return Merge(
        picture="picture.tif",
        picture_jpeg="picture.jpg",
        origin_map="origin.tif",
        depth_map="depth.tif",
        confidence_map="confidence.tif",
        seen_map="seen.tif",
        views=VIEWS,
        depth_unit=unit,
        reference=reference.name,
        frames_used=names,
        left_out=tuple(left),
        crop_px=box,
        kept_share=kept,
        suspicious=suspicious,
        seconds=time.monotonic() - begun,
        peak_mib=peak_mib(),
        noise_map=NOISE,
        depth_order="away" if sweep.near_told else "unknown",
    )
