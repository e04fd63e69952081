"""What the depth map of a merge gives: a stereo pair, a lit relief, the depth along a line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.errors import SweepError, UsageError
from haltere.frames import write_jpeg, write_map
from haltere.merge.merged import Merge
from haltere.merge.patch import Box, read_part
from haltere.merge.relief import Cut, cut_along, shaded
from haltere.merge.repairing import MADE
from haltere.merge.stereo import NUMBERS, angle_for, red_cyan, seen_from_side, whole_depth
from haltere.merge.views import Views, read_views
from haltere.progress import Progress, silent
from haltere.show.cut_picture import draw_cut
from haltere.show.filing import file_away
from haltere.show.relief_picture import relief_png

Line = tuple[tuple[float, float], tuple[float, float]]
Map = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Stereo:
    """Two views of the picture.

    Attributes
    ----------
    pair, red_cyan : str
        Side by side, and for red and cyan glasses.
    guessed_map : str
        Of the pair's size: 255 where the depth is not known or no frame saw the place from there.
    angle_deg : float
        Between the views.
    angle_sure : bool
        Whether the scale is known; else the angle is only about so.
    guessed_share, torn_share : float
        Share of both views that is guessed; and that no frame saw from there.
    parallax_share : float
        Parallax between nearest and farthest, as a share of the width.
    text : str
        How to look at it, and what to be careful with.
    """

    pair: str
    red_cyan: str
    guessed_map: str
    angle_deg: float
    angle_sure: bool
    guessed_share: float
    torn_share: float
    parallax_share: float
    text: str


@dataclass(frozen=True, slots=True)
class Profile:
    """Depth along a line.

    Attributes
    ----------
    picture : str
        The chart.
    line_px : tuple of 4 floats
        x0, y0, x1, y1, pixels of the merged picture.
    distance_px : tuple of float
        From the line's beginning.
    distance_mm : tuple of float, or None
        The same on the animal; None where the scale is unknown.
    depth : tuple of float or None
        In the unit of the depth map; None where unknown.
    confidence : tuple of float
        0 to 1.
    known_share : float
        Share of the points whose depth is known.
    """

    picture: str
    line_px: tuple[float, float, float, float]
    distance_px: tuple[float, ...]
    distance_mm: tuple[float, ...] | None
    depth: tuple[float | None, ...]
    confidence: tuple[float, ...]
    known_share: float


@dataclass(frozen=True, slots=True)
class Deep:
    """What was made of a merge's depth.

    Attributes
    ----------
    out : str
        Folder; files are named relative to it.
    picture : str
        The picture that was taken: the merge, or its repaired one.
    depth_unit : {"mm", "dof"}
        Unit of depths.
    unknown_share : float
        Share of the picture whose depth is not known.
    end_share : float
        Share of the picture at the very depth of the first or last plane: it may lie before or
        behind that, and is shown flat.
    stereo, relief, profile : Stereo, str, Profile, or None
        None where it was not asked for, or near and far may be swapped.
    remark : str
        What else must be known of it; empty where there is nothing.
    """

    out: str
    picture: str
    depth_unit: Literal["mm", "dof"]
    unknown_share: float
    end_share: float
    stereo: Stereo | None
    relief: str | None
    profile: Profile | None
    remark: str = ""


_SWAPPED = (
    "near and far may be swapped, since its frames do not grow as in a push: neither a pair nor a "
    "relief is made"
)


def show_depth(
    folder: Path,
    out: Path,
    *,
    stereo: bool = True,
    relief: bool = True,
    line: Line | None = None,
    angle_deg: float | None = None,
    crossed: bool = False,
    longest_px: int = 2400,
    progress: Progress = silent,
) -> Deep:
    """Make a stereo pair, a lit relief and a depth profile of a merge.

    Of one whose near and far may be swapped only the profile is made.  Holds the picture at 8 bit
    and the depth map, both reduced to `longest_px`.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    out : Path
        Folder for the results.
    stereo, relief : bool, optional
        Which to make.
    line : ((x0, y0), (x1, y1)), optional
        Line of the profile, pixels of the merged picture.
    angle_deg : float, optional
        Between the two views; chosen for comfort when left out.
    crossed : bool, optional
        The pair is for crossed eyes: the left view stands on the right.
    longest_px : int, optional
        Longest side of a view.
    progress : Progress, optional
        Told of each step; may raise to cancel.

    Returns
    -------
    Deep
        What was made.

    Raises
    ------
    UsageError
        When an angle, a size or a line makes no sense.
    SweepError
        When the folder holds no merge, nothing of it has a known depth, or near and far may be
        swapped and no line was given.
    WriteError
        When a file can't be written.
    """
    if angle_deg is not None and not 0 < angle_deg <= 20:
        raise UsageError(f"--angle {angle_deg:g} is no small angle; give degrees up to 20")
    if not 100 <= longest_px <= 20000:
        raise UsageError(f"--longest {longest_px} makes no picture; give 100 to 20000 px")
    views, _ = read_views(folder)
    merge = merge_of(folder)
    remark = ""
    if merge.depth_order == "unknown":
        if line is None:
            raise SweepError(f"{folder}: {_SWAPPED}; --along still reads the depth along a line")
        stereo = relief = False
        remark = f"{_SWAPPED[0].upper()}{_SWAPPED[1:]}."
    x0, y0, x1, y1 = merge.crop_px
    whole = Box(0, 0, x1 - x0, y1 - y0)
    full = cast(Map, read_part(folder / merge.depth_map, whole))
    if not np.isfinite(full).any():
        raise SweepError(f"{folder}: no depth is known anywhere; there is nothing to show")
    unknown = float(np.isnan(full).mean())
    ends = _at_ends(full, 0.25 * views.dof * views.unit)
    steps = 2 * stereo + relief + (line is not None)
    picture = f"{MADE}/{merge.picture}" if (folder / MADE / merge.picture).exists() else ""
    picture = picture or merge.picture
    part = min(1.0, longest_px / max(full.shape))
    profile = None
    done = 0
    if line is not None:
        confidence = cast(Map, read_part(folder / merge.confidence_map, whole))
        profile = _profile(full, confidence, line, views, merge, out)
        del confidence
        done += 1
        progress("showing depth", done, steps)
    depth = reduced(full, part)
    del full
    filled, known = whole_depth(depth)
    depth_px = filled * np.float32(views.depth_px * part)
    shaded_file = None
    if relief:
        light = shaded(depth_px, known, max(1.5, 2.5 * part * views.size_px[0] / 800))
        file_away(out / "relief.png", relief_png(light, depth, merge.depth_unit))
        shaded_file = "relief.png"
        done += 1
        progress("showing depth", done, steps)
    pair = None
    if stereo:
        rgb, icc = seen(folder / picture, whole, (depth.shape[1], depth.shape[0]))
        pair = _stereo(rgb, icc, depth_px, known, merge.depth_unit, out, angle_deg, crossed=crossed)
        progress("showing depth", steps, steps)
    unit = merge.depth_unit
    return Deep(str(out), picture, unit, unknown, ends, pair, shaded_file, profile, remark)


def merge_of(folder: Path) -> Merge:
    """Read what was said of a merged picture.

    Parameters
    ----------
    folder : Path
        Where it lies.

    Raises
    ------
    SweepError
        When the folder holds none.
    """
    import msgspec

    try:
        return msgspec.json.decode((folder / "result.json").read_bytes(), type=Merge)
    except (OSError, msgspec.MsgspecError) as error:
        msg = f"{folder}: holds no merge that can be worked on; make one with haltere merge"
        raise SweepError(msg) from error


def _at_ends(depth: Map, within: float) -> float:
    """Share of places at the depth of the first or last plane, which is only a bound."""
    low, high = float(np.nanmin(depth)), float(np.nanmax(depth))
    return float(((depth < low + within) | (depth > high - within)).mean())


def reduced(depth: Map, part: float) -> Map:
    """Shrink a depth map without mixing two surfaces, or known and unknown.

    Parameters
    ----------
    depth : ndarray of float32, shape (H, W)
        The map.
    part : float
        Size wanted over its own.
    """
    if part == 1:
        return depth
    size = (round(depth.shape[1] * part), round(depth.shape[0] * part))
    return np.asarray(cv2.resize(depth, size, interpolation=cv2.INTER_NEAREST), np.float32)


def seen(path: Path, whole: Box, size: tuple[int, int]) -> tuple[NDArray[np.uint8], bytes | None]:
    """Read a merged picture at 8 bit and a smaller size, with its colour profile.

    Parameters
    ----------
    path : Path
        The file.
    whole : Box
        All of it.
    size : tuple of 2 ints
        Width and height wanted.
    """
    import tifffile

    codes = read_part(path, whole)
    rgb8 = (codes >> 8).astype(np.uint8)  # type: ignore[operator]
    del codes
    if (rgb8.shape[1], rgb8.shape[0]) != size:
        rgb8 = np.asarray(cv2.resize(rgb8, size, interpolation=cv2.INTER_AREA), np.uint8)
    with tifffile.TiffFile(path) as tiff:
        icc = tiff.pages[0].iccprofile  # type: ignore[union-attr]
    return rgb8, None if icc is None else bytes(icc)


def _stereo(
    rgb: NDArray[np.uint8],
    icc: bytes | None,
    depth_px: Map,
    known: NDArray[np.bool_],
    unit: str,
    out: Path,
    angle_deg: float | None,
    *,
    crossed: bool,
) -> Stereo:
    angle = angle_for(depth_px, known, rgb.shape[1]) if angle_deg is None else angle_deg
    pivot = float(np.percentile(depth_px[known], NUMBERS.near_share))
    left = seen_from_side(rgb, depth_px, known, -angle / 2, pivot)
    right = seen_from_side(rgb, depth_px, known, angle / 2, pivot)
    order = (right, left) if crossed else (left, right)
    out.mkdir(parents=True, exist_ok=True)
    write_jpeg(out / "pair.jpg", np.hstack([v.rgb for v in order]), icc, quality=94)
    write_jpeg(out / "red-cyan.jpg", red_cyan(left.rgb, right.rgb), icc, quality=95)
    guessed = np.hstack([np.where(v.guessed, np.uint8(255), np.uint8(0)) for v in order])
    write_map(out / "pair-guessed.tif", guessed)
    low, high = np.percentile(depth_px[known], (1, 99))
    parallax = float(high - low) * 2 * float(np.tan(np.radians(angle / 2))) / rgb.shape[1]
    return Stereo(
        "pair.jpg",
        "red-cyan.jpg",
        "pair-guessed.tif",
        float(angle),
        unit == "mm",
        float((left.guessed.mean() + right.guessed.mean()) / 2),
        (left.torn + right.torn) / 2,
        parallax,
        _how(crossed=crossed, parallax=parallax, sure=unit == "mm"),
    )


def _how(*, crossed: bool, parallax: float, sure: bool) -> str:
    eyes = "cross your eyes" if crossed else "let your eyes look into the distance, or use a viewer"
    words = f"Side by side: {eyes}. Red glass over the left eye for the other picture."
    if parallax > NUMBERS.comfortable:
        words += " The parallax is larger than most people fuse: choose a smaller angle."
    if not sure:
        words += " The scale is unknown, so the angle is only about so."
    return words


def _profile(
    depth: Map, confidence: Map, line: Line, views: Views, merge: Merge, out: Path
) -> Profile:
    try:
        cut: Cut = cut_along(depth, confidence, *line)
    except ValueError as error:
        raise UsageError(f"--along: {error}") from error
    known = np.isfinite(cut.depth)
    on_animal = None
    if views.mm_per_px is not None:
        on_animal = tuple(float(d * views.mm_per_px) for d in cut.distance_px)
    ordered = merge.depth_order == "away"
    file_away(
        out / "profile.png", draw_cut(cut, merge.depth_unit, views.mm_per_px, ordered=ordered)
    )
    return Profile(
        "profile.png",
        (*line[0], *line[1]),
        tuple(float(d) for d in cut.distance_px),
        on_animal,
        tuple(float(d) if k else None for d, k in zip(cut.depth, known, strict=True)),
        tuple(float(c) for c in cut.confidence),
        float(known.mean()),
    )
