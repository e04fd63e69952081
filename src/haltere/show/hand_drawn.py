"""What is known of a hand as drawings: rates of groups, predictions against what came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from haltere.hand.groups import Group
from haltere.hand.predict import Bin
from haltere.hand.seen import Estimate
from haltere.show.drawing import Anchor, Box, Drawing, Line, Mark, Shape, Text

_ROW = 34.0


@dataclass(frozen=True, slots=True)
class Bar:
    """One line of a drawing of intervals.

    Attributes
    ----------
    words, said : str
        What it is, and its numbers.
    estimate : Estimate
        The interval.
    assumed : float or None
        What the plan assumes, or would have said.
    """

    words: str
    said: str
    estimate: Estimate
    assumed: float | None


def rates_drawn(groups: Sequence[Group], width: float) -> Drawing:
    """Draw the share of bursts with a keeper in each group, beside what the plan said.

    Parameters
    ----------
    groups : sequence of Group
        At least one.
    width : float
        Room.

    Returns
    -------
    Drawing
        A disc with its interval, a ring for the plan; from 0 to 100 %.
    """
    bars = [
        Bar(
            one.name,
            f"{one.hits} of {one.bursts}",
            one.rate,
            one.plan_rate,
        )
        for one in groups
    ]
    return _bars(bars, width, (0.0, 0.25, 0.5, 0.75, 1.0), "bursts with a keeper, by group")


def _bars(bars: Sequence[Bar], width: float, ticks: Sequence[float], alt: str) -> Drawing:
    wide = width > 500
    left, right = (190.0, width - 130.0) if wide else (8.0, width - 8.0)
    tall = _ROW if wide else _ROW + 18.0
    top = 34.0
    height = top + len(bars) * tall + 8.0

    def x(value: float) -> float:
        return left + (right - left) * (value - ticks[0]) / (ticks[-1] - ticks[0])

    marks: list[Mark] = []
    for tick in ticks:
        marks.append(Line(x(tick), 24, x(tick), height - 4, "line", 0.8))
        anchor: Anchor = "start" if tick == ticks[0] else "end" if tick == ticks[-1] else "middle"
        marks.append(Text(x(tick), 16, f"{100 * tick:.0f} %", 13, "soft", anchor))
    for number, bar in enumerate(bars):
        y = top + number * tall + tall / 2 + (0 if wide else 9.0)
        if wide:
            marks.append(Text(0, y + 5, bar.words, 15, "ink"))
            marks.append(Text(width, y + 5, bar.said, 15, "soft", "end"))
        else:
            marks.append(Text(left, y - 14, bar.words, 15, "ink"))
            marks.append(Text(right, y - 14, bar.said, 15, "soft", "end"))
        low, high = x(bar.estimate.low), x(bar.estimate.high)
        marks.append(Box(low, y - 4, high, y + 4, fill="wash"))
        if bar.assumed is not None:
            marks.append(Shape("ring", x(bar.assumed), y, 6, "soft"))
        marks.append(Shape("disc", x(bar.estimate.value), y, 5, "accent"))
    return Drawing(width, height, tuple(marks), alt)


def calibration(bins: Sequence[Bin], width: float) -> Drawing:
    """Draw how often bursts had a keeper against how often it was predicted.

    Parameters
    ----------
    bins : sequence of Bin
        At least one.
    width : float
        Room; the drawing is about square.

    Returns
    -------
    Drawing
        Discs with their intervals; on the slanted line predictions come true.
    """
    left, top, side = 52.0, 16.0, width - 70.0

    def x(share: float) -> float:
        return left + side * share

    def y(share: float) -> float:
        return top + side * (1 - share)

    marks: list[Mark] = [Box(left, top, left + side, top + side, outline="line")]
    for tick in (0.0, 0.5, 1.0):
        marks.append(Line(x(tick), top, x(tick), top + side, "line", 0.6))
        marks.append(Line(left, y(tick), left + side, y(tick), "line", 0.6))
        marks.append(Text(x(tick), top + side + 20, f"{100 * tick:.0f} %", 13, "soft", "middle"))
        marks.append(Text(left - 8, y(tick) + 5, f"{100 * tick:.0f} %", 13, "soft", "end"))
    marks.append(Line(x(0), y(0), x(1), y(1), "soft", 1.2, dashed=True))
    for one in bins:
        marks.append(Line(x(one.predicted), y(one.low), x(one.predicted), y(one.high), "accent", 2))
        marks.append(Shape("disc", x(one.predicted), y(one.real), 6, "accent"))
        beside = one.predicted < 0.85
        marks.append(
            Text(
                x(one.predicted) + (10 if beside else -10),
                y(one.real) + 5,
                f"{one.bursts}",
                13,
                "soft",
                "start" if beside else "end",
            )
        )
    marks.append(Text(left + side / 2, top + side + 42, "predicted", 14, "ink", "middle"))
    return Drawing(
        width,
        top + side + 52,
        tuple(marks),
        "share of bursts with a keeper against the share predicted",
    )
