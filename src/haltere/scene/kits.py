"""Invented bodies, lenses and settings, one per seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from haltere.kit import Kit
from haltere.scene.camera import Lens


@dataclass(frozen=True, slots=True)
class Outfit:
    """A camera body with a lens and the settings of one outing.

    Attributes
    ----------
    lens : Lens
        Optics and frame size.
    model, serial, lens_model : str
        What the files say of body and lens.
    iso : int
        ISO speed.
    exposure_s : float
        Shutter time.
    flash_s : float
        How long the flash burns.
    frames_per_s : float
        Rate in a burst.
    ambient_share : float
        Share of the light that is not flash.
    """

    lens: Lens
    model: str
    serial: str
    lens_model: str
    iso: int
    exposure_s: float
    flash_s: float
    frames_per_s: float
    ambient_share: float

    def as_kit(self, name: str) -> Kit:
        """Say what its owner would write into a kit file.

        Parameters
        ----------
        name : str
            What the owner calls it.

        Returns
        -------
        Kit
            Sensor, lens and the circle of confusion, in mm and pixels.
        """
        lens = self.lens
        return Kit(
            name=name,
            sensor_width_mm=lens.sensor_width_mm,
            width_px=lens.width_px,
            height_px=lens.height_px,
            focal_mm=lens.focal_mm,
            f_number=lens.f_number,
            magnification=lens.magnification,
            coc_mm=lens.coc_mm,
        )


def draw_outfit(
    rng: np.random.Generator,
    lens: Lens,
    iso: tuple[int, ...],
    frames_per_s: tuple[float, float],
) -> Outfit:
    """Draw an invented body and its settings for a lens.

    Parameters
    ----------
    rng : Generator
        Six numbers are drawn from it.
    lens : Lens
        Optics and frame size.
    iso : tuple of int
        One is drawn.
    frames_per_s : tuple of 2 floats
        Slowest and fastest rate in a burst.
    """
    return Outfit(
        lens,
        f"HL-{int(rng.integers(2, 9))}",
        f"{int(rng.integers(10**6, 10**7))}",
        f"{lens.focal_mm:.0f} mm macro",
        int(rng.choice(np.array(iso))),
        1.0 / 200.0,
        1.0 / float(rng.uniform(2500.0, 8000.0)),
        float(rng.uniform(*frames_per_s)),
        float(rng.uniform(0.01, 0.05)),
    )


def pick_outfit(seed: int, *, width_px: int, height_px: int) -> Outfit:
    """Give the outfit that belongs to a seed: magnification 1 to 2, usual marked f-numbers.

    Parameters
    ----------
    seed : int
        Another seed gives another outfit.
    width_px, height_px : int
        Frame size.
    """
    rng = np.random.default_rng([seed, 53])
    m = float(rng.choice(np.array([1.0, 1.25, 1.5, 2.0])))
    focal = float(rng.choice(np.array([50.0, 60.0, 65.0, 85.0, 100.0])))
    sensor = float(rng.choice(np.array([17.3, 17.3, 17.3, 22.5])))
    # stops at which an animal that fills the frame is some dozen depths of field deep
    stops = {1.0: (10.0, 11.0, 13.0), 1.25: (10.0, 11.0), 1.5: (9.0, 10.0, 11.0), 2.0: (8.0, 9.0)}[
        m
    ]
    n = float(rng.choice(np.array(stops)))
    lens = Lens(m, focal, n, sensor, width_px, height_px)
    return Outfit(
        lens,
        f"HL-{int(rng.integers(2, 9))}",
        f"{int(rng.integers(10**6, 10**7))}",
        f"{focal:.0f} mm macro",
        int(rng.choice(np.array([100, 200, 400]))),
        1.0 / float(rng.choice(np.array([160.0, 200.0, 250.0]))),
        1.0 / float(rng.uniform(2500.0, 8000.0)),
        float(rng.uniform(8.0, 12.0)),
        float(rng.uniform(0.015, 0.04)),
    )
