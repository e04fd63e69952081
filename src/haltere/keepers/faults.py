"""Faults of one frame at the eye, each with the figure behind it."""

from __future__ import annotations

from math import erf, sqrt

import numpy as np

from haltere.align.bands import Picture
from haltere.focus.fault import Fault
from haltere.focus.smear import Smear
from haltere.frames import Frame
from haltere.keepers.numbers import NUMBERS


def faults_of(  # noqa: PLR0913
    frame: Frame,
    eye_px: tuple[float, float] | None,
    *,
    picture: Picture,
    scale: float,
    radius_px: float,
    offset_dof: float | None,
    sigma_dof: float | None,
    smear: Smear,
    smear_px: float,
    level: float,
    offset_mm: float | None,
    likeness: float | None = None,
    blurred: bool = False,
) -> tuple[Fault, ...]:
    """Say everything that is wrong with a frame.

    Parameters
    ----------
    frame : Frame
        The frame.
    eye_px : tuple of float or None
        Where the eye lies, full-size pixels.
    picture : ndarray of float32, shape (H, W)
        Grey analysis picture on 0..255.
    scale : float
        Its size over the full one.
    radius_px : float
        Radius of the eye, full-size pixels.
    offset_dof, sigma_dof : float or None
        Plane minus eye, and its uncertainty.
    smear : Smear
        Movement during the exposure.
    smear_px : float
        Its length in full-size pixels.
    level : float
        Brightness against the run's median.
    offset_mm : float or None
        Plane minus eye in millimetres.
    likeness : float, optional
        How like the eye's surroundings are to those in the frame it is seen best in.
    blurred : bool
        Whether a frame that matches no other one shows far less detail than they do.
    """
    faults: list[Fault] = []
    dark = level < NUMBERS.dark
    if dark:
        sure = min(1.0, 0.5 + (NUMBERS.dark - level) / NUMBERS.dark)
        faults.append(Fault("dark", sure, f"{100 * level:.0f} % of the run's brightness"))
    if smear.longer > 0.1:
        way = smear.angle_deg
        turned = "" if way is None else f", {way:.0f} degrees clockwise from level"
        said = f"smeared by about {smear_px:.1f} px{turned}"
        faults.append(Fault("motion", smear.longer, said))
    if smear.ghost_sure > 0.1 and not dark:
        said = f"daylight drew about {100 * smear.ghost:.0f} % of the picture while it moved"
        faults.append(Fault("ghost", smear.ghost_sure, said))
    if eye_px is None:
        if not dark:
            faults.append(
                Fault("defocus", 0.6, "too blurred to be compared with the others")
                if blurred
                else Fault("hidden", 0.6, "the frame does not match the others")
            )
        return tuple(faults)
    if offset_dof is not None and sigma_dof is not None:
        sure = chance_beyond(offset_dof, sigma_dof)
        if abs(offset_dof) <= NUMBERS.near_dof and sigma_dof < NUMBERS.beyond_dof:
            sure = min(sure, 0.49)  # however vague, it is likelier a keeper's than any other place
        side = "behind" if offset_dof > 0 else "before"
        size = f"{abs(offset_dof):.1f} depths of field"
        if offset_mm is not None:
            size = f"{abs(offset_mm):.2f} mm"
        detail = f"the plane lies {size} {side} the eye"
        if sigma_dof > NUMBERS.untold_dof:
            detail = "the eye shows too little detail to tell how far the plane misses it"
        if sure > 0.1:
            faults.append(Fault("defocus", sure, detail))
    faults += _at_the_border(frame, eye_px, radius_px)
    if likeness is not None and not dark:
        sure, seen = NUMBERS.hidden
        hidden = float(np.clip((seen - likeness) / (seen - sure), 0.0, 1.0))
        if hidden > 0.1:
            faults.append(Fault("hidden", hidden, "something else is where the eye should be"))
    x, y = ((np.array(eye_px) + 0.5) * scale - 0.5).round().astype(int)
    half = max(2, int(0.6 * radius_px * scale))
    cut = picture[max(0, y - half) : max(0, y + half + 1), max(0, x - half) : max(0, x + half + 1)]
    if cut.size:
        share = float((cut >= NUMBERS.clipped).mean())
        if share > 0.5 * NUMBERS.clipped_share:
            sure = min(1.0, 0.5 * share / NUMBERS.clipped_share)
            faults.append(Fault("clipped", sure, f"{100 * share:.0f} % of the eye is blown out"))
    return tuple(faults)


def chance_beyond(offset: float, sigma: float) -> float:
    """Probability that the true offset is larger than a keeper's.

    Parameters
    ----------
    offset, sigma : float
        Plane minus eye and its uncertainty, depths of field.
    """
    near = NUMBERS.near_dof

    def below(x: float) -> float:
        return 0.5 * (1 + erf((x - offset) / (sqrt(2) * max(sigma, 1e-6))))

    return 1.0 - (below(near) - below(-near))


def _at_the_border(frame: Frame, eye_px: tuple[float, float], radius_px: float) -> list[Fault]:
    x, y = eye_px
    room = min(x + 0.5, y + 0.5, frame.width_px - 0.5 - x, frame.height_px - 0.5 - y)
    if room < 0:
        return [Fault("off-frame", 1.0, f"the eye lies {-room:.0f} px outside the picture")]
    if room < 0.6 * radius_px:
        return [Fault("cut", 0.6, f"the eye lies {room:.0f} px from the border")]
    return []
