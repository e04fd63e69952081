"""What stands of a picture's finishing, and what its crop carries, without rendering it."""

from __future__ import annotations

import math
from dataclasses import asdict
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.fieldbook import Book
from haltere.fieldbook.answers import answer_on_file
from haltere.fieldbook.catalogue import identity
from haltere.fieldbook.finishing import finishings_of, keep_finishing
from haltere.finish.crop import Box, CropBudget, crop_box, crop_budget
from haltere.finish.settings import Settings
from haltere.finish.source import Source
from haltere.keepers.verdict import Keepers
from haltere.kit import Capture
from haltere.merge.views import FILE, Views, read_views
from haltere.optics import READING_MM

SAMPLES = 1_000_000
"""Most places of a map that a crop's shares are told from: 20 megapixels took a second."""
INNER = (2.0, 98.0)
"""Percentiles of depth between which a picture's animal lies: beyond, a depth map strays."""


def settings_of(book: Book, source: Source) -> Settings:
    """Give the settings of a picture that stand.

    Parameters
    ----------
    book : Book
        Open book.
    source : Source
        The picture.

    Raises
    ------
    UsageError
        When another version of haltere wrote them.
    """
    standing = finishings_of(book, source.folder or source.frame.path)
    if not standing:
        return Settings()
    try:
        return msgspec.convert(standing[-1].settings, Settings)
    except msgspec.ValidationError as error:
        raise UsageError(
            "the settings in the field book are of another version; take them back with --undo"
        ) from error


def settle(book: Book, source: Source, changes: dict[str, Any]) -> Settings:
    """Change what a picture shall be made with and write it down; nothing is rendered.

    Parameters
    ----------
    book : Book
        Open book.
    source : Source
        The picture.
    changes : dict
        New values of settings by name; None leaves one as it is.

    Returns
    -------
    Settings
        Those that stand now.

    Raises
    ------
    UsageError
        When a value makes no sense, or a crop leaves the picture.
    """
    settings = settings_of(book, source).changed(**changes)
    crop_box((source.frame.width_px, source.frame.height_px), settings.crop)
    if any(value is not None for value in changes.values()):
        keep_finishing(book, source.folder or source.frame.path, asdict(settings))
    return settings


def views_of(source: Source) -> Views | None:
    """Give how a merge's frames saw the animal; None for a lone picture.

    Parameters
    ----------
    source : Source
        The picture.
    """
    if source.folder is None or not (source.folder / FILE).is_file():
        return None
    return read_views(source.folder)[0]


def budget_of(
    source: Source,
    box_px: Box,
    capture: Capture,
    *,
    viewing_mm: float = READING_MM,
    print_mm: float | None = None,
    smear_px: float = 0.0,
) -> CropBudget:
    """Tell what a crop of a picture carries, from its optics, its maps and its planes.

    Parameters
    ----------
    source : Source
        The picture.
    box_px : tuple of int
        The crop.
    capture : Capture
        How it was taken.
    viewing_mm : float, optional
        From where a print is looked at.
    print_mm : float, optional
        Longer side of the print that is wanted.
    smear_px : float, optional
        Length of the smear of what moved.
    """
    sure, step = _sampled(source, "confidence.tif")
    depth, _ = _sampled(source, "depth.tif")
    x0, y0, x1, y1 = (at // step for at in box_px)
    part = (slice(y0, max(y1, y0 + 1)), slice(x0, max(x1, x0 + 1)))
    confidence = None
    if sure is not None and depth is not None:
        confidence = np.where(np.isfinite(depth[part]), sure[part], np.float32(np.nan))
    views = views_of(source)
    off_mm = 0.0
    if views is not None and views.mm_per_px is not None and depth is not None:
        off_mm = widest_half_step(views, depth[part], box_px)
    return crop_budget(
        box_px, capture, off_mm=off_mm, motion_px=smear_px, confidence=confidence,
        viewing_mm=viewing_mm, print_mm=print_mm,
    )  # fmt: skip


def smear_of(book: Book, source: Source) -> float:
    """Tell how far what moved is smeared, as judging its burst measured it.

    A merge leaves out the frames that its sweep says moved.

    Parameters
    ----------
    book : Book
        Open book.
    source : Source
        The picture.

    Returns
    -------
    float
        Full-size pixels; 0 where nothing was measured.
    """
    if source.merged:
        return 0.0
    found = answer_on_file(book, source.frame.path, "keepers", Keepers)
    if found is None:
        return 0.0
    name, judged = found
    return next((one.smear_px or 0.0 for one in judged.frames if one.frame == name), 0.0)


def widest_half_step(views: Views, depth: NDArray[np.float32], box_px: Box) -> float:
    """Tell how far from any plane of focus a merge's animal may lie in a crop.

    Parameters
    ----------
    views : Views
        The merged frames.
    depth : ndarray of float32
        The crop's part of the depth map.
    box_px : tuple of int
        The crop.

    Returns
    -------
    float
        Half the widest step between two planes among the animal's depths, in the depth map's
        unit; 0 where no depth is known.
    """
    known = depth[np.isfinite(depth)]
    if not known.size:
        return 0.0
    near, far = (float(one) for one in np.percentile(known, INNER))
    middle = ((box_px[0] + box_px[2]) / 2.0, (box_px[1] + box_px[3]) / 2.0)
    planes = np.sort([views.plane_at(index, *middle) for index in range(len(views.views))])
    steps = [
        (high - low) / 2.0 for low, high in pairwise(planes.tolist()) if high > near and low < far
    ]
    ends = [max(0.0, float(planes[0]) - near), max(0.0, far - float(planes[-1]))]
    return float(max([*steps, *ends]))


def _sampled(source: Source, name: str) -> tuple[NDArray[np.float32] | None, int]:
    """Every so many-th row and column of a map, and how many: shares need no more."""
    if source.folder is None or not (source.folder / name).is_file():
        return None, 1
    path = source.folder / name
    return _every(path, identity(path))


@lru_cache(maxsize=4)
def _every(path: Path, _: tuple[int, int]) -> tuple[NDArray[np.float32], int]:
    """Read a map thinned out; kept, since a crop is dragged, until the file is another."""
    import tifffile

    whole = np.asarray(tifffile.imread(path), np.float32)
    step = max(1, math.ceil((whole.size / SAMPLES) ** 0.5))
    return np.ascontiguousarray(whole[::step, ::step]), step
