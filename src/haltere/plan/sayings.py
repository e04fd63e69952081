"""What macro photographers say about settings, answered one by one for the kit at hand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING, Literal

from haltere import optics
from haltere.kit import focal_at, reach
from haltere.plan.aperture import aperture
from haltere.plan.chance_of_bursts import frame_hits
from haltere.plan.contrast import finest_lp_mm, finest_over_depth_lp_mm, sharpest_effective
from haltere.plan.crop import trade
from haltere.plan.given import given as given_of
from haltere.plan.light import daylight_over_needed
from haltere.plan.shading import GHOST
from haltere.plan.sharpness import sharpness

if TYPE_CHECKING:
    from haltere.plan.given import Given

Verdict = Literal["agree", "partly", "disagree"]


@dataclass(frozen=True, slots=True)
class Saying:
    """One saying of the craft, and what physics makes of it with this kit.

    Attributes
    ----------
    saying : str
        As photographers say it (common practice, no source).
    verdict : {"agree", "partly", "disagree"}
        For this kit.
    text : str
        With this kit's numbers.
    practice : str
        Why photographers say it nevertheless.
    """

    saying: str
    verdict: Verdict
    text: str
    practice: str


@dataclass(frozen=True, slots=True)
class Judging:
    """Where agreement ends, each number with its reason.

    Attributes
    ----------
    nearly_all : float
        Share of the pixels that counts as all of them: nobody sees a tenth less.
    a_quarter : float
        Share of the pixels below which a picture has half the detail from side to side.
    a_stop, two_stops : float
        Distance of two f-numbers that counts as the same, and as near (lenses differ as much).
    close_enough : float
        Distance of two magnifications that counts as the same (the ring is not read finer).
    gain : float
        Finer detail by less than this factor is not seen.
    deepest_principal_point : float
        Close-up lens to front principal point over focal length, at most; a ray-traced double
        Gauss lens has 0.8, a thin lens 0.
    usual_close_up_dpt : float
        A strong close-up lens, when the kit has none (common practice, no source).
    """

    nearly_all: float = 0.9
    a_quarter: float = 0.25
    a_stop: float = 1.1
    two_stops: float = 2.2
    close_enough: float = 0.1
    gain: float = 1.1
    deepest_principal_point: float = 0.8
    usual_close_up_dpt: float = 5.0


JUDGING = Judging()


def sayings(given: Given) -> tuple[Saying, ...]:
    """Answer the sayings of the craft for a kit.

    Parameters
    ----------
    given : Given
        Kit and wishes; the depth of the animal and the spread of the hand are taken from there.

    Returns
    -------
    tuple of Saying
        In the order in which they matter in the field.
    """
    alone = replace(given, kit=replace(given.kit, close_up_dpt=None, tube_mm=None, converter=None))
    life, twice = _at(alone, 1.0), _at(given, 2.0)
    return (
        _eight_for_sweeps(life),
        _thirteen_for_singles(life),
        _sixteen_for_tiny(twice),
        _shade_it(life),
        _close_up_lens(given),
        _a_frame_a_millimetre(twice),
        _one_in_fifteen(life, twice),
        _crop_instead(life),
    )


def _at(given: Given, magnification: float) -> Given:
    """Take the kit to a magnification; where it can't go, the lens alone by a longer extension."""
    wishes = replace(
        given.wishes, magnification=magnification, iso=200.0, shutter_s=1 / 200, crop=1.0
    )
    low, high = reach(given.kit)
    if low <= magnification <= high:
        return given_of(given.kit, wishes)
    longer = replace(
        given.kit, close_up_dpt=None, tube_mm=None, converter=None, magnification_max=None
    )
    return given_of(longer, wishes)


def _pixels(g: Given) -> float:
    return g.picture_px[0] * g.picture_px[1] / 1e6


def _by_stops(first: float, second: float) -> Verdict:
    stops = abs(2.0 * math.log2(first / second))
    if stops <= JUDGING.a_stop:
        return "agree"
    return "partly" if stops <= JUDGING.two_stops else "disagree"


def _best_depth_mm(g: Given, f_number: float) -> float:
    """Depth of the animal for which an f-number is the best; the best grows with its root."""
    m = g.lens.magnification
    for_one_mm = sharpest_effective(finest_over_depth_lp_mm(1.0, m), 1.0, m)[0]
    return (g.effective(f_number) / for_one_mm) ** 2


