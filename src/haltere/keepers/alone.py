"""Judges one frame by itself, where nothing can be compared, by the detail on the eye."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.focus.detail import noise_variance, sharpness
from haltere.focus.fault import Fault
from haltere.focus.run_optics import RunOptics
from haltere.focus.smear import NO_SMEAR
from haltere.keepers.faults import faults_of
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.shots import Shots
from haltere.keepers.verdict import Eye, JudgedFrame, Keepers, Verdict
from haltere.keepers.words import among

_ABOUT_PX = 480
"""Half the side of the part of the picture that noise is read from."""


def fineness(
    picture: NDArray[np.uint8] | NDArray[np.uint16],
    centre_px: tuple[float, float],
    radius_px: float,
    c_px: float,
) -> float | None:
    """Tell how fine the detail on an eye is, by itself.

    Parameters
    ----------
    picture : ndarray of uint8 or uint16, shape (H, W)
        Grey picture, encoded.
    centre_px : tuple of float
        The eye (x, y), pixels of that picture.
    radius_px : float
        Its radius there.
    c_px : float
        Circle of confusion there.

    Returns
    -------
    float or None
        Cycles per circle of confusion, see `haltere.focus.detail.sharpness`; None where the eye
        does not lie wholly inside.
    """
    half = int(np.clip(0.6 * radius_px, 29 * c_px, 72 * c_px))
    x, y = round(centre_px[0]), round(centre_px[1])
    height, width = picture.shape
    if x < half or y < half or x + half >= width or y + half >= height:
        return None
    # noise is told by what lies about the eye: enough blocks, and a quarter of the time
    left, top = max(0, x - _ABOUT_PX), max(0, y - _ABOUT_PX)
    luma = np.asarray(picture[top : y + _ABOUT_PX, left : x + _ABOUT_PX], np.float32)
    if picture.dtype == np.uint16:
        luma /= np.float32(257.0)
    box = (x - half - left, y - half - top, x + half - left, y + half - top)
    return float(sharpness(luma, box, noise=noise_variance(luma)) * c_px)


def judge_alone(
    shots: Shots,
    optics: RunOptics,
    eye: Eye | None,
    radius_px: float,
    chance: float,
    animals: int = 1,
) -> Keepers:
    """Judge a single frame by the finest detail on the eye.

    Parameters
    ----------
    shots : Shots
        Holds the one frame.
    optics : RunOptics
        Optics in pixels of its fine picture.
    eye : Eye or None
        The eye.
    radius_px : float
        Its radius, full-size pixels.
    chance : float
        How sure it is.
    animals : int
        How many animals were seen.

    Returns
    -------
    Keepers
        Without offsets: one frame does not say how deep it lies.
    """
    frame, small = shots.frames[0], shots.small.full(0)
    level = float(np.percentile(small, 95)) / 255.0
    place = (eye.x_px, eye.y_px) if eye else None
    if level < NUMBERS.black:
        dark = Fault("dark", 0.9, "the picture is nearly black: the flash did not fire")
        judged = JudgedFrame(frame.name, 1, place, 0.0, None, None, None, (dark,), False)
        return Keepers(eye, (judged,), Verdict("none", "the only frame is dark."))
    if eye is None or place is None:
        judged = JudgedFrame(frame.name, 1, None, 0.0, None, None, None, (), False)
        return Keepers(
            None, (judged,), Verdict("unsure", "no place looks like an eye: point at it.")
        )
    faults = faults_of(
        frame, place, picture=small, scale=shots.small_scale, radius_px=radius_px,
        offset_dof=None, sigma_dof=None, smear=NO_SMEAR, smear_px=0.0, level=1.0, offset_mm=None,
    )  # fmt: skip
    x, y = (np.array(place) + 0.5) * shots.fine_scale - 0.5
    scaled = radius_px * shots.fine_scale
    fine = fineness(shots.fine.stored(0), (float(x), float(y)), scaled, optics.c_px)
    bad = next(
        (f for f in faults if f.kind in {"clipped", "off-frame"} and f.confidence >= 0.5), None
    )
    if chance < NUMBERS.sure:
        verdict = Verdict("unsure", "no place looks clearly like an eye: point at it to be sure.")
    elif bad is not None:
        verdict = Verdict("none", f"the eye can't be kept: {bad.detail}.")
    elif fine is not None and fine >= NUMBERS.alone_keeper:
        verdict = Verdict("keeper", f"{frame.name} shows fine detail on the eye.")
    elif fine is not None and fine < NUMBERS.alone_none:
        lost = Fault("defocus", 0.7, "the eye shows no fine detail")
        faults = (*faults, lost)
        verdict = Verdict("none", "the eye shows no fine detail.")
    else:
        verdict = Verdict(
            "unsure", "one frame alone does not tell whether the eye could be sharper."
        )
    if animals > 1 and eye.source == "proposed":
        verdict = among(verdict, animals)
    shown = min(1.0, (fine or 0.0) / NUMBERS.alone_finest)
    judged = JudgedFrame(
        frame.name, 1, place, round(shown, 4), None, None, None, faults, verdict.code == "keeper"
    )  # fmt: skip
    return Keepers(eye, (judged,), verdict, radius_px)
