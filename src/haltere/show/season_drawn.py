"""A season as drawings: what flies when, and where."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from haltere.records.season import HOURS, PERIODS, Season, Spot, period_of
from haltere.records.track import EARTH_M
from haltere.show.colours import Ink
from haltere.show.drawing import Box, Drawing, Line, Loop, Mark, Shape, Text, text_width

MONTHS = ("J", "F", "M", "A", "M", "J", "J", "A", "S", "O", "N", "D")
WIDE, SLIM = 1040.0, 343.0
_ROW, _TALL = 26.0, 18.0
_APART = 34.0
_ROUND_M = tuple(k * 10.0**power for power in range(7) for k in (1, 2, 5))


def calendar(season: Season, width: float) -> Drawing:
    """Draw records by ten-day period and by hour, one row a species, all of them on top.

    Parameters
    ----------
    season : Season
        The season.
    width : float
        Room; on a narrow page the names stand above the rows and the hours are left to the table.

    Returns
    -------
    Drawing
        Bars: the taller, the more records; the coming week is shaded.
    """
    wide = width > 600
    left = 236.0 if wide else 0.0
    cell = 14.0 if wide else width / PERIODS
    right = left + PERIODS * cell
    hour_left, hour = right + 30.0, ((width - right - 30.0) / HOURS if wide else 0.0)
    step = _ROW if wide else _ROW + 18.0
    top = 40.0
    height = top + (len(season.species) + 1) * step + 8.0
    marks: list[Mark] = []
    begin, end = _week(season)
    for a, b in [(begin, end)] if begin <= end else [(begin, PERIODS - 1), (0, end)]:
        marks.append(Box(left + a * cell, 22, left + (b + 1) * cell, height - 4, fill="wash"))
    for month, letter in enumerate(MONTHS):
        x = left + month * 3 * cell
        marks.append(Line(x, 22, x, height - 4, "line", 0.6))
        marks.append(Text(x + 1.5 * cell, 16, letter, 13, "soft", "middle"))
    marks.append(Line(right, 22, right, height - 4, "line", 0.6))
    if wide:
        for number in range(0, HOURS + 1, 6):
            x = hour_left + number * hour
            marks.append(Line(x, 22, x, height - 4, "line", 0.6))
            marks.append(
                Text(x, 16, f"{number}", 13, "soft", "end" if number == HOURS else "middle")
            )
    rows: list[tuple[str, Sequence[int], Sequence[int]]] = [
        ("all sightings", season.periods, season.hours)
    ]
    rows += [(one.name, one.periods, one.hours) for one in season.species]
    for number, (name, periods, hours) in enumerate(rows):
        base = top + number * step + (_TALL if wide else _TALL + 18.0)
        ink: Ink = "soft" if number == 0 else "accent"
        where = (0.0, base - 4) if wide else (0.0, base - _TALL - 5)
        room = left - 10 if wide else width
        marks.append(Text(*where, _cut(name, 15, room), 15, "ink", bold=number == 0))
        marks += _bars(periods, left, cell, base, ink)
        marks.append(Line(left, base, right, base, "line", 0.8))
        if wide:
            marks += _bars(hours, hour_left, hour, base, ink)
            marks.append(Line(hour_left, base, width, base, "line", 0.8))
    said = f"{season.sightings} sightings of {len(season.species)} species by ten-day period"
    return Drawing(width, height, tuple(marks), said + (" and hour of the day" if wide else ""))


def _week(season: Season) -> tuple[int, int]:
    day = dt.date.fromisoformat(season.day)
    return period_of(day), period_of(day + dt.timedelta(days=6))


def _bars(counts: Sequence[int], left: float, cell: float, base: float, ink: Ink) -> list[Mark]:
    most = max(counts, default=0)
    return [
        # the root lets a single sighting be seen beside a hundred
        Box(
            left + at * cell + 0.1 * cell,
            base - _TALL * math.sqrt(count / most),
            left + (at + 1) * cell - 0.1 * cell,
            base,
            fill=ink,
        )
        for at, count in enumerate(counts)
        if count
    ]


def _cut(name: str, size: float, room: float) -> str:
    if text_width(name, size) <= room:
        return name
    kept = max(1, int(room / (size * 0.54)) - 1)
    return name[:kept].rstrip() + "…"


@dataclass(frozen=True, slots=True)
class _Ring:
    """One circle of the map."""

    x: float
    y: float
    sightings: int
    vague: bool


def _gather(rings: list[_Ring], new: _Ring) -> None:
    """Add a circle, or put it into one that it would touch."""
    for number, old in enumerate(rings):
        if old.vague == new.vague and math.hypot(old.x - new.x, old.y - new.y) < _APART:
            total = old.sightings + new.sightings
            share = new.sightings / total
            x, y = old.x + share * (new.x - old.x), old.y + share * (new.y - old.y)
            rings[number] = _Ring(x, y, total, old.vague)
            return
    rings.append(new)


def place_map(spots: Sequence[Spot], width: float) -> Drawing:
    """Draw places to scale, north up, without a map from the network.

    Parameters
    ----------
    spots : sequence of Spot
        At least one.
    width : float
        Room.

    Returns
    -------
    Drawing
        Circles for places, dashed squares for grid cells, the number of records in each; a scale.
        Equidistant along the middle latitude: true to 1 % over 100 km at 60 degrees.
    """
    middle_lat = (max(s.latitude_deg for s in spots) + min(s.latitude_deg for s in spots)) / 2
    anchor = spots[0].longitude_deg
    per_deg = math.radians(1.0) * EARTH_M
    squeeze = max(0.01, math.cos(math.radians(middle_lat)))

    def metres(spot: Spot) -> tuple[float, float]:
        turn = (spot.longitude_deg - anchor + 180.0) % 360.0 - 180.0
        return turn * per_deg * squeeze, (spot.latitude_deg - middle_lat) * per_deg

    at = [metres(spot) for spot in spots]
    half = [0.5 * (spot.grid_deg or 0.0) * per_deg for spot in spots]
    low_x = min(x - h * squeeze for (x, _), h in zip(at, half, strict=True))
    high_x = max(x + h * squeeze for (x, _), h in zip(at, half, strict=True))
    low_y = min(y - h for (_, y), h in zip(at, half, strict=True))
    high_y = max(y + h for (_, y), h in zip(at, half, strict=True))
    room = width - 80.0
    scale = room / max(high_x - low_x, (high_y - low_y) * room / min(460.0, room), 100.0)
    height = (high_y - low_y) * scale + 130.0
    marks: list[Mark] = [Box(0.5, 0.5, width - 0.5, height - 0.5, outline="line")]
    left = (width - (high_x - low_x) * scale) / 2
    shown: list[_Ring] = []
    for spot, (x, y), h in zip(spots, at, half, strict=True):
        px, py = left + (x - low_x) * scale, 40.0 + (high_y - y) * scale
        if h * scale > 6:
            wide, tall = h * squeeze * scale, h * scale
            marks.append(
                Box(px - wide, py - tall, px + wide, py + tall, outline="soft", dashed=True)
            )
        _gather(shown, _Ring(px, py, spot.sightings, spot.grid_deg is not None))
    most = max(ring.sightings for ring in shown)
    for ring in shown:
        radius = 5.0 + 9.0 * math.sqrt(ring.sightings / most)
        ink: Ink = "soft" if ring.vague else "accent"
        marks.append(Loop(ring.x, ring.y, radius, ink, 2.0, dashed=ring.vague))
        if ring.sightings > 1:
            marks.append(Text(ring.x + radius + 4, ring.y + 5, f"{ring.sightings}", 14, "ink"))
    bar_m = max([m for m in _ROUND_M if m * scale <= width * 0.3], default=1.0)
    words = f"{bar_m / 1000:g} km" if bar_m >= 1000 else f"{bar_m:g} m"
    base = height - 24.0
    marks += [
        Line(20, base, 20 + bar_m * scale, base, "ink", 2.0),
        Line(20, base - 5, 20, base + 5, "ink", 2.0),
        Line(20 + bar_m * scale, base - 5, 20 + bar_m * scale, base + 5, "ink", 2.0),
        Text(20, base - 12, words, 14, "ink"),
        Shape("up", width - 26, base - 20, 7, "ink"),
        Text(width - 26, base + 6, "N", 14, "ink", "middle"),
    ]
    total = sum(spot.sightings for spot in spots)
    return Drawing(width, height, tuple(marks), f"{len(spots)} places of {total} sightings")
