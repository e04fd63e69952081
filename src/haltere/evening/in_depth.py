"""A merged picture in depth for the page: pair, relief, and views from side to side."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np

from haltere.evening.third_dimension import Deep, Map, merge_of, reduced, seen, show_depth
from haltere.frames import write_bytes, write_jpeg
from haltere.merge.patch import Box, read_part
from haltere.merge.repairing import rendered
from haltere.merge.stereo import NUMBERS, angle_for, seen_from_side, whole_depth
from haltere.merge.views import read_views
from haltere.progress import Progress, silent

FOLDER = "relief"
"""Beside the merge, where `haltere relief` puts its results as well."""

SAID = "in-depth.json"


@dataclass(frozen=True, slots=True)
class SwayNumbers:
    """Numbers of the views from side to side.

    Attributes
    ----------
    sides : int
        How many views; odd, so that one of them is the picture's own. At the angle taken
        neighbours lie about a pixel apart, so that they pass as one movement.
    longest_px : int
        Longest side of a view: as large as a laptop's page shows it.
    share : float
        Part of the angle of a stereo pair; less, because what moves by itself soon tires the eye
        (assumed).
    """

    sides: int = 17
    longest_px: int = 1200
    share: float = 0.6


SWAY = SwayNumbers()


@dataclass(frozen=True, slots=True)
class InDepth:
    """What was made of a merge's depth for the page.

    Attributes
    ----------
    of : str
        Which picture it was made of: the merge with the repairs that were written then.
    deep : Deep
        Pair, red and cyan, relief.
    sides : tuple of str
        Views from the left to the right, files relative to the folder.
    size_px : tuple of 2 ints
        Of a view.
    swing_deg : float
        Between the first and the last.
    """

    of: str
    deep: Deep
    sides: tuple[str, ...]
    size_px: tuple[int, int]
    swing_deg: float


def picture_now(folder: Path) -> str:
    """Name the picture that `show_in_depth` would take; changes with the repairs written.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    """
    told = f"{read_views(folder)[1]} {rendered(folder) or ''}"
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def show_in_depth(folder: Path, progress: Progress = silent) -> InDepth:
    """Make a stereo pair, a lit relief, and views from side to side.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    progress : Progress, optional
        Told of each step; may raise to cancel.

    Raises
    ------
    SweepError
        When the folder holds no merge, or nothing of it has a known depth.
    WriteError
        When a file can't be written.
    """
    import msgspec

    out = folder / FOLDER
    of = picture_now(folder)
    deep = show_depth(folder, out, progress=progress)
    views, _ = read_views(folder)
    merge = merge_of(folder)
    x0, y0, x1, y1 = merge.crop_px
    whole = Box(0, 0, x1 - x0, y1 - y0)
    depth = cast(Map, read_part(folder / merge.depth_map, whole))
    part = min(1.0, SWAY.longest_px / max(depth.shape))
    depth = reduced(depth, part)
    size = (depth.shape[1], depth.shape[0])
    rgb, icc = seen(folder / deep.picture, whole, size)
    filled, known = whole_depth(depth)
    depth_px = filled * np.float32(views.depth_px * part)
    swing = SWAY.share * angle_for(depth_px, known, size[0])
    pivot = float(np.percentile(depth_px[known], 100.0 - NUMBERS.near_share)) / 2
    pivot += float(np.percentile(depth_px[known], NUMBERS.near_share)) / 2
    names = []
    for k, angle in enumerate(np.linspace(-swing / 2, swing / 2, SWAY.sides)):
        progress("views from side to side", k, SWAY.sides)
        side = seen_from_side(rgb, depth_px, known, float(angle), pivot).rgb
        names.append(f"side-{k:02d}.jpg")
        write_jpeg(out / names[-1], side, icc, quality=90)
    progress("views from side to side", SWAY.sides, SWAY.sides)
    made = InDepth(of, deep, tuple(names), size, swing)
    write_bytes(out / SAID, msgspec.json.encode(made))
    return made


def known_in_depth(folder: Path) -> InDepth | None:
    """Read what `show_in_depth` made before; None where it made nothing.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    """
    import msgspec

    try:
        return msgspec.json.decode((folder / FOLDER / SAID).read_bytes(), type=InDepth)
    except (OSError, msgspec.MsgspecError):
        return None
