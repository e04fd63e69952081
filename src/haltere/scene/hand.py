"""How a hand holds the camera: sway, release, tremor and roll, as smooth functions of time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HandHabits:
    """Sizes (standard deviations) and bands of a hand's movements.

    The bands are what the requirements name; the sizes give about the sway, roll and tilt of the
    set made with the other renderer (frames 0.1-0.8 mm apart sideways, half a degree of roll).
    """

    sway_mm: float = 0.22
    sway_hz: tuple[float, float] = (0.05, 0.4)
    pulse_mm: float = 0.035
    pulse_hz: tuple[float, float] = (2.0, 4.0)
    tremor_mm: float = 0.008
    tremor_hz: tuple[float, float] = (8.0, 12.0)
    roll_rad: float = 0.0075
    tilt_rad: float = 0.0016
    steadiness: tuple[float, float] = (0.7, 1.5)


@dataclass(frozen=True, slots=True)
class Hand:
    """One hand on one occasion.

    Attributes
    ----------
    amplitude : ndarray of float64, shape (6, K)
        Of K sines for x, y, z in mm and pitch, yaw, roll in radians.
    frequency_hz, phase : ndarray of float64, shape (6, K)
        Their frequencies and phases.
    """

    amplitude: Array
    frequency_hz: Array
    phase: Array

    def at(self, time_s: float) -> Array:
        """Displacement (6,) at a moment: x, y, z in mm, pitch, yaw, roll in radians.

        Parameters
        ----------
        time_s : float
            Moment.
        """
        arg = 2.0 * np.pi * self.frequency_hz * time_s + self.phase
        return np.asarray((self.amplitude * np.sin(arg)).sum(axis=1))

    def speed(self, time_s: float) -> Array:
        """Rate of change (6,) of `at`, per second.

        Parameters
        ----------
        time_s : float
            Moment.
        """
        w = 2.0 * np.pi * self.frequency_hz
        return np.asarray((self.amplitude * w * np.cos(w * time_s + self.phase)).sum(axis=1))


def make_hand(seed: int, *, scale: float = 1.0, habits: HandHabits = HandHabits()) -> Hand:
    """Give the hand that belongs to a seed.

    Parameters
    ----------
    seed : int
        Another seed gives another hand.
    scale : float
        Factor on all sideways movements (the closer one works, the steadier one leans).
    habits : HandHabits
        Sizes and bands.
    """
    rng = np.random.default_rng([seed, 41])
    h = habits
    k = 4
    # radians follow millimetres: a hand sways with the same rhythm it turns with
    size = {
        "sway": (h.sway_mm, h.sway_mm, 0.0, h.tilt_rad, h.tilt_rad, h.roll_rad),
        "pulse": (
            h.pulse_mm,
            h.pulse_mm,
            0.0,
            h.tilt_rad * 0.12,
            h.tilt_rad * 0.12,
            h.roll_rad * 0.12,
        ),
        "tremor": (
            h.tremor_mm,
            h.tremor_mm,
            0.0,
            h.tilt_rad * 0.02,
            h.tilt_rad * 0.02,
            h.roll_rad * 0.02,
        ),
    }
    amp, freq, phase = [], [], []
    for name, band in (("sway", h.sway_hz), ("pulse", h.pulse_hz), ("tremor", h.tremor_hz)):
        calm = rng.uniform(*h.steadiness, (6, 1))
        a = rng.uniform(0.4, 1.0, (6, k))
        a = a / np.sqrt(0.5 * (a**2).sum(axis=1, keepdims=True))
        amp.append(a * calm * np.array(size[name])[:, None] * scale)
        freq.append(rng.uniform(*band, (6, k)))
        phase.append(rng.uniform(0.0, 2.0 * np.pi, (6, k)))
    return Hand(np.concatenate(amp, 1), np.concatenate(freq, 1), np.concatenate(phase, 1))


@dataclass(frozen=True, slots=True)
class PushHabits:
    """Steps of an axial push, in depths of field."""

    mean_dof: float = 0.54
    spread: float = 0.35  # standard deviation over mean, as measured by hand pushes
    longest_dof: float = 0.93  # a longer step would be a gap nobody asked for


def push_positions(
    rng: np.random.Generator, start_mm: float, end_mm: float, steps: int, dof_mm: float,
    habits: PushHabits = PushHabits(),
) -> Array:  # fmt: skip
    """Plane positions (steps + 1,) in mm of one uneven push from start to end.

    Steps are gamma distributed and never longer than `habits.longest_dof`.

    Parameters
    ----------
    rng : Generator
        Source of the steps.
    start_mm, end_mm : float
        First and last position.
    steps : int
        Number of steps.
    dof_mm : float
        Depth of field.
    habits : PushHabits
        Spread and longest step.
    """
    whole = abs(end_mm - start_mm)
    mean = whole / steps
    limit = habits.longest_dof * dof_mm
    shape = 1.0 / habits.spread**2
    step = rng.gamma(shape, mean / shape, steps)
    for _ in range(60):
        step *= whole / step.sum()
        if step.max() <= limit:
            break
        step = np.minimum(step, limit * 0.97)
        # the rest is made up by the short ones
        step += (whole - step.sum()) / steps
    sign = 1.0 if end_mm >= start_mm else -1.0
    return start_mm + sign * np.concatenate([[0.0], np.cumsum(step)])
