"""Judges one frame by itself, where nothing can be compared, by the detail on the eye."""

from __future__ import annotations

import cv2
import numpy as np

from haltere.align.bands import Picture
from haltere.align.lumas import Lumas
from haltere.focus.fault import Fault
from haltere.frames import Frame
from haltere.keepers.faults import faults_of
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.verdict import Eye, JudgedFrame, Keepers, Verdict


def judge_alone(
    lumas: Lumas, frame: Frame, scale: float, eye: Eye | None, radius_px: float, chance: float
) -> Keepers:
    """Judge a single frame by the finest detail on the eye.

    Parameters
    ----------
    lumas : Lumas
        Holds the one frame.
    frame : Frame
        The frame.
    scale : float
        Size of the analysis picture over the full one.
    eye : Eye or None
        The eye.
    radius_px : float
        Its radius, full-size pixels.
    chance : float
        How sure it is.

    Returns
    -------
    Keepers
        Without offsets: one frame does not say how deep it lies.
    """
    picture = lumas.full(0)
    level = float(np.percentile(picture, 95)) / 255.0
    if level < 0.12:
        dark = Fault("dark", 0.9, "the picture is nearly black: the flash did not fire")
        place = (eye.x_px, eye.y_px) if eye else None
        judged = JudgedFrame(frame.name, 1, place, 0.0, None, None, None, (dark,), False)
        return Keepers(eye, (judged,), Verdict("none", "the only frame is dark."))
    if eye is None:
        judged = JudgedFrame(frame.name, 1, None, 0.0, None, None, None, (), False)
        return Keepers(
            None, (judged,), Verdict("unsure", "no place looks like an eye: point at it.")
        )
    place = (eye.x_px, eye.y_px)
    faults = faults_of(
        frame, place, picture=picture, scale=scale, radius_px=radius_px, offset_dof=None,
        sigma_dof=None, smear_px=0.0, smear_deg=None, level=1.0, offset_mm=None,
    )  # fmt: skip
    at = (np.array(place) + 0.5) * scale - 0.5
    sharpness = sharpness_at(picture, float(at[0]), float(at[1]), radius_px * scale)
    bad = any(f.kind in {"clipped", "off-frame"} and f.confidence >= 0.5 for f in faults)
    if chance < NUMBERS.sure:
        verdict = Verdict("unsure", "no place looks clearly like an eye: point at it to be sure.")
    elif bad:
        verdict = Verdict("none", f"the eye can't be kept: {faults[0].detail}.")
    elif sharpness >= NUMBERS.alone_keeper:
        verdict = Verdict("keeper", f"{frame.name} shows fine detail on the eye.")
    elif sharpness < NUMBERS.alone_none:
        faults = (*faults, Fault("defocus", 0.7, "the eye shows no fine detail"))
        verdict = Verdict("none", "the eye shows no fine detail.")
    else:
        verdict = Verdict(
            "unsure", "one frame alone does not tell whether the eye could be sharper."
        )
    keeper = verdict.code == "keeper"
    judged = JudgedFrame(
        frame.name, 1, place, round(sharpness, 4), None, None, None, faults, keeper
    )  # fmt: skip
    return Keepers(eye, (judged,), verdict)


def sharpness_at(picture: Picture, x_px: float, y_px: float, radius_px: float) -> float:
    """How sharp the finest detail about an eye is: 1 where blur adds nothing to the sampling.

    Compares detail at two sizes, which does not depend on contrast: the finest a lens and a
    sensor give against twice and four times as coarse.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Grey analysis picture.
    x_px, y_px, radius_px : float
        The eye.

    Returns
    -------
    float
        0 to 1.
    """
    half = max(8, int(1.0 * radius_px))
    x, y = round(x_px), round(y_px)
    x0, y0 = max(0, x - half - 16), max(0, y - half - 16)
    cut = picture[y0 : y + half + 17, x0 : x + half + 17]
    if min(cut.shape) < 24:
        return 0.0
    steps = [cut, *(cv2.GaussianBlur(cut, (0, 0), s) for s in (0.8, 1.6, 3.2))]
    noise = 1.4826 * float(np.median(np.abs(steps[0] - steps[1])))
    fine = np.abs(steps[1] - steps[2])
    coarse = np.abs(steps[2] - steps[3])
    # white noise of this size leaves a third of it in the finer band
    strong = coarse >= np.percentile(coarse, 80)
    top = max(float(np.sqrt(np.mean(fine[strong] ** 2))) - 0.2 * noise, 0.0)
    low = float(np.sqrt(np.mean(coarse[strong] ** 2)))
    if low < 1.0:
        return 0.0
    return float(np.clip(1.4 * top / low, 0.0, 1.0))
