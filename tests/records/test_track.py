"""Where one was at a moment, from a track."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import FrameError, UsageError
from haltere.records.track import EARTH_M, NUMBERS, Fix, distance_m, read_track, where_at
from tests.records.meadow import START, gpx

ZONE = timezone(timedelta(hours=1))
MOMENT = START.replace(tzinfo=ZONE)


def test_between_two_fixes_one_is_on_the_way(tmp_path: Path) -> None:
    track = read_track(gpx(tmp_path / "a.gpx", [(-30, 38.0, -9.0), (10, 38.0004, -9.0)]))
    where = where_at(track, MOMENT)
    assert where.latitude_deg == pytest.approx(38.0003, abs=1e-9)
    assert where.source == "track"


def test_a_fix_at_the_moment_itself_is_taken(tmp_path: Path) -> None:
    track = read_track(gpx(tmp_path / "a.gpx", [(0, 38.1, -9.0), (60, 38.2, -9.0)], dop=1.0))
    where = where_at(track, MOMENT)
    assert where.latitude_deg == 38.1
    assert where.uncertainty_m == math.ceil(NUMBERS.fix_m_per_dop + 1.5 * NUMBERS.clock_s)


def test_the_longer_the_break_the_less_is_known(tmp_path: Path) -> None:
    near = read_track(gpx(tmp_path / "a.gpx", [(-10, 38.0, -9.0), (10, 38.0, -9.0)]))
    far = read_track(gpx(tmp_path / "b.gpx", [(-300, 38.0, -9.0), (300, 38.0, -9.0)]))
    assert (where_at(far, MOMENT).uncertainty_m or 0) > 10 * (
        where_at(near, MOMENT).uncertainty_m or 9
    )


@given(
    st.floats(0.05, 0.95),
    st.floats(10, 600),
    st.floats(0, 1),
    st.floats(-1, 1),
)
def test_a_walker_is_inside_the_circle(t: float, span_s: float, speed: float, turn: float) -> None:
    """Whoever walks no faster than assumed, whatever way, is within the radius."""
    reach = NUMBERS.walk_m_s * span_s
    way = speed * reach  # straight distance between both fixes
    # the farthest detour: out to a point seen from both fixes, there and back at full speed
    semi = math.sqrt(reach**2 - way**2) / 2
    x, y = way * t, semi * turn * 2 * math.sqrt(t * (1 - t))
    degree = math.radians(1) * EARTH_M
    a = Fix(0.0, 0.0, 0.0, 0.0)
    b = Fix(span_s, 0.0, way / degree, 0.0)
    where = where_at((a, b), datetime.fromtimestamp(t * span_s, UTC))
    found = distance_m((where.latitude_deg, where.longitude_deg), (y / degree, x / degree))
    assert found <= (where.uncertainty_m or 0)


def test_a_track_across_the_date_line_stays_there(tmp_path: Path) -> None:
    track = read_track(gpx(tmp_path / "a.gpx", [(-10, 0.0, 179.9999), (10, 0.0, -179.9999)]))
    assert abs(where_at(track, MOMENT).longitude_deg) == pytest.approx(180.0)


@pytest.mark.parametrize("seconds", [-5000, 5000])
def test_a_moment_off_the_track_is_refused_with_its_hours(tmp_path: Path, seconds: int) -> None:
    track = read_track(gpx(tmp_path / "a.gpx", [(-60, 38.0, -9.0), (60, 38.0, -9.0)]))
    with pytest.raises(UsageError, match=r"covers 2031-06-14 18:03 to 2031-06-14 18:05.*--clock"):
        where_at(track, MOMENT + timedelta(seconds=seconds))


def test_a_hole_in_the_track_is_not_bridged(tmp_path: Path) -> None:
    track = read_track(gpx(tmp_path / "a.gpx", [(-4000, 38.0, -9.0), (4000, 38.0, -9.0)]))
    with pytest.raises(UsageError, match="nearest fix is 67 min"):
        where_at(track, MOMENT)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "no track",
        "<gpx/>",
        "<gpx><trk><trkpt lat='99' lon='1'><time>2031-06-14T12:00:00Z</time></trkpt></trk></gpx>",
        "<gpx><trk><trkseg><trkpt lat='1' lon='1'/></trkseg></trk></gpx>",
    ],
)
def test_a_file_that_is_no_track_is_named(tmp_path: Path, text: str) -> None:
    (tmp_path / "walk.gpx").write_text(text)
    with pytest.raises(FrameError, match=r"walk\.gpx"):
        read_track(tmp_path / "walk.gpx")


def test_entities_of_a_track_are_not_opened(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("2031-06-14T12:00:00Z")
    (tmp_path / "walk.gpx").write_text(
        f'<!DOCTYPE gpx [<!ENTITY s SYSTEM "{secret.as_uri()}">]><gpx><trk><trkseg>'
        "<trkpt lat='1' lon='1'><time>&s;</time></trkpt></trkseg></trk></gpx>"
    )
    with pytest.raises(FrameError):
        read_track(tmp_path / "walk.gpx")


def test_a_degree_of_latitude_is_as_long_as_it_should_be() -> None:
    assert distance_m((10.0, 5.0), (11.0, 5.0)) == pytest.approx(111_195, abs=1)


def test_comments_and_wild_numbers_in_a_track_do_no_harm(tmp_path: Path) -> None:
    (tmp_path / "walk.gpx").write_text(
        "<gpx><trk><trkseg><trkpt lat='38' lon='-9'><!-- tea --><time>2031-06-14T17:04:12Z</time>"
        "<hdop>inf</hdop></trkpt><trkpt lat='nan' lon='1'><time>2031-06-14T17:04:12Z</time></trkpt>"
        "</trkseg></trk></gpx>"
    )
    (fix,) = read_track(tmp_path / "walk.gpx")
    assert fix.error_m == NUMBERS.fix_m
    assert where_at((fix,), MOMENT).latitude_deg == 38.0
