"""Whether the marks of a rule are sharp enough to be trusted, and what softness costs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from haltere.calibration.marks import MarkRow
from haltere.calibration.numbers import NUMBERS
from haltere.optics import effective_f_number


@dataclass(frozen=True, slots=True)
class MarkLook:
    """How the marks of a row look, as medians over them.

    Attributes
    ----------
    depth : float
        How much darker than the card around it a mark is, 0 to 1; blur makes it shallow.
    edge_px : float
        Length over which its edge falls from card to mark.
    """

    depth: float
    edge_px: float

    @property
    def too_soft(self) -> bool:
        """Whether finer marks between these may have been blurred away.

        Where marks are washed out, longer ones of the same ink are shallow too, even those that
        are twice as wide.  Sharp but faint marks are fine.
        """
        faint = self.depth < NUMBERS.faint_ink and self.edge_px > NUMBERS.soft_edge_px
        return faint or self.depth < NUMBERS.washed_out


def look_of(row: MarkRow) -> MarkLook:
    """Measure how deep and how sharp the marks of a row are.

    Parameters
    ----------
    row : MarkRow
        A row of marks.
    """
    line = np.nan_to_num(row.profile, nan=float(np.nanmedian(row.profile)))
    half = 0.5 * row.chain.spacing_px
    depths, edges = [], []
    for at in row.chain.at_px:
        low, high = max(0, int(at - half)), min(len(line), int(at + half) + 1)
        around = line[low:high]
        if len(around) < 5:
            continue
        # most of what is around a mark is card; its lightest parts are noise
        card = float(np.quantile(around, 0.85))
        missing = 1.0 - around / max(card, 1e-6)
        deepest = float(missing.max())
        depths.append(deepest)
        edges.append(deepest / max(float(np.abs(np.gradient(missing)).max()), 1e-6))
    if not depths:
        return MarkLook(0.0, math.inf)
    return MarkLook(float(np.median(depths)), float(np.median(edges)))


def misplaced(
    look: MarkLook, magnification: float, pixel_mm: float, focal_mm: float, f_number: float
) -> float:
    """Relative error of the magnification because the rule lies before or behind the focus.

    A disc of diameter B on the sensor belongs to a distance of B Ne / m^2 from the plane of focus,
    and what lies there is larger or smaller by that over the pupil's distance: B N / (m f),
    wherever the pupil is.

    Parameters
    ----------
    look : MarkLook
        The marks.
    magnification : float
        As measured.
    pixel_mm : float
        Pixel of the measured picture, on the sensor.
    focal_mm : float
        Focal length.
    f_number : float
        Marked f-number.
    """
    # an edge through diffraction at 550 nm: about one wavelength times the f-number, as a slit has
    spread_px = 0.00055 * effective_f_number(f_number, magnification) / pixel_mm
    sharp = NUMBERS.sharp_edge_px**2 + spread_px**2
    disc_px = NUMBERS.disc_of_edge * math.sqrt(max(look.edge_px**2 - sharp, 0.0))
    return disc_px * pixel_mm * f_number / (magnification * focal_mm)
