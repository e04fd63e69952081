"""Tone curves of ICC profiles: what matrix/TRC and grey profiles say about light and code."""

from __future__ import annotations

import functools
import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ToneCurve:
    """One channel's curve from code (0..1) to linear light (0..1).

    Attributes
    ----------
    kind : {"srgb", "gamma", "table", "parametric"}
        How it is described.
    values : tuple of float
        Gamma; table entries 0..1; or g, a, b, c, d, e, f of the parametric form
        Y = (aX + b)^g + e for X >= d, else cX + f (ICC.1:2022, 10.18).
    """

    kind: str
    values: tuple[float, ...] = ()

    def light(self, code: Float) -> Float:
        """Give linear light for code values.

        Parameters
        ----------
        code : ndarray of float64
            Code values, 0..1.

        Returns
        -------
        ndarray of float64
            Linear light, 0..1.
        """
        if self.kind == "gamma":
            light = code ** self.values[0]
        elif self.kind == "table":
            knots = np.linspace(0.0, 1.0, len(self.values))
            light = np.interp(code, knots, np.asarray(self.values))
        else:
            g, a, b, c, d, e, f = self.values if self.kind == "parametric" else SRGB_PARAMETERS
            base = np.maximum(a * code + b, 0.0)
            # IEC 61966-2-1 puts the border itself on the straight part, ICC.1 on the bent one
            bent = code > d if self.kind == "srgb" else code >= d
            light = np.where(bent, base**g + e, c * code + f)
        return np.clip(light, 0.0, 1.0)

    def code(self, light: Float) -> Float:
        """Give the code value for linear light: the inverse of `light`.

        Parameters
        ----------
        light : ndarray of float64
            Linear light, 0..1.

        Returns
        -------
        ndarray of float64
            Code values, 0..1; on a flat stretch of a table its lower end.
        """
        light = np.clip(light, 0.0, 1.0)
        if self.kind == "gamma":
            code: Float = light ** (1.0 / self.values[0])
            return code
        if self.kind == "table":
            table = np.maximum.accumulate(np.asarray(self.values))
            knots = np.linspace(0.0, 1.0, len(table))
            rising = np.concatenate([[True], np.diff(table) > 0])
            return np.asarray(np.interp(light, table[rising], knots[rising]), np.float64)
        g, a, b, c, d, e, f = self.values if self.kind == "parametric" else SRGB_PARAMETERS
        upper = (np.maximum(light - e, 0.0) ** (1.0 / g) - b) / a
        if d <= 0.0:
            return np.clip(upper, 0.0, 1.0)
        lower = (light - f) / c if c > 0 else np.zeros_like(light)
        # the curve is continuous but for rounding: the border is where the lower part ends
        return np.clip(np.where(light >= c * d + f, np.maximum(upper, d), lower), 0.0, 1.0)


# IEC 61966-2-1 as g, a, b, c, d, e, f
SRGB_PARAMETERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045, 0.0, 0.0)
SRGB = ToneCurve("srgb")


@functools.lru_cache(maxsize=32)
def tone_curves(icc: bytes | None) -> tuple[ToneCurve, ToneCurve, ToneCurve]:
    """Give the tone curves of red, green and blue that a profile states.

    Parameters
    ----------
    icc : bytes or None
        ICC profile; None means sRGB.

    Returns
    -------
    tuple of ToneCurve
        One a channel. sRGB's for a profile without such curves (lookup-table profiles) and for a
        damaged one.
    """
    if icc is None:
        return SRGB, SRGB, SRGB
    try:
        tags = profile_tags(icc)
        if b"kTRC" in tags and b"rTRC" not in tags:
            grey = _curve(tags[b"kTRC"])
            return grey, grey, grey
        return _curve(tags[b"rTRC"]), _curve(tags[b"gTRC"]), _curve(tags[b"bTRC"])
    except (KeyError, ValueError, struct.error, IndexError):
        return SRGB, SRGB, SRGB


def profile_tags(icc: bytes) -> dict[bytes, bytes]:
    """Give the tags of a profile.

    Parameters
    ----------
    icc : bytes
        ICC profile.

    Returns
    -------
    dict
        Name of the tag to its bytes, type and all.

    Raises
    ------
    ValueError, struct.error
        When it is none, or damaged.
    """
    if icc[36:40] != b"acsp":
        raise ValueError("not an ICC profile")
    (count,) = struct.unpack(">I", icc[128:132])
    if count > 200:
        raise ValueError("too many tags")
    tags = {}
    for i in range(count):
        name, offset, size = struct.unpack(">4sII", icc[132 + 12 * i : 144 + 12 * i])
        tags[name] = icc[offset : offset + size]
    return tags


def _curve(tag: bytes) -> ToneCurve:
    if tag[:4] == b"curv":
        (count,) = struct.unpack(">I", tag[8:12])
        if count == 0:
            return ToneCurve("gamma", (1.0,))
        raw = struct.unpack(f">{count}H", tag[12 : 12 + 2 * count])
        if count == 1:
            gamma = raw[0] / 256.0
            if not 0.1 <= gamma <= 10.0:
                raise ValueError("wild gamma")
            return ToneCurve("gamma", (gamma,))
        if raw[-1] <= raw[0]:
            raise ValueError("falling curve")
        return ToneCurve("table", tuple(v / 65535.0 for v in raw))
    if tag[:4] == b"para":
        (form,) = struct.unpack(">H", tag[8:10])
        count = (1, 3, 4, 5, 7)[form]
        p = [v / 65536.0 for v in struct.unpack(f">{count}i", tag[12 : 12 + 4 * count])]
        return _parametric(form, p)
    raise ValueError("unknown curve type")


def _parametric(form: int, p: list[float]) -> ToneCurve:
    """Bring the five parametric forms of ICC.1:2022 table 68 to the most general one."""
    g = p[0]
    a, b = (p[1], p[2]) if form >= 1 else (1.0, 0.0)
    if not 0.1 <= g <= 10.0 or a <= 0.0:
        raise ValueError("wild curve")
    if form == 0:
        return ToneCurve("gamma", (g,))
    if form == 1:
        return ToneCurve("parametric", (g, a, b, 0.0, max(0.0, -b / a), 0.0, 0.0))
    if form == 2:
        c = p[3]
        return ToneCurve("parametric", (g, a, b, 0.0, max(0.0, -b / a), c, c))
    c, d = p[3], p[4]
    e, f = (p[5], p[6]) if form == 4 else (0.0, 0.0)
    return ToneCurve("parametric", (g, a, b, c, d, e, f))


@functools.cache
def srgb_profile() -> bytes:
    """Give an sRGB profile for tagging pictures that came without one.

    Returns
    -------
    bytes
        ICC profile; always the same bytes (the library's own carries the time of day).
    """
    from PIL import ImageCms

    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[24:36] = struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
    profile[84:100] = bytes(16)  # its checksum field may be zero
    return bytes(profile)
