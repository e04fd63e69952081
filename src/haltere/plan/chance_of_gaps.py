"""How likely a gap is between the frames of a hand-pushed sweep, and which step avoids it."""

from __future__ import annotations

import math
from decimal import Decimal, localcontext
from typing import Literal

from haltere.errors import UsageError
from haltere.plan.chance_limits import (
    LIMITS,
    refuse_outside,
    refuse_unless_chance,
    refuse_unless_count,
    refuse_unless_positive,
)

Law = Literal["gamma", "normal"]


def step_exceeds(gap_over_step: float, unevenness: float, law: Law = "gamma") -> float:
    """Tell how likely one step of the hand is to be longer than a gap.

    Parameters
    ----------
    gap_over_step : float
        Longest distance that still joins, over the mean step.
    unevenness : float
        Standard deviation of a step over its mean, 0 to 2; 0 is a rail.
    law : {'gamma', 'normal'}, optional
        How steps scatter; the gamma law is preferred, it has no steps backwards (assumed).

    Returns
    -------
    float
        Chance, 0 to 1.

    Raises
    ------
    UsageError
        For absurd values or an unknown law.
    """
    refuse_unless_positive(gap_over_step=gap_over_step)
    refuse_outside(0.0, LIMITS.most_unevenness, unevenness=unevenness)
    if law not in ("gamma", "normal"):
        raise UsageError(f"steps can not follow the law '{law}': choose gamma or normal.")
    if unevenness < 1e-6:  # a rail: the gamma law has lost its digits there
        return 1.0 if gap_over_step < 1.0 else 0.0
    if law == "normal":
        return 0.5 * math.erfc((gap_over_step - 1.0) / (unevenness * math.sqrt(2.0)))
    from scipy.special import gammaincc

    shape = unevenness**-2
    return float(gammaincc(shape, shape * gap_over_step))


def any_gap(gap_over_step: float, steps: float, unevenness: float, law: Law = "gamma") -> float:
    """Tell how likely a pass is to hold at least one step longer than a gap, 1 - F(g)^n.

    Parameters
    ----------
    gap_over_step : float
        Longest distance that still joins, over the mean step.
    steps : float
        Steps of the pass; a mean number need not be whole.
    unevenness : float
        Standard deviation of a step over its mean, 0 to 2.
    law : {'gamma', 'normal'}, optional
        How steps scatter.

    Returns
    -------
    float
        Chance, 0 to 1; steps are taken as independent.

    Raises
    ------
    UsageError
        For absurd values or an unknown law.
    """
    refuse_unless_positive(steps=steps)
    one = step_exceeds(gap_over_step, unevenness, law)
    # through logarithms, so that one in a million is not rounded away
    return 1.0 if one >= 1.0 else -math.expm1(steps * math.log1p(-one))


def step_for(gap_mm: float, depth_mm: float, unevenness: float, gap_chance: float) -> float:
    """Tell the longest mean step that keeps the chance of a gap in a pass below a limit.

    A shorter step needs more frames, and more frames are more chances of a gap: the answer is
    the step at which both agree.

    Parameters
    ----------
    gap_mm : float
        Longest distance between neighbouring frames that still joins, mm: one frame's depth.
    depth_mm : float
        Depth of the animal, mm.
    unevenness : float
        Standard deviation of a step over its mean, 0 to 2; gamma law.
    gap_chance : float
        Chance of any gap that is put up with, between 0 and 1.

    Returns
    -------
    float
        Mean step, mm.

    Raises
    ------
    UsageError
        For absurd values.

    Notes
    -----
    A push that begins anywhere before the animal lays depth / step + 1 steps against it on
    average, because it is in the middle of one when it arrives. Steps less even than chance
    leave up to unevenness^2 of a step over there. For an unevenness up to 0.5 and a chance up to
    0.2 this errs on the safe side: one push is enough by `uneven_passes_cover` too. Beyond, up to
    0.02 more is left at a chance of 0.2.
    """
    refuse_unless_positive(gap_mm=gap_mm, depth_mm=depth_mm)
    refuse_outside(0.0, LIMITS.most_unevenness, unevenness=unevenness)
    refuse_unless_chance(gap_chance=gap_chance)
    if unevenness > 0.0:
        unevenness = max(unevenness, LIMITS.least_unevenness)
    begun = max(1.0, unevenness**2)

    def too_long(step_mm: float) -> bool:
        return any_gap(gap_mm / step_mm, depth_mm / step_mm + begun, unevenness) > gap_chance

    # upwards from a step that surely joins: for long steps the chance may fall again, because
    # hardly any frame is left
    low = gap_mm / 100.0
    while too_long(low):
        low /= 2.0
    while not too_long(1.1 * low):
        low *= 1.1
    high = 1.1 * low
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if too_long(middle) else (middle, high)
    return low


