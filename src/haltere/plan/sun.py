"""Where the sun stands over a place, and when it passes a given height.

The series is that of J. Meeus (Astronomical Algorithms, 1998, ch. 25, with the five largest pulls
of planets and Moon from his Astronomical Formulae for Calculators, ch. 18; both from memory). It
is good to a thousandth of a degree or two, which near a grazing sun is worth minutes: a library
that gets the height to a hundredth of a degree, and iterates but once, missed twilights at 59
degrees of latitude by up to four minutes.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_J2000 = dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)
_DAYS_OF_CENTURY = 36525.0
_TT_AHEAD_S = 69.0
"""Even time ahead of the turning Earth, s: 64 in 2000, about 69 in 2025; 10 s move 0.0001 deg."""

_PARALLAX_DEG = 0.00244
"""Half of the Earth's width seen from the sun, 8.8 arcsec (IAU, from memory)."""

Degrees = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SunHeights:
    """Heights of the sun's centre that mean something, without the air's refraction.

    Attributes
    ----------
    rise_deg : float
        34 arcmin of refraction and 16 of the sun's radius (US Naval Observatory's practice).
    civil_deg, nautical_deg, astronomical_deg : float
        Limits of the three twilights by convention.
    """

    rise_deg: float = -50.0 / 60.0
    civil_deg: float = -6.0
    nautical_deg: float = -12.0
    astronomical_deg: float = -18.0


HEIGHTS = SunHeights()


def right_ascension_declination_deg(centuries_tt: Degrees) -> tuple[Degrees, Degrees]:
    """Give the sun's place among the stars.

    Parameters
    ----------
    centuries_tt : ndarray
        Centuries of 36525 days since 1 January 2000, 12 h terrestrial time.

    Returns
    -------
    right_ascension_deg, declination_deg : ndarray
        Apparent, of date.
    """
    t = centuries_tt
    since_1900 = t + 1.0
    mean = 280.46646 + t * (36000.76983 + 0.0003032 * t)
    anomaly = np.radians(357.52911 + t * (35999.05029 - 0.0001537 * t))
    centre = (
        (1.914602 - 0.004817 * t) * np.sin(anomaly)
        + (0.019993 - 0.000101 * t) * np.sin(2 * anomaly)
        + 0.000289 * np.sin(3 * anomaly)
    )
    pulls = (
        0.00134 * np.cos(np.radians(153.23 + 22518.7541 * since_1900))  # Venus
        + 0.00154 * np.cos(np.radians(216.57 + 45037.5082 * since_1900))  # Venus
        + 0.00200 * np.cos(np.radians(312.69 + 32964.3577 * since_1900))  # Jupiter
        + 0.00179 * np.sin(np.radians(350.74 + 445267.1142 * since_1900))  # the Moon
        + 0.00178 * np.sin(np.radians(231.19 + 20.20 * since_1900))  # long period
    )
    node = np.radians(125.04 - 1934.136 * t)
    longitude = np.radians(mean + centre + pulls - 0.00569 - 0.00478 * np.sin(node))
    obliquity = np.radians(23.4392911 - 0.0130042 * t + 0.00256 * np.cos(node))
    ascension = np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude))
    declination = np.arcsin(np.sin(obliquity) * np.sin(longitude))
    return np.degrees(ascension) % 360.0, np.degrees(declination)


def hour_angle_declination_deg(days_ut: Degrees, longitude_deg: float) -> tuple[Degrees, Degrees]:
    """Give how far the sun is past the south-north line, and its declination.

    Parameters
    ----------
    days_ut : ndarray
        Days since 1 January 2000, 12 h UTC.
    longitude_deg : float
        East positive.

    Returns
    -------
    hour_angle_deg : ndarray
        -180 to 180; 0 at the sun's highest.
    declination_deg : ndarray
        Apparent.
    """
    centuries = (days_ut + _TT_AHEAD_S / 86400.0) / _DAYS_OF_CENTURY
    ascension, declination = right_ascension_declination_deg(centuries)
    # the stars' day; the last term is the nodding of the Earth's axis along the equator
    stars = (
        280.46061837
        + 360.98564736629 * days_ut
        - 0.00439 * np.sin(np.radians(125.04 - 1934.136 * centuries))
    )
    hour_angle = (stars + longitude_deg - ascension + 180.0) % 360.0 - 180.0
    return hour_angle, declination


