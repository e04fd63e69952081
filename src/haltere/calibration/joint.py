"""Solves all frames of a tilted rule together for the lens and the tilt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.calibration.blur import RowFit
from haltere.calibration.numbers import NUMBERS

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of tilt and magnification beforehand, with errors; None = nothing.

    Attributes
    ----------
    tilt_deg : float or None
        Angle between rule and plane of focus.
    tilt_sigma_deg : float
        Its error.
    magnification : float or None
        From a flat picture, the kit or the lens.
    magnification_sigma : float
        Its error.
    """

    tilt_deg: float | None
    tilt_sigma_deg: float
    magnification: float | None
    magnification_sigma: float


@dataclass(frozen=True, slots=True)
class Geometry:
    """Lens and rule as all frames together say.

    Attributes
    ----------
    magnification, magnification_sigma : float
        In the plane of focus.
    pupil_distance_mm, pupil_distance_sigma_mm : float
        Plane of focus to entrance pupil.
    effective_f_number, effective_f_number_sigma : float
        At the sensor.
    tilt_deg, tilt_sigma_deg : float
        Rule against plane of focus.
    tilt_relative : float
        Relative error of sin(tilt), which all depths share.
    depth_per_coc, depth_relative : float
        Ne / m^2, and its relative error.
    convergence_over_sigma : float
        How surely the marks draw together.
    strain : float
        How many errors what was told lies from what is seen.
    sign : int
        +1 when the marks' numbers grow away from the camera.
    """

    magnification: float
    magnification_sigma: float
    pupil_distance_mm: float
    pupil_distance_sigma_mm: float
    effective_f_number: float
    effective_f_number_sigma: float
    tilt_deg: float
    tilt_sigma_deg: float
    tilt_relative: float
    depth_per_coc: float
    depth_relative: float
    convergence_over_sigma: float
    strain: float
    sign: int


def solve_geometry(fits: Sequence[RowFit], told: Told, pixel_mm: float) -> Geometry:
    """Fit magnification m, pupil distance s, tilt and effective f-number Ne to all frames.

    With q the pixel, x the place of focus in the picture and d_i the turn of the hand in frame i:
    spacing = (m/q) cos(tilt + d_i) - (x/s) sin(tilt + d_i), convergence = sin(tilt + d_i) / s,
    growth = m^2 sin(tilt + d_i) / (Ne q).

    Parameters
    ----------
    fits : sequence of RowFit
        One a frame.
    told : Told
        What is known beforehand.
    pixel_mm : float
        Pixel of the measured pictures, on the sensor.
    """
    from scipy.optimize import least_squares

    seen = _Seen.of(fits)
    convergence, over = _mean_convergence(seen)
    start = _start(seen, told, pixel_mm, convergence)
    factors = np.ones(3)
    wander = math.radians(NUMBERS.wander_deg)
    fit = None
    # a tilt beyond these is none that anybody sets up, and its cosine would run away
    low, high = np.full(start.size, -np.inf), np.full(start.size, np.inf)
    low[3], high[3] = math.radians(3.0), math.radians(85.0)
    low[4:], high[4:] = -10.0 * wander, 10.0 * wander
    for turn in range(4):
        scale = factors

        def cost(q: Floats, scale: Floats = scale) -> Floats:
            kinds = _misfit(q, seen, pixel_mm) / scale[:, None]
            return np.concatenate([kinds.ravel(), q[4:] / wander, _prior(q, told)])

        fit = least_squares(
            cost, start, loss="soft_l1" if turn else "linear", f_scale=2.0, x_scale="jac",
            bounds=(low, high),
        )  # fmt: skip
        start = fit.x
        rest = _misfit(fit.x, seen, pixel_mm)
        # each frame's turn takes one degree of freedom of three
        spread = 1.4826 * np.median(np.abs(rest), axis=1) * math.sqrt(1.5)
        factors = np.maximum(spread, 1.0)
    assert fit is not None
    jacobian = np.asarray(fit.jac)
    cov = np.linalg.pinv(jacobian.T @ jacobian)[:4, :4]
    strain = float(np.abs(_prior(fit.x, told)).max(initial=0.0))
    return _geometry(fit.x[:4], cov, over, strain, seen.sign)