def frames_at(step_mm: float, depth_mm: float) -> int:
    """Tell how many frames a pass takes at a step, both ends of the animal included.

    Parameters
    ----------
    step_mm : float
        Mean step, mm.
    depth_mm : float
        Depth of the animal, mm.

    Returns
    -------
    int
        Frames.

    Raises
    ------
    UsageError
        For absurd values.
    """
    refuse_unless_positive(step_mm=step_mm, depth_mm=depth_mm)
    return math.ceil(depth_mm / step_mm * (1.0 - 1e-12)) + 1


def largest_spacing_exceeds(spacings: int, fraction: float) -> float:
    """Tell how likely the largest part of a randomly cut length is to exceed a fraction.

    Parameters
    ----------
    spacings : int
        Parts: one more than cuts on a line, as many as cuts on a circle.
    fraction : float
        Fraction of the whole length, 0 to 1.

    Returns
    -------
    float
        Chance: the alternating sum of C(n, k) (1 - k a)^(n - 1).

    Raises
    ------
    UsageError
        For absurd values.

    Notes
    -----
    R. A. Fisher, Proc. R. Soc. A 125 (1929) 54; W. L. Stevens, Ann. Eugenics 9 (1939) 315.
    """
    refuse_unless_count(LIMITS.most_spacings, spacings=spacings)
    refuse_outside(0.0, 1.0, fraction=fraction)
    if fraction * spacings <= 1.0:  # the largest part is never below the mean
        return 1.0 if fraction * spacings < 1.0 or spacings > 1 else 0.0
    terms = min(spacings, math.floor(1.0 / fraction))
    # the terms dwarf their sum: carry as many more digits as the largest term has
    digits = max(
        math.log10(math.comb(spacings, k))
        + (spacings - 1) * math.log10(max(1.0 - k * fraction, 1e-300))
        for k in range(1, terms + 1)
    )
    with localcontext() as context:
        context.prec = 20 + max(0, math.ceil(digits))
        part = Decimal(fraction)
        total = Decimal(0)
        for k in range(1, terms + 1):
            rest = max(1 - k * part, Decimal(0))
            total += (-1) ** (k - 1) * math.comb(spacings, k) * rest ** (spacings - 1)
        return min(1.0, max(0.0, float(total)))


def expected_largest_spacing(spacings: int) -> float:
    """Tell how large the largest part of a randomly cut length is on average.

    Parameters
    ----------
    spacings : int
        Parts.

    Returns
    -------
    float
        Fraction of the whole length, (1/n) sum 1/i (L. Holst, J. Appl. Prob. 17 (1980) 623).

    Raises
    ------
    UsageError
        For absurd values.
    """
    refuse_unless_count(LIMITS.most_spacings, spacings=spacings)
    return math.fsum(1.0 / i for i in range(1, spacings + 1)) / spacings


def all_within_arc(points: int, arc_fraction: float) -> float:
    """Tell how likely random points on a circle are to lie all within some arc.

    Parameters
    ----------
    points : int
        Points.
    arc_fraction : float
        Length of the arc over the circle's, 0 to 1.

    Returns
    -------
    float
        Chance: N x^(N-1) up to half a circle; beyond it, that the rest of the circle is a gap
        (W. L. Stevens, Ann. Eugenics 9 (1939) 315).

    Raises
    ------
    UsageError
        For absurd values.
    """
    refuse_unless_count(LIMITS.most_spacings, points=points)
    refuse_outside(0.0, 1.0, arc_fraction=arc_fraction)
    if points == 1:
        return 1.0
    return largest_spacing_exceeds(points, 1.0 - arc_fraction)


def passes_cover(passes: int, gap_over_step: float) -> float:
    """Tell how likely several perfectly even passes leave no gap, each beginning anywhere.

    Parameters
    ----------
    passes : int
        Passes with one and the same even step.
    gap_over_step : float
        Longest distance that still joins, over the step.

    Returns
    -------
    float
        Chance over at least one step of depth (W. L. Stevens, Ann. Eugenics 9 (1939) 315).

    Raises
    ------
    UsageError
        For absurd values.
    """
    refuse_unless_count(LIMITS.most_passes, passes=passes)
    refuse_unless_positive(gap_over_step=gap_over_step)
    return 1.0 - largest_spacing_exceeds(passes, min(gap_over_step, 1.0))
