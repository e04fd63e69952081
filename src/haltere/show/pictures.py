"""Small pictures for the sheet: crops at full size, looks at the whole, depth as shades."""

from __future__ import annotations

import base64
import functools
import io
import warnings
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from haltere.frames import Decoder, Frame, Pixels, encode, srgb_profile, to_linear
from haltere.keepers.verdict import JudgedFrame
from haltere.merge.merged import Merge
from haltere.show.colours import UNKNOWN_RGB, depth_shades
from haltere.sweeps.coverage import Coverage


@dataclass(frozen=True, slots=True)
class SheetSizes:
    """Sizes of pictures on the sheet, in pixels, chosen so that 120 frames stay below 8 MB.

    Attributes
    ----------
    crop_px : int
        Side of an eye crop at one picture pixel a screen pixel. Five hang side by side on a page
        1040 units wide.
    small_px : int
        Side of the crops in the strip of all frames.
    hung, strip : int
        How many best frames of a burst hang on the rail, and how many the strip shows; more are
        named in a table. A full decode of 20 megapixels takes 0.1 s, so two dozen a burst are
        quick enough.
    look_px : int
        Longest side of a look at a whole frame.
    merged_px : int
        Longest side of a merged picture.
    map_px : int
        Longest side of the depth shading.
    quality : int
        JPEG quality.
    """

    crop_px: int = 208
    small_px: int = 112
    hung: int = 5
    strip: int = 24
    look_px: int = 420
    merged_px: int = 1100
    map_px: int = 560
    quality: int = 84


SIZES = SheetSizes()


@dataclass(frozen=True, slots=True)
class Seen:
    """What is shown of one frame.

    Attributes
    ----------
    crop : Image or None
        Around the eye, one picture pixel a pixel; None when there is no eye.
    small : Image or None
        The middle of the same.
    look : Image or None
        The whole frame, small; only of the frame that is shown whole.
    size_px : tuple of int
        Width and height of the frame at full size.
    """

    crop: Image.Image | None
    small: Image.Image | None
    look: Image.Image | None
    size_px: tuple[int, int]


def seen_frames(
    judged: Sequence[JudgedFrame],
    frames: Sequence[Frame],
    decoder: Decoder,
    *,
    large: Collection[str],
    look_px: int = SIZES.look_px,
) -> Iterator[tuple[str, Seen]]:
    """Fetch crops, and a look at the best, one frame after the other.

    Holds two or three decoded frames at full size; frames that can't be decoded are left out.

    Parameters
    ----------
    judged : sequence of JudgedFrame
        What was said of each frame.
    frames : sequence of Frame
        The frames; the first is shown whole.
    decoder : Decoder
        Open decoder.
    large : collection of str
        Names of the frames that have large crops too.
    look_px : int, optional
        Longest side of the look.
    """
    points = {one.frame: one.eye_px for one in judged}
    for frame, pixels in decoder.stream(frames, "rgb", None, ahead=1):
        if not isinstance(pixels, Pixels):
            continue
        look = _look(pixels, look_px) if frame.name == frames[0].name else None
        yield frame.name, _seen(pixels, points.get(frame.name), look, frame.name in large)


