"""haltere hand: how your hand moves, and what to change."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_option, opened, outing_option
from haltere.doors.cli.options import json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import outing_of
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.hand import HandReport


@click.command(
    short_help="How your hand moves, from all your runs, and what to change.",
    epilog="Example: haltere hand --page hand.html",
)
@click.option(
    "--support", metavar="WORD", help="Write down what the hand rested on in an outing or run."
)
@click.option("--run", "run_id", metavar="ID", help="The run that --support is about.")
@click.option(
    "--page",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Draw it as a page (HTML).",
)
@outing_option
@book_option
@json_option
def hand(
    support: str | None,
    run_id: str | None,
    page: Path | None,
    outing: str | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Answer from every judged burst and sweep of your book how your hand moves.

    Each number has an interval that holds nine times in ten; predictions are scored against what
    came. haltere plan --my-hand plans with it.
    """
    from haltere.doors.cli.saying import say, say_json
    from haltere.evening import as_json as written
    from haltere.fieldbook import run_named
    from haltere.fieldbook.supports import set_support
    from haltere.hand import gather, report_on

    if support is None and (run_id is not None or outing is not None):
        raise UsageError("--run and --outing belong to --support WORD")
    with opened(book_folder) as book, ProgressLine(quiet=as_json) as progress:
        if support is not None:
            row = outing_of(book, outing)
            if run_id is not None:
                run_named(book, row.id, run_id)
            set_support(book, row.id, run_id or "", support)
            where = f"outing {row.title}" + (f", {run_id}" if run_id else "")
            say(f"Written down: {support or 'nothing'} under the hand, {where}.")
            return
        report = report_on(*gather(book), progress)
    if page is not None:
        from haltere.show import draw_hand

        draw_hand(report, page)
    if as_json:
        say_json(written(asdict(report)))
        return
    _say(report)
    if page is not None:
        say()
        say(f"The page: {page}")


def _say(report: HandReport) -> None:
    from haltere.doors.cli.saying import say
    from haltere.show.hand_page import rows_of
    from haltere.show.words import counted

    for sentence in report.advice:
        say(sentence)
    if not report.bursts and not report.sweeps:
        for left_out in report.left_out:
            say(f"  not counted: {left_out}")
        return
    say()
    say(f"From {counted(report.bursts, 'burst')} and {counted(report.sweeps, 'sweep')}:")
    for words, value, span in rows_of(report):
        say(f"  {words:<44}{value:>22}   ({span})")
    for by in ("magnification", "support", "hour"):
        for one in (one for one in report.groups if one.by == by):
            long = "over 500" if one.frames_for_95 is None else f"{one.frames_for_95}"
            needed = f", {long} frames for 95 %" if one.spread_mm is not None else ""
            say(
                f"  {one.name}: {one.hits} of {counted(one.bursts, 'burst')} with a keeper, to "
                f"expect {100 * one.rate.value:.0f} % ({100 * one.rate.low:.0f} % to "
                f"{100 * one.rate.high:.0f} %); the plan said {100 * one.plan_rate:.0f} %{needed}"
            )
    for pushed in report.push_groups:
        if pushed.speed_mm_s is not None:
            even = (
                ""
                if pushed.unevenness is None
                else f", uneven by {100 * pushed.unevenness.value:.0f} %"
            )
            say(
                f"  {pushed.name}: {counted(pushed.sweeps, 'sweep')} at "
                f"{pushed.speed_mm_s.value:.1f} mm/s ({pushed.speed_mm_s.low:.1f} to "
                f"{pushed.speed_mm_s.high:.1f}){even}"
            )
    if report.scored is not None:
        one_score = report.scored
        slope = "" if one_score.slope is None else f"slope {one_score.slope:.2f}, "
        say(
            f"  {counted(one_score.bursts, 'burst')} predicted from earlier outings: {slope}mean "
            f"squared miss {one_score.brier:.3f}, of your rate so far {one_score.brier_habit:.3f}"
        )
    for left_out in report.left_out:
        say(f"  not counted: {left_out}")