@dataclass(frozen=True, slots=True)
class _Seen:
    """Measured numbers of all frames, counted so that the rule goes away from the camera."""

    x: Floats
    values: Floats
    sigma: Floats
    sign: int

    @classmethod
    def of(cls, fits: Sequence[RowFit]) -> _Seen:
        convergence = np.array([f.convergence for f in fits])
        weight = np.array([1.0 / max(f.convergence_sigma, 1e-9) ** 2 for f in fits])
        sign = 1 if float((convergence * weight).sum()) >= 0.0 else -1
        values = np.array([[f.spacing for f in fits], sign * convergence, [f.growth for f in fits]])
        sigma = np.array(
            [
                [f.spacing_sigma for f in fits],
                [f.convergence_sigma for f in fits],
                [f.growth_sigma for f in fits],
            ]
        )
        # no frame is better than the model: ink, distortion, tone curve
        floor = np.array([5e-4, 5e-3, 5e-3])[:, None] * np.median(np.abs(values), axis=1)[:, None]
        x = sign * np.array([f.focus_px for f in fits])
        return cls(x, values, np.hypot(sigma, floor), sign)


def _mean_convergence(seen: _Seen) -> tuple[float, float]:
    """Weighted mean of the convergence, and how many of its own errors that is."""
    w = 1.0 / seen.sigma[1] ** 2
    mean = float((w * seen.values[1]).sum() / w.sum())
    scatter = max(float((w * (seen.values[1] - mean) ** 2).sum()) / max(len(w) - 1, 1), 1.0)
    return mean, mean / math.sqrt(scatter / float(w.sum()))


def _start(seen: _Seen, told: Told, pixel_mm: float, convergence: float) -> Floats:
    flat = float(np.median(seen.values[0] + seen.x * convergence)) * pixel_mm  # m cos(tilt)
    if told.tilt_deg is not None:
        tilt = math.radians(told.tilt_deg)
    else:
        ratio = flat / (told.magnification or flat)
        tilt = math.acos(min(max(ratio, 0.05), 0.995))
    m = flat / math.cos(tilt)
    s = math.sin(tilt) / max(convergence, 1e-6)
    growth = float(np.median(seen.values[2]))
    effective = m * m * math.sin(tilt) / (growth * pixel_mm)
    logs = [math.log(m), math.log(s), math.log(effective), tilt]
    return np.concatenate([logs, np.zeros(seen.x.size)])


def _misfit(q: Floats, seen: _Seen, pixel_mm: float) -> Floats:
    m, s, effective = np.exp(q[:3])
    angle = q[3] + q[4:]
    sine, cosine = np.sin(angle), np.cos(angle)
    model = np.array(
        [
            m / pixel_mm * cosine - seen.x / s * sine,
            sine / s,
            m * m * sine / (effective * pixel_mm),
        ]
    )
    return np.asarray((model - seen.values) / seen.sigma)


def _prior(q: Floats, told: Told) -> Floats:
    out = []
    if told.tilt_deg is not None:
        out.append((q[3] - math.radians(told.tilt_deg)) / math.radians(told.tilt_sigma_deg))
    if told.magnification is not None:
        sigma = told.magnification_sigma / told.magnification
        out.append((q[0] - math.log(told.magnification)) / max(sigma, 1e-4))
    return np.array(out)


def _geometry(q: Floats, cov: Floats, over: float, strain: float, sign: int) -> Geometry:
    m, s, effective = (float(v) for v in np.exp(q[:3]))
    tilt = float(q[3])
    error = np.sqrt(np.maximum(np.diag(cov), 0.0))
    # Ne / m^2 is known better than either
    way = np.array([-2.0, 0.0, 1.0, 0.0])
    depth_relative = math.sqrt(max(float(way @ cov @ way), 0.0) + NUMBERS.model_blur**2)
    return Geometry(
        magnification=m,
        magnification_sigma=m * math.hypot(float(error[0]), NUMBERS.model_scale),
        pupil_distance_mm=s,
        pupil_distance_sigma_mm=s * math.hypot(float(error[1]), NUMBERS.model_distance),
        effective_f_number=effective,
        effective_f_number_sigma=effective * math.hypot(float(error[2]), NUMBERS.model_blur),
        tilt_deg=math.degrees(tilt),
        tilt_sigma_deg=math.degrees(float(error[3])),
        tilt_relative=float(error[3]) / math.tan(tilt),
        depth_per_coc=effective / m**2,
        depth_relative=depth_relative,
        convergence_over_sigma=over,
        strain=strain,
        sign=sign,
    )
