"""A merge at a quarter of its size: what the picture will be, long before it is."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from haltere.frames import Decoder, encode, make_folder, write_jpeg
from haltere.merge.crop import whole_part
from haltere.merge.limits import NUMBERS
from haltere.merge.merged import LeftOut
from haltere.merge.paint import paint
from haltere.merge.prepared import prepare
from haltere.progress import Progress, silent
from haltere.sweeps.sweep import Sweep

FILE = "preview.jpg"

SHARE = 4
"""A preview's sides are the picture's over this: it fills a laptop's screen, and JPEGs are read
that small without being decoded whole."""


@dataclass(frozen=True, slots=True)
class Preview:
    """What was painted small, and from what.

    Attributes
    ----------
    preview : str
        JPEG.
    scale : float
        Its pixels over those of the whole picture.
    reference : str
        Frame whose view it has.
    frames_used, left_out : tuple
        What went in and what did not.
    crop_px : tuple of int
        (x0, y0, x1, y1) of the part of the reference frame that it shows, in full-size pixels.
    kept_share : float
        Share of the reference frame that it shows.
    seconds : float
        What it cost, the solution of the sweep not counted.
    """

    preview: str
    scale: float
    reference: str
    frames_used: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    crop_px: tuple[int, int, int, int]
    kept_share: float
    seconds: float


def preview_sweep(
    sweep: Sweep,
    decoder: Decoder,
    out: Path,
    *,
    with_background: bool = False,
    progress: Progress = silent,
) -> Preview:
    """Merge a solved sweep at a quarter of its size, from frames that are decoded small.

    Light and the choice of frames are those of the whole merge; depth is told for half as many
    places in each direction, and once only where parts moved, which such a picture does not show.
    Memory does not grow with the number of frames.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    decoder : Decoder
        Decoder.
    out : Path
        Folder to write to; made when missing.
    with_background : bool
        Merge also frames whose planes lie wholly behind the animal.
    progress : Progress, optional
        Told of every step; may raise to cancel.

    Returns
    -------
    Preview
        What was written and what was left out.

    Raises
    ------
    SweepError
        When there are fewer than two usable frames.
    WriteError
        When the file can't be written.
    """
    begun = time.monotonic()
    ready = prepare(
        sweep,
        with_background=with_background,
        longest_px=NUMBERS.preview_px,
        looks=1,
        progress=progress,
    )
    used, left = list(ready.used), list(ready.left_out)
    reference = sweep.frames[sweep.reference]
    full = (reference.width_px, reference.height_px)
    painted = paint(
        sweep,
        decoder,
        used,
        ready.gains,
        ready.ground,
        stretches=ready.stretches,
        longest_px=-(-max(full) // SHARE),
        progress=progress,
    )
    for index, why in painted.failed.items():
        left.append(LeftOut(sweep.frames[used[index]].name, why))
    x0, y0, x1, y1 = whole_part(painted.whole)
    part = np.ascontiguousarray(encode(painted.linear[y0:y1, x0:x1], painted.icc, 8))
    make_folder(out)
    write_jpeg(out / FILE, part, painted.icc, reference.path)
    scale = painted.whole.shape[1] / full[0]
    return Preview(
        preview=FILE,
        scale=scale,
        reference=reference.name,
        frames_used=tuple(
            sweep.frames[k].name for index, k in enumerate(used) if index not in painted.failed
        ),
        left_out=tuple(left),
        crop_px=(
            round(x0 / scale),
            round(y0 / scale),
            min(round(x1 / scale), full[0]),
            min(round(y1 / scale), full[1]),
        ),
        kept_share=(x1 - x0) * (y1 - y0) / painted.whole.size,
        seconds=time.monotonic() - begun,
    )
