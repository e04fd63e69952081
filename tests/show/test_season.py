"""The page of a season."""

from __future__ import annotations

import datetime as dt
from html.parser import HTMLParser
from pathlib import Path

import pytest

from haltere.errors import UsageError
from haltere.fieldbook.sightings import Where
from haltere.records.season import Spot, season_of
from haltere.show import draw_season
from haltere.show.drawing import Box, Loop, Text
from haltere.show.season_drawn import SLIM, WIDE, calendar, place_map
from haltere.show.season_page import season_page
from tests.records.test_season import seen

DAY = dt.date(2032, 6, 10)
ROWS = [
    seen("2031-06-14T10:00:00+01:00", where=Where(38.7, -9.1, 5.0, "WGS84", "hand", "")),
    seen("2031-06-14T11:00:00+01:00", "<Ficta> & co", plant="thistle"),
]


def test_the_page_needs_nothing_from_outside_and_speaks_plainly(tmp_path: Path) -> None:
    page = season_page(season_of(ROWS, DAY))
    for word in ("http", "<script", "src="):
        assert word not in page
    assert "&lt;Ficta&gt; &amp; co" in page
    HTMLParser().feed(page)


def test_no_place_stands_on_the_page_unless_asked(tmp_path: Path) -> None:
    assert "you did not ask for any" in season_page(season_of(ROWS, DAY))
    asked = season_page(season_of(ROWS, DAY, places="exact"))
    assert "draws feet and collectors" in asked
    assert "38.7" not in asked  # the map shows how places lie to each other, not their degrees


@pytest.mark.parametrize("width", [WIDE, SLIM])
def test_no_mark_leaves_the_drawing(width: float) -> None:
    season = season_of(ROWS, DAY, places="exact")
    for drawing in (calendar(season, width), place_map(season.spots, width)):
        for mark in drawing.marks:
            if isinstance(mark, Box):
                assert -0.1 <= mark.x0 <= mark.x1 <= drawing.width + 0.1
                assert -0.1 <= mark.y0 <= mark.y1 <= drawing.height + 0.1
            if isinstance(mark, (Text, Loop)):
                assert 0 <= mark.y <= drawing.height


def test_a_taller_bar_is_more() -> None:
    rows = [seen("2031-06-01"), *[seen("2031-08-01")] * 4]
    drawing = calendar(season_of(rows, DAY), WIDE)
    bars = [m for m in drawing.marks if isinstance(m, Box) and m.fill == "accent"]
    june, august = sorted(bars, key=lambda bar: bar.x0)
    assert (august.y1 - august.y0) == pytest.approx(2 * (june.y1 - june.y0))


def test_north_is_up_and_east_is_right() -> None:
    spots = [Spot(38.0, -9.0, 1, None), Spot(39.0, -9.0, 2, None), Spot(38.0, -8.0, 3, None)]
    south, north, east = (m for m in place_map(spots, 700.0).marks if isinstance(m, Loop))
    assert north.y < south.y
    assert east.x > south.x
    assert east.x - south.x < south.y - north.y  # a degree of longitude is shorter here


def test_near_places_share_a_circle_and_their_count() -> None:
    spots = [Spot(38.0, -9.0, 1, None), Spot(38.00001, -9.0, 2, None), Spot(38.5, -9.0, 1, None)]
    marks = place_map(spots, 700.0).marks
    assert sum(isinstance(mark, Loop) for mark in marks) == 2
    assert "3" in [mark.words for mark in marks if isinstance(mark, Text)]


def test_an_empty_book_has_a_page_too(tmp_path: Path) -> None:
    path = draw_season(season_of([], DAY), tmp_path / "s.html")
    assert "0 sightings" in path.read_text(encoding="utf-8")


def test_the_page_is_html(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        draw_season(season_of([], DAY), tmp_path / "s.pdf")
