"""Where everything stands: the lengths from which a plan can be drawn to scale."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere import optics
from haltere.kit import DEFAULTS, lens_at
from haltere.plan.flash import FLASH_STANDINS, Flash, power_named

if TYPE_CHECKING:
    from haltere.plan.given import Given
    from haltere.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class DrawnLimits:
    """Numbers of the drawing, each with its reason.

    Attributes
    ----------
    least_magnification : float
        A drawing of an animal smaller than a quarter on the sensor shows nothing of it.
    open_end : float
        How far the lens is moved where the kit does not say its largest magnification (assumed).
    track_points : int
        Places of the lens between which straight lines are near enough: less than a hundredth
        off, between neighbours that differ by a tenth.
    nearest_mm : float
        A flash nearer than this stands on the animal.
    most_planes : int
        More planes than this run together on any screen.
    """

    least_magnification: float = 0.25
    open_end: float = 5.0
    track_points: int = 33
    nearest_mm: float = 10.0
    most_planes: int = 300


LIMITS = DrawnLimits()


@dataclass(frozen=True, slots=True)
class LensPlace:
    """Where the lens stands for one magnification, from the plane of focus.

    Attributes
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    glass_mm : float
        Animal to the first glass.
    pupil_mm : float
        Animal to the entrance pupil.
    """

    magnification: float
    glass_mm: float
    pupil_mm: float


@dataclass(frozen=True, slots=True)
class Opening:
    """How wide the entrance pupil is at one f-number.

    Attributes
    ----------
    f_number : float
        As marked.
    width_mm : float
        Diameter; the cone from the animal to it is the one that makes the blur.
    """

    f_number: float
    width_mm: float


@dataclass(frozen=True, slots=True)
class FlashPlace:
    """Where the flash must stand for one step of its dial to be just right.

    Attributes
    ----------
    power : float
        Share of full power.
    name : str
        As the dial shows it.
    distance_mm : float
        Diffuser's front to the animal.
    """

    power: float
    name: str
    distance_mm: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """Lengths of one plan, all in millimetres at the animal's scale.

    Attributes
    ----------
    lens : LensPlace
        As planned.
    glass_known : bool
        False where the first glass is a thin lens's and may be off by half.
    track : tuple of LensPlace
        As the lens is moved through what the kit reaches, small to large.
    openings : tuple of Opening
        One for each marked f-number.
    opening_mm : float
        At the f-number planned.
    field_mm : tuple of float
        Width and height of what the frame holds.
    depth_mm : float
        Of the animal.
    near_mm, far_mm : float or None
        Depth of field before and behind the plane of focus; far is None where it has no end.
    planes_mm : tuple of float
        Planes of the sweep, positive toward the lens, around the middle of the animal; none
        where they are too many to be drawn.
    flash_mm : float or None
        Where the flash stands; None where the kit has none.
    flash_radius_mm : float
        Half the width of what shines.
    flash_places : tuple of FlashPlace
        One for each step of the dial, weakest first.
    """

    lens: LensPlace
    glass_known: bool
    track: tuple[LensPlace, ...]
    openings: tuple[Opening, ...]
    opening_mm: float
    field_mm: tuple[float, float]
    depth_mm: float
    near_mm: float
    far_mm: float | None
    planes_mm: tuple[float, ...]
    flash_mm: float | None
    flash_radius_mm: float
    flash_places: tuple[FlashPlace, ...]


def drawn(plan: Plan) -> Drawn:
    """Give the lengths from which a plan can be drawn to scale, at the f-number chosen.

    Parameters
    ----------
    plan : Plan
        The answer.

    Returns
    -------
    Drawn
        Nothing here is new: each is a number of the plan, or the same formula at the other
        settings that a handle can be moved to.
    """
    start, at = plan.given, plan.chosen
    lens = start.lens
    wide, tall = start.sensor_mm
    return Drawn(
        lens=LensPlace(lens.magnification, lens.working_distance_mm, lens.pupil_distance_mm),
        glass_known=lens.working_distance_source != "thin lens",
        track=_track(start),
        openings=tuple(Opening(n, _opening_mm(start, n)) for n in start.f_numbers),
        opening_mm=_opening_mm(start, at.f_number),
        field_mm=(
            optics.field_mm(wide, lens.magnification),
            optics.field_mm(tall, lens.magnification),
        ),
        depth_mm=start.wishes.depth_mm,
        near_mm=at.sharpness.near_mm,
        far_mm=at.sharpness.far_mm,
        planes_mm=_planes(at.sweep.frames, at.sweep.step_mm),
        flash_mm=None if at.flash is None else at.flash.distance_mm,
        flash_radius_mm=_radius_mm(start),
        flash_places=() if at.flash is None else flash_places(start, at.flash),
    )


def flash_places(given: Given, flash: Flash) -> tuple[FlashPlace, ...]:
    """Tell where the flash must stand for each step of its dial.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    flash : Flash
        As it stands now; its light falls with distance squared plus the diffuser's half width
        squared.

    Returns
    -------
    tuple of FlashPlace
        Weakest first; steps that would have to stand on the animal are left out.
    """
    kit = given.kit
    step = kit.power_step_stops or FLASH_STANDINS.power_step_stops
    smallest = kit.smallest_power or FLASH_STANDINS.smallest_power
    radius = _radius_mm(given)
    # as far as the same light reaches when the flash gives all it has
    reach = (flash.distance_mm**2 + radius**2) / flash.power
    count = math.floor(-math.log2(smallest) / step + 1e-6)
    found = []
    for number in range(count, -1, -1):
        power = 2.0 ** (-number * step)
        squared = reach * power - radius**2
        if squared >= LIMITS.nearest_mm**2:
            found.append(FlashPlace(power, power_named(power), math.sqrt(squared)))
    return tuple(found)


def _radius_mm(given: Given) -> float:
    kit = given.kit
    if kit.diffuser_radius_mm is not None:
        return kit.diffuser_radius_mm
    return 0.0 if kit.diffuser_stops == 0 else FLASH_STANDINS.diffuser_radius_mm


def _opening_mm(given: Given, f_number: float) -> float:
    """Width of the pupil whose cone at the animal has the blur slope m / N_eff."""
    lens = given.lens
    return lens.pupil_distance_mm * lens.magnification / given.effective(f_number)


def _track(given: Given) -> tuple[LensPlace, ...]:
    low, high = given.reach
    first = max(low, LIMITS.least_magnification)
    last = LIMITS.open_end if math.isinf(high) else high
    first = min(first, given.lens.magnification)
    last = min(max(last, given.lens.magnification), DEFAULTS.max_magnification)
    count = LIMITS.track_points if last > first else 1
    ratio = (last / first) ** (1.0 / max(count - 1, 1))
    found = []
    for number in range(count):
        m = first * ratio**number
        lens = lens_at(given.kit, m, beyond=True)
        found.append(LensPlace(m, lens.working_distance_mm, lens.pupil_distance_mm))
    return tuple(found)


def _planes(frames: int, step_mm: float) -> tuple[float, ...]:
    if frames > LIMITS.most_planes:
        return ()
    first = 0.5 * (frames - 1) * step_mm
    return tuple(first - number * step_mm for number in range(frames))
