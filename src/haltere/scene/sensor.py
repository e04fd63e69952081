"""What the sensor and the camera make of light: noise, tone curve, mosaic."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Light = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Sensor:
    """Noise of a sensor at one ISO setting.

    The defaults give, after JPEG compression, the noise of the frames made with another renderer:
    0.5-0.6 grey levels of standard deviation in dim even background (grey 24-72).

    Attributes
    ----------
    full_electrons : float
        Electrons at linear light 1.
    read_electrons : float
        Read noise.
    """

    full_electrons: float = 24000.0
    read_electrons: float = 5.0


def _curve() -> NDArray[np.uint8]:
    x = np.arange(65536) / 65535.0
    y = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.floor(y * 255.0 + 0.5), dtype=np.uint8)


_CURVE = _curve()


def add_noise(light: Light, sensor: Sensor, seed: int) -> Light:
    """Linear light with shot and read noise, same shape.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, ...)
        Linear light, 1 = white.
    sensor : Sensor
        Noise.
    seed : int
        Another seed for each frame.
    """
    rng = np.random.Generator(np.random.SFC64(seed))
    e = np.float32(sensor.full_electrons)
    # beyond a few dozen electrons a normal distribution is a Poisson one for 8 bits
    sigma = np.sqrt(np.maximum(light, 0.0) * e + np.float32(sensor.read_electrons**2)) / e
    out = rng.standard_normal(light.shape, dtype=np.float32)
    out *= sigma
    out += light
    return out


def tone(light: Light) -> NDArray[np.uint8]:
    """Linear light to 8-bit values with the sRGB curve (IEC 61966-2-1).

    Parameters
    ----------
    light : ndarray of float32
        Linear light, any shape; cut to 0..1.
    """
    x = np.clip(light, 0.0, 1.0)
    x *= np.float32(65535.0)
    x += np.float32(0.5)
    return _CURVE[x.astype(np.uint16)]
