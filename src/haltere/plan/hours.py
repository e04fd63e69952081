"""When the light comes and goes at a place, and which hours suit sweeps and which single shots."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from haltere.errors import UsageError
from haltere.plan.sun import HEIGHTS, SunDay, days_of, elevation_deg, sun_day
from haltere.plan.why import Explanation
from haltere.plan.wishes import Wishes

if TYPE_CHECKING:
    from haltere.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class HourLimits:
    """Heights of the sun by which the windows are cut, each with its reason.

    Attributes
    ----------
    see_deg : float
        Civil twilight: with less light neither eye nor viewfinder finds the plane of focus
        (common practice, no source).
    warmed_deg : float
        Until here a leaf gets less than a sixth of the sun's beam, which itself has passed five
        times the air of noon: dew stays and insects sit cold (common practice is "until the sun
        has warmed them", no source; the number is assumed).
    active_deg : float
        From here a leaf gets a third of the beam and insects fly (assumed).
    round_min : int
        Hills, leaves and clouds move the light by more than this.
    first_year, last_year : int
        Outside them the turning of the Earth is not known well enough for a minute.
    """

    see_deg: float = HEIGHTS.civil_deg
    warmed_deg: float = 10.0
    active_deg: float = 20.0
    round_min: int = 5
    first_year: int = 1900
    last_year: int = 2100


HOUR_LIMITS = HourLimits()


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of a day.

    Attributes
    ----------
    start, end : datetime
        In local time.
    """

    start: dt.datetime
    end: dt.datetime

    @property
    def words(self) -> str:
        """As told to people, to five minutes."""
        if self.end - self.start > dt.timedelta(hours=23, minutes=50):
            return "all day"
        return f"{about(self.start)} to {about(self.end)}"


@dataclass(frozen=True, slots=True)
class Hours:
    """The light of one day at one place, all in local time.

    An event that does not happen on this day is None, and `note` says why. Morning and evening
    are those around one noon: a dusk after midnight still belongs to the evening before.

    Attributes
    ----------
    date : date
        Local date of the noon.
    transit : datetime
        The sun's highest.
    sunrise, sunset : datetime or None
        Upper rim of the sun at a flat horizon.
    civil_dawn, nautical_dawn, astronomical_dawn : datetime or None
        The sun's centre 6, 12, 18 degrees below the horizon, rising.
    civil_dusk, nautical_dusk, astronomical_dusk : datetime or None
        The same, sinking.
    elevation_deg : float or None
        Height of the sun now; None when another day was asked for.
    noon_elevation_deg : float
        At its highest.
    lowest_elevation_deg : float
        At its lowest, the midnight after; negative below the horizon.
    sweep_windows : tuple of Window
        Animals sit still (common practice, no source).
    single_windows : tuple of Window
        Animals are fully active (common practice, no source).
    note : str
        What is unusual about this day, and what the windows rest on.
    """

    date: dt.date
    transit: dt.datetime
    sunrise: dt.datetime | None
    sunset: dt.datetime | None
    civil_dawn: dt.datetime | None
    nautical_dawn: dt.datetime | None
    astronomical_dawn: dt.datetime | None
    civil_dusk: dt.datetime | None
    nautical_dusk: dt.datetime | None
    astronomical_dusk: dt.datetime | None
    elevation_deg: float | None
    noon_elevation_deg: float
    lowest_elevation_deg: float
    sweep_windows: tuple[Window, ...]
    single_windows: tuple[Window, ...]
    note: str


def hours(wishes: Wishes, now: dt.datetime | None = None) -> Hours | None:
    """Tell the light of a day at a place, and its windows for sweeps and single shots.

    Parameters
    ----------
    wishes : Wishes
        Place, date and time zone.
    now : datetime, optional
        The moment that counts as now, with its time zone; the computer's clock if None.

    Returns
    -------
    Hours or None
        None when no place was asked for.

    Raises
    ------
    UsageError
        When the time zone is not known, or the year too far away.
    """
    latitude, longitude = wishes.latitude_deg, wishes.longitude_deg
    if latitude is None or longitude is None:
        return None
    zone = _zone(wishes.time_zone)
    now = (now or dt.datetime.now(dt.UTC)).astimezone(zone)
    date = wishes.date or now.date()
    if not HOUR_LIMITS.first_year <= date.year <= HOUR_LIMITS.last_year:
        raise UsageError(
            f"--date: {date} is too far away to know the sun's minute; give a year from "
            f"{HOUR_LIMITS.first_year} to {HOUR_LIMITS.last_year}"
        )
    # without a zone of its own, a bare time takes the computer's rules for that very day
    noon = dt.datetime.combine(date, dt.time(12), zone)
    noon = noon.astimezone(dt.UTC)
    day = sun_day(latitude, longitude, noon)
    top = float(day.elevation_deg[len(day.days_ut) // 2])
    here = None
    if date == now.date():
        here = float(elevation_deg(np.array([days_of(now)]), latitude, longitude)[0])

    def rises(height: float) -> dt.datetime | None:
        moment = day.rises_past(height)
        return moment and moment.astimezone(zone)

    def sinks(height: float) -> dt.datetime | None:
        moment = day.sinks_past(height)
        return moment and moment.astimezone(zone)

    sweeps, singles = _windows(day, zone)
    return Hours(
        date=date,
        transit=day.transit.astimezone(zone),
        sunrise=rises(HEIGHTS.rise_deg),
        sunset=sinks(HEIGHTS.rise_deg),
        civil_dawn=rises(HEIGHTS.civil_deg),
        nautical_dawn=rises(HEIGHTS.nautical_deg),
        astronomical_dawn=rises(HEIGHTS.astronomical_deg),
        civil_dusk=sinks(HEIGHTS.civil_deg),
        nautical_dusk=sinks(HEIGHTS.nautical_deg),
        astronomical_dusk=sinks(HEIGHTS.astronomical_deg),
        elevation_deg=here,
        noon_elevation_deg=top,
        lowest_elevation_deg=float(day.elevation_deg[-1]),
        sweep_windows=sweeps,
        single_windows=singles,
        note=_note(day, top, sweeps, singles),
    )


def about(moment: dt.datetime) -> str:
    """Give a time as one tells it outdoors, to five minutes.

    Parameters
    ----------
    moment : datetime
        Exact.

    Returns
    -------
    str
        Hours and minutes, "06:40".
    """
    step = HOUR_LIMITS.round_min
    whole = moment.hour * 60 + moment.minute + moment.second / 60
    minutes = step * int(whole / step + 0.5) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _zone(name: str | None) -> ZoneInfo | None:
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):  # unknown, not a plain name, or a folder
        raise UsageError(
            f"--time-zone: {name!r} is not known; write it like Europe/Lisbon, or leave it out "
            "for the computer's own"
        ) from None


def _windows(day: SunDay, zone: ZoneInfo | None) -> tuple[tuple[Window, ...], tuple[Window, ...]]:
    """Cut the day by the sun's height; at its ends the sun is lowest, in the middle highest."""
    limits = HOUR_LIMITS
    first, last = day.moment(0), day.moment(-1)
    height = day.elevation_deg
    top = float(height.max())

    def window(start: dt.datetime | None, end: dt.datetime | None) -> tuple[Window, ...]:
        if start is None or end is None or end <= start:
            return ()
        return (Window(start.astimezone(zone), end.astimezone(zone)),)

    if top < limits.see_deg:
        return (), ()
    light = first if height[0] >= limits.see_deg else day.rises_past(limits.see_deg)
    dark = last if height[-1] >= limits.see_deg else day.sinks_past(limits.see_deg)
    if top < limits.warmed_deg:
        return window(light, dark), ()
    evening = day.sinks_past(HEIGHTS.rise_deg)
    if evening is None and height[-1] > HEIGHTS.rise_deg:
        evening = day.sinks_past(limits.warmed_deg)  # no sunset: the low sun of the night
    sweeps = window(light, day.rises_past(limits.warmed_deg)) + window(evening, dark)
    if top < limits.active_deg:
        return sweeps, ()
    warm = first if height[0] >= limits.active_deg else day.rises_past(limits.active_deg)
    cool = last if height[-1] >= limits.warmed_deg else day.sinks_past(limits.warmed_deg)
    return sweeps, window(warm, cool)


def _note(day: SunDay, top: float, sweeps: tuple[Window, ...], singles: tuple[Window, ...]) -> str:
    low = float(max(day.elevation_deg[0], day.elevation_deg[-1]))
    said = []
    if low >= HEIGHTS.rise_deg:
        said.append("Midnight sun: it does not set on this day.")
    elif top < HEIGHTS.rise_deg:
        said.append("Polar night: the sun does not rise on this day.")
    elif low >= HEIGHTS.civil_deg:
        said.append("White night: it never gets darker than civil twilight.")
    elif low >= HEIGHTS.nautical_deg:
        said.append("The night never gets darker than nautical twilight.")
    elif low >= HEIGHTS.astronomical_deg:
        said.append("The night never gets fully dark.")
    if not sweeps and top < HOUR_LIMITS.see_deg:
        said.append("There is no daylight to work by.")
    elif not sweeps:
        said.append("The sun never gets low: look for still animals in shade.")
    elif not singles:
        said.append("The sun stays low and warms little: few animals will fly.")
    said.append(
        "The windows are common practice without a source, told from the sun's height: animals "
        f"sit still until it has warmed them (about {HOUR_LIMITS.warmed_deg:.0f} degrees) and "
        "after it has set; a warm night, wind or a shaded slope moves them."
    )
    return " ".join(said)


_EVENTS = (
    ("sunrise", "When the sun rises", HEIGHTS.rise_deg),
    ("sunset", "When the sun sets", HEIGHTS.rise_deg),
    ("civil_dawn", "When you begin to see enough to focus", HEIGHTS.civil_deg),
    ("civil_dusk", "Until when you see enough to focus", HEIGHTS.civil_deg),
    ("nautical_dawn", "When the sky begins to show outlines", HEIGHTS.nautical_deg),
    ("nautical_dusk", "Until when the sky shows outlines", HEIGHTS.nautical_deg),
    ("astronomical_dawn", "When the night ends", HEIGHTS.astronomical_deg),
    ("astronomical_dusk", "When full night begins", HEIGHTS.astronomical_deg),
)
_PLACE = ("wishes.latitude_deg", "wishes.longitude_deg")
_SERIES = "J. Meeus 1998, ch. 25, from memory; agrees with two ephemeris libraries"
_PRACTICE = "common practice, no source; heights of the sun assumed"


def _with_hours(tell: Callable[[Hours], str]) -> Callable[[Plan], str]:
    def filled(plan: Plan) -> str:
        return "no place was given" if plan.hours is None else tell(plan.hours)

    return filled


def _event(key: str, title: str, height: float) -> Explanation:
    def tell(day: Hours) -> str:
        moment: dt.datetime | None = getattr(day, key)
        if moment is None:
            return (
                f"the sun does not pass {height:.3g} degrees on {day.date}: it goes from "
                f"{day.lowest_elevation_deg:.1f} to {day.noon_elevation_deg:.1f} degrees"
            )
        return f"sun's centre at {height:.3g} degrees on {day.date}: {moment:%H:%M}"

    return Explanation(
        key=f"sun.{key}",
        title=title,
        formula=f"the moment when the sun's centre passes {height:.3g} degrees of height",
        filled=_with_hours(tell),
        inputs=_PLACE,
        assumption="a flat horizon; hills, leaves and clouds move it by more than five minutes",
        source=f"{_SERIES}; heights by the US Naval Observatory's practice",
    )


def _listed(windows: tuple[Window, ...]) -> str:
    return " and ".join(window.words for window in windows) or "no such hours on this day"


EXPLANATIONS: tuple[Explanation, ...] = (
    *(_event(*event) for event in _EVENTS),
    Explanation(
        key="sun.transit",
        title="When the sun stands highest",
        formula="the moment when the sun passes the line from south to north",
        filled=_with_hours(lambda day: f"hour angle 0 on {day.date}: {day.transit:%H:%M}"),
        inputs=("wishes.longitude_deg",),
        assumption="none of weight",
        source=_SERIES,
    ),
    Explanation(
        key="sun.elevation_deg",
        title="How high the sun stands now",
        formula="sin h = sin(lat) sin(decl) + cos(lat) cos(decl) cos(hour angle)",
        filled=_with_hours(
            lambda day: (
                "another day than today was asked for"
                if day.elevation_deg is None
                else f"h = {day.elevation_deg:.1f} degrees by this computer's clock"
            )
        ),
        inputs=_PLACE,
        assumption="the clock is right; the air's refraction (at most 0.6 degrees) is left out",
        source=_SERIES,
    ),
    Explanation(
        key="sun.noon_elevation_deg",
        title="How high the sun gets",
        formula="h = 90 - |lat - decl|",
        filled=_with_hours(
            lambda day: f"h = {day.noon_elevation_deg:.1f} degrees at {day.transit:%H:%M}"
        ),
        inputs=_PLACE,
        assumption="the air's refraction is left out",
        source=_SERIES,
    ),
    Explanation(
        key="sun.lowest_elevation_deg",
        title="How far the sun sinks in the night after",
        formula="h = |lat + decl| - 90",
        filled=_with_hours(lambda day: f"h = {day.lowest_elevation_deg:.1f} degrees"),
        inputs=_PLACE,
        assumption="the air's refraction is left out",
        source=_SERIES,
    ),
    Explanation(
        key="sun.sweep_windows",
        title="When animals sit still enough for sweeps",
        formula=(
            f"from civil dawn until the sun is {HOUR_LIMITS.warmed_deg:.0f} degrees high, and "
            "from sunset to civil dusk"
        ),
        filled=_with_hours(lambda day: _listed(day.sweep_windows)),
        inputs=_PLACE,
        assumption="a cool night; after a warm one animals move earlier",
        source=_PRACTICE,
    ),
    Explanation(
        key="sun.single_windows",
        title="When animals are active and single shots are the way",
        formula=(
            f"from the sun's {HOUR_LIMITS.active_deg:.0f} degrees in the morning until it sinks "
            f"below {HOUR_LIMITS.warmed_deg:.0f}"
        ),
        filled=_with_hours(lambda day: _listed(day.single_windows)),
        inputs=_PLACE,
        assumption="a sunny day; in heat many animals rest at noon",
        source=_PRACTICE,
    ),
)
