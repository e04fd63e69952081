"""Between a file's own code values and linear light, exactly and by lookup."""

from __future__ import annotations

import functools
from concurrent.futures import ThreadPoolExecutor
from typing import Literal, overload

import numpy as np
from numpy.typing import NDArray

from haltere.frames.icc import ToneCurve, tone_curves

# Encoding looks float32 values up by their leading bits: 41 octaves below 1, 2^16 steps each. A
# step is 2^-17 of the value at most from its centre, 0.25 of a 16-bit code for the steepest curve
# in use, so a picture that is only decoded and encoded again comes back unchanged.
_KEPT_BITS = 16
_SHIFT = 23 - _KEPT_BITS
_OCTAVES = 41
_FIRST = ((127 - _OCTAVES) << 23) >> _SHIFT
_LAST = (127 << 23) >> _SHIFT
_BESIDE = 16  # steps of a table that are told by their ends where these have one code
_ROWS = 64  # rows a piece: the working arrays of a piece stay in the cache


def to_linear(
    array: NDArray[np.uint8] | NDArray[np.uint16], icc: bytes | None, linear: bool
) -> NDArray[np.float32]:
    """Turn code values into linear light.

    Parameters
    ----------
    array : ndarray of uint8 or uint16, shape (H, W) or (H, W, 3)
        Code values.
    icc : bytes or None
        The file's profile; None means sRGB.
    linear : bool
        True when the values are linear light already (raw development).

    Returns
    -------
    ndarray of float32, same shape
        Linear light, 0..1; the primaries stay those of the file.
    """
    size = int(np.iinfo(array.dtype).max) + 1
    if linear:
        table = np.arange(size, dtype=np.float64) / (size - 1)
        tables = [table.astype(np.float32)] * 3
    else:
        tables = [_light_table(curve, size) for curve in tone_curves(icc)]
    out = np.empty(array.shape, np.float32)

    def piece(rows: slice) -> None:
        if array.ndim == 2 or tables[0] is tables[1] is tables[2]:
            tables[-2].take(array[rows], out=out[rows], mode="clip")
            return
        for channel in range(3):
            out[rows, :, channel] = tables[channel].take(array[rows, :, channel])

    _in_pieces(array.shape[0], piece)
    return out


@overload
def encode(
    linear: NDArray[np.float32], icc: bytes | None, bits: Literal[8]
) -> NDArray[np.uint8]: ...
@overload
def encode(
    linear: NDArray[np.float32], icc: bytes | None, bits: Literal[16]
) -> NDArray[np.uint16]: ...


def encode(
    linear: NDArray[np.float32], icc: bytes | None, bits: Literal[8, 16]
) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Turn linear light into code values.

    Parameters
    ----------
    linear : ndarray of float32, shape (H, W) or (H, W, 3)
        Linear light; below 0 becomes black, above 1 white.
    icc : bytes or None
        Profile whose tone curve to use; None means sRGB.
    bits : {8, 16}
        Bits a value.

    Returns
    -------
    ndarray of uint8 or uint16, same shape
        Code values.
    """
    curves = tone_curves(icc)
    tables = [_code_table(curve, bits) for curve in curves]
    out = np.empty(linear.shape, np.uint8 if bits == 8 else np.uint16)

    def piece(rows: slice) -> None:
        index = np.ascontiguousarray(linear[rows], np.float32).view(np.int32) >> _SHIFT
        index -= _FIRST
        if linear.ndim == 2 or tables[0] is tables[1] is tables[2]:
            tables[-2].take(index, out=out[rows], mode="clip")
            return
        for channel in range(3):
            out[rows, :, channel] = tables[channel].take(index[:, :, channel], mode="clip")

    _in_pieces(linear.shape[0], piece)
    return out


def _in_pieces(rows: int, piece: object) -> None:
    """Run a piece of rows at a time on two threads: look-ups free the interpreter lock."""
    slices = [slice(at, min(at + _ROWS, rows)) for at in range(0, rows, _ROWS)]
    assert callable(piece)
    if len(slices) < 8:
        for rows_slice in slices:
            piece(rows_slice)
        return
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(piece, slices))


@functools.lru_cache(maxsize=16)
def _light_table(curve: ToneCurve, size: int) -> NDArray[np.float32]:
    return curve.light(np.arange(size, dtype=np.float64) / (size - 1)).astype(np.float32)


@functools.lru_cache(maxsize=8)
def _code_table(curve: ToneCurve, bits: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
    kept = np.arange(_FIRST, _LAST + 1, dtype=np.int32)
    centre = ((kept << _SHIFT) + (1 << (_SHIFT - 1))).view(np.float32).astype(np.float64)
    centre[0], centre[-1] = 0.0, 1.0
    top = (1 << bits) - 1

    def codes_of(light: NDArray[np.float64]) -> NDArray[np.uint16]:
        return np.rint(curve.code(light) * top).astype(np.uint16)

    # codes never fall: between two steps of one code all have it
    ends = codes_of(np.append(centre[::_BESIDE], 1.0))
    codes = np.repeat(ends[:-1], _BESIDE)[: len(centre)]
    (changing,) = np.nonzero(ends[1:] != ends[:-1])
    inside = changing[:, None] * _BESIDE + np.arange(_BESIDE)
    inside = inside[inside < len(centre)]
    codes[inside] = codes_of(centre[inside])
    return codes.astype(np.uint8) if bits == 8 else codes
