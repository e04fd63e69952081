"""Renders a planned run: frames as camera files, and the truth beside them."""

from __future__ import annotations

from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.progress import Progress, silent
from haltere.scene.camera import Camera, Lens
from haltere.scene.dng import mosaic, write_dng
from haltere.scene.exif import Shot, exif_bytes
from haltere.scene.exposure import expose
from haltere.scene.raster import look
from haltere.scene.runs import Run, Take
from haltere.scene.sensor import Sensor, add_noise, tone
from haltere.scene.stage import Stage
from haltere.scene.truth import (
    NOTHING,
    FrameTruth,
    LimbTruth,
    Truth,
    eye_offsets,
    eye_pixels,
    find_gaps,
    write_truth,
)
from haltere.scene.visible import pinhole

Array = NDArray[np.float64]
SHARP_VIEWS = 36
DEPTH_SCALE_MM = 0.001


@dataclass(frozen=True, slots=True)
class Naming:
    """File names and times of a run.

    Attributes
    ----------
    names : tuple of str
        JPEG names in order.
    start : datetime
        Moment of the first frame (aware).
    first_number : int
        Running number of the first frame.
    raw : tuple of int
        Indices of frames that are also written as raw.
    """

    names: tuple[str, ...]
    start: datetime
    first_number: int
    raw: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Maps:
    """What the reference camera sees.

    Attributes
    ----------
    depth_mm : ndarray of float64, shape (H, W)
        Depth along the axis, 0 = plane of focus, NaN = nothing.
    mask : ndarray of uint8, shape (H, W)
        0 background, 1 support, 2 animal, 3 eyes.
    eye : ndarray of int32, shape (H, W)
        Number of the main eye, else -1.
    """

    depth_mm: Array
    mask: NDArray[np.uint8]
    eye: NDArray[np.int32]


def _view_row(camera: Camera) -> Array:
    """View row (16,) of a pose through the middle of the pupil."""
    row = np.zeros(16)
    row[:9] = camera.rotation.ravel()
    row[9:12] = camera.centre_mm
    return row


def _reference_maps(stage: Stage, lens: Lens) -> Maps:
    """Depth, parts and eyes seen from the reference pupil at the lens's frame size."""
    cx, cy = lens.centre_px
    z, ids = look(
        stage.verts, stage.tris, stage.hair_pts, stage.hair_width, pinhole(lens),
        lens.focal_px, lens.pupil_distance_mm, cx, cy, lens.height_px, lens.width_px,
    )  # fmt: skip
    t = np.maximum(ids, 0)
    mask = np.where(ids >= 0, stage.tri_label[t], np.where(ids < -1, 2, 0)).astype(np.uint8)
    depth = np.where(ids == -1, np.nan, z.astype(np.float64) - lens.pupil_distance_mm)
    return Maps(depth, mask, np.where(ids >= 0, stage.tri_eye[t], -1).astype(np.int32))


def _eyes_in_view(stage: Stage, lens: Lens, camera: Camera) -> tuple[float, float]:
    """Share of the camera side of each main eye that nothing hides and the frame holds."""
    small = replace(lens, width_px=480, height_px=round(480 * lens.height_px / lens.width_px))
    cx, cy = small.centre_px
    z, _ = look(
        stage.verts,
        stage.tris,
        np.zeros((0, 3), np.float32),
        np.zeros((0, 2), np.float32),
        _view_row(camera),
        small.focal_px,
        small.pupil_distance_mm,
        cx,
        cy,
        small.height_px,
        small.width_px,
    )
    out = []
    for n in (0, 1):
        tri = stage.tris[stage.tri_eye == n]
        v = stage.verts[tri].astype(np.float64)
        p = camera.to_camera(v)
        normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
        length = np.maximum(np.linalg.norm(normal, axis=1), 1e-12)
        # area towards the camera of each triangle; grazing ones are left out
        weight = np.where(normal[:, 2] / length > 0.2, normal[:, 2], 0.0)
        mid = p.mean(axis=1)
        x = np.rint(small.focal_px * mid[:, 0] / mid[:, 2] + cx).astype(int)
        y = np.rint(small.focal_px * mid[:, 1] / mid[:, 2] + cy).astype(int)
        held = (x >= 0) & (y >= 0) & (x < small.width_px) & (y < small.height_px)
        slack = 0.12 * float(np.ptp(p[..., 1])) + 1e-6 if len(p) else 0.0
        seen = np.zeros(len(p), bool)
        seen[held] = mid[held, 2] <= z[y[held], x[held]] + slack
        total = float(weight.sum())
        out.append(float((weight * seen).sum() / total) if total > 0 else 0.0)
    return out[0], out[1]


def _exposure_gain(sharp: NDArray[np.float32], mask: NDArray[np.uint8]) -> float:
    """Gain that brings the animal's bright parts (97 %) to 0.70 of white."""
    on = mask >= 2
    bright = sharp.max(axis=2)
    level = float(np.quantile(bright[on], 0.97)) if on.any() else float(np.quantile(bright, 0.99))
    return 0.70 / max(level, 1e-4)


