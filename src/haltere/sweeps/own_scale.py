"""The depth of field that a sweep's own pictures tell where the kit is unknown."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.align.pose import plane_depth, project
from haltere.focus.curves import Stack, find_peaks
from haltere.focus.depths import believed
from haltere.focus.patches import gather, turns_of, window_for
from haltere.focus.widths import NUMBERS, Width, measure_depth_of_field
from haltere.sweeps.smears import Pictures, witnesses

Floats = NDArray[np.float64]

_NOWHERE = -1e6
"""Where no patch lies inside a picture."""

_EACH = 16
"""Places of half a depth of field that are looked at: some hundreds in all."""

_WHITE = 250.0
"""Level of 255 from which a highlight is clipped: it loses height and not width, so that its curve
seems wide. On four simulated wasps and a beetle the depth of field came out 4 to 6 % too large at
such places, and mostly right to 2 % at the others."""

_BRIGHTEST_DOF = 1.5
"""Distance of the plane within which a highlight is as bright as it gets."""

_ROUNDS = 3
_NEAR = 0.15
"""Places and their reach are chosen anew where the depth of field moved by more than this."""

_ENOUGH = 40
"""Places without clipped highlights that are enough to do without the others."""


def own_depth_of_field(
    pictures: Pictures,
    stack: Stack,
    gains: Floats,
    taking: NDArray[np.bool_],
    dof: float,
    c_px: float,
    airy_px: float,
) -> Width:
    """Depth of field of a registered sweep, from how fast its detail fades beside each plane.

    Reads each picture once and holds one at a time, with the spectra of some hundred places.

    Parameters
    ----------
    pictures : Pictures
        The sweep's.
    stack : Stack
        Their detail.
    gains : ndarray of float64, shape (N,)
        Factors that even out light.
    taking : ndarray of bool, shape (N,)
        Frames that were registered and are light enough.
    dof : float
        Relative depth of field, roughly.
    c_px, airy_px : float
        Circle of confusion and Airy diameter, analysis pixels.

    Returns
    -------
    Width
        Relative depth of field and how sure it is; the rough one where too little is seen.
    """
    told = Width(dof, float("inf"), 0)
    for _ in range(_ROUNDS):
        before = told.dof
        told = _measured(pictures, stack, gains, taking, before, c_px, airy_px)
        if abs(np.log(told.dof / before)) < _NEAR:
            break
    return told


def _measured(
    pictures: Pictures,
    stack: Stack,
    gains: Floats,
    taking: NDArray[np.bool_],
    dof: float,
    c_px: float,
    airy_px: float,
) -> Width:
    """Measure once, at places and over distances that the rough depth of field tells."""
    peaks = find_peaks(stack, taking, dof, c_px, airy_px)
    here, depth = witnesses(stack, peaks, believed(peaks), dof, _EACH)
    if not len(here):
        return Width(dof, float("inf"), 0)
    focal = pictures.focal_px
    height, width = pictures.lumas.shape
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    along = np.array([plane_depth(pose, here, focal) for pose in pictures.poses])
    near = (np.abs(along - depth) < NUMBERS.reach_dof * dof) & taking[:, None]
    at = np.array([project(pose, here, depth, focal) + middle for pose in pictures.poses])
    window = window_for(c_px)
    white = _clipped(
        pictures.lumas, at, near & (np.abs(along - depth) < _BRIGHTEST_DOF * dof), window.side_px
    )
    if int((~white).sum()) >= _ENOUGH:
        here, depth, along = here[~white], depth[~white], along[:, ~white]
        at, near = at[:, ~white], near[:, ~white]
    at[~near] = _NOWHERE
    turns = turns_of(pictures.poses, here.mean(0), float(np.median(depth)), focal)
    patches = gather(pictures.lumas, at, turns, gains, along, window)
    return measure_depth_of_field(patches, taking, depth, dof, c_px)


def _clipped(lumas: Lumas, at: Floats, near: NDArray[np.bool_], side_px: int) -> NDArray[np.bool_]:
    """Tell which places show a clipped highlight in their patch in a frame near them."""
    clipped = np.zeros(at.shape[1], np.bool_)
    height, width = lumas.shape
    kernel = np.ones((side_px, side_px), np.uint8)
    for k in np.flatnonzero(near.any(1)):
        picture = lumas.stored(int(k))
        level = int(_WHITE / 255.0 * np.iinfo(picture.dtype).max)
        white = np.asarray(np.greater_equal(picture, level), np.uint8)
        wide = cv2.dilate(white, kernel)
        x, y = np.rint(at[k]).astype(np.intp).T
        inside = near[k] & (x >= 0) & (y >= 0) & (x < width) & (y < height)
        clipped[inside] |= wide[y[inside], x[inside]] > 0
    return clipped
