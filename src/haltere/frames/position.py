"""Where a picture says it was taken."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from haltere.frames.shooting import read_tags


@dataclass(frozen=True, slots=True)
class Position:
    """A point on the Earth as a picture's Exif data have it.

    Attributes
    ----------
    latitude_deg, longitude_deg : float
        North and east positive.
    error_m : float or None
        The receiver's own word on its error.
    datum : str
        What the degrees count from; empty when the file does not say.
    """

    latitude_deg: float
    longitude_deg: float
    error_m: float | None
    datum: str


def read_position(path: Path) -> Position | None:
    """Answer where a picture says it was taken.

    Parameters
    ----------
    path : Path
        JPEG, TIFF or raw file.

    Returns
    -------
    Position or None
        None when the file says nothing, or nonsense: 0, 0 is what a receiver without a fix writes.
    """
    tags = read_tags(path)
    latitude = _degrees(tags, "GPS GPSLatitude", "S", 90.0)
    longitude = _degrees(tags, "GPS GPSLongitude", "W", 180.0)
    if latitude is None or longitude is None or (latitude == 0.0 and longitude == 0.0):
        return None
    error = _numbers(tags, "GPS Tag 0x001F") or _numbers(tags, "GPS GPSHPositioningError")
    good = error is not None and len(error) == 1 and 0.0 < error[0] < 1e5
    return Position(
        latitude, longitude, error[0] if good and error else None, _word(tags, "GPS GPSMapDatum")
    )


def _word(tags: Mapping[str, Any], name: str) -> str:
    said = str(getattr(tags.get(name), "values", "")).strip("\0 ")
    return said if said.isprintable() and len(said) <= 32 else ""


def _numbers(tags: Mapping[str, Any], name: str) -> list[float] | None:
    try:
        return [float(value) for value in tags[name].values]
    except (KeyError, TypeError, ValueError, ZeroDivisionError, AttributeError, OverflowError):
        return None


def _degrees(tags: Mapping[str, Any], name: str, negative: str, most: float) -> float | None:
    parts = _numbers(tags, name)
    if not parts or len(parts) > 3 or any(not math.isfinite(p) or p < 0 for p in parts):
        return None
    degrees = sum(part / 60.0**place for place, part in enumerate(parts))
    if degrees > most:
        return None
    return -degrees if _word(tags, f"{name}Ref").upper() == negative else degrees
