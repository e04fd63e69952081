"""Makes a plan: every chapter at the f-numbers that matter."""

from __future__ import annotations

from haltere.kit import Kit
from haltere.plan.ambient import ambient
from haltere.plan.aperture import Aperture, aperture
from haltere.plan.burst import burst
from haltere.plan.crop import crop
from haltere.plan.flash import flash
from haltere.plan.given import Given, given
from haltere.plan.hours import hours
from haltere.plan.motion import motion
from haltere.plan.plan import At, Plan
from haltere.plan.sharpness import sharpness
from haltere.plan.sweep import sweep
from haltere.plan.warnings import warnings_of
from haltere.plan.wishes import Wishes


def make_plan(kit: Kit, wishes: Wishes) -> Plan:
    """Plan one photograph, as a single shot, a burst and a sweep.

    Parameters
    ----------
    kit : Kit
        What the photographer owns.
    wishes : Wishes
        What is to be photographed, in which light.

    Returns
    -------
    Plan
        Settings with reasons, and warnings.

    Raises
    ------
    UsageError
        When a number that nothing can stand in for is missing, or can't be.
    """
    start = given(kit, wishes)
    chosen_aperture = aperture(start)
    single = at(start, chosen_aperture.best_f_number, chosen_aperture.single_reason)
    pushed = at(start, chosen_aperture.sweep_f_number, chosen_aperture.sweep_reason)
    chosen = _chosen(start, chosen_aperture, pushed)
    when = hours(wishes)
    return Plan(
        given=start,
        aperture=chosen_aperture,
        chosen=chosen,
        single=single,
        sweep=pushed,
        crop=crop(start, chosen.f_number),
        hours=when,
        warnings=warnings_of(start, chosen_aperture, chosen, single, pushed),
        assumed=_assumed(start, single, pushed, chosen),
    )


def at(start: Given, f_number: float, reason: str) -> At:
    """Compute every chapter at one f-number.

    Parameters
    ----------
    start : Given
        Kit and wishes.
    f_number : float
        As marked.
    reason : str
        Why this one.

    Returns
    -------
    At
        The chapters.
    """
    light = flash(start, f_number)
    day = ambient(start, f_number)
    pushed = sweep(start, f_number, light)
    return At(
        f_number=f_number,
        reason=reason,
        sharpness=sharpness(start, f_number),
        flash=light,
        ambient=day,
        motion=motion(start, None if light is None else light.duration_s, day.share),
        sweep=pushed,
        burst=burst(start, pushed.depth_of_field_mm, pushed.rate_fps),
    )


def _assumed(start: Given, *ats: At) -> tuple[str, ...]:
    """Collect what nobody said, each once, the flash's numbers among it."""
    of_flash = (text for each in ats if each.flash is not None for text in each.flash.assumed)
    return tuple(dict.fromkeys((*start.assumed, *of_flash)))


def _chosen(start: Given, choice: Aperture, pushed: At) -> At:
    asked = start.wishes.f_number
    if asked is not None:
        return at(start, asked, "you asked for it")
    if start.kit.f_number is not None:
        return at(start, start.kit.f_number, "your kit file says it")
    return pushed