def _shot(run: Run, naming: Naming, index: int, take: Take) -> Shot:
    o = run.outfit
    return Shot(
        naming.start + timedelta(seconds=take.time_s),
        o.exposure_s,
        o.lens.f_number,
        o.iso,
        o.lens.focal_mm,
        o.lens.width_px / o.lens.sensor_width_mm,
        (o.lens.width_px, o.lens.height_px),
        o.model,
        o.serial,
        o.lens_model,
        naming.first_number + index,
    )


def _write_jpeg(path: Path, picture: NDArray[np.uint8], shot: Shot) -> None:
    from PIL import Image

    Image.fromarray(picture).save(path, "JPEG", quality=92, subsampling=0, exif=exif_bytes(shot))


def _write_png(path: Path, a: NDArray[Any]) -> None:
    ok, data = cv2.imencode(".png", a, [cv2.IMWRITE_PNG_COMPRESSION, 4])
    if not ok:
        raise ValueError(f"no PNG could be made for {path.name}")
    path.write_bytes(data.tobytes())


def quick_gain(stage: Stage, lens: Lens) -> float:
    """Give the gain that exposes the animal well, from a small sharp view.

    Parameters
    ----------
    stage : Stage
        What stands before the lens.
    lens : Lens
        Optics; only few of its pixels are looked at.

    Returns
    -------
    float
        Brings the animal's bright parts (97 %) to 0.70 of white.
    """
    w = min(lens.width_px, 320)
    small = replace(lens, width_px=w, height_px=round(w * lens.height_px / lens.width_px))
    ref = Camera((0.0, 0.0, -lens.pupil_distance_mm), np.eye(3))
    light = expose(stage, small, ref, views=12, seed=1, pinhole=True)
    return _exposure_gain(light, _reference_maps(stage, small).mask)


@dataclass(frozen=True, slots=True)
class Rendering:
    """A run on its way through the pool.

    Attributes
    ----------
    run : Run
        What is taken.
    truth_folder : Path
        Where truth goes.
    views : int
        Points of the pupil per frame.
    frames : tuple of Future
        One per frame.
    maps : Future
        What the reference camera sees; its pictures are written by then.
    """

    run: Run
    truth_folder: Path
    views: int
    frames: tuple[Future[FrameTruth], ...]
    maps: Future[Maps]


