"""A merged picture and its maps, in colours of a screen."""

from __future__ import annotations

import warnings
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.pyramid import Rgb
from haltere.doors.bench.said import Grid
from haltere.merge.merged import Merge
from haltere.show.colours import UNKNOWN_RGB, depth_shades
from haltere.show.pictures import with_profile

NOWHERE = 65535
"""In a map of origins: no frame."""


def shown(path: Path, which: str) -> Rgb:
    """Read a merged picture or one of its maps as colours.

    Parameters
    ----------
    path : Path
        The file.
    which : str
        "merged" and "repaired", or "origin", "depth" and "confidence", whose values become
        shades: pale is near or sure, dark is far or unsure, hatched is unknown.
    """
    if which in ("merged", "repaired"):
        with warnings.catch_warnings():
            # a picture of our own may be large
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(path)
            with picture:
                icc = picture.info.get("icc_profile")
                rgb = picture.convert("RGB")
        return np.asarray(with_profile(rgb, icc if isinstance(icc, bytes) else None))
    import tifffile

    values = np.asarray(tifffile.imread(path))
    if which == "origin":
        known = values != NOWHERE
        share = values.astype(np.float32) / max(1.0, float(values[known].max(initial=1)))
    else:
        known = np.isfinite(values)
        low, high = (0.0, 1.0) if which == "confidence" else _ends(values[known])
        share = (values.astype(np.float32) - low) / max(high - low, 1e-9)
        if which == "confidence":
            share = 1.0 - share
    steps = np.clip(np.nan_to_num(share) * 255, 0, 255).astype(np.uint8)
    rgb8 = depth_shades(256)[steps]
    height, width = values.shape
    slant = np.arange(height)[:, None] + np.arange(width)[None, :]
    hatch = np.array(UNKNOWN_RGB, np.uint8)[(slant % 18 < 4).astype(np.uint8)]
    painted: Rgb = np.where(known[..., None], rgb8, hatch).astype(np.uint8)
    return painted


def _ends(values: NDArray[np.float32]) -> tuple[float, float]:
    if not values.size:
        return 0.0, 1.0
    low, high = np.percentile(values, (1.0, 99.0))  # a few wild depths must not flatten the rest
    return float(low), float(high)


def grid(merge: Merge, origin: Path) -> Grid:
    """Say coarsely which frame each place of a merged picture comes from.

    Parameters
    ----------
    merge : Merge
        The merged picture.
    origin : Path
        Its map of origins.
    """
    import tifffile

    index = np.asarray(tifffile.imread(origin))
    height, width = index.shape
    columns = min(LIMITS.grid_columns, width)
    cell = width / columns
    rows = max(1, round(height / cell))
    small = cv2.resize(index, (columns, rows), interpolation=cv2.INTER_NEAREST)
    said = np.where(small == NOWHERE, -1, small.astype(np.int32))
    return Grid(
        columns, rows, cell, merge.crop_px, merge.frames_used, tuple(int(i) for i in said.ravel())
    )
