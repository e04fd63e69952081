"""What lens, tube, close-up lens and converter make together at one magnification."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from haltere import optics
from haltere.errors import UsageError
from haltere.kit.kit import Kit

DistanceSource = Literal["measured", "close-up lens", "thin lens"]

_EQUAL = 1e-9
_FAR_MM = 5000.0  # a pupil so far away leaves the picture's scale alone, as one at infinity does
_SPOKEN = 1.01  # people round: 1.6:1 may be said where 1.597:1 is the end


@dataclass(frozen=True, slots=True)
class LensSetting:
    """Everything in front of the sensor, set for one magnification.

    Attributes
    ----------
    magnification : float
        Size on the sensor over size on the animal, with everything attached.
    bare_magnification : float
        What lens and tube would give without close-up lens and converter; 0 at infinity.
    focal_mm : float
        Focal length of the lens at this setting.
    f_number_factor : float
        Effective over marked f-number.
    pupil_distance_mm : float
        Plane of focus to entrance pupil, as seen from the animal.
    pupil_distance_source : {"measured", "close-up lens", "thin lens"}
        Whether it was given, or follows from the formulas.
    working_distance_mm : float
        Animal to the first glass.
    working_distance_source : {"measured", "close-up lens", "thin lens"}
        The thin-lens value (to the front principal point) may be off by half.
    """

    magnification: float
    bare_magnification: float
    focal_mm: float
    f_number_factor: float
    pupil_distance_mm: float
    pupil_distance_source: DistanceSource
    working_distance_mm: float
    working_distance_source: DistanceSource


def reach(kit: Kit) -> tuple[float, float]:
    """Give the smallest and the largest magnification of a kit with everything attached.

    Parameters
    ----------
    kit : Kit
        Needs `focal_mm` when a tube or close-up lens is attached.

    Returns
    -------
    low, high : float
        0 when the kit reaches infinity; high is infinite when the kit doesn't say how close the
        lens goes alone.

    Raises
    ------
    UsageError
        When a tube or close-up lens is attached and the focal length unknown.
    """
    most = math.inf if kit.magnification_max is None else kit.magnification_max
    return _total(kit, 0.0), (math.inf if math.isinf(most) else _total(kit, most))


def lens_at(kit: Kit, magnification: float, *, beyond: bool = False) -> LensSetting:
    """Set the kit for a magnification.

    A tube stands between lens and converter, a converter next to the camera, a close-up lens in
    front. A lens that gets shorter is taken to do so evenly with its magnification.

    Parameters
    ----------
    kit : Kit
        Needs `focal_mm`.
    magnification : float
        Wanted, with everything attached.
    beyond : bool, optional
        Go on beyond the largest magnification, as if the lens could be drawn out further.

    Returns
    -------
    LensSetting
        How the lens must be set, and what follows.

    Raises
    ------
    UsageError
        When the focal length is unknown, or the kit can't reach the magnification.
    """
    low, high = reach(kit)
    if magnification < low / _SPOKEN or (magnification > high * _SPOKEN and not beyond):
        raise UsageError(_out_of_reach(magnification, low, high))
    own = _own_for(kit, magnification)
    focal = focal_at(kit, own)
    bare = own + _tube(kit, focal)
    factor = _factor(kit, magnification, bare)
    pupil, pupil_source = _pupil(kit, magnification, focal, bare)
    distance, distance_source = _working(kit, focal, bare, own)
    return LensSetting(
        magnification, bare, focal, factor, pupil, pupil_source, distance, distance_source
    )


def focal_at(kit: Kit, own_magnification: float) -> float:
    """Give the focal length of the lens at its own magnification.

    Parameters
    ----------
    kit : Kit
        `focal_mm` holds at `magnification_max`, `engraved_focal_mm` at infinity.
    own_magnification : float
        Of the lens alone, without anything attached.

    Returns
    -------
    float
        Millimetres; between the two in proportion (assumed: no maker says how it falls).

    Raises
    ------
    UsageError
        When the kit says no focal length.
    """
    if kit.focal_mm is None:
        raise UsageError(
            "the focal length is not known; give --focal MM or focal_mm under [lens] in the kit"
        )
    if kit.engraved_focal_mm is None or kit.magnification_max is None:
        return kit.focal_mm
    share = min(own_magnification / kit.magnification_max, 1.0)
    return kit.engraved_focal_mm + (kit.focal_mm - kit.engraved_focal_mm) * share


def f_number_factor_at(kit: Kit, magnification: float) -> float:
    """Give effective over marked f-number, as far as a kit tells.

    Parameters
    ----------
    kit : Kit
        A plain lens needs nothing but its pupil magnification.
    magnification : float
        With everything attached; one out of reach of what is attached is refused.

    Returns
    -------
    float
        1 + m/p of the lens alone, times the converter; a close-up lens changes nothing.
    """
    if kit.close_up_dpt is not None:
        return lens_at(kit, magnification).f_number_factor
    return _factor(kit, magnification, magnification / (kit.converter or 1.0))


def _factor(kit: Kit, magnification: float, bare: float) -> float:
    """Give N_eff / N; what was measured wins, and stands for other settings as a p of its own."""
    p, converter = kit.pupil_magnification, kit.converter or 1.0
    measured, marked, at = kit.measured_effective_f_number, kit.f_number, kit.magnification
    if measured and marked and at and measured > marked * converter:
        if math.isclose(at, magnification):
            return measured / marked
        if kit.close_up_dpt is None:
            p = (at / converter) / (measured / marked / converter - 1.0)
    return (1.0 + bare / p) * converter


def _tube(kit: Kit, focal_mm: float) -> float:
    return 0.0 if kit.tube_mm is None else kit.tube_mm / focal_mm


def _total(kit: Kit, own: float) -> float:
    """Magnification with everything attached, the lens alone being set to `own`."""
    total = own
    if kit.tube_mm is not None or kit.close_up_dpt is not None:
        focal = focal_at(kit, own)
        total = own + _tube(kit, focal)
        if kit.close_up_dpt is not None:
            total = optics.with_close_up(
                focal, total, kit.close_up_dpt, kit.close_up_separation_mm or 0.0
            )
    return total * (kit.converter or 1.0)


def _own_for(kit: Kit, magnification: float) -> float:
    """Find the setting of the lens alone by halving: the total grows with it."""
    if kit.tube_mm is None and kit.close_up_dpt is None:
        return magnification / (kit.converter or 1.0)
    low, high = 0.0, kit.magnification_max or magnification
    if _total(kit, high) * _SPOKEN < magnification:  # drawn out beyond its end
        high = magnification
    if _total(kit, low) >= magnification * (1 - _EQUAL):
        return low
    while high - low > _EQUAL * max(high, 1.0):
        middle = (low + high) / 2
        low, high = (middle, high) if _total(kit, middle) < magnification else (low, middle)
    return high


def _pupil(
    kit: Kit, magnification: float, focal: float, bare: float
) -> tuple[float, DistanceSource]:
    if kit.pupil_distance_mm is not None and kit.magnification in (None, magnification):
        return kit.pupil_distance_mm, "measured"
    p = kit.pupil_magnification
    if kit.close_up_dpt is None:
        return optics.plane_to_pupil_mm(focal, bare, p), "thin lens"
    separation = kit.close_up_separation_mm or 0.0
    behind = separation + focal * (1.0 / p - 1.0)
    seen = optics.pupil_through_close_up_mm(behind, kit.close_up_dpt)
    to_close_up = optics.subject_to_close_up_mm(focal, bare, kit.close_up_dpt, separation)
    distance = to_close_up + seen
    if not 0 < distance < _FAR_MM:  # the pupil lies in the close-up lens's focus, or beyond
        distance = _FAR_MM
    return distance, "close-up lens"


def _working(kit: Kit, focal: float, bare: float, own: float) -> tuple[float, DistanceSource]:
    if kit.close_up_dpt is not None:
        separation = kit.close_up_separation_mm or 0.0
        to_glass = optics.subject_to_close_up_mm(focal, bare, kit.close_up_dpt, separation)
        return to_glass, "close-up lens"
    if kit.working_distance_mm is not None and kit.magnification_max is not None:
        # the front focal point stays where it is on the lens, the animal moves by f/m
        closest = focal_at(kit, kit.magnification_max)
        moved = focal / bare - closest / kit.magnification_max
        if kit.working_distance_mm + moved > 0:
            return kit.working_distance_mm + moved, "measured"
    return focal * (1.0 + 1.0 / bare), "thin lens"


def _out_of_reach(magnification: float, low: float, high: float) -> str:
    if magnification > high:
        return (
            f"{magnification:.3g}:1 is out of reach; what is attached goes to {high:.3g}:1. "
            "Add a close-up lens, a tube or a converter, or ask for less"
        )
    return (
        f"{magnification:.3g}:1 is out of reach; with what is attached the lens starts at "
        f"{low:.3g}:1. Take something off, or ask for more"
    )
