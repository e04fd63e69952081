"""One table over all bursts and singles of an outing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from haltere.show import words
from haltere.show.outing import Outing, WorkedRun


@dataclass(frozen=True, slots=True)
class Row:
    """What the table says of one run, in words."""

    run: str
    frames: int
    verdict: str
    good: bool
    best: str
    offset: str
    faults: str
    repeats: str
    print_size: str
    you: str


def rows(outing: Outing) -> list[Row]:
    """Say each burst and single in one row.

    Parameters
    ----------
    outing : Outing
        The outing.
    """
    return [_row(one, outing.decided) for one in outing.runs if one.run.kind != "sweep"]


def _row(worked: WorkedRun, decided: Mapping[str, str]) -> Row:
    keepers = worked.keepers
    frames = keepers.frames if keepers is not None else ()
    best = min(frames, key=lambda frame: frame.rank, default=None)
    behind = sum(frame.like is not None for frame in frames)
    return Row(
        run=worked.run.id,
        frames=len(worked.run.frames),
        verdict=words.outcome(worked),
        good=keepers is not None and keepers.verdict.code == "keeper",
        best=best.frame if best is not None else "",
        offset=words.place(best) if best is not None else "",
        faults=words.fault_count(frames),
        repeats=str(behind) if behind else "",
        print_size=words.print_size(best.crop) if best is not None else "",
        you=yours([decided.get(name) for name in worked.run.frames]),
    )


def yours(said: list[str | None]) -> str:
    """Say what the person decided of the frames of one run: 'keep 2, drop 5'.

    Parameters
    ----------
    said : list of str or None
        The decision on each frame, None where there is none.
    """
    count = {verdict: said.count(verdict) for verdict in words.DECISION_WORDS}
    if len(said) == 1:
        return "".join(verdict for verdict, number in count.items() if number)
    return ", ".join(f"{verdict} {number}" for verdict, number in count.items() if number)


def table(outing: Outing) -> str:
    """Write the table; empty without a burst or a single.

    Parameters
    ----------
    outing : Outing
        The outing.
    """
    told = rows(outing)
    if not told:
        return ""
    with_you = any(row.you for row in told)
    with_print = any(row.print_size for row in told)
    with_repeats = any(row.repeats for row in told)
    head = '<th>run</th><th class="n">frames</th><th>verdict</th><th>best frame</th>'
    head += '<th class="opt">plane of focus</th><th class="opt">faults</th>'
    head += '<th class="n opt">repeats</th>' if with_repeats else ""
    head += '<th class="opt">prints to</th>' if with_print else ""
    head += "<th>you</th>" if with_you else ""
    body = ""
    for row in told:
        mark = "good" if row.good else "bad"
        number = escape(row.run.removeprefix("run-"))
        body += (
            f'<tr><td><a href="#{escape(row.run)}">{number}</a></td><td class="n">{row.frames}</td>'
            f'<td><span class="{mark}">{escape(row.verdict)}</span></td>'
            f"<td>{escape(row.best)}</td>"
            f'<td class="opt">{escape(row.offset)}</td><td class="opt">{escape(row.faults)}</td>'
        )
        body += f'<td class="n opt">{row.repeats}</td>' if with_repeats else ""
        body += (
            f'<td class="opt">{escape(row.print_size).replace(" ", "&nbsp;")}</td>'
            if with_print
            else ""
        )
        body += f'<td class="you">{escape(row.you)}</td>' if with_you else ""
        body += "</tr>"
    return (
        "<h3>Bursts and singles</h3>"
        f'<table class="all"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
    )
