"""How a hand that holds a camera moves: sway, pulse, tremor, and a wobble of the direction."""

from __future__ import annotations

import math
from dataclasses import dataclass

from haltere import optics
from haltere.plan.chance_limits import refuse_unless_positive
from haltere.plan.given import Given


@dataclass(frozen=True, slots=True)
class Swing:
    """One swing of the hand.

    Attributes
    ----------
    name : str
        What it is.
    frequency_hz : float
        How often.
    amplitude_um : float
        How far to each side of the middle.
    source : str
        Who measured it, or that it is assumed.
    """

    name: str
    frequency_hz: float
    amplitude_um: float
    source: str

    @property
    def speed_mm_s(self) -> float:
        """Speed, mm/s, root mean square of a sine."""
        return math.sqrt(2.0) * math.pi * self.frequency_hz * self.amplitude_um / 1000.0


@dataclass(frozen=True, slots=True)
class HandNumbers:
    """What the hand does, each number with its reason.

    Attributes
    ----------
    tremor_g, tremor_hz : float
        Commonest peak acceleration and frequency of outstretched hands, 97 people (Arch. Neurol.
        39 (1982) 358, abstract seen).
    fast_hz, fast_um : float
        Upper end of the tremor's band (6-12 Hz: Lakie et al., J. Physiol. 593 (2015) 4411); how
        much of it is left there is assumed.
    heart_hz, heart_um : float
        Pulse and breath rock a held camera (assumed).
    sway_hz : float
        Most power of a standing body's sway lies below 0.5 Hz (D. Winter, Gait & Posture 3
        (1995) 193, from memory); its size is the hand's spread, doubtful as that is.
    wobble_mrad_s : float
        How fast the camera's direction wobbles: what smears a picture over the diagonal's 1/1500
        in 1 / (focal length in mm) s on 36 x 24 mm, which is the old rule for the longest time
        by hand (common practice, no source).
    """

    tremor_g: float = 0.01
    tremor_hz: float = 7.0
    fast_hz: float = 10.0
    fast_um: float = 10.0
    heart_hz: float = 1.2
    heart_um: float = 80.0
    sway_hz: float = 0.3
    wobble_mrad_s: float = 29.0


HAND = HandNumbers()


def tremor_spectrum(hand_spread_mm: float = 1.5) -> tuple[Swing, ...]:
    """Tell how a hand that holds a camera swings, from slow to fast.

    Parameters
    ----------
    hand_spread_mm : float, optional
        Spread of the hand's place, one sigma, mm; taken to be the same along and across the axis.

    Returns
    -------
    tuple of Swing
        Frequency, amplitude and source of each. Surgeons' hands measured 49 um rms and 202 um
        from end to end (Riviere et al. 1997), other set-ups 38 to 200 um rms.

    Raises
    ------
    UsageError
        When the spread is not above zero.
    """
    refuse_unless_positive(hand_spread_mm=hand_spread_mm)
    return (
        Swing(
            "sway of the body",
            HAND.sway_hz,
            1000.0 * math.sqrt(2.0) * hand_spread_mm,
            "below 0.5 Hz: Winter 1995, from memory; size assumed and doubtful",
        ),
        Swing("pulse and breath", HAND.heart_hz, HAND.heart_um, "assumed"),
        Swing(
            "tremor",
            HAND.tremor_hz,
            optics.tremor_amplitude_um(HAND.tremor_g, HAND.tremor_hz),
            "Arch. Neurol. 39 (1982) 358, 0.01 g at 7 Hz, 97 people",
        ),
        Swing(
            "fast tremor",
            HAND.fast_hz,
            HAND.fast_um,
            "band 6-12 Hz: Lakie et al. 2015; size assumed",
        ),
    )


def hand_shift_mm(hand_spread_mm: float, time_s: float) -> float:
    """Tell how far a hand shifts sideways within a time, on average.

    Parameters
    ----------
    hand_spread_mm : float
        Spread of the hand's place, one sigma, mm.
    time_s : float
        Exposure time, s.

    Returns
    -------
    float
        Root mean square, mm. A swing adds no more once half of it is done.

    Raises
    ------
    UsageError
        When spread or time are not above zero.
    """
    refuse_unless_positive(time_s=time_s)
    total = 0.0
    for swing in tremor_spectrum(hand_spread_mm):
        turn = min(swing.frequency_hz * time_s, 0.5)
        total += 2.0 * (swing.amplitude_um / 1000.0 * math.sin(math.pi * turn)) ** 2
    return math.sqrt(total)


def wobble_mm(given: Given, time_s: float) -> float:
    """Tell how far the wobble of the camera's direction moves the view over the animal.

    Parameters
    ----------
    given : Given
        For the distance from the animal to the lens's entrance pupil.
    time_s : float
        Exposure time, s.

    Returns
    -------
    float
        On the animal, mm. On the sensor this is f (1 + m) times the angle for a symmetric lens.
    """
    longest_s = 1.0 / (math.pi * HAND.tremor_hz)  # by then the wobble turns back
    angle = HAND.wobble_mrad_s / 1000.0 * min(time_s, longest_s)
    return given.lens.pupil_distance_mm * math.tan(angle)