def _look(pixels: Pixels, longest_px: int) -> Image.Image:
    height, width = pixels.array.shape[:2]
    step = max(1, min(height, width) // (2 * longest_px))  # thin out first: it is only a look
    look = to_srgb(replace(pixels, array=pixels.array[::step, ::step]))
    look.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
    return look


def _seen(
    pixels: Pixels, eye_px: tuple[float, float] | None, look: Image.Image | None, large: bool
) -> Seen:
    height, width = pixels.array.shape[:2]
    crops: list[Image.Image | None] = [None, None]
    for number, side in enumerate((SIZES.crop_px, SIZES.small_px)):
        if eye_px is not None and (large or number):
            crops[number] = to_srgb(replace(pixels, array=_window(pixels.array, eye_px, side)))
    return Seen(crops[0], crops[1], look, (width, height))


def _window(
    array: NDArray[np.uint8] | NDArray[np.uint16], centre: tuple[float, float], side: int
) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Cut a square around a point, moved inward where it would leave the picture."""
    height, width = array.shape[:2]
    x0 = min(max(round(centre[0] - side / 2), 0), max(0, width - side))
    y0 = min(max(round(centre[1] - side / 2), 0), max(0, height - side))
    return array[y0 : y0 + side, x0 : x0 + side]


def to_srgb(pixels: Pixels) -> Image.Image:
    """Turn pixels of any kind into an 8-bit sRGB picture.

    Parameters
    ----------
    pixels : Pixels
        Decoded pixels.
    """
    if pixels.linear:
        array8 = encode(to_linear(pixels.array, None, True), None, 8)
    elif pixels.array.dtype == np.uint16:
        array8 = (pixels.array >> 8).astype(np.uint8)
    else:
        array8 = pixels.array.astype(np.uint8)
    return with_profile(
        Image.fromarray(np.ascontiguousarray(array8)), None if pixels.linear else pixels.icc
    )


def with_profile(picture: Image.Image, icc: bytes | None) -> Image.Image:
    """Convert a picture from its own profile to sRGB; a profile that can't be used is ignored.

    Parameters
    ----------
    picture : Image
        The picture.
    icc : bytes or None
        Its profile; None for sRGB.
    """
    if not icc or picture.mode != "RGB":
        return picture.convert("RGB")
    if icc == _own_profile():  # else a third of a second at 20 megapixels, for nothing
        return picture
    try:
        converted = ImageCms.profileToProfile(
            picture, ImageCms.ImageCmsProfile(io.BytesIO(icc)), ImageCms.createProfile("sRGB")
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return picture
    return converted if converted is not None else picture


@functools.cache
def _own_profile() -> bytes:
    return srgb_profile()


def srgb_array(pixels: Pixels) -> NDArray[np.uint8]:
    """Turn pixels of any kind into 8-bit sRGB values of their own, with as few copies as may be.

    Parameters
    ----------
    pixels : Pixels
        Decoded pixels.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        No view of what was given.
    """
    array = pixels.array
    plain = array.dtype == np.uint8 and array.ndim == 3 and not pixels.linear
    if plain and (not pixels.icc or pixels.icc == _own_profile()):
        return np.array(array, np.uint8)
    return np.array(to_srgb(pixels), np.uint8)


def merged_look(path: Path) -> Image.Image:
    """Load a merged JPEG at the sheet's size.

    Parameters
    ----------
    path : Path
        The file.
    """
    with warnings.catch_warnings():
        # a picture of our own may be large; strangers' pictures go through the decoder
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        picture = Image.open(path)
    with picture:
        picture.draft("RGB", (2 * SIZES.merged_px, 2 * SIZES.merged_px))
        icc = picture.info.get("icc_profile")
        small = picture.convert("RGB")
    small.thumbnail((SIZES.merged_px, SIZES.merged_px), Image.Resampling.LANCZOS)
    return with_profile(small, icc if isinstance(icc, bytes) else None)


@dataclass(frozen=True, slots=True)
class Shading:
    """The origin map as shades of depth.

    Attributes
    ----------
    picture : Image
        Pale is near, dark is far; hatched where no frame is sharp.
    near, far : float or None
        Depths of the two ends, in the map's unit.
    unit : str
        'mm' or 'depths of field'.
    """

    picture: Image.Image
    near: float | None
    far: float | None
    unit: str


def origin_shading(merge: Merge, coverage: Coverage, folder: Path) -> Shading:
    """Shade where each part of a merged picture comes from.

    Parameters
    ----------
    merge : Merge
        The merged picture.
    coverage : Coverage
        Its sweep, for the depth of each frame.
    folder : Path
        Folder that `merge` names its files against.
    """
    import tifffile

    index = np.asarray(tifffile.imread(folder / merge.origin_map))
    step = max(1, max(index.shape) // SIZES.map_px)
    index = index[::step, ::step]
    planes = {plane.frame: plane for plane in coverage.planes}
    in_mm = all(
        planes[name].position_mm is not None for name in merge.frames_used if name in planes
    )
    depths = [
        (planes[name].position_mm if in_mm else planes[name].position_dof)
        if name in planes
        else None
        for name in merge.frames_used
    ]
    known = [depth for depth in depths if depth is not None]
    near, far = (min(known), max(known)) if known else (None, None)
    shades = depth_shades(256)
    table = np.zeros((len(depths), 3), np.uint8)
    no_depth = np.array([depth is None for depth in depths], bool)
    for number, depth in enumerate(depths):
        if depth is not None and near is not None and far is not None:
            part = (depth - near) / (far - near) if far > near else 0.5
            table[number] = shades[round(255 * part)]
    inside = index < len(depths)
    safe = np.where(inside, index, 0)
    unknown = ~inside | no_depth[safe]
    rows, columns = np.indices(index.shape)
    hatch = np.array(UNKNOWN_RGB, np.uint8)[((rows + columns) % 9 < 2).astype(int)]
    rgb = np.where(unknown[..., None], hatch, table[safe])
    picture = Image.fromarray(rgb).quantize(64, dither=Image.Dither.NONE)
    return Shading(picture, near, far, "mm" if in_mm else "depths of field")


def data_uri(picture: Image.Image, *, flat: bool = False, quality: int = SIZES.quality) -> str:
    """Write a picture into the page itself: JPEG, or PNG for flat shades.

    Parameters
    ----------
    picture : Image
        The picture.
    flat : bool, optional
        Whether it has few, even colours.
    quality : int, optional
        JPEG quality, 1 to 95.
    """
    buffer = io.BytesIO()
    if flat:
        picture.save(buffer, "PNG", optimize=True)
        kind = "png"
    else:
        picture.convert("RGB").save(buffer, "JPEG", quality=quality, optimize=True)
        kind = "jpeg"
    return f"data:image/{kind};base64,{base64.b64encode(buffer.getvalue()).decode()}"
