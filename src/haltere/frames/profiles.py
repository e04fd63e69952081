"""Colour profiles with three primaries: read into XYZ, written, and turned into each other."""

from __future__ import annotations

import functools
import struct

import numpy as np
from numpy.typing import NDArray

from haltere.frames.icc import SRGB_PARAMETERS, profile_tags, srgb_profile

Floats = NDArray[np.float64]

# D50 of the profile connection space, ICC.1:2022, 6.3.4.3
_D50 = np.array([0.9642, 1.0, 0.8249])
_D65 = np.array([0.95047, 1.0, 1.08883])
# cone response of Bradford, ICC.1:2022, annex E
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
# red, green and blue of a wide screen: SMPTE EG 432-1 (from memory)
_WIDE_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))


def profile_to_xyz(icc: bytes | None) -> Floats | None:
    """Give the matrix from a profile's linear light to XYZ under D50.

    Parameters
    ----------
    icc : bytes or None
        Profile; None means sRGB.

    Returns
    -------
    ndarray of float64, shape (3, 3), or None
        None for a profile without three primaries (grey, lookup tables) and for a damaged one.
    """
    try:
        tags = profile_tags(icc or srgb_profile())
        if b"A2B0" in tags:
            return None
        columns = [
            [value / 65536.0 for value in struct.unpack(">3i", tags[name][8:20])]
            for name in (b"rXYZ", b"gXYZ", b"bXYZ")
        ]
    except (KeyError, ValueError, struct.error, IndexError):
        return None
    matrix = np.array(columns).T
    return matrix if abs(float(np.linalg.det(matrix))) > 1e-4 else None


@functools.cache
def wide_profile() -> bytes:
    """Give the profile of a wide screen: primaries of digital cinema, D65, tone curve of sRGB.

    Returns
    -------
    bytes
        ICC profile, always the same bytes.
    """
    columns = np.array([[x / y, 1.0, (1.0 - x - y) / y] for x, y in _WIDE_XY]).T
    under_d65 = columns * np.linalg.solve(columns, _D65)
    cones = (_BRADFORD @ _D50) / (_BRADFORD @ _D65)
    to_d50 = np.linalg.inv(_BRADFORD) @ np.diag(cones) @ _BRADFORD
    return _written("Wide screen, D65, sRGB curve", to_d50 @ under_d65, to_d50)


def _written(name: str, matrix: Floats, adapted: Floats) -> bytes:
    """Lay out a display profile of version 4 (ICC.1:2022, 7 and 8.4.3)."""
    curve = _parametric()
    tags: list[tuple[bytes, bytes]] = [
        (b"desc", _text(name)),
        (b"cprt", _text("No rights reserved (CC0 1.0)")),
        (b"wtpt", _numbers(b"XYZ ", _D50)),
        (b"chad", _numbers(b"sf32", adapted.ravel())),
        (b"rXYZ", _numbers(b"XYZ ", matrix[:, 0])),
        (b"gXYZ", _numbers(b"XYZ ", matrix[:, 1])),
        (b"bXYZ", _numbers(b"XYZ ", matrix[:, 2])),
        (b"rTRC", curve),
        (b"gTRC", curve),
        (b"bTRC", curve),
    ]
    at = 128 + 4 + 12 * len(tags)
    table, data, placed = struct.pack(">I", len(tags)), b"", dict[bytes, int]()
    for tag, value in tags:
        if value not in placed:
            placed[value] = at + len(data)
            data += value + bytes(-len(value) % 4)
        table += struct.pack(">4sII", tag, placed[value], len(value))
    head = struct.pack(
        ">I4sI4s4s4s", at + len(data), bytes(4), 0x04300000, b"mntr", b"RGB ", b"XYZ "
    )
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(4) + bytes(4)
    head += bytes(8) + bytes(8) + struct.pack(">I", 0)
    head += b"".join(struct.pack(">i", round(v * 65536)) for v in _D50)
    return head.ljust(128, b"\0") + table + data


def _text(words: str) -> bytes:
    coded = words.encode("utf-16-be")
    return struct.pack(">4sIII2s2sII", b"mluc", 0, 1, 12, b"en", b"US", len(coded), 28) + coded


def _numbers(kind: bytes, values: Floats) -> bytes:
    return kind + bytes(4) + b"".join(struct.pack(">i", round(v * 65536)) for v in values.tolist())


def _parametric() -> bytes:
    g, a, b, c, d, _, _ = SRGB_PARAMETERS
    return struct.pack(">4sIHH", b"para", 0, 3, 0) + b"".join(
        struct.pack(">i", round(v * 65536)) for v in (g, a, b, c, d)
    )


def converted(
    linear: NDArray[np.float32], source: bytes | None, target: bytes | None
) -> NDArray[np.float32] | None:
    """Carry linear light from one profile's primaries to another's.

    Parameters
    ----------
    linear : ndarray of float32, shape (H, W, 3)
        Linear light in the primaries of `source`.
    source, target : bytes or None
        Profiles; None means sRGB.

    Returns
    -------
    ndarray of float32, same shape, or None
        Colours outside the target come out below 0 or above 1; None when a profile has no three
        primaries.
    """
    first, second = profile_to_xyz(source), profile_to_xyz(target)
    if first is None or second is None:
        return None
    matrix = np.linalg.solve(second, first)
    if np.allclose(matrix, np.eye(3), atol=1e-4):
        return linear
    return np.asarray(linear @ matrix.T.astype(np.float32), np.float32)
