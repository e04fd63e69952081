"""What is known of a hand as one page that needs nothing but itself."""

from __future__ import annotations

from html import escape
from pathlib import Path

from haltere.errors import UsageError
from haltere.hand.report import HandReport
from haltere.hand.seen import Estimate
from haltere.show.filing import file_away
from haltere.show.hand_drawn import calibration, rates_drawn
from haltere.show.style import opened
from haltere.show.svg import svg
from haltere.show.words import counted

WIDE, SLIM = 760.0, 343.0
_OWN = (
    "h2+.small{margin-top:6px}.rates{max-width:760px;margin-top:14px}.true{max-width:420px;"
    "margin-top:14px}ul.ring{list-style:none;padding:0;margin:10px 0 0}"
)
BY = {"magnification": "By magnification", "support": "By support", "hour": "By the hour"}
"""What bursts have in common, and its heading."""


def draw_hand(report: HandReport, path: Path) -> Path:
    """Write what is known of a hand as a page.

    Parameters
    ----------
    report : HandReport
        What is known.
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
        raise UsageError(f"{path}: the hand is drawn as a page; let its name end in .html")
    return file_away(path, hand_page(report).encode())


def hand_page(report: HandReport) -> str:
    """Write the page.

    Parameters
    ----------
    report : HandReport
        What is known.

    Returns
    -------
    str
        An HTML document without scripts and without anything from outside.
    """
    seen = f"From {counted(report.bursts, 'burst')} and {counted(report.sweeps, 'sweep')}."
    parts = [
        opened("Your hand", _OWN),
        f'<h1>Your hand</h1><p class="small soft">{seen}</p>',
        f'<p class="lead">{escape(" ".join(report.advice))}</p></header>',
        _numbers(report),
        _rates(report),
        _pushes(report),
        _scored(report),
        _left(report),
        "</main></body></html>\n",
    ]
    return "\n".join(part for part in parts if part)


def rows_of(report: HandReport) -> list[tuple[str, str, str]]:
    """List the numbers: what it is, its value, its interval.

    Parameters
    ----------
    report : HandReport
        What is known.

    Returns
    -------
    list of (str, str, str)
        In words; what is not known is left out.
    """
    rows: list[tuple[str, str, str]] = []

    def add(words: str, one: Estimate | None, form: str, unit: str) -> None:
        if one is not None:
            value, low, high = (
                format(number, form).replace("-", "\u2212")
                for number in (one.value, one.low, one.high)
            )
            rows.append((words, f"{value} {unit}", f"{low} to {high}"))

    def percent(one: Estimate) -> Estimate:
        return Estimate(100 * one.value, 100 * one.low, 100 * one.high)

    if report.moves is not None:
        m = report.moves
        add("wanders along the axis by", m.spread_mm, ".2f", "mm")
        add("forgets its place in", m.sway_s, ".2f", "s")
        add("focuses behind (+) or before (\u2212) the eye by", m.bias_mm, "+.2f", "mm")
        add("wanders sideways by", m.aside_mm, ".2f", "mm")
        add("shakes fast by", m.tremor_um, ".0f", "um")
    add("pushes sweeps at", report.pushes.speed_mm_s, ".1f", "mm/s")
    if report.pushes.speed_spread is not None:
        add(
            "differs in speed from sweep to sweep by",
            percent(report.pushes.speed_spread),
            ".0f",
            "%",
        )
    add("steps in sweeps", report.pushes.step_dof, ".2f", "depths of field")
    add("unevenness of the steps", report.pushes.unevenness, ".2f", "")
    if report.causes is not None:
        for words, one in (
            ("frames smeared by movement", report.causes.motion),
            ("frames without flash", report.causes.misfire),
            ("frames spoilt by anything but focus", report.causes.spoilt),
        ):
            add(words, percent(one), ".0f", "%")
    if report.hit_rate is not None:
        add("bursts with a keeper", percent(report.hit_rate), ".0f", "%")
    return [(words, value.strip(), span) for words, value, span in rows]


def _numbers(report: HandReport) -> str:
    rows = "".join(
        f'<tr><td>{escape(words)}</td><td class="n">{escape(value)}</td>'
        f'<td class="n">{escape(span)}</td></tr>'
        for words, value, span in rows_of(report)
    )
    if not rows:
        return ""
    return (
        '<section><h2>How it moves</h2><table style="max-width:760px"><thead><tr><th></th>'
        "<th class=n>most likely</th><th class=n>nine times in ten within</th></tr></thead>"
        f"<tbody>{rows}</tbody></table></section>"
    )


def _rates(report: HandReport) -> str:
    parts = []
    for by, words in BY.items():
        groups = [one for one in report.groups if one.by == by]
        if not groups:
            continue
        drawn = svg(rates_drawn(groups, WIDE), "wide") + svg(rates_drawn(groups, SLIM), "slim")
        needed = "; ".join(
            f"{one.name}: "
            + ("more than 500" if one.frames_for_95 is None else f"{one.frames_for_95} frames")
            for one in groups
            if one.spread_mm is not None
        )
        length = f" For a keeper in 95 of 100 bursts: {escape(needed)}." if needed else ""
        parts.append(
            f'<h3>{words}</h3><figure class="rates">{drawn}<figcaption class="soft">{length}'
            "</figcaption></figure>"
        )
    if not parts:
        return ""
    return (
        '<section><h2>Bursts with a keeper</h2><p class="small soft">A disc is the share to expect '
        "with its interval, groups of a few bursts leaning on the others; a ring is what the plan "
        f"would have said with the hand that it assumes.</p>{''.join(parts)}</section>"
    )


def _pushes(report: HandReport) -> str:
    rows = "".join(
        f'<tr><td>{escape(one.name)}</td><td class="n">{one.sweeps}</td>'
        f'<td class="n">{_spanned(one.speed_mm_s, ".1f")}</td>'
        f'<td class="n">{_spanned(one.unevenness, ".2f")}</td></tr>'
        for one in report.push_groups
    )
    if not rows:
        return ""
    return (
        '<section><h2>Pushed sweeps</h2><table style="max-width:760px"><thead><tr><th></th>'
        "<th class=n>sweeps</th><th class=n>speed, mm/s</th><th class=n>unevenness</th></tr>"
        f"</thead><tbody>{rows}</tbody></table></section>"
    )


def _spanned(one: Estimate | None, form: str) -> str:
    if one is None:
        return "too few"
    return f"{format(one.value, form)} ({format(one.low, form)} to {format(one.high, form)})"


def _scored(report: HandReport) -> str:
    one = report.scored
    if one is None:
        return ""
    drawn = svg(calibration(one.bins, 400.0))
    slope = "" if one.slope is None else f" The slope is {one.slope:.2f}; 1 is right."
    return (
        "<section><h2>Do the predictions come true?</h2>"
        f'<p class="small soft">{counted(one.bursts, "burst")}, each predicted from the outings '
        f'before it.</p><figure class="true">{drawn}<figcaption class="soft">Up: the share that '
        "had a keeper, with how many bursts; on the slanted line predictions come true."
        f"{slope} Mean squared miss {one.brier:.3f}; of your rate so far {one.brier_habit:.3f}, of "
        f"the plan's assumed hand {one.brier_plan:.3f}.</figcaption></figure></section>"
    )


def _left(report: HandReport) -> str:
    if not report.left_out:
        return ""
    items = "".join(f"<li>{escape(words)}</li>" for words in report.left_out)
    return f'<section><h2>Not counted</h2><ul class="plain small">{items}</ul></section>'
