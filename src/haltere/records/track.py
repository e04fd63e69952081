"""Where you were at a moment, from the track of a satellite receiver."""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from haltere.errors import FrameError, UsageError
from haltere.fieldbook.sightings import Where


@dataclass(frozen=True, slots=True)
class TrackNumbers:
    """Numbers that say how far a track is to be trusted.

    Attributes
    ----------
    fix_m : float
        Error of one fix under leaves where the file gives none (assumed).
    fix_m_per_dop : float
        Error for each unit of horizontal dilution (assumed; 3 to 6 m is common practice).
    most_dop : float
        A receiver that says more has no fix at all.
    walk_m_s : float
        Nobody who looks for insects goes faster than this between two fixes (assumed).
    clock_s : float
        What is left of a camera's clock error after it was put right by eye (assumed).
    beyond_s : float
        How long after the last fix, or before the first, one is still there or near (assumed).
    hole_s : float
        A longer break between two fixes says nothing of where one was (assumed).
    most_bytes : int
        A day's track at one fix a second is a tenth of this.
    """

    fix_m: float = 10.0
    fix_m_per_dop: float = 5.0
    most_dop: float = 100.0
    walk_m_s: float = 1.5
    clock_s: float = 2.0
    beyond_s: float = 120.0
    hole_s: float = 1800.0
    most_bytes: int = 200 << 20


NUMBERS = TrackNumbers()

EARTH_M = 6371008.8
"""Mean radius (IUGG, from memory)."""


@dataclass(frozen=True, slots=True)
class Fix:
    """One point of a track.

    Attributes
    ----------
    time_s : float
        Seconds since 1970, UTC.
    latitude_deg, longitude_deg : float
        WGS84.
    error_m : float
        How far it may be off.
    """

    time_s: float
    latitude_deg: float
    longitude_deg: float
    error_m: float


def distance_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Tell how far two points of the Earth are apart.

    Parameters
    ----------
    a, b : tuple of float
        Latitude, longitude, degrees.

    Returns
    -------
    float
        Metres along a great circle of a sphere (haversine; R. Sinnott, 1984, from memory), within
        0.6 % of the ellipsoid.
    """
    p, q = math.radians(a[0]), math.radians(b[0])
    half = math.sin((q - p) / 2) ** 2
    half += math.cos(p) * math.cos(q) * math.sin(math.radians(b[1] - a[1]) / 2) ** 2
    return 2 * EARTH_M * math.asin(min(1.0, math.sqrt(half)))


def read_track(path: Path) -> tuple[Fix, ...]:
    """Read a GPX file (1.0 or 1.1), all of its tracks.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    tuple of Fix
        In order of time; points without a time are left out.

    Raises
    ------
    FrameError
        When it can't be read, or holds no point with a time.
    """
    from lxml import etree

    try:
        if path.stat().st_size > NUMBERS.most_bytes:
            raise FrameError(f"{path.name}: is larger than any day's track; give one day's file")
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
        root = etree.fromstring(path.read_bytes(), parser)
    except OSError as error:
        raise FrameError(f"{path.name}: can't be read ({error.strerror}); check it") from error
    except (etree.XMLSyntaxError, ValueError) as error:
        raise FrameError(f"{path.name}: is no whole GPX file; save the track again") from error
    fixes = [fix for point in root.iter("{*}trkpt") if (fix := _fix(point)) is not None]
    if not fixes:
        raise FrameError(
            f"{path.name}: holds no track point with a time; record a track, not a route, and save "
            "it as GPX"
        )
    return tuple(sorted(fixes, key=lambda fix: fix.time_s))


def _fix(point: object) -> Fix | None:
    get = point.get  # type: ignore[attr-defined]
    said = {
        child.tag.rpartition("}")[2]: child.text
        for child in point  # type: ignore[attr-defined]
        if child.text and isinstance(child.tag, str)  # a comment has none
    }
    try:
        latitude, longitude = float(get("lat", "nan")), float(get("lon", "nan"))
        time = datetime.fromisoformat(said.get("time", "").strip())
        dop = float(said.get("hdop", "nan"))
    except ValueError:
        return None
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        return None
    time = time if time.tzinfo is not None else time.replace(tzinfo=UTC)  # GPX times are UTC
    error = dop * NUMBERS.fix_m_per_dop if 0 < dop < NUMBERS.most_dop else NUMBERS.fix_m
    return Fix(time.timestamp(), latitude, longitude, error)


def where_at(track: tuple[Fix, ...], moment: datetime, name: str = "the track") -> Where:
    """Tell where one was at a moment.

    Parameters
    ----------
    track : tuple of Fix
        From `read_track`.
    moment : datetime
        With its offset from UTC, the camera's clock put right.
    name : str, optional
        What the track is called in messages.

    Returns
    -------
    Where
        On the straight way between the fixes before and after. The uncertainty is the fix's error,
        what one walks while the clock is off, and how far one may have strayed from that way.

    Raises
    ------
    UsageError
        When the track does not cover the moment.
    """
    at = moment.timestamp()
    times = [fix.time_s for fix in track]
    after = bisect.bisect_left(times, at)
    clock = NUMBERS.walk_m_s * NUMBERS.clock_s
    if after in (0, len(track)):
        near = track[0] if after == 0 else track[-1]
        apart = abs(at - near.time_s)
        if apart > NUMBERS.beyond_s:
            raise _not_covered(track, moment, name, apart)
        radius = near.error_m + clock + NUMBERS.walk_m_s * apart
        how = f"{name}, {apart:.0f} s {'before its first' if after == 0 else 'after its last'} fix"
        return Where(near.latitude_deg, near.longitude_deg, round(radius), "WGS84", "track", how)
    b = track[after]
    a = b if b.time_s == at else track[after - 1]
    span = b.time_s - a.time_s
    if span > NUMBERS.hole_s:
        raise _not_covered(track, moment, name, min(at - a.time_s, b.time_s - at))
    t = (at - a.time_s) / span if span else 0.0
    turn = (b.longitude_deg - a.longitude_deg + 180.0) % 360.0 - 180.0  # across the date line too
    longitude = (a.longitude_deg + t * turn + 180.0) % 360.0 - 180.0
    way = distance_m((a.latitude_deg, a.longitude_deg), (b.latitude_deg, b.longitude_deg))
    # an ellipse holds every way between both fixes that a walker had the time for
    reach = max(NUMBERS.walk_m_s * span, way)
    strayed = math.sqrt(reach**2 - way**2) / 2 if 0 < t < 1 else 0.0
    radius = max(a.error_m, b.error_m) + clock + strayed
    return Where(
        round(a.latitude_deg + t * (b.latitude_deg - a.latitude_deg), 7),
        round(longitude, 7),
        math.ceil(radius),
        "WGS84",
        "track",
        f"{name}, between fixes {span:.0f} s apart" if span else f"{name}, at a fix",
    )


def _not_covered(track: tuple[Fix, ...], moment: datetime, name: str, apart_s: float) -> UsageError:
    zone = moment.tzinfo
    first, last = (
        datetime.fromtimestamp(fix.time_s, zone).strftime("%Y-%m-%d %H:%M")
        for fix in (track[0], track[-1])
    )
    days = apart_s / 86_400.0
    apart = f"{apart_s / 60.0:.0f} min" if days < 2.0 else f"{days:.0f} days"
    return UsageError(
        f"{name} covers {first} to {last} and its nearest fix is {apart} from "
        f"{moment:%Y-%m-%d %H:%M}; give another track, set --clock or --time-zone, or say --at"
    )
