"""Kit and wishes put together: every number that the chapters of a plan start from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere import optics
from haltere.errors import UsageError
from haltere.kit import DEFAULTS, Kit, LensSetting, lens_at, reach
from haltere.plan.why import Explanation
from haltere.plan.wishes import Wishes

if TYPE_CHECKING:
    from haltere.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class Standins:
    """Numbers that stand in where neither kit nor call says one.

    Attributes
    ----------
    iso : float
        Common practice with flash, no source: low noise, and half the flash power of ISO 100.
    shutter_s : float
        A common shortest shutter time with flash (common practice, no source).
    unevenness : float
        Spread of hand-pushed steps over their mean (assumed; `haltere calibrate` measures yours).
    rate_fps : float
        A common burst rate (common practice, no source).
    f_number_min, f_number_max : float
        Marked range of a usual macro lens (common practice, no source).
    sharp_stops_down : float
        How far from its widest opening a lens is corrected well (common practice, no source).
    """

    iso: float = 200.0
    shutter_s: float = 1 / 200
    unevenness: float = 0.4
    rate_fps: float = 10.0
    f_number_min: float = 2.8
    f_number_max: float = 22.0
    sharp_stops_down: float = 2.0


STANDINS = Standins()


@dataclass(frozen=True, slots=True)
class Given:
    """What a plan starts from, complete and checked.

    Attributes
    ----------
    kit : Kit
        As the photographer says it.
    wishes : Wishes
        As asked for.
    lens : LensSetting
        The lens set for the magnification.
    reach : tuple of float
        Smallest and largest magnification of the kit; the largest may be infinite (unknown).
    sensor_mm : tuple of float
        Width, height.
    picture_px : tuple of int
        Width, height.
    pitch_mm : float
        Pixel width.
    coc_mm : float
        Circle of confusion that counts.
    cocs_mm : dict
        Circle of confusion by each rule: given, pixels, diagonal, print.
    iso, shutter_s, unevenness, rate_fps : float
        With what stands in.
    f_numbers : tuple of float
        Marked f-numbers of the lens in third stops, widest first.
    assumed : tuple of str
        One sentence for each number that nobody gave.
    """

    kit: Kit
    wishes: Wishes
    lens: LensSetting
    reach: tuple[float, float]
    sensor_mm: tuple[float, float]
    picture_px: tuple[int, int]
    pitch_mm: float
    coc_mm: float
    cocs_mm: dict[str, float]
    iso: float
    shutter_s: float
    unevenness: float
    rate_fps: float
    f_numbers: tuple[float, ...]
    assumed: tuple[str, ...]

    def effective(self, f_number: float) -> float:
        """Give the effective f-number of a marked one.

        Parameters
        ----------
        f_number : float
            As marked.

        Returns
        -------
        float
            At the sensor.
        """
        return f_number * self.lens.f_number_factor


MARKED = (
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0,
    9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0, 36.0, 40.0, 45.0, 51.0,
    57.0, 64.0,
)  # fmt: skip
"""f-numbers as engraved, in third stops (rounded by custom, common practice)."""


def given(kit: Kit, wishes: Wishes) -> Given:
    """Put kit and wishes together, and say what stands in.

    Parameters
    ----------
    kit : Kit
        Needs the sensor's sides, the picture's width and the focal length.
    wishes : Wishes
        What is to be planned.

    Returns
    -------
    Given
        The ground that the chapters stand on.

    Raises
    ------
    UsageError
        When something that nothing can stand in for is missing, or the magnification is below
        what the kit can be set to.
    """
    assumed: list[str] = []
    sensor, picture = _sensor(kit)
    m = kit.magnification if wishes.magnification is None else wishes.magnification
    if m is None:
        raise UsageError(
            "which magnification? Give --magnification M (2 for 2:1), or put it into the kit"
        )
    lens = lens_at(kit, m, beyond=True)
    if kit.pupil_magnification == 1.0 and kit.pupil_distance_mm is None:
        assumed.append("pupil magnification 1 (a symmetric lens)")
    if kit.close_up_dpt is not None and kit.close_up_separation_mm is None:
        assumed.append("the close-up lens sits at the lens's front principal point")
    if kit.coc_mm is None and wishes.coc_rule == "given":
        assumed.append(f"circle of confusion {DEFAULTS.coc_mm:g} mm")
    pitch = sensor[0] / picture[0]
    cocs = _cocs(kit, wishes, sensor, pitch)
    widest = kit.f_number_min or STANDINS.f_number_min
    smallest = kit.f_number_max or STANDINS.f_number_max
    if kit.f_number_min is None or kit.f_number_max is None:
        assumed.append(f"marked f-numbers from {widest:g} to {smallest:g}")
    iso, shutter, unevenness = wishes.iso, wishes.shutter_s, wishes.unevenness
    if iso is None:
        iso = max(STANDINS.iso, kit.iso_min or 0.0)
        assumed.append(f"ISO {iso:g}")
    if shutter is None:
        shutter = kit.sync_s or STANDINS.shutter_s
        if kit.sync_s is None:
            assumed.append(f"shutter time 1/{1 / shutter:.0f} s")
    if unevenness is None:
        unevenness = kit.push_unevenness
    if unevenness is None:
        unevenness = STANDINS.unevenness
        assumed.append(f"steps of a push spread by {100 * unevenness:.0f} % of their mean")
    rate = kit.burst_fps
    if rate is None:
        rate = STANDINS.rate_fps
        assumed.append(f"{rate:g} frames a second")
    usual = Wishes()
    if wishes.hand_spread_mm == usual.hand_spread_mm:
        assumed.append(f"a hand that wanders by {wishes.hand_spread_mm:g} mm")
    if wishes.animal_speed_mm_s == usual.animal_speed_mm_s:
        assumed.append(f"limbs that move {wishes.animal_speed_mm_s:g} mm/s")
    return Given(
        kit=kit,
        wishes=wishes,
        lens=lens,
        reach=reach(kit),
        sensor_mm=sensor,
        picture_px=picture,
        pitch_mm=pitch,
        coc_mm=cocs[wishes.coc_rule],
        cocs_mm=cocs,
        iso=iso,
        shutter_s=shutter,
        unevenness=unevenness,
        rate_fps=rate,
        f_numbers=tuple(n for n in MARKED if widest * 0.97 <= n <= smallest * 1.03) or (widest,),
        assumed=tuple(assumed),
    )


def _sensor(kit: Kit) -> tuple[tuple[float, float], tuple[int, int]]:
    wide, tall = kit.sensor_width_mm, kit.sensor_height_mm
    if tall is None and wide and kit.width_px and kit.height_px:
        tall = wide * kit.height_px / kit.width_px  # an uncropped picture has the sensor's shape
    if wide is None or tall is None:
        raise UsageError(
            "the sensor's size is not known; give --sensor 17.3x13, or format under [sensor] in "
            "the kit"
        )
    if kit.width_px is None:
        raise UsageError(
            "the picture's size is not known; give --pixels-wide, or width_px under [sensor] in "
            "the kit"
        )
    high = kit.height_px or round(kit.width_px * tall / wide)
    return (wide, tall), (kit.width_px, high)


def _cocs(
    kit: Kit, wishes: Wishes, sensor: tuple[float, float], pitch_mm: float
) -> dict[str, float]:
    seen_mm = optics.seen_size_mm(wishes.acuity_arcmin, wishes.viewing_mm)
    enlargement = wishes.print_width_mm / (sensor[0] * wishes.crop)
    return {
        "given": kit.coc_mm or DEFAULTS.coc_mm,
        "pixels": optics.coc_by_pixels_mm(pitch_mm),
        "diagonal": optics.coc_by_diagonal_mm(*sensor),
        "print": optics.coc_by_print_mm(seen_mm, enlargement),
    }


def _reach_told(plan: Plan) -> str:
    low, high = plan.given.reach
    return f"from {low:.3g}:1, lens at infinity, to {high:.3g}:1, lens at its closest"


def _bare_told(plan: Plan) -> str:
    lens = plan.given.lens
    return (
        f"{lens.magnification:g}:1 with everything attached needs {lens.bare_magnification:.3g}:1"
    )


def _cocs_told(plan: Plan) -> str:
    said = ", ".join(f"{rule} {1000 * c:.1f} µm" for rule, c in plan.given.cocs_mm.items())
    return f"{said}; this plan counts with {plan.given.wishes.coc_rule}"


_ATTACHED = ("kit.focal_mm", "kit.close_up_dpt", "kit.close_up_separation_mm", "kit.tube_mm")
_COCS = (
    "2 pixels; the sensor's diagonal / 1500; acuity x viewing distance / enlargement of the print"
)

EXPLANATIONS: tuple[Explanation, ...] = (
    Explanation(
        "magnification_min",
        "The smallest magnification with everything attached",
        "f / close-up focal length, or tube / f; times the converter",
        _reach_told,
        _ATTACHED,
        "the lens stands at infinity",
        "D. Jacobson, Lens FAQ, 1995 (tubes); derived and ray-traced (close-up lens)",
    ),
    Explanation(
        "bare_magnification",
        "How the lens itself must be set",
        "solved from m = m0 + (f (1 + m0) - m0 d) / f_closeup; the tube counts to the lens",
        _bare_told,
        ("wishes.magnification", *_ATTACHED),
        "the focal length that the lens really has at this setting",
        "derived; ray-traced with two lens designs",
    ),
    Explanation(
        "iso",
        "ISO speed of this plan",
        "as you say; 200 when nobody says",
        lambda plan: f"ISO {plan.given.iso:g}",
        ("wishes.iso",),
        "low enough for little noise, high enough to spare the flash",
        "common practice, no source",
    ),
    Explanation(
        "shutter_s",
        "Shutter time of this plan",
        "as you say; the shortest with flash when nobody says",
        lambda plan: f"1/{1 / plan.given.shutter_s:.0f} s",
        ("wishes.shutter_s", "kit.sync_s"),
        "the shortest keeps the daylight's ghost smallest",
        "common practice, no source",
    ),
    Explanation(
        "cocs_mm",
        "The blur that passes for sharp, by each rule",
        _COCS,
        _cocs_told,
        (),
        "they differ by a factor of two to three on the same sensor, and every depth of field "
        "with them",
        "R. Lyon, Depth of Field Outside the Box, 2006 (diagonal, seen); the print by acuity of "
        "one arc minute (common in textbooks)",
    ),
)
