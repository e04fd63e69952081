"""A solved sweep kept on disk, so that a merge that was stopped need not solve it again."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from haltere.errors import FrameError
from haltere.focus.curves import Peaks
from haltere.frames import Decoder, Frame
from haltere.kit.capture import Capture
from haltere.progress import Progress, silent
from haltere.sweeps.advance import NUMBERS, Advance
from haltere.sweeps.coverage import Coverage
from haltere.sweeps.focusing import without_scale
from haltere.sweeps.sweep import Sweep

_GIVEN = {"frames", "capture", "lumas"}  # found again, not kept


def solved_bytes(sweep: Sweep) -> bytes:
    """Give everything of a solved sweep but its pictures.

    Parameters
    ----------
    sweep : Sweep
        Solved.

    Returns
    -------
    bytes
        Arrays as numpy writes them, the rest as JSON; a megabyte or two.
    """
    import msgspec

    arrays: dict[str, Any] = {}
    rest: dict[str, Any] = {"names": [frame.name for frame in sweep.frames]}
    for field in fields(Sweep):
        value = getattr(sweep, field.name)
        if field.name in _GIVEN:
            continue
        if isinstance(value, np.ndarray):
            arrays[field.name] = value
        elif isinstance(value, Peaks):
            arrays |= {f"peaks_{f.name}": getattr(value, f.name) for f in fields(Peaks)}
        elif isinstance(value, Coverage):
            rest["coverage"] = msgspec.to_builtins(value)
        else:
            rest[field.name] = value
    arrays["rest"] = np.frombuffer(msgspec.json.encode(rest), np.uint8)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    return buffer.getvalue()


def sweep_again(
    data: bytes,
    frames: Sequence[Frame],
    decoder: Decoder,
    capture: Capture,
    progress: Progress = silent,
) -> Sweep | None:
    """Bring a solved sweep back; only its analysis pictures are decoded again.

    Parameters
    ----------
    data : bytes
        From `solved_bytes`, of the same frames and capture.
    frames : sequence of Frame
        The frames, those that could not be read included.
    decoder : Decoder
        Decodes them.
    capture : Capture
        How they were taken.
    progress : Progress, optional
        Told of each frame.

    Returns
    -------
    Sweep or None
        None when it can't be brought back, and must be solved; close its `lumas` when done.
    """
    import msgspec

    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
        rest = msgspec.json.decode(arrays.pop("rest").tobytes())
        coverage = msgspec.convert(rest.pop("coverage"), Coverage)
        names = rest.pop("names")
    except (ValueError, KeyError, OSError, zipfile.BadZipFile, msgspec.MsgspecError):
        return None
    peaks = {
        f.name: arrays.pop(f"peaks_{f.name}") for f in fields(Peaks) if f"peaks_{f.name}" in arrays
    }
    by_name = {frame.name: frame for frame in frames}
    if not all(name in by_name for name in names):
        return None
    chosen = [by_name[name] for name in names]
    begun = Advance()
    try:
        wanted = NUMBERS.analysis_px
        stream = decoder.stream(chosen, what="luma", longest_px=wanted, marked=True)
        for k, (frame, pixels) in enumerate(stream):
            progress("reading frames", k + 1, len(chosen))
            if isinstance(pixels, FrameError) or not begun.take(frame, pixels):
                begun.close()
                return None
        return Sweep(
            frames=tuple(chosen),
            capture=without_scale(capture, coverage.focusing),
            lumas=begun.lumas,
            coverage=coverage,
            peaks=Peaks(**peaks),
            **arrays,
            **rest,
        )
    except TypeError:  # kept by another version, with other fields
        begun.close()
        return None
    except BaseException:
        begun.close()
        raise
