"""Draws one view of a made-up animal: one shot, and a sweep that is merged."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from haltere.plan.see_animal import lens_of, noise_of
from haltere.plan.see_merged import merge_drawn
from haltere.plan.see_numbers import LEAST_FRAMES, Seeing
from haltere.progress import Progress

if TYPE_CHECKING:
    from haltere.frames import Decoder
    from haltere.plan.plan import At, Plan
    from haltere.scene.stage import Stage

Picture = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Look:
    """One shot and the merged sweep of the same view.

    Attributes
    ----------
    single, swept : ndarray of uint8, shape (H, W, 3)
        sRGB, the same part of the frame.
    planes : int
        Planes of the sweep that were drawn.
    every : int
        Every so many of the planned planes was drawn.
    covered_mm : float
        Depth that the drawn planes cover.
    merged : bool
        False where the sweep is a single plane, or could not be merged.
    """

    single: Picture
    swept: Picture
    planes: int
    every: int
    covered_mm: float
    merged: bool


@dataclass(frozen=True, slots=True)
class Planes:
    """Which planes of a sweep are drawn.

    Attributes
    ----------
    at_mm : tuple of float
        Behind the animal's middle, nearest first.
    every : int
        Every so many of the planned ones.
    covered_mm : float
        Depth that they cover.
    """

    at_mm: tuple[float, ...]
    every: int
    covered_mm: float


def planes_drawn(
    step_mm: float, frames: int, dof_mm: float, within_mm: tuple[float, float], seeing: Seeing
) -> Planes:
    """Choose the planes to draw of an even sweep: all, or every other, or those in the middle.

    Parameters
    ----------
    step_mm : float
        From plane to plane.
    frames : int
        Planned.
    dof_mm : float
        Depth of field of one frame.
    within_mm : tuple of float
        Nearest and farthest plane worth drawing, from the animal's middle.
    seeing : Seeing
        How many at most.

    Returns
    -------
    Planes
        Nearest first.
    """
    at = (np.arange(frames) - (frames - 1) / 2.0) * step_mm
    kept = at[(at >= within_mm[0]) & (at <= within_mm[1])]
    if len(kept) < min(frames, 3):
        middle = 0.5 * (within_mm[0] + within_mm[1])
        kept = np.sort(at[np.argsort(np.abs(at - middle), kind="stable")[:3]])
    every = min(max(math.ceil(len(kept) / seeing.most_planes), 1), seeing.coarser)
    kept = kept[(len(kept) - 1) % every // 2 :: every]
    extra = len(kept) - seeing.most_planes
    if extra > 0:
        kept = kept[extra // 2 : extra // 2 + seeing.most_planes]
    return Planes(tuple(float(z) for z in kept), every, float(np.ptp(kept)) + dof_mm)


@dataclass(frozen=True, slots=True)
class View:
    """What is drawn.

    Attributes
    ----------
    stage : Stage
        The animal, moved to where the camera is aimed.
    size_px : tuple of int
        Width and height of the picture.
    pitch_mm : float
        Width of its pixels on the sensor.
    """

    stage: Stage
    size_px: tuple[int, int]
    pitch_mm: float


@dataclass(frozen=True, slots=True)
class Easel:
    """Draws views of one animal with the plan's settings.

    Attributes
    ----------
    plan : Plan
        Kit, wishes and settings.
    gain : float
        Brings the light to a good exposure, the same in all pictures.
    seed : int
        Of noise and pupil points.
    seeing : Seeing
        How large and how fine.
    decoder : Decoder
        Open decoder, for the merge.
    """

    plan: Plan
    gain: float
    seed: int
    seeing: Seeing
    decoder: Decoder

    def look(
        self, view: View, folder: Path, step: str, progress: Progress, *, small: bool = False
    ) -> Look:
        """Draw one shot and a sweep of a view, and merge the sweep.

        Parameters
        ----------
        view : View
            What is drawn.
        folder : Path
            Where frames and merged pictures may lie meanwhile.
        step : str
            What `progress` is told.
        progress : Progress
            Told of every frame; may raise to cancel.
        small : bool, optional
            The view holds little of the animal's depth: planes far from it are left out.

        Returns
        -------
        Look
            Both pictures, of the view's size.
        """
        at, one = self.plan.sweep, self.plan.single
        within = self._within(view, at) if small else (-math.inf, math.inf)
        planes = planes_drawn(
            at.sweep.step_mm, at.sweep.frames, at.sweep.depth_of_field_mm, within, self.seeing
        )
        few = len(planes.at_mm) < LEAST_FRAMES
        views = self.seeing.single_views if few else self.seeing.views
        progress(step, 0, len(planes.at_mm) + 1)
        shots = [partial(self._expose, view, one.f_number, 0.0, self.seeing.single_views, 0)]
        for number, z in enumerate(planes.at_mm, 1):
            shots.append(partial(self._expose, view, at.f_number, z, views, number))
        single, *frames = _taken(shots, step, progress)
        merged = None
        if not few:
            lens = lens_of(self.plan.given, at.f_number, view.size_px, view.pitch_mm)
            merged = merge_drawn(frames, planes.at_mm, lens, self.decoder, folder, progress)
        swept = frames[len(frames) // 2] if merged is None else _on(frames, *merged)
        return Look(single, swept, len(frames), planes.every, planes.covered_mm, merged is not None)

    def framed(self, near: Look, view: View, frame: View) -> Look:
        """Put what was merged around the animal back into the whole frame, made smaller.

        Parameters
        ----------
        near : Look
            What was drawn around the animal.
        view : View
            Its view, in the middle of the frame.
        frame : View
            The whole frame.

        Returns
        -------
        Look
            Both pictures, of the frame's size.
        """
        one, at = self.plan.single.f_number, self.plan.sweep.f_number
        single = self._expose(frame, one, 0.0, self.seeing.single_views, 0)
        share = view.size_px[0] * view.pitch_mm / (frame.size_px[0] * frame.pitch_mm)
        if share > 0.999:
            return replace(near, single=single, swept=_shrunk(near.swept, frame.size_px))
        ground = self._expose(frame, at, 0.0, self.seeing.single_views, 0)
        inner = (round(frame.size_px[0] * share), round(frame.size_px[1] * share))
        fade = max(self.seeing.fade * inner[0], 1.0)
        return replace(near, single=single, swept=_inlaid(ground, _shrunk(near.swept, inner), fade))

    def _within(self, view: View, at: At) -> tuple[float, float]:
        """Nearest and farthest plane that this view has a use for."""
        from haltere.scene.stage import animal_depths

        seen = animal_depths(
            view.stage, lens_of(self.plan.given, at.f_number, view.size_px, view.pitch_mm)
        )
        if len(seen) == 0:
            return -math.inf, math.inf
        beyond = self.seeing.aside * at.sweep.depth_of_field_mm
        near, far = np.percentile(seen, [0.5, 99.5])
        return float(near) - beyond, float(far) + beyond

    def _expose(self, view: View, f_number: float, z_mm: float, views: int, number: int) -> Picture:
        from haltere.scene.camera import Camera
        from haltere.scene.exposure import expose
        from haltere.scene.sensor import add_noise, tone

        lens = lens_of(self.plan.given, f_number, view.size_px, view.pitch_mm)
        camera = Camera((0.0, 0.0, z_mm - lens.pupil_distance_mm), np.eye(3))
        light = expose(view.stage, lens, camera, views=views, seed=1000 * self.seed + number)
        light *= np.float32(self.gain)
        noise = noise_of(self.plan.given, view.pitch_mm, self.seeing)
        return tone(add_noise(light, noise, 7919 * self.seed + number))


def _on(frames: list[Picture], swept: Picture, box: tuple[int, int, int, int]) -> Picture:
    """Lay a merged picture, cropped at its border, on the frame that it is seen from."""
    picture = frames[len(frames) // 2].copy()
    picture[box[1] : box[3], box[0] : box[2]] = swept
    return picture


def trimmed(picture: Picture, by_px: int) -> Picture:
    """Cut a border off.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
        The picture.
    by_px : int
        Pixels on each side.

    Returns
    -------
    ndarray of uint8
        What is left.
    """
    return np.ascontiguousarray(picture[by_px:-by_px, by_px:-by_px])


def _shrunk(picture: Picture, size: tuple[int, int]) -> Picture:
    """Make a picture smaller as larger pixels would have taken it: in linear light."""
    import cv2

    from haltere.frames import encode, to_linear

    if (picture.shape[1], picture.shape[0]) == size:
        return picture
    light = cv2.resize(to_linear(picture, None, False), size, interpolation=cv2.INTER_AREA)
    return np.asarray(encode(np.ascontiguousarray(light), None, 8), np.uint8)


def _inlaid(ground: Picture, inner: Picture, fade_px: float) -> Picture:
    """Lay a smaller picture into the middle of a larger one, fading in from its border."""
    h, w = inner.shape[:2]
    top, left = (ground.shape[0] - h) // 2, (ground.shape[1] - w) // 2
    part = ground[top : top + h, left : left + w]
    y, x = (np.minimum(np.arange(n), n - 1 - np.arange(n)) / fade_px for n in (h, w))
    share = np.minimum(np.minimum(y[:, None], x[None, :]), 1.0)[..., None]
    out = ground.copy()
    out[top : top + h, left : left + w] = np.rint(part * (1 - share) + inner * share)
    return out


def _taken(
    shots: Sequence[Callable[[], Picture]], step: str, progress: Progress, threads: int = 2
) -> list[Picture]:
    """Draw all pictures, two at a time; the same whatever the order they end in."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(max_workers=threads) as pool:
        waiting = [pool.submit(shot) for shot in shots]
        pictures = []
        try:
            for number, future in enumerate(waiting, 1):
                pictures.append(future.result())
                progress(step, number, len(waiting))
        except BaseException:
            for future in waiting:
                future.cancel()
            raise
    return pictures
