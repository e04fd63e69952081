"""Thin-lens close-up geometry agrees with a ray trace of published lenses by rayoptics."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from haltere import optics

Surface = tuple[float, float, float]  # radius, thickness behind, index behind

# The first double Gauss, US patent 583,336 (P. Rudolph, 1897), example 2, with indices of the
# nearest glasses of today; symmetric about its stop.
SYMMETRIC: list[Surface] = [
    (14.1615, 1.386, 1.57250),
    (69.4080, 0.117, 1.0),
    (16.1955, 2.313, 1.57250),
    (-19.6650, 1.386, 1.57956),
    (8.7930, 2.313, 1.0),
    (0.0, 2.313, 1.0),
    (-8.7930, 1.386, 1.57956),
    (19.6650, 2.313, 1.57250),
    (-16.1955, 0.117, 1.0),
    (-69.4080, 1.386, 1.57250),
    (-14.1615, 40.0, 1.0),
]
# The double Gauss f/2 that design programs ship as their sample lens ("available glasses").
FAST: list[Surface] = [
    (56.20238, 8.75, 1.62229),
    (152.28580, 0.5, 1.0),
    (37.68262, 12.5, 1.60738),
    (0.0, 3.8, 1.60342),
    (24.23130, 16.36944, 1.0),
    (0.0, 13.74796, 1.0),
    (-28.37731, 3.8, 1.60342),
    (0.0, 11.0, 1.62041),
    (-37.92546, 0.5, 1.0),
    (177.41176, 7.0, 1.62041),
    (-79.41143, 60.0, 1.0),
]
STOP = 5
Thin = tuple[float, float]  # power in 1/mm, distance to the lens behind in mm
FAR = 1e10


def turned(lens: list[Surface]) -> list[Surface]:
    """Put the lens on the other way round, as with a reversing ring."""
    thickness = [*(t for _, t, _ in lens[-2::-1]), lens[-1][1]]
    index = [*(n for _, _, n in lens[-2::-1]), 1.0]
    radii = [-r if r else 0.0 for r, _, _ in lens][::-1]
    return list(zip(radii, thickness, index, strict=True))


LENSES = {"symmetric": SYMMETRIC, "fast": FAST, "fast, reversed": turned(FAST)}


@dataclass(frozen=True, slots=True)
class Trace:
    """First-order data and the height of the edge ray at the stop."""

    data: Any
    edge_at_stop: float
    model: Any
    length_mm: float


def traced(
    lens: list[Surface],
    front_mm: float,
    *,
    stop: int = STOP,
    thin: tuple[float, float] | None = None,
) -> Trace:
    """Trace a lens with an entrance pupil of 10 mm, a thin lens of some power at will before it."""
    from rayoptics.oprops.thinlens import ThinLens
    from rayoptics.optical.opticalmodel import OpticalModel
    from rayoptics.raytr.opticalspec import FieldSpec, PupilSpec, WvlSpec
    from rayoptics.seq.gap import Gap

    model = OpticalModel(radius_mode=True)
    rows, spec = model["seq_model"], model["optical_spec"]
    spec["pupil"] = PupilSpec(spec, key=["object", "epd"], value=10.0)
    spec["fov"] = FieldSpec(
        spec, key=["object", "height"], value=1.0, flds=[0.0, 1.0], is_relative=True
    )
    spec["wvls"] = WvlSpec([(587.56, 1.0)], ref_wl=0)
    rows.gaps[0].thi = front_mm
    rows.do_apertures = False
    if thin:
        rows.insert(ThinLens(power=thin[0]), Gap(thin[1]))
    for at, (radius, thickness, index) in enumerate(lens):
        rows.add_surface([radius, thickness, index, 60.0] if index > 1 else [radius, thickness])
        if at == stop:
            rows.set_stop()
    model.update_model()
    rays = model["analysis_results"]["parax_data"]
    return Trace(rays.fod, rays.ax_ray[rows.stop_surface][0], model, rows.overall_length())


@dataclass(frozen=True, slots=True)
class Bare:
    """What the formulas are told of a lens: traced with the subject far away."""

    focal_mm: float
    pupil_magnification: float
    front_focal_point_mm: float
    front_principal_mm: float
    separation_mm: float
    pupil_mm: float
    f_number: float
    stop_radius: float


def bare(lens: list[Surface]) -> Bare:
    far = traced(lens, FAR)
    return Bare(
        focal_mm=far.data.efl,
        pupil_magnification=far.data.exp_radius / far.data.enp_radius,
        front_focal_point_mm=far.data.ffl,
        front_principal_mm=far.data.pp1,
        separation_mm=far.data.pp_sep,
        pupil_mm=far.data.enp_dist,
        f_number=far.data.efl / 10.0,
        stop_radius=far.edge_at_stop,
    )


def seen_f_number(close: Trace, stop_radius: float) -> float:
    """Scale the edge ray to the stop's fixed rim: paraxial rays scale."""
    return abs(float(close.data.fno)) * close.edge_at_stop / stop_radius


