"""Numbers that steer what is said of a hand, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass

from haltere.plan.wishes import Wishes


@dataclass(frozen=True, slots=True)
class HandNumbers:
    """Numbers of the hand's statistics.

    Attributes
    ----------
    level : float
        Share of cases in which a printed interval shall hold the truth.
    spread_mm, sway_s : float
        What a hand is taken for before a burst of it was seen: what the plan assumes.
    prior_log_sd : float
        How far a hand may lie from that: two thirds of all hands within a factor of e (assumed
        wide, so that some ten bursts outweigh it).
    bias_mm : float
        How far before or behind the eye a photographer may focus on average (assumed).
    aside_mm, tremor_mm : float
        Sideways sway and tremor before anything was seen (Arch. Neurol. 39, 1982: 0.05 mm).
    aside_error_mm : float
        Error of following the eye from frame to frame, on the animal (assumed small).
    told_span : float
        A tremor whose span is wider than this factor is not told: the belief before any burst
        spans a factor of 27.
    least_placed : float
        A burst with fewer of its frames placed would tell of the near ones only.
    newest : int
        Bursts that count, the newest: a hand changes, and more would only cost time.
    least_bursts, least_sweeps : int
        Fewer say nothing that the plan's own numbers don't.
    draws : int
        Hands drawn from what is known, for a prediction; more change it by less than 0.01.
    cells : int
        Places of the hand that a prediction tells apart; agrees with the plan's way to 0.005.
    said : float
        Confidence from which a fault counts, as everywhere.
    smeared, misfired : float
        Shares of frames above which something should be changed (assumed).
    worse : float
        A group's rate below this part of the others' is worth a word (assumed).
    """

    level: float = 0.9
    spread_mm: float = Wishes().hand_spread_mm
    sway_s: float = Wishes().sway_s
    prior_log_sd: float = 1.0
    bias_mm: float = 1.0
    aside_mm: float = 1.0
    tremor_mm: float = 0.05
    aside_error_mm: float = 0.002
    told_span: float = 5.0
    least_placed: float = 0.7
    newest: int = 200
    least_bursts: int = 3
    least_sweeps: int = 3
    draws: int = 24
    cells: int = 241
    said: float = 0.5
    smeared: float = 0.15
    misfired: float = 0.1
    worse: float = 0.7


NUMBERS = HandNumbers()
