"""Dust in a merged picture, looked for in its frames and filled from them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haltere.errors import HaltereError
from haltere.evening.merged_frames import frame_of
from haltere.finish.dust import find_spots, frames_apart, heal, maps_to
from haltere.finish.limits import DUST
from haltere.finish.source import Source
from haltere.frames import Decoder, Frame, Pixels, encode, to_linear
from haltere.merge.views import Views
from haltere.progress import Progress, silent

Light = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class DustFound:
    """A picture after dust was looked for.

    Attributes
    ----------
    light : ndarray of float32, shape (H, W, 3)
        Linear light, filled where it could be.
    healed : int
        Spots that were filled.
    text : str
        What was found, in a sentence.
    """

    light: Light
    healed: int
    text: str


def without_dust(
    source: Source,
    views: Views | None,
    light: Light,
    icc: bytes | None,
    decoder: Decoder,
    progress: Progress = silent,
) -> DustFound:
    """Find dust in the frames of a merge and fill what it left in the picture.

    Beside the picture up to 24 small frames are held four times over, about 900 MB.

    Parameters
    ----------
    source : Source
        The merge.
    views : Views or None
        How its frames saw the animal.
    light : ndarray of float32, shape (H, W, 3)
        The picture, linear light.
    icc : bytes or None
        Its profile.
    decoder : Decoder
        Open decoder.
    progress : Progress, optional
        Told of each frame; may raise to cancel.

    Returns
    -------
    DustFound
        The picture as it was where nothing could be told.
    """
    if source.folder is None:
        return DustFound(
            light, 0, "Dust can only be told from several frames: only a merge can be searched."
        )
    if views is None:
        return DustFound(
            light, 0,
            "Dust can't be looked for: beside this merge nothing says any more how its frames saw "
            "the animal (views.json is gone); merge it again.",
        )  # fmt: skip
    scale = min(1.0, DUST.look_px / max(views.size_px))
    chosen = frames_apart(views, scale)
    if not chosen:
        return DustFound(
            light, 0,
            "Dust can't be told from the animal here: the view hardly moved from frame to frame.",
        )  # fmt: skip
    frames = _frames(views, source.folder)
    missing = [views.views[index].frame for index in chosen if index not in frames]
    if missing:
        return DustFound(
            light, 0, f"Dust can't be looked for: {missing[0]} is not where it was merged from."
        )
    lights: list[Light] = []
    for done, index in enumerate(chosen, 1):
        pixels = decoder.luma(frames[index], round(scale * max(views.size_px)))
        lights.append(to_linear(pixels.array, pixels.icc, pixels.linear))
        scale = pixels.scale
        progress("looking for dust", done, len(chosen))
    shape = lights[0].shape
    kept = [at for at, one in enumerate(lights) if one.shape == shape]
    maps = [maps_to(views, chosen[at], scale) for at in kept]
    spots = find_spots([lights[at] for at in kept], scale, maps)
    del lights
    if not spots:
        return DustFound(light, 0, "No dust was found on the sensor.")
    import tifffile

    origin = np.asarray(tifffile.imread(source.folder / "origin.tif"), np.uint16)

    def pixels_of(index: int) -> Pixels:
        if index not in frames:
            raise HaltereError(
                f"{views.views[index].frame}: is not where it was merged from; plug its disk in"
            )
        return decoder.rgb(frames[index], member="raw" if views.raw else "jpeg")

    healed = heal(encode(light, icc, 16), origin, views, spots, pixels_of)
    said = f"{_spots(len(spots))} of dust found on the sensor"
    said += f"; {_spots(healed.spots)} filled in the picture"
    if healed.left:
        said += f", {healed.left} that no frame saw clean"
    if healed.same:
        said += f", {healed.same} left as dark in other frames too: the animal's own"
    filled = to_linear(healed.codes, icc, False) if healed.spots else light
    return DustFound(filled, healed.spots, f"{said}.")


def _spots(count: int) -> str:
    return f"{count} spot{'' if count == 1 else 's'}"


def _frames(views: Views, folder: Path) -> dict[int, Frame]:
    """Describe the frames that can still be had."""
    known = {index: frame_of(view, folder) for index, view in enumerate(views.views)}
    return {index: frame for index, frame in known.items() if frame is not None}
