"""How deep the eye lies: from how its detail fades, ring by ring of its spectrum, frame by frame.

Each patch and each frequency has an unknown amount of detail and a little light that no focus
explains; only the depth is shared.  No assumption on the texture is needed, so that facets, hairs
and a catch light on a smooth eye are all of use, and a burst whose planes lie on one side of the
eye still says how far it misses: the blur of a disc cuts different frequencies by different shares.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from haltere.focus.blur import Blur, misfits
from haltere.focus.patches import NUMBERS as PATCHES
from haltere.focus.patches import Patches
from haltere.keepers.numbers import NUMBERS

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EyeDepth:
    """Depth of an eye.

    Attributes
    ----------
    depth, sigma : float
        Relative depth at the point asked for, the median, and one sigma.
    terms : tuple of float
        Relative depth added by a step of one radius to the right, downwards, and by the bend.
    depths, chance : ndarray of float64, shape (Z,)
        Depths tried and how likely each is; sums to 1.
    """

    depth: float
    sigma: float
    terms: tuple[float, float, float]
    depths: Floats
    chance: Floats


_SLOPES = (-3.0, -1.5, 0.0, 1.5, 3.0)
_BENDS = (0.0, 1.0, 2.0, 4.0)


def eye_depth(
    patches: Patches,
    taking: NDArray[np.bool_],
    place: Floats,
    radius_px: float,
    blur: Blur,
) -> EyeDepth | None:
    """Fit a dome through the patches on an eye and say how deep its middle lies.

    Parameters
    ----------
    patches : Patches
        Spectra of the patches on the eye.
    taking : ndarray of bool, shape (N,)
        Frames that take part.
    place : ndarray of float64, shape (P, 2)
        Where the patches lie, from the point asked for, in radii.
    radius_px : float
        That radius, analysis pixels.
    blur : Blur
        Optics.

    Returns
    -------
    EyeDepth or None
        None when fewer than three frames saw the eye.
    """
    energy = patches.energy[taking]
    saw = np.isfinite(energy).all((2, 3))
    if int((saw.sum(1) > 0.5 * saw.shape[1]).sum()) < 3:
        return None
    along = patches.along[taking]
    dof, step = blur.dof, 0.1 * blur.dof
    beyond = NUMBERS.beyond_dof * dof
    depths = np.arange(along.min() - beyond, along.max() + beyond + step, step)
    chi = misfits(patches, taking, blur, depths)
    excess = np.minimum(chi - chi.min(0), NUMBERS.cap)
    out2 = (place**2).sum(1)
    # a patch has a mean depth of its own: that of its window's spread
    spread = 2 * (0.18 * patches.window_px / radius_px) ** 2
    near = np.exp(-0.5 * out2 / NUMBERS.focus_share**2)
    at = np.arange(len(depths))
    columns = np.arange(len(out2))[None]
    costs, shapes = [], list(product(_BENDS, _SLOPES, _SLOPES))
    for bend, right, down in shapes:
        away = bend * (out2 + spread) + right * place[:, 0] + down * place[:, 1]
        rows = np.clip(at[:, None] + np.rint(away * 10).astype(int)[None], 0, len(depths) - 1)
        cost = (excess[rows, columns] * near).sum(1) * PATCHES.witnesses
        # a dome's face bends back by about one depth of field, seldom by more than three
        costs.append(cost + (right / 2) ** 2 + (down / 2) ** 2 + ((bend - 1) / 2) ** 2)
    table = np.array(costs)
    least = table.min(0)
    cost = least - 2 * np.log(np.exp(-0.5 * (table - least)).sum(0))
    # photographers aim at the eye: it lies among the planes or not far off
    middle, half = 0.5 * (along.max() + along.min()), 0.5 * (along.max() - along.min())
    outside = np.maximum(np.abs(depths - middle) - half, 0.0)
    cost = cost + (outside / (NUMBERS.aim_dof * dof)) ** 2
    chance = np.exp(-0.5 * np.minimum(cost - cost.min(), 80.0))
    chance /= chance.sum()
    # an eye's middle stands out before what surrounds it in the same patch
    depths = depths - NUMBERS.before_dof * dof
    depth, sigma = _middle(depths, chance)
    bend, right, down = shapes[int(table[:, int(chance.argmax())].argmin())]
    return EyeDepth(depth, sigma, (right * dof, down * dof, bend * dof), depths, chance)


def _middle(depths: Floats, chance: Floats) -> tuple[float, float]:
    """Median of a distribution, and one sigma: from its middle 68 or 90 %, whichever is wider.

    Mean and standard deviation would follow the hundredth part that lies a dozen depths of field
    away, where a blurred eye fits as well as nothing does; a twentieth part counts.
    """
    step = float(depths[1] - depths[0])
    cuts = np.interp(
        (0.05, 0.1587, 0.5, 0.8413, 0.95), np.concatenate([[0.0], np.cumsum(chance)]),
        np.concatenate([depths - step / 2, [depths[-1] + step / 2]]),
    )  # fmt: skip
    return float(cuts[2]), float(max((cuts[3] - cuts[1]) / 2.0, (cuts[4] - cuts[0]) / 3.29))
