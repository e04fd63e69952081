"""How the places of marks follow from their numbers: evenly, or drawn together by perspective."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LineFit:
    """Places as a projective function of the marks' numbers, u = (a t + e) / (1 + b t).

    Attributes
    ----------
    a, b, e : float
        Coefficients.
    covariance : ndarray of float64, shape (3, 3)
        Of (a, b, e).
    residual_px : ndarray of float64, shape (K,)
        Measured less fitted.
    """

    a: float
    b: float
    e: float
    covariance: Floats
    residual_px: Floats

    def spacing_at(self, at_px: float) -> tuple[float, float]:
        """Spacing per unit of t where the line passes `at_px`, with its error.

        Parameters
        ----------
        at_px : float
            Place.
        """
        t = (at_px - self.e) / (self.a - self.b * at_px)
        w = 1.0 + self.b * t
        value = (self.a - self.b * self.e) / w**2
        steps = np.array([1e-5 * self.a, 1e-7, 1e-4])
        slope = np.empty(3)
        for i in range(3):
            moved = np.array([self.a, self.b, self.e])
            moved[i] += steps[i]
            t2 = (at_px - moved[2]) / (moved[0] - moved[1] * at_px)
            slope[i] = (
                (moved[0] - moved[1] * moved[2]) / (1.0 + moved[1] * t2) ** 2 - value
            ) / steps[i]
        return float(value), math.sqrt(max(float(slope @ self.covariance @ slope), 0.0))


def fit_line(t: Floats, at_px: Floats) -> LineFit:
    """Fit a projective line robustly (Tukey weights).

    Parameters
    ----------
    t : ndarray of float64, shape (K,)
        Numbers or millimetres of the marks.
    at_px : ndarray of float64, shape (K,)
        Places.
    """
    middle = float(t.mean())
    x = t - middle
    weight = np.ones_like(x)
    denominator = np.ones_like(x)
    q = np.zeros(3)
    for _ in range(12):
        # u = a x + e - b x u, divided by 1 + b x so that errors are those of u
        design = np.column_stack([x, np.ones_like(x), -x * at_px]) / denominator[:, None]
        root = np.sqrt(weight)
        wanted = at_px / denominator * root
        q = np.asarray(np.linalg.lstsq(design * root[:, None], wanted, rcond=None)[0], np.float64)
        denominator = np.maximum(1.0 + q[2] * x, 0.05)
        rest = at_px - (q[0] * x + q[1]) / denominator
        scale = max(1.4826 * float(np.median(np.abs(rest - np.median(rest)))), 0.01)
        weight = np.clip(1.0 - (rest / (5.0 * scale)) ** 2, 0.0, None) ** 2
    fitted = (q[0] * x + q[1]) / denominator
    rest = at_px - fitted
    dof = max(float(weight.sum()) - 3.0, 1.0)
    variance = max(float((weight * rest**2).sum()) / dof, 0.01**2)
    jacobian = np.column_stack([x, -x * fitted, np.ones_like(x)]) / denominator[:, None]
    cov = np.linalg.pinv(jacobian.T @ (jacobian * weight[:, None])) * variance
    # back to t: x = t - middle
    a, e, b = float(q[0]), float(q[1]), float(q[2])
    scale0 = 1.0 - b * middle
    change = np.array(
        [
            [1.0 / scale0, a * middle / scale0**2, 0.0],
            [0.0, 1.0 / scale0**2, 0.0],
            [-middle / scale0, (e - a * middle) * middle / scale0**2, 1.0 / scale0],
        ]
    )
    return LineFit(a / scale0, b / scale0, (e - a * middle) / scale0, change @ cov @ change.T, rest)
