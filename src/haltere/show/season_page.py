"""A season as one page that needs nothing but itself."""

from __future__ import annotations

import datetime as dt
from html import escape
from pathlib import Path

from haltere.errors import UsageError
from haltere.records.cautions import EXPORT
from haltere.records.season import Coming, Season
from haltere.show.filing import file_away
from haltere.show.season_drawn import SLIM, WIDE, calendar, place_map
from haltere.show.style import opened
from haltere.show.svg import svg
from haltere.show.words import counted

_OWN = (
    "ol.coming{list-style:none;margin:14px 0 0;padding:0;columns:2;column-gap:40px}"
    "ol.coming li{break-inside:avoid;padding:6px 0;border-bottom:1px solid var(--line)}"
    "h2+.small{margin-top:6px}figure.map{max-width:720px;margin-top:14px}figure.calendar{margin-top:16px}"
    "@media (max-width:640px){ol.coming{columns:1}}"
)


def draw_season(season: Season, path: Path) -> Path:
    """Write a season as a page.

    Parameters
    ----------
    season : Season
        The season.
    path : Path
        HTML file to write.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    UsageError
        When the file's name ends in something else.
    WriteError
        When it can't be written.
    """
    if path.suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"{path}: the season is a page; let its name end in .html")
    return file_away(path, season_page(season).encode())


def season_page(season: Season) -> str:
    """Write the page.

    Parameters
    ----------
    season : Season
        The season.

    Returns
    -------
    str
        An HTML document without scripts and without anything from outside.
    """
    title = f"Season {season.title}".strip()
    kinds = counted(len(season.species), "species", "species")
    days = counted(season.days, "day")
    said = f"{counted(season.sightings, 'sighting')} of {kinds} on {days}."
    parts = [
        opened(title, _OWN),
        f'<h1>{escape(title)}</h1><p class="lead">{escape(said)}</p></header>',
        _coming(season),
        _calendar(season),
        _table(season),
        _map(season),
        "</main></body></html>\n",
    ]
    return "\n".join(part for part in parts if part)


def _coming(season: Season) -> str:
    days = f"{_short(season.week_from)} to {_short(season.week_to)}"
    head = "<section><h2>To look for in the week from " + escape(_short(season.day)) + "</h2>"
    if not season.coming:
        return (
            f'{head}<p class="small soft">Nothing was written down about these days ({days}) in an '
            "earlier year.</p></section>"
        )
    out = season.coming[0].years_out
    where = f"Seen from {days} in {counted(out, 'earlier year')} in which you were out then."
    items = "".join(f"<li>{_one(one)}</li>" for one in season.coming)
    return f'{head}<p class="small soft">{where}</p><ol class="coming">{items}</ol></section>'


def _one(one: Coming) -> str:
    name = f"<strong>{escape(one.name)}</strong>"
    if one.vernacular:
        name += f' <span class="soft">{escape(one.vernacular)}</span>'
    about = [f"{one.years_seen} of {counted(one.years_out, 'year')}"]
    if one.hours:
        about.append(hours_words(one.hours))
    if one.plants:
        about.append("on " + ", ".join(one.plants))
    return f'{name}<br><span class="small soft">{escape("; ".join(about))}</span>'


def hours_words(hours: tuple[int, ...]) -> str:
    """Say between which hours something was seen.

    Parameters
    ----------
    hours : tuple of int
        Local hours.

    Returns
    -------
    str
        "10 to 13 h".
    """
    return f"{hours[0]} to {hours[-1] + 1} h"


def _calendar(season: Season) -> str:
    if not season.species:
        return ""
    drawn = svg(calendar(season, WIDE), "wide") + svg(calendar(season, SLIM), "slim")
    left = f" {counted(season.no_hour, 'sighting')} tell no hour." if season.no_hour else ""
    return (
        "<section><h2>When</h2>"
        f'<figure class="calendar">{drawn}<figcaption class="soft">One bar a ten-day period, and '
        "on a wide page one an hour of the day (local time); each row has its own scale. The week "
        f"ahead is shaded.{left}</figcaption></figure></section>"
    )


def _table(season: Season) -> str:
    if not season.species:
        return ""
    rows = "".join(
        f"<tr><td>{escape(one.name)}"
        + (f'<br><span class="soft">{escape(one.vernacular)}</span>' if one.vernacular else "")
        + f'</td><td class="opt">{escape(one.family)}</td><td>{_short(one.first)}</td>'
        f'<td>{_short(one.last)}</td><td class="n">{one.sightings}</td>'
        f'<td class="n opt">{one.animals}</td><td class="opt">'
        f"{', '.join(str(year) for year in one.years)}</td></tr>"
        for one in season.species
    )
    return (
        "<section><h2>Species</h2><table><thead><tr><th>name</th><th class=opt>family</th>"
        "<th>earliest</th><th>latest</th><th class=n>sightings</th><th class='n opt'>animals</th>"
        f"<th class=opt>years</th></tr></thead><tbody>{rows}</tbody></table></section>"
    )


def _map(season: Season) -> str:
    if not season.spots:
        return (
            '<section><h2>Where</h2><p class="small soft">No place stands on this page: you did '
            "not ask for any.</p></section>"
        )
    drawn = svg(place_map(season.spots, 700.0), "wide") + svg(place_map(season.spots, SLIM), "slim")
    left = f" {counted(season.no_spot, 'sighting')} without a place." if season.no_spot else ""
    return (
        f'<section><h2>Where</h2><figure class="map">{drawn}'
        '<figcaption class="soft">Numbers count sightings; near ones share a circle, one without a '
        "number is a single one. A dashed circle is the middle of a grid "
        f"cell, not the place.{left}</figcaption></figure>"
        f'<p class="small" style="margin-top:14px">{escape(EXPORT)}</p></section>'
    )


def _short(day: str) -> str:
    date = dt.date.fromisoformat(day)
    return f"{date.day} {date:%b} {date.year}"