def start_run(
    pool: Executor,
    run: Run,
    frames_folder: Path,
    truth_folder: Path,
    naming: Naming,
    *,
    views: int = 40,
    sensor: Sensor | None = None,
) -> Rendering:
    """Hand all frames of a run, and its maps, to a pool of threads.

    Parameters
    ----------
    pool : Executor
        Threads; each holds one frame at full size.
    run : Run
        What to take.
    frames_folder, truth_folder : Path
        Where camera files and truth go; made when missing.
    naming : Naming
        Names and times.
    views : int
        Points of the pupil per frame.
    sensor : Sensor or None
        Noise; None for the usual one.
    """
    frames_folder.mkdir(parents=True, exist_ok=True)
    truth_folder.mkdir(parents=True, exist_ok=True)
    lens, noise = run.outfit.lens, sensor or Sensor()
    gain = quick_gain(run.stage, lens)

    def one(i: int) -> FrameTruth:
        take = run.takes[i]
        stage = run.stage_of(take)
        got = expose(
            stage, lens, take.camera, views=views, seed=run.seed * 1000 + i, smear=take.smear
        )
        got *= np.float32(gain * take.gain)
        shot = _shot(run, naming, i, take)
        picture = tone(add_noise(got, noise, run.seed * 7919 + i))
        _write_jpeg(frames_folder / naming.names[i], picture, shot)
        if i in naming.raw:
            raw = mosaic(add_noise(got, noise, run.seed * 7919 + i + 500000))
            small = cv2.resize(
                picture, (lens.width_px // 2, lens.height_px // 2), interpolation=cv2.INTER_AREA
            )
            write_dng(
                frames_folder / (Path(naming.names[i]).stem + ".DNG"),
                raw,
                np.asarray(small, np.uint8),
                shot,
            )
        return FrameTruth(
            naming.names[i],
            take.pass_number,
            take.time_s,
            take.camera,
            take.position_mm,
            take.faults,
            eye_pixels(lens, take.camera, stage.eye_points),
            _eyes_in_view(stage, lens, take.camera),
            eye_offsets(lens, take.camera, stage.eye_points),
            take.blur_px,
            take.pose,
        )

    frames = tuple(pool.submit(one, i) for i in range(len(run.takes)))
    return Rendering(
        run, truth_folder, views, frames, pool.submit(_write_maps, run, truth_folder, gain)
    )


def _lowest(maps: Maps) -> float:
    """Depth of count 0 in depth.png: a round number before the nearest surface."""
    seen = maps.depth_mm[np.isfinite(maps.depth_mm)]
    return float(np.floor(seen.min() * 2.0) / 2.0) if seen.size else 0.0


def _write_maps(run: Run, folder: Path, gain: float) -> Maps:
    stage, lens = run.stage, run.outfit.lens
    maps = _reference_maps(stage, lens)
    ref = Camera((0.0, 0.0, -lens.pupil_distance_mm), np.eye(3))
    light = expose(stage, lens, ref, views=SHARP_VIEWS, seed=run.seed, pinhole=True)
    _write_png(folder / "sharp.png", tone(light * np.float32(gain))[..., ::-1])
    counts = np.rint((maps.depth_mm - _lowest(maps)) / DEPTH_SCALE_MM)
    depth16 = np.where(np.isnan(counts), NOTHING, np.clip(counts, 0, NOTHING - 1)).astype(np.uint16)
    _write_png(folder / "depth.png", depth16)
    _write_png(folder / "mask.png", maps.mask)
    if run.limb is not None:
        _write_png(folder / "limb.png", limb_map(run))
    return maps


def limb_map(run: Run) -> NDArray[np.uint8]:
    """Where the reference camera sees the moving limb: 1 in pose 0, 2 in another, 3 in both.

    Parameters
    ----------
    run : Run
        A run with a limb that moves; the map (H, W) has its frames' size.
    """
    lens = run.outfit.lens
    seen = np.zeros((lens.height_px, lens.width_px), np.uint8)
    if run.limb is None:
        return seen
    cx, cy = lens.centre_px
    for pose, stage in enumerate((run.stage, *run.moved)):
        own = np.zeros(len(stage.verts), bool)
        own[stage.limbs[run.limb.number].verts] = True
        _, ids = look(
            stage.verts, stage.tris, stage.hair_pts, stage.hair_width, pinhole(lens),
            lens.focal_px, lens.pupil_distance_mm, cx, cy, lens.height_px, lens.width_px,
        )  # fmt: skip
        its = (ids >= 0) & own[stage.tris[np.maximum(ids, 0), 0]]
        seen[its] |= 2 if pose else 1
    return seen


def finish_run(
    job: Rendering, step: str, progress: Progress = silent, before: int = 0, total: int = 0
) -> Truth:
    """Wait for a run's frames and write its truth.

    Parameters
    ----------
    job : Rendering
        From `start_run`.
    step : str
        What `progress` is told.
    progress : Progress
        Told after each frame; it may raise to cancel.
    before, total : int
        Frames done before this run and in all; 0 in all means this run alone.
    """
    frames = []
    try:
        for i, f in enumerate(job.frames):
            frames.append(f.result())
            progress(step, before + i + 1, total or len(job.frames))
        maps = job.maps.result()
    except BaseException:
        for f in job.frames:
            f.cancel()
        raise
    run, lens = job.run, job.run.outfit.lens
    depths = maps.depth_mm[(maps.mask >= 2) & np.isfinite(maps.depth_mm)]
    usable = np.array([t.position_mm for t in run.takes if not t.faults])
    gaps = find_gaps(depths, usable, lens.depth_of_field_mm) if run.kind == "sweep" else ()
    seen = []
    for n in (0, 1):
        d = maps.depth_mm[maps.eye == n]
        seen.append(
            {
                "visible_px_in_first_look": int(d.size),
                "visible_depth_mm_p2_p50_p98": [float(v) for v in np.percentile(d, [2, 50, 98])]
                if d.size
                else None,
            }
        )
    near_far = (float(depths.min()), float(depths.max())) if depths.size else (0.0, 0.0)
    truth = Truth(
        run.kind,
        run.seed,
        run.plan,
        run.support,
        lens,
        tuple(frames),
        run.reference_index,
        near_far,
        run.stage.eye_points,
        tuple(seen),
        gaps,
        job.truth_folder,
        limb_truth(run),
    )
    write_truth(truth, _lowest(maps), DEPTH_SCALE_MM, job.views)
    return truth


def limb_truth(run: Run) -> LimbTruth | None:
    """Tell what is true of the limb that moves in a run, None where none does.

    Parameters
    ----------
    run : Run
        The run.
    """
    if run.limb is None:
        return None
    base = run.stage.limbs[run.limb.number].base_mm
    return LimbTruth(run.limb.number, base, run.limb.axis, run.limb.angle_deg)


def render_run(
    run: Run,
    frames_folder: Path,
    truth_folder: Path,
    naming: Naming,
    *,
    views: int = 40,
    threads: int = 2,
    progress: Progress = silent,
) -> Truth:
    """Render one run and write its truth as `start_run` says, the same with any `threads`.

    Parameters
    ----------
    run : Run
        What to take.
    frames_folder, truth_folder : Path
        Where camera files and truth go; made when missing.
    naming : Naming
        Names and times.
    views : int
        Points of the pupil per frame.
    threads : int
        Frames rendered at a time, 1 or more.
    progress : Progress
        Told after each frame.
    """
    with ThreadPoolExecutor(max_workers=max(1, threads)) as pool:
        job = start_run(pool, run, frames_folder, truth_folder, naming, views=views)
        return finish_run(job, run.kind, progress)