def test_the_designs_are_unlike_in_their_pupils() -> None:
    pupils = {name: bare(lens).pupil_magnification for name, lens in LENSES.items()}
    assert pupils["symmetric"] == pytest.approx(1.0, abs=1e-6)
    assert pupils["fast"] == pytest.approx(1.1464, abs=1e-3)
    assert pupils["fast, reversed"] == pytest.approx(1 / pupils["fast"], rel=1e-6)


@pytest.mark.parametrize("m", [0.3, 1.0, 2.5])
@pytest.mark.parametrize("name", LENSES)
def test_a_lens_at_its_working_distance_has_the_stated_geometry(name: str, m: float) -> None:
    lens = LENSES[name]
    one = bare(lens)
    distance = optics.working_distance_mm(one.focal_mm, m, one.front_focal_point_mm)
    close = traced(lens, distance)
    p = one.pupil_magnification
    assert abs(close.data.m) == pytest.approx(m, rel=1e-6)
    assert seen_f_number(close, one.stop_radius) == pytest.approx(
        optics.effective_f_number(one.f_number, m, p), rel=1e-6
    )
    assert distance + one.pupil_mm == pytest.approx(
        optics.plane_to_pupil_mm(one.focal_mm, m, p), rel=1e-6
    )
    assert distance + close.length_mm + close.data.img_dist == pytest.approx(
        optics.subject_to_sensor_mm(one.focal_mm, m, one.separation_mm), rel=1e-6
    )


@pytest.mark.parametrize(
    ("m0", "power", "gap"), [(0.0, 5.0, 10.0), (1.0, 5.0, 10.0), (1.0, 8.0, 3.0)]
)
@pytest.mark.parametrize("name", LENSES)
def test_a_thin_close_up_lens_gives_the_stated_magnification_and_no_loss_of_light(
    name: str, m0: float, power: float, gap: float
) -> None:
    lens = LENSES[name]
    one = bare(lens)
    f, d = one.focal_mm, gap + one.front_principal_mm
    distance = optics.subject_to_close_up_mm(f, m0, power, d)
    close = traced(lens, distance, thin=(power / 1000, gap))
    assert abs(close.data.m) == pytest.approx(optics.with_close_up(f, m0, power, d), rel=1e-6)
    assert seen_f_number(close, one.stop_radius) == pytest.approx(
        optics.effective_f_number(one.f_number, m0, one.pupil_magnification), rel=1e-6
    )
    assert close.data.enp_dist == pytest.approx(
        optics.pupil_through_close_up_mm(gap + one.pupil_mm, power), rel=1e-6
    )


def test_a_real_close_up_lens_of_glass_is_within_two_hundredths_of_the_thin_one() -> None:
    # a flat-backed singlet of crown glass, 8 dpt, 4 mm thick, 3 mm before the lens
    power, gap, index = 8.0, 3.0, 1.5168
    glass: list[Surface] = [(1000 * (index - 1) / power, 4.0, index), (0.0, gap, 1.0)]
    one = bare(FAST)
    f, d = one.focal_mm, gap + one.front_principal_mm
    # the bare lens at life size sees the animal where the close-up lens makes its image
    image_before_mm = optics.working_distance_mm(f, 1.0, one.front_focal_point_mm)
    distance = optics.subject_to_close_up_mm(f, 1.0, power, d)
    sharp = traced(FAST, image_before_mm).data.img_dist
    for _ in range(8):  # push the animal until the sensor, which stays put, sees it sharp
        close = traced([*glass, *FAST], distance, stop=STOP + 2)
        distance += (close.data.img_dist - sharp) / close.data.m**2
    assert close.data.img_dist == pytest.approx(sharp, abs=1e-3)
    assert abs(close.data.m) == pytest.approx(optics.with_close_up(f, 1.0, power, d), rel=0.02)


@pytest.mark.parametrize("m", [0.5, 1.0])
def test_real_edge_rays_at_f10_keep_the_effective_f_number_within_two_thousandths(
    m: float,
) -> None:
    from rayoptics.raytr.trace import trace_base

    one = bare(FAST)
    close = traced(FAST, optics.working_distance_mm(one.focal_mm, m, one.front_focal_point_mm))
    fields = close.model["optical_spec"]["fov"].fields
    # a ray from the middle of the animal through the rim of the entrance pupil
    edge = trace_base(close.model, [0.0, 1.0], fields[0], 587.56)
    sine = abs(float(edge[0][-1][1][1]))
    assert 1 / (2 * sine) == pytest.approx(
        optics.effective_f_number(one.f_number, m, one.pupil_magnification), rel=0.002
    )
