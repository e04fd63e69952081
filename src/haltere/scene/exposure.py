"""From a stage and a pose to linear light on the sensor: pupil, movement, diffraction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from haltere import optics
from haltere.scene.camera import Camera, Lens, pupil_points
from haltere.scene.raster import sum_views
from haltere.scene.stage import Stage

Array = NDArray[np.float64]
Light = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Smear:
    """Movement of the picture during an exposure, pixels.

    Attributes
    ----------
    flash_px : tuple of 2 floats
        Movement (x, y) while the flash burns.
    ambient_px : tuple of 2 floats
        Movement while the shutter is open.
    ambient_share : float
        Share of the light that is not flash.
    """

    flash_px: tuple[float, float] = (0.0, 0.0)
    ambient_px: tuple[float, float] = (0.0, 0.0)
    ambient_share: float = 0.0


def view_table(
    lens: Lens,
    camera: Camera,
    count: int,
    seed: int,
    smear: Smear = Smear(),
    *,
    pinhole: bool = False,
) -> tuple[Array, Array]:
    """Spread views (count, 16) over the pupil, with offsets (count, 3) within texel and level.

    Parameters
    ----------
    lens, camera : Lens, Camera
        Optics and pose.
    count : int
        Number of views.
    seed : int
        Turns the pattern.
    smear : Smear
        The flash part is spread over the views.
    pinhole : bool
        True puts all views into the middle of the pupil (everything sharp).
    """
    rng = np.random.default_rng([seed, 37])
    views = np.zeros((count, 16))
    views[:, :9] = camera.rotation.ravel()
    views[:, 9:12] = camera.centre_mm
    if not pinhole:
        views[:, 12:14] = pupil_points(lens, count, float(rng.uniform(0.0, 2.0 * np.pi)))
    i = np.arange(count)
    # plastic-number lattice: well spread in the plane for any count (Roberts 2018)
    g = 1.32471795724474602596
    start = rng.random(6)
    jx = (start[0] + (i + 0.5) / g) % 1.0 - 0.5
    jy = (start[1] + (i + 0.5) / g**2) % 1.0 - 0.5
    # moments along another irrational step, so that they go with neither pupil nor pixel
    when = (start[5] + i * (np.sqrt(2.0) - 1.0)) % 1.0 - 0.5
    views[:, 14] = jx + smear.flash_px[0] * when
    views[:, 15] = jy + smear.flash_px[1] * when
    h = 1.22074408460575947536
    offsets = np.stack(
        [
            (start[2] + i / h) % 1.0 - 0.5,
            (start[3] + i / h**2) % 1.0 - 0.5,
            (start[4] + i / h**3) % 1.0,
        ],
        axis=1,
    )
    return views, offsets


def backdrop(stage: Stage, lens: Lens, camera: Camera) -> Light:
    """Draw the far background (H, W, 3), linear light: dim, smooth, moving as the camera turns.

    Parameters
    ----------
    stage : Stage
        Gives the colour and the far shapes.
    lens : Lens
        Gives the frame size and the angle of view; a part of the sensor that the stage was set
        for sees a part of the background.
    camera : Camera
        Pose; only its turn counts.
    """
    import cv2

    step = 16
    share = lens.sensor_width_mm / stage.lens.sensor_width_mm
    gh, gw = lens.height_px // step + 3, lens.width_px // step + 3
    y, x = np.mgrid[0:gh, 0:gw].astype(np.float64)
    cx, cy = lens.centre_px
    x = (x * step - cx) / lens.width_px * share
    y = (y * step - cy) / lens.width_px * share
    r = camera.rotation
    k = lens.focal_px / lens.width_px * share
    # far things move by the turn only
    px = r[0, 0] * x + r[1, 0] * y + r[2, 0] * k
    py = r[0, 1] * x + r[1, 1] * y + r[2, 1] * k
    out = np.empty((gh, gw, 3))
    out[:] = stage.backdrop * (0.75 - 0.5 * py)[..., None]
    for b in stage.blobs:
        d = np.hypot(px - b[0], py - b[1]) / b[2]
        wgt = (1.0 / (1.0 + np.exp((d - 1.0) * 5.0)))[..., None] * 0.75
        out = out * (1 - wgt) + b[3:6] * wgt
    big = cv2.resize(out.astype(np.float32), (gw * step, gh * step), interpolation=cv2.INTER_CUBIC)
    o = step // 2
    return np.ascontiguousarray(big[o : o + lens.height_px, o : o + lens.width_px])


def transfer(lens: Lens, shape: tuple[int, int], smear: Smear = Smear()) -> Light:
    """Optical transfer function on the grid of a real FFT of `shape` pixels.

    Contrast of a perfect round lens at the effective f-number, times the ambient light's share of
    movement along a line.

    Parameters
    ----------
    lens : Lens
        Optics.
    shape : tuple of int
        Rows and columns.
    smear : Smear
        Movement; here its ambient part counts.
    """
    fy = scipy.fft.fftfreq(shape[0])[:, None]
    fx = scipy.fft.rfftfreq(shape[1])[None, :]
    nu = np.hypot(fx, fy) / lens.pixel_pitch_mm
    otf = optics.diffraction_mtf(nu / optics.cutoff_per_mm(lens.f_number_effective))
    if smear.ambient_share > 0.0:
        path = np.sinc(fx * smear.ambient_px[0] + fy * smear.ambient_px[1])
        otf = otf * (1.0 - smear.ambient_share + smear.ambient_share * path)
    return np.asarray(otf, dtype=np.float32)


def diffract(light: Light, lens: Lens, smear: Smear = Smear(), margin_px: int = 16) -> Light:
    """Blur linear light (H, W, 3) by diffraction, and its ambient part by movement.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        Linear light.
    lens : Lens
        Optics.
    smear : Smear
        Movement; here its ambient part counts.
    margin_px : int
        Mirrored border against wrapping round.
    """
    h, w = light.shape[:2]
    fh, fw = (
        scipy.fft.next_fast_len(h + 2 * margin_px),
        scipy.fft.next_fast_len(w + 2 * margin_px, real=True),
    )
    otf = transfer(lens, (fh, fw), smear)
    out = np.empty_like(light)
    m = margin_px
    for c in range(light.shape[2]):
        pad = np.pad(light[..., c], ((m, fh - h - m), (m, fw - w - m)), mode="reflect")
        f = scipy.fft.rfft2(pad, workers=1, overwrite_x=True)
        f *= otf
        out[..., c] = scipy.fft.irfft2(f, s=(fh, fw), workers=1, overwrite_x=True)[
            m : m + h, m : m + w
        ]
    return np.maximum(out, 0.0)


def gather(
    stage: Stage, lens: Lens, camera: Camera, *, views: int = 40, seed: int = 0,
    smear: Smear = Smear(), pinhole: bool = False,
) -> Light:  # fmt: skip
    """Collect the light (H, W, 3) that geometry alone brings to the sensor.

    Parameters
    ----------
    stage : Stage
        What stands before the lens.
    lens, camera : Lens, Camera
        Optics and pose.
    views : int
        Points of the pupil.
    seed : int
        Seed of the pattern's turn.
    smear : Smear
        Movement during the exposure; here its flash part counts.
    pinhole : bool
        True for the all-sharp view.

    Returns
    -------
    ndarray of float32
        Linear light.
    """
    table, offsets = view_table(lens, camera, views, seed, smear, pinhole=pinhole)
    back = backdrop(stage, lens, camera)
    mid = 0.5 * (stage.hair_pts[0::2] + stage.hair_pts[1::2]).astype(np.float64)
    depth = camera.to_camera(mid)[:, 2] if len(mid) else np.zeros(0)
    order = np.argsort(depth, kind="stable").astype(np.int32)
    cx, cy = lens.centre_px
    disc = 0.0 if pinhole else lens.px_per_mm * lens.aperture_mm
    light: Light = sum_views(
        stage.verts, stage.tris, stage.uv, stage.tri_patch,
        stage.tex, stage.tex_at, stage.tex_w, stage.tex_h,
        stage.hair_pts, stage.hair_width, stage.hair_colour, order, table, offsets,
        lens.focal_px, lens.pupil_distance_mm, cx, cy, disc, back,
    )  # fmt: skip
    return light


def expose(
    stage: Stage, lens: Lens, camera: Camera, *, views: int = 40, seed: int = 0,
    smear: Smear = Smear(), pinhole: bool = False,
) -> Light:  # fmt: skip
    """Give the light (H, W, 3) that falls on the sensor, diffraction and movement included.

    Parameters
    ----------
    stage : Stage
        What stands before the lens.
    lens, camera : Lens, Camera
        Optics and pose.
    views, seed : int
        Points of the pupil; seed of the pattern's turn.
    smear : Smear
        Movement during the exposure, both parts.
    pinhole : bool
        True for the all-sharp view.

    Returns
    -------
    ndarray of float32
        Linear light, before gain and noise.
    """
    light = gather(stage, lens, camera, views=views, seed=seed, smear=smear, pinhole=pinhole)
    return diffract(light, lens, smear)
