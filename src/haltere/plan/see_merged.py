"""Merges drawn frames, whose place is known, as the frames of a real sweep are merged."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from haltere.progress import Progress, silent

if TYPE_CHECKING:
    from haltere.frames import Decoder
    from haltere.scene.camera import Lens
    from haltere.sweeps import Sweep

Picture = NDArray[np.uint8]
Box = tuple[int, int, int, int]

SHARP_PX = 0.7
"""A circle of confusion is at least so many pixels wide for the merge, which was tuned to that."""


def merge_drawn(
    pictures: Sequence[Picture],
    planes_mm: Sequence[float],
    lens: Lens,
    decoder: Decoder,
    folder: Path,
    progress: Progress = silent,
) -> tuple[Picture, Box] | None:
    """Merge drawn frames into one deep picture.

    They are not registered first: their place is known, and a small animal before an empty
    background would leave it in doubt.

    Parameters
    ----------
    pictures : sequence of ndarray of uint8, shape (H, W, 3)
        Frames, nearest plane first.
    planes_mm : sequence of float
        Plane of focus of each along the axis.
    lens : Lens
        What they were drawn with.
    decoder : Decoder
        Open decoder.
    folder : Path
        Where frames and results may lie meanwhile.
    progress : Progress, optional
        Told of every frame; may raise to cancel.

    Returns
    -------
    picture : ndarray of uint8, shape (h, w, 3)
        As the middle frame saw it, all of it sharp.
    box : tuple of int
        The part of the frame it shows: x0, y0, x1, y1.
    """
    import cv2

    from haltere.errors import SweepError
    from haltere.merge import merge_sweep

    sweep = known_sweep(pictures, planes_mm, lens, folder)
    try:
        merged = merge_sweep(sweep, decoder, folder / "merged", progress=progress)
    except SweepError:
        return None
    finally:
        sweep.close()
    read = cv2.imread(str(folder / "merged" / merged.picture), cv2.IMREAD_UNCHANGED)
    assert read is not None
    rgb16 = np.asarray(read[..., ::-1], np.uint16)
    return np.ascontiguousarray((rgb16 >> 8).astype(np.uint8)), merged.crop_px


def known_sweep(
    pictures: Sequence[Picture], planes_mm: Sequence[float], lens: Lens, folder: Path
) -> Sweep:
    """Write drawn frames, and give what solving their sweep would have found.

    Parameters
    ----------
    pictures : sequence of ndarray of uint8, shape (H, W, 3)
        Frames, nearest plane first.
    planes_mm : sequence of float
        Plane of focus of each along the axis.
    lens : Lens
        What they were drawn with.
    folder : Path
        Where the frames go.

    Returns
    -------
    Sweep
        Ready to be merged; close it when done.
    """
    import cv2
    import tifffile

    from haltere.align.lumas import Lumas
    from haltere.focus.curves import Peaks
    from haltere.frames import Frame, Shooting
    from haltere.kit import Capture
    from haltere.optics import airy_diameter_mm, depth_of_field_mm
    from haltere.sweeps import Coverage, Sweep

    folder.mkdir(parents=True, exist_ok=True)
    reference = len(pictures) // 2
    lumas, frames = Lumas(), []
    for number, picture in enumerate(pictures):
        path = folder / f"frame_{number:03d}.tif"
        tifffile.imwrite(path, picture, photometric="rgb")
        frames.append(
            Frame(path, path.name, "tiff", picture.shape[1], picture.shape[0], 1, Shooting())
        )
        lumas.add(np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), np.uint8))
    pitch, distance = lens.pixel_pitch_mm, lens.pupil_distance_mm
    coc = max(lens.coc_mm, SHARP_PX * pitch)
    depth = depth_of_field_mm(coc, lens.f_number_effective, lens.magnification)
    poses = np.zeros((len(frames), 6))
    poses[:, 2] = (np.asarray(planes_mm) - planes_mm[reference]) / distance
    capture = Capture(
        magnification=lens.magnification,
        focal_mm=lens.focal_mm,
        f_number=lens.f_number,
        pupil_magnification=lens.pupil_magnification,
        pupil_distance_mm=distance,
        coc_mm=coc,
        pixel_pitch_mm=pitch,
        scale_source="given",
    )
    nothing = np.zeros((1, 1))
    return Sweep(
        frames=tuple(frames),
        capture=capture,
        coverage=Coverage(
            frames[reference].name, depth, "", coc, pitch / lens.magnification, "given",
            (), (), (), True, "drawn",
        ),
        reference=reference,
        lumas=lumas,
        scale=1.0,
        poses=poses,
        gains=np.ones(len(frames)),
        usable=np.ones(len(frames), np.bool_),
        focal_px=lens.focal_px,
        dof=depth / distance,
        c_px=coc / pitch,
        airy_px=airy_diameter_mm(lens.f_number_effective) / pitch,
        peaks=Peaks(nothing, nothing, nothing, nothing, nothing),
        trusted=np.zeros((1, 1), np.bool_),
    )  # fmt: skip
