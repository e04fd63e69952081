"""A plan as the JSON that other programs rely on."""

from __future__ import annotations

import json
from dataclasses import asdict, is_dataclass
from typing import TYPE_CHECKING, Any

from haltere import optics

if TYPE_CHECKING:
    from collections.abc import Sequence

    from haltere.plan.plan import At, Plan
    from haltere.plan.sayings import Saying

NO_PLACE = "no place was given: --latitude and --longitude tell the hours"


def as_dict(plan: Plan) -> dict[str, Any]:
    """Give a plan as plain numbers and words.

    Parameters
    ----------
    plan : Plan
        The answer.

    Returns
    -------
    dict
        Keys as documented; lp/mm and airy on the sensor, everything else in its key's unit.
    """
    start, lens, at = plan.given, plan.given.lens, plan.chosen
    sharp = at.sharpness
    high = start.reach[1]
    return {
        "magnification": lens.magnification,
        "magnification_min": start.reach[0],
        "magnification_max": high if high != float("inf") else None,
        "bare_magnification": lens.bare_magnification,
        "f_number_marked": at.f_number,
        "f_number_effective": start.effective(at.f_number),
        "exposure_stops": sharp.exposure_stops,
        "working_distance_mm": lens.working_distance_mm,
        "working_distance_source": lens.working_distance_source,
        "pupil_distance_mm": lens.pupil_distance_mm,
        "pupil_distance_source": lens.pupil_distance_source,
        "field_mm": [optics.field_mm(side, lens.magnification) for side in start.sensor_mm],
        "um_per_px": 1000.0 * optics.field_mm(start.pitch_mm, lens.magnification),
        "coc_mm": start.coc_mm,
        "coc_rule": start.wishes.coc_rule,
        "cocs_mm": start.cocs_mm,
        "depth_of_field_mm": {
            "geometric": sharp.geometric_mm,
            "wave": sharp.wave_mm,
            "combined": sharp.combined_mm,
        },
        "airy_um": sharp.airy_um,
        "cutoff_lp_mm": sharp.cutoff_lp_mm,
        "mtf": [{"lp_mm": lp_mm, "value": value} for lp_mm, value in sharp.mtf],
        "nyquist_share": sharp.nyquist_share,
        "effective_megapixels": sharp.effective_megapixels,
        "best_f_number": plan.aperture.best_f_number,
        "best_flat_f_number": plan.aperture.best_flat_f_number,
        "sweep_f_number": plan.aperture.sweep_f_number,
        "step_mm": at.sweep.step_mm,
        "frames": at.sweep.frames,
        "push_mm_s": at.sweep.push_mm_s,
        "iso": start.iso,
        "shutter_s": start.shutter_s,
        "flash": _flash(at),
        "ambient_stops": at.ambient.stops,
        "blur_px": at.motion.blur_px,
        "sun": {"note": NO_PLACE} if plan.hours is None else _plain(plan.hours),
        "aperture": _plain(plan.aperture),
        "sharpness": _plain(sharp),
        "sweep": _plain(at.sweep),
        "burst": _plain(at.burst),
        "ambient": _plain(at.ambient),
        "motion": _plain(at.motion),
        "crop": _plain(plan.crop),
        "settings": {"single": _setting(plan, plan.single), "sweep": _setting(plan, plan.sweep)},
        "assumed": list(plan.assumed),
        "warnings": [{"code": one.code, "text": one.text} for one in plan.warnings],
    }


def as_json(plan: Plan, answered: Sequence[Saying] | None = None) -> str:
    """Give a plan as JSON text.

    Parameters
    ----------
    plan : Plan
        The answer.
    answered : sequence of Saying, optional
        Answers to the sayings of the craft, added under `sayings`.

    Returns
    -------
    str
        Indented, with a line end.
    """
    document = as_dict(plan)
    if answered is not None:
        document["sayings"] = [asdict(one) for one in answered]
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _flash(at: At) -> dict[str, Any]:
    if at.flash is None:
        return {"power": None, "duration_s": None}
    plain: dict[str, Any] = _plain(at.flash)
    return plain


def _setting(plan: Plan, at: At) -> dict[str, Any]:
    """Give what one sets on the camera, and what it yields."""
    return {
        "f_number": at.f_number,
        "f_number_effective": plan.given.effective(at.f_number),
        "reason": at.reason,
        "flash_power": None if at.flash is None else at.flash.power_step,
        "depth_of_field_mm": at.sweep.depth_of_field_mm,
        "step_mm": at.sweep.step_mm,
        "frames": at.sweep.frames,
        "push_mm_s": at.sweep.push_mm_s,
        "passes": at.sweep.passes,
        "ambient_stops": at.ambient.stops,
        "effective_megapixels": at.sharpness.effective_megapixels,
        "frame_chance": at.burst.frame_chance,
    }


def _plain(value: Any) -> Any:
    """Turn dataclasses, tuples and dates into what JSON knows."""
    if is_dataclass(value) and not isinstance(value, type):
        return {key: _plain(inner) for key, inner in asdict(value).items()}
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner) for inner in value]
    if hasattr(value, "isoformat"):
        return value.isoformat()
    return value