def _eight_for_sweeps(g: Given) -> Saying:
    said = 8.0
    at, wider = sharpness(g, said), sharpness(g, 5.6)
    left, pixels = at.effective_megapixels, _pixels(g)
    verdict: Verdict = "agree"
    if left < JUDGING.nearly_all * pixels:
        verdict = "partly" if left >= JUDGING.a_quarter * pixels else "disagree"
    told = (
        "diffraction takes next to nothing"
        if verdict == "agree"
        else f"f/5.6 would keep {wider.effective_megapixels:.2g}, if your lens is good there, for "
        f"{at.geometric_mm / wider.geometric_mm:.2g} times as many frames"
    )
    return Saying(
        "f/8 for sweeps near life size",
        verdict,
        f"At 1:1 f/8 is f/{at.f_number_effective:.0f} to the sensor and leaves {left:.2g} of "
        f"{pixels:.2g} megapixels; {told}.",
        "Most lenses are at their best near it, and fewer frames are fewer chances of a gap.",
    )


def _thirteen_for_singles(g: Given) -> Saying:
    said, depth = 13.0, g.wishes.depth_mm
    best, at = aperture(g), sharpness(g, said)
    return Saying(
        "about f/13 for single shots near life size",
        _by_stops(said, best.exact_f_number),
        f"At 1:1 f/13 is the best for an animal {_best_depth_mm(g, said):.1f} mm deep and leaves "
        f"{at.effective_megapixels:.2g} of {_pixels(g):.2g} megapixels; for your {depth:g} mm the "
        f"best is f/{best.exact_f_number:.2g}.",
        "One to two millimetres are the face of a fly: about what one wants sharp.",
    )


def _sixteen_for_tiny(g: Given) -> Saying:
    said = 16.0
    at, m = sharpness(g, said), g.lens.magnification
    right = _best_depth_mm(g, said)
    choice = aperture(g)
    ends = float(finest_lp_mm(at.f_number_effective, right / 2.0, m)[0]) * m
    finer = 1000.0 / (2.0 * ends) / choice.sweep_detail_um
    kept = at.effective_megapixels >= JUDGING.a_quarter * _pixels(g)
    return Saying(
        "f/16 for very small animals",
        "agree" if kept else "partly",
        f"At 2:1 it is the best single shot for {right:.1f} mm of depth, but it is "
        f"f/{at.f_number_effective:.0f} to the sensor and leaves {at.effective_megapixels:.2g} of "
        f"{_pixels(g):.2g} megapixels; a sweep at f/{choice.sweep_f_number:g} shows {finer:.2g} "
        "times finer detail.",
        "A whole animal, softly drawn, pleases more than one sharp eye and a blurred rest.",
    )


def _shade_it(g: Given) -> Saying:
    sun, wide_sun = (math.log2(daylight_over_needed(g, n, "sun")) for n in (13.0, 8.0))
    shade, wide_shade = (math.log2(daylight_over_needed(g, n, "shade")) for n in (13.0, 8.0))
    needed, faint = GHOST.unseen_stops, math.log2(GHOST.faint_share)
    verdict: Verdict = "disagree"
    if sun > needed:  # the sun leaves a ghost, so the body is needed; is it enough?
        verdict = "agree" if shade <= faint else "partly"
    left = "no ghost" if shade <= needed else "a faint ghost" if shade <= faint else "a plain ghost"
    lower = "ISO 100 gives one stop more."
    if g.kit.iso_min is not None and g.kit.iso_min > 100.0:
        lower = f"Your camera goes no lower than ISO {g.kit.iso_min:g}."
    shadow = ""
    if sun > needed:
        shadow = (
            f"At f/13 {sun - needed:.1f} stops must go; your shadow takes about "
            f"{GHOST.body_stops:.0f}. "
        )
    return Saying(
        "ISO 200 and 1/200 s with flash, and shade the animal with your body",
        verdict,
        f"At 1:1 and f/13 the sun is {_beside_flash(sun)} and leaves a ghost, open shade is "
        f"{_beside_flash(shade)} and leaves {left}; at f/8 the sun is {_beside_flash(wide_sun)}, "
        f"shade {_beside_flash(wide_shade)}. From {-needed:.1f} stops under no ghost is seen. "
        f"{shadow}{lower}",
        "The flash freezes only what daylight does not light; a shadow costs nothing.",
    )


def _beside_flash(stops: float) -> str:
    if abs(stops) < 0.05:
        return "as strong as the flash"
    return f"{abs(stops):.1f} stops {'over' if stops > 0 else 'under'} the flash"