def elevation_deg(days_ut: Degrees, latitude_deg: float, longitude_deg: float) -> Degrees:
    """Give the height of the sun's centre over the true horizon, without refraction.

    Parameters
    ----------
    days_ut : ndarray
        Days since 1 January 2000, 12 h UTC.
    latitude_deg, longitude_deg : float
        North and east positive.

    Returns
    -------
    ndarray
        Degrees.
    """
    hour_angle, declination = (
        np.radians(a) for a in hour_angle_declination_deg(days_ut, longitude_deg)
    )
    latitude = math.radians(latitude_deg)
    height = np.arcsin(
        np.clip(
            math.sin(latitude) * np.sin(declination)
            + math.cos(latitude) * np.cos(declination) * np.cos(hour_angle),
            -1.0,
            1.0,
        )
    )
    seen: Degrees = np.degrees(height) - _PARALLAX_DEG * np.cos(height)
    return seen


def days_of(moment: dt.datetime) -> float:
    """Give a moment as days since 1 January 2000, 12 h UTC.

    Parameters
    ----------
    moment : datetime
        With its time zone.

    Returns
    -------
    float
        Days.
    """
    return (moment - _J2000) / dt.timedelta(days=1)


def moment_of(days_ut: float) -> dt.datetime:
    """Give the moment of days since 1 January 2000, 12 h UTC.

    Parameters
    ----------
    days_ut : float
        Days.

    Returns
    -------
    datetime
        In UTC.
    """
    return _J2000 + dt.timedelta(days=days_ut)


@dataclass(frozen=True, slots=True)
class SunDay:
    """One day of the sun over a place: from lowest through highest to lowest.

    Attributes
    ----------
    transit : datetime
        The sun's highest, UTC.
    days_ut : ndarray
        A moment each minute, half a day to either side of the transit.
    elevation_deg : ndarray
        Height of the sun's centre at each, without refraction.
    """

    transit: dt.datetime
    days_ut: Degrees
    elevation_deg: Degrees

    def moment(self, index: int) -> dt.datetime:
        """Give a moment of the course.

        Parameters
        ----------
        index : int
            Minute since the course's begin; negative from its end.

        Returns
        -------
        datetime
            UTC.
        """
        return moment_of(float(self.days_ut[index]))

    def rises_past(self, height_deg: float) -> dt.datetime | None:
        """Give when the sun climbs past a height.

        Parameters
        ----------
        height_deg : float
            Of its centre, without refraction.

        Returns
        -------
        datetime or None
            UTC; None when it does not on this day.
        """
        return self._passes(height_deg, 1.0)

    def sinks_past(self, height_deg: float) -> dt.datetime | None:
        """Give when the sun sinks past a height.

        Parameters
        ----------
        height_deg : float
            Of its centre, without refraction.

        Returns
        -------
        datetime or None
            UTC; None when it does not on this day.
        """
        return self._passes(height_deg, -1.0)

    def _passes(self, height_deg: float, sign: float) -> dt.datetime | None:
        above = sign * (self.elevation_deg - height_deg)
        at = np.flatnonzero((above[:-1] < 0.0) & (above[1:] >= 0.0))
        if not at.size:
            return None
        # a minute of the curve is straight to 0.0002 degrees
        i = int(at[0] if sign > 0 else at[-1])
        part = above[i] / (above[i] - above[i + 1])
        return moment_of(float(self.days_ut[i] + part * (self.days_ut[i + 1] - self.days_ut[i])))


def sun_day(latitude_deg: float, longitude_deg: float, noon: dt.datetime) -> SunDay:
    """Give the sun's day whose highest sun is nearest to a moment.

    Morning and evening belong to one noon, so that a sunset after midnight, or on the neighbour
    date of UTC, still is the sunset of this day.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        North and east positive.
    noon : datetime
        Noon of the clock on the local date.

    Returns
    -------
    SunDay
        Its course.
    """
    transit = days_of(noon)
    for _ in range(3):  # the clock of the sun runs even to half a minute a day
        hour_angle, _declination = hour_angle_declination_deg(np.array([transit]), longitude_deg)
        transit -= float(hour_angle[0]) / 360.0
    minutes = np.arange(-720, 721) / 1440.0
    days = transit + minutes
    return SunDay(moment_of(transit), days, elevation_deg(days, latitude_deg, longitude_deg))
