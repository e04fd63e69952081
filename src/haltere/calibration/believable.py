"""Whether a lens can be what was measured, before anything of it goes into a kit."""

from __future__ import annotations

from haltere.calibration.flat import RuleError
from haltere.calibration.numbers import NUMBERS
from haltere.calibration.sweep import SweepScale
from haltere.kit import Kit
from haltere.kit.capture import Capture
from haltere.optics import effective_f_number, plane_to_pupil_mm


def check_lens(
    sweep: SweepScale, taken: Capture, kit: Kit, pitch_mm: float, tilt_deg: float | None = None
) -> None:
    """Refuse numbers that no lens has: the rule or its tilt is not what was said.

    Parameters
    ----------
    sweep : SweepScale
        What was measured.
    taken : Capture
        Focal length and marked f-number of the pictures; what is unknown is not checked.
    kit : Kit
        What is attached, and the focal length at infinity.
    pitch_mm : float
        What was said of the marks' distance.
    tilt_deg : float, optional
        What was said of the tilt.

    Raises
    ------
    RuleError
        When effective f-number, pupil distance or entrance pupil lies outside what lenses have.
    """
    why = _unlike_lenses(sweep, taken, kit)
    if why is None:
        return
    asked = f"--rule {pitch_mm:g}"
    if tilt_deg is not None:
        asked = f"--tilt {tilt_deg:g} or {asked}"
    raise RuleError(
        f"{sweep.frames[0]}: no lens is like that, so nothing of it is offered for a kit: {why}; "
        f"is {asked} right, and are focal length and marked f-number what camera and kit say?"
    )


def _unlike_lenses(sweep: SweepScale, taken: Capture, kit: Kit) -> str | None:
    m, s, focal, f_number = (
        sweep.magnification, sweep.pupil_distance_mm, taken.focal_mm, taken.f_number,
    )  # fmt: skip
    # the formulas are for the lens alone or with tubes
    alone = kit.close_up_dpt is None and kit.converter is None
    if focal is not None and alone:
        thin = plane_to_pupil_mm(focal, m)
        if not 1.0 / NUMBERS.pupil_off <= s / thin <= NUMBERS.pupil_off:
            return (
                f"the entrance pupil would lie {s:.0f} mm from the plane of focus, where "
                f"{focal:g} mm at this magnification make {thin:.0f}"
            )
    effective, error = sweep.effective_f_number, 2.0 * sweep.effective_f_number_sigma
    if f_number is not None and alone:
        # marked f-numbers are rounded, and kept to a few per cent
        low = effective_f_number(f_number, m, NUMBERS.most_pupil) * (1.0 - NUMBERS.marked)
        high = effective_f_number(f_number, m, NUMBERS.least_pupil) * (1.0 + NUMBERS.marked)
        if effective + error < low or effective - error > high:
            return (
                f"the effective f-number would be {effective:.3g}, where a marked f/{f_number:g} "
                f"at this magnification makes {low:.3g} to {high:.3g}"
            )
    if focal is not None and f_number is not None:
        # m s / Ne is the width of the entrance pupil, wherever it lies: an error of --rule by a
        # factor of two is one of this width by two
        width, marked = m * s / effective, (kit.engraved_focal_mm or focal) / f_number
        if not 1.0 / NUMBERS.width_off <= width / marked <= NUMBERS.width_off:
            return (
                f"the entrance pupil would be {width:.3g} mm wide, where f/{f_number:g} makes "
                f"{marked:.3g}"
            )
    return None
