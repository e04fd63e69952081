"""How the numbers of the lens came about: magnification, f-number, distances, scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

from haltere import optics
from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.plan import Plan


def _magnification(plan: Plan) -> str:
    lens, kit = plan.given.lens, plan.given.kit
    tube = "" if kit.tube_mm is None else f" with {kit.tube_mm:g} mm of tube"
    parts = [f"the lens alone{tube} {lens.bare_magnification:.3g}:1"]
    if kit.close_up_dpt is not None:
        d = kit.close_up_separation_mm or 0.0
        f, m0 = lens.focal_mm, lens.bare_magnification
        parts.append(
            f"close-up lens + ({f:.3g} x (1 + {m0:.3g}) - {m0:.3g} x {d:g}) x "
            f"{kit.close_up_dpt:g} / 1000"
        )
    if kit.converter is not None:
        parts.append(f"converter x {kit.converter:g}")
    return ", ".join(parts) + f" = {lens.magnification:.3g}:1"


def _most(plan: Plan) -> str:
    low, high = plan.given.reach
    if high == float("inf"):
        return "not known: the kit does not say how close the lens goes (magnification_max)"
    own = plan.given.kit.magnification_max
    return f"lens alone {own:g}:1, with what is attached from {low:.2g}:1 to {high:.3g}:1"


def _marked(plan: Plan) -> str:
    return f"f/{plan.chosen.f_number:g}: {plan.chosen.reason}"


def _factor(plan: Plan) -> str:
    lens, kit = plan.given.lens, plan.given.kit
    if kit.measured_effective_f_number is not None and kit.f_number is not None:
        return f"{lens.f_number_factor:.3g}, from what you measured"
    converter = "" if kit.converter is None else f" x {kit.converter:g}"
    return (
        f"(1 + {lens.bare_magnification:.3g} / {kit.pupil_magnification:g}){converter} = "
        f"{lens.f_number_factor:.3g}"
    )


def _effective(plan: Plan) -> str:
    ne = plan.given.effective(plan.chosen.f_number)
    return f"{plan.chosen.f_number:g} x {_factor(plan)}: {ne:.3g}"


def _stops(plan: Plan) -> str:
    return (
        f"2 log2({plan.given.lens.f_number_factor:.3g}) = "
        f"{plan.chosen.sharpness.exposure_stops:.2g} stops"
    )


def _working(plan: Plan) -> str:
    lens, kit = plan.given.lens, plan.given.kit
    at = f"{lens.working_distance_mm:.0f} mm"
    if lens.working_distance_source == "close-up lens":
        d, f, m0 = kit.close_up_separation_mm or 0.0, lens.focal_mm, lens.bare_magnification
        away = "infinity" if m0 == 0.0 else f"({f:.3g} x (1 + 1/{m0:.3g}) - {d:g})"
        return f"1 / ({kit.close_up_dpt:g} / 1000 + 1 / {away}) = {at} before the close-up lens"
    if lens.working_distance_source == "measured":
        return f"from the {kit.working_distance_mm:g} mm of the kit at its closest: {at}"
    return (
        f"{lens.focal_mm:.3g} mm x (1 + 1/{lens.bare_magnification:.3g}) = {at} from the front "
        "principal point; the front glass may be nearer or farther by half"
    )


def _room_assumes(plan: Plan) -> str:
    if plan.given.kit.close_up_dpt is not None:
        return (
            "the power that is engraved on the close-up lens, and how far it sits from the lens's "
            "principal point (close_up_separation_mm)"
        )
    if plan.given.lens.working_distance_source == "measured":
        return "that the front glass stays where it is when the lens focuses"
    return (
        "where the lens's principal point lies: no formula knows; measure it once at the closest "
        "setting and put it into the kit"
    )


def _field(plan: Plan) -> str:
    m, (wide, high) = plan.given.lens.magnification, plan.given.sensor_mm
    return (
        f"{wide:g} x {high:g} mm / {m:.3g} = {optics.field_mm(wide, m):.3g} x "
        f"{optics.field_mm(high, m):.3g} mm"
    )


def _scale(plan: Plan) -> str:
    m, pitch = plan.given.lens.magnification, plan.given.pitch_mm
    return f"{1000 * pitch:.3g} µm / {m:.3g} = {1000 * pitch / m:.3g} µm"


def _pupil(plan: Plan) -> str:
    lens, kit = plan.given.lens, plan.given.kit
    at = f"{lens.pupil_distance_mm:.4g} mm"
    if lens.pupil_distance_source == "measured":
        return f"{at}, as your kit says"
    if lens.pupil_distance_source == "close-up lens":
        return f"animal to close-up lens + entrance pupil as seen through it = {at}"
    return (
        f"{lens.focal_mm:.3g} x (1/{lens.bare_magnification:.3g} + "
        f"1/{kit.pupil_magnification:g}) = {at}"
    )


def _coc(plan: Plan) -> str:
    rule, rules = plan.given.wishes.coc_rule, plan.given.cocs_mm
    told = ", ".join(f"{name} {1000 * c:.2g} µm" for name, c in rules.items())
    return f"{told}; here the rule is '{rule}': {1000 * plan.given.coc_mm:.2g} µm"


_ATTACHED = ("kit.focal_mm", "kit.close_up_dpt", "kit.close_up_separation_mm", "kit.tube_mm")
_F_NUMBER = (
    "wishes.f_number",
    "wishes.magnification",
    "kit.pupil_magnification",
    "kit.converter",
    *_ATTACHED,
)
_KINGSLAKE = "R. Kingslake, Optics in Photography, 1992, from memory; checked by ray trace"
_TRACED = "derived, checked by ray trace of published lenses"

EXPLANATIONS: tuple[Explanation, ...] = (
    Explanation(
        "magnification",
        "How large the animal is on the sensor",
        "m = (m0 + (f (1 + m0) - m0 d) P / 1000) x converter; m0 = lens alone + tube / f",
        _magnification,
        ("wishes.magnification",),
        "focal length where you use it: many lenses get shorter as they come close",
        f"D. Jacobson, Lens FAQ, 1996 (tube); close-up lens {_TRACED}",
    ),
    Explanation(
        "magnification_max",
        "How large the kit can show an animal at most",
        "the same at the closest setting of the lens",
        _most,
        ("kit.magnification_max", *_ATTACHED, "kit.converter"),
        "the focal length at the closest setting, not the engraved one",
        f"D. Jacobson, Lens FAQ, 1996 (tube); close-up lens {_TRACED}",
    ),
    Explanation(
        "f_number_marked",
        "The f-number to set on the ring",
        "what you asked for, or else your kit's, or else the one recommended for a sweep",
        _marked,
        ("wishes.f_number", "kit.f_number", "wishes.magnification", "wishes.depth_mm"),
        "cameras that show the effective f-number up close show another number",
        "common practice, no source",
    ),
    Explanation(
        "f_number_effective",
        "The f-number that the sensor sees up close",
        "N (1 + m0 / p) x converter; m0 of the lens without its close-up lens, which costs no "
        "light",
        _effective,
        _F_NUMBER,
        "pupil magnification p; lenses between 0.7 and 1.6 differ by a stop at life size",
        _KINGSLAKE,
    ),
    Explanation(
        "exposure_stops",
        "Light lost because you are close",
        "2 log2(N_eff / N)",
        _stops,
        _F_NUMBER[1:],
        "pupil magnification p",
        _KINGSLAKE,
    ),
    Explanation(
        "working_distance_mm",
        "Room between lens and animal",
        "f (1 + 1/m0) without, 1 / (P / 1000 + 1 / (f (1 + 1/m0) - d)) with a close-up lens",
        _working,
        ("kit.working_distance_mm", "wishes.magnification", *_ATTACHED),
        _room_assumes,
        _TRACED,
    ),
    Explanation(
        "field_mm",
        "How much of the world the frame holds",
        "sensor / m",
        _field,
        ("wishes.magnification", "kit.sensor_width_mm", "kit.sensor_height_mm"),
        "the magnification is what you think it is; a picture of a rule tells",
        "derived",
    ),
    Explanation(
        "um_per_px",
        "How much of the animal a pixel covers",
        "pixel width / m",
        _scale,
        ("wishes.magnification", "kit.sensor_width_mm", "kit.width_px"),
        "the magnification is what you think it is; a picture of a rule tells",
        "derived",
    ),
    Explanation(
        "pupil_distance_mm",
        "How far the lens's entrance pupil lies from the plane of focus",
        "f (1/m0 + 1/p); with a close-up lens, as seen through it",
        _pupil,
        ("kit.pupil_distance_mm", "wishes.magnification", "kit.pupil_magnification", *_ATTACHED),
        "a lens that focuses as a whole; an inner-focusing one may differ by half: calibrate it",
        _TRACED,
    ),
    Explanation(
        "coc_mm",
        "The largest disc on the sensor that passes as a point",
        "the kit's number; or 2 pixels; or diagonal / 1500; or what print and eye hide: "
        "a z tan(1') / enlargement",
        _coc,
        (
            "kit.coc_mm",
            "kit.sensor_width_mm",
            "kit.width_px",
            "wishes.print_width_mm",
            "wishes.viewing_mm",
            "wishes.acuity_arcmin",
            "wishes.crop",
        ),
        "how closely the picture is looked at; the rules differ by a factor of 3",
        "R. Lyon, 2006 (diagonal); derived (pixels, print); common practice (the kit's)",
    ),
)
