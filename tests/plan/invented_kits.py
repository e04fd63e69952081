"""Three invented kits that the plan's tests share: no one owns these."""

from __future__ import annotations

from haltere.kit import Kit
from haltere.plan.given import Given
from haltere.plan.given import given as given_of
from haltere.plan.wishes import wishes_of

SMALL = Kit(
    name="small",
    sensor_width_mm=17.3,
    sensor_height_mm=13.0,
    width_px=5184,
    height_px=3888,
    focal_mm=60.0,
    f_number_min=2.8,
    f_number_max=22.0,
    magnification_max=1.0,
)
MIDDLE = Kit(
    name="middle",
    sensor_width_mm=23.5,
    sensor_height_mm=15.6,
    width_px=6000,
    height_px=4000,
    focal_mm=75.0,
    f_number_min=2.8,
    f_number_max=22.0,
    magnification_max=1.0,
)
LARGE = Kit(
    name="large",
    sensor_width_mm=36.0,
    sensor_height_mm=24.0,
    width_px=6000,
    height_px=4000,
    focal_mm=100.0,
    f_number_min=2.8,
    f_number_max=32.0,
    magnification_max=1.0,
)
KITS = (SMALL, MIDDLE, LARGE)


def start(kit: Kit, **wishes: float | str) -> Given:
    """Put an invented kit and a few wishes together."""
    return given_of(kit, wishes_of(wishes))
