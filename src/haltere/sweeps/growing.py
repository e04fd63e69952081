"""How fast the picture of a solved sweep grows against how fast its detail fades."""

from __future__ import annotations

import numpy as np

from haltere.align.lumas import Lumas
from haltere.focus.depths import estimate_depth_of_field
from haltere.focus.run_optics import RunOptics
from haltere.focus.widths import Width
from haltere.kit.capture import Capture
from haltere.sweeps.focusing import NUMBERS, Growth
from haltere.sweeps.own_scale import own_depth_of_field
from haltere.sweeps.smears import Pictures
from haltere.sweeps.solved import Solved

_STARTS = (1.0, 1.35)
"""From the rough depth of field and from a larger one: of a plane every 0.8 depths of field too few
lie beside a place if it is taken for three quarters of what it is."""


def measure_growth(
    solved: Solved,
    lumas: Lumas,
    optics: RunOptics,
    capture: Capture,
    scale: float,
    widening: float,
    *,
    still: bool,
) -> Growth | None:
    """Measure the depth of field from the pictures, in units of growth, against the one given.

    The widths of whole curves, which are there already, tell it to a tenth: in the hand it is only
    measured where they leave room for a turned ring, since it costs a tenth of the solution.

    Parameters
    ----------
    solved : Solved
        The sweep.
    lumas : Lumas
        Its analysis pictures.
    optics : RunOptics
        As it was solved with.
    capture : Capture
        How it was taken.
    scale : float
        Analysis pixels over full-size pixels.
    widening : float
        Measured focus curves are this much wider than a flat surface's.
    still : bool
        Whether the camera stood still.

    Returns
    -------
    Growth or None
        None where magnification and lens are not known well enough to foretell one, or it is plain
        that a hand pushed.
    """
    if optics.dof is None or capture.pupil_distance_mm is None:
        return None
    stack, gains, found = solved.stack, solved.chain.gains, solved.usable
    c_px, airy_px = optics.c_px, optics.airy_px
    # not from the one of the magnification: where that is far off, no place is measured
    rough = estimate_depth_of_field(
        stack, found, c_px, airy_px, optics.likely, optics.dof * widening
    )
    if not still and abs(np.log(rough / (optics.dof * widening))) < np.log(NUMBERS.plain):
        return None
    pictures = Pictures(lumas, solved.solution.poses, optics.focal_px, scale)
    own = Width(optics.dof, np.inf, 0)
    for times in _STARTS:
        start = times * rough / widening
        told = own_depth_of_field(pictures, stack, gains, found, start, c_px, airy_px)
        if told.places >= own.places:
            own = told
        if own.places >= NUMBERS.fewest:
            break
    return Growth(
        own.dof / solved.dof,
        own.spread,
        own.places,
        capture.pupil_distance_measured,
    )