def _close_up_lens(given: Given) -> Saying:
    kit = given.kit
    power = kit.close_up_dpt or JUDGING.usual_close_up_dpt
    focal = focal_at(kit, 1.0)
    known = kit.close_up_separation_mm
    apart = (JUDGING.deepest_principal_point * focal, 0.0) if known is None else (known, known)
    least, most = (optics.with_close_up(focal, 1.0, power, d) for d in apart)
    verdict: Verdict = "agree"
    if not least - JUDGING.close_enough <= 1.5 <= most + JUDGING.close_enough:
        verdict = "partly"
    same = f"{least:.2g}" == f"{most:.2g}"
    reached = f"{most:.2g}:1" if same else f"between {least:.2g} and {most:.2g}:1"
    lies = "" if least == most else ", by where its principal point lies"
    room = [optics.subject_to_close_up_mm(focal, 1.0, power, d) for d in apart]
    return Saying(
        "a strong close-up lens on a 1:1 lens gives about 1.5:1",
        verdict,
        f"+{power:g} dioptres on your lens of {focal:.0f} mm at 1:1 give {reached}{lies}, "
        f"{_span(min(room), max(room))} mm before the animal; "
        f"+{2 * power:g} would give up to "
        f"{optics.with_close_up(focal, 1.0, 2 * power, apart[1]):.2g}:1. It costs no light: the "
        "effective f-number stays that of 1:1.",
        "Most 1:1 lenses are 50 to 70 mm long where they focus closest, whatever is engraved.",
    )


def _span(low: float, high: float) -> str:
    """Write two numbers, or one where they read alike."""
    least, most = f"{low:.0f}", f"{high:.0f}"
    return least if least == most else f"{least} to {most}"


def _a_frame_a_millimetre(g: Given) -> Saying:
    at = sharpness(g, 8.0)
    step = at.geometric_mm * (1.0 - g.wishes.overlap)
    wanted = 1.0  # mm
    covers = next(
        (n for n in g.f_numbers if sharpness(g, n).combined_mm >= wanted),
        None,
    )
    verdict: Verdict = "agree" if at.geometric_mm >= wanted else "disagree"
    if verdict == "disagree" and at.combined_mm >= wanted:
        verdict = "partly"
    where = "no mark of your lens" if covers is None else f"only f/{covers:g} and beyond"
    return Saying(
        "one frame per millimetre at 2:1",
        verdict,
        f"At 2:1 and f/8 one frame is {at.geometric_mm:.2g} mm deep, {at.combined_mm:.2g} mm with "
        f"all that diffraction hides, so {100 * (1 - min(at.combined_mm, 1.0)):.0f} % of the "
        f"animal would be missed at the least; steps of {step:.2g} mm are needed. A frame a "
        f"millimetre suits {where}.",
        "Twenty frames feel like many while pushing, and gaps in smooth parts are easily missed.",
    )


def _one_in_fifteen(life: Given, twice: Given) -> Saying:
    spread = life.wishes.hand_spread_mm
    depths = [sharpness(g, 13.0).geometric_mm for g in (life, twice)]
    few, many = (1.0 / frame_hits(depth, spread) for depth in depths)
    tenth, twentieth = (NormalDist().inv_cdf((1.0 + share) / 2.0) for share in (0.1, 0.05))
    verdict: Verdict = "disagree"
    if few <= 20.0 and many >= 10.0:
        verdict = "agree"
    elif few <= 40.0 and many >= 5.0:
        verdict = "partly"
    tremor_mm = optics.tremor_amplitude_um(0.01, 7.0) / 1000.0
    return Saying(
        "one frame in 10 to 20 is sharp on the eyes",
        verdict,
        f"With a hand that wanders by {spread:g} mm, f/13 hits one in {few:.0f} at 1:1 and one in "
        f"{many:.0f} at 2:1. One in 10 to 20 at 2:1 means {depths[1] / 2 / tenth:.1f} to "
        f"{depths[1] / 2 / twentieth:.1f} mm of wandering: you sway, it is not the tremor of your "
        f"fingers, which is {tremor_mm:.2f} mm.",
        "Standing without support, body and stem move by millimetres; kneeling changes it.",
    )


def _crop_instead(g: Given) -> Saying:
    half = trade(g, 8.0, 0.5)
    third = trade(g, 8.0, 1.0 / 3.0).cropped
    verdict: Verdict = "agree" if half.as_deep_detail_gain < JUDGING.gain else "partly"
    kept = (
        "nothing is gained"
        if verdict == "agree"
        else f"{half.as_deep_detail_gain:.2g} times finer detail is left, for pixels are the limit"
    )
    return Saying(
        "an animal that fills a third of the frame at 1:1: crop instead of going to 2:1",
        verdict,
        f"It is {g.sensor_mm[0] / 3:.1f} mm long, and the crop keeps {third.megapixels:.2g} "
        f"megapixels, {third.effective_megapixels:.2g} of detail at f/8. 2:1 at the same mark "
        f"shows {half.detail_gain:.2g} times finer detail but {half.depth_gain:.2g} times the "
        f"depth, for {half.closer.light_stops:.1f} stops of light; at equal depth "
        f"(f/{half.closer_as_deep_f_number:.2g}) {kept}.",
        "At 1:1 more frames hit the eyes, and the animal is easier to find.",
    )
