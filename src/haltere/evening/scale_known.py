"""How large a picture's pixels are on the animal, and how deep it lies: what lengths need."""

from __future__ import annotations

import numpy as np

from haltere.errors import UsageError
from haltere.evening.capture import Told, capture_of
from haltere.evening.settled import views_of
from haltere.finish.limits import SCALE
from haltere.finish.measuring import Depths
from haltere.finish.scale import Scale, scale_of_kit
from haltere.finish.source import Source
from haltere.kit import Capture


def scale_of(source: Source, told: Told, taken: Capture | None = None) -> Scale | None:
    """Give the size of a picture's pixels on the animal; no picture and no map is opened.

    Parameters
    ----------
    source : Source
        The picture.
    told : Told
        What the photographer said of kit and magnification.
    taken : Capture, optional
        How it was taken, where the field book knows; else it is put together anew.

    Returns
    -------
    Scale or None
        None where nothing tells it.
    """
    views = views_of(source)
    pupil = None if views is None or views.mm_per_px is None else views.unit
    kit = told.kit
    capture = taken or capture_of([source.frame], told)
    sigma = None if told.magnification is not None or kit is None else kit.magnification_sigma
    of_pupil = None if kit is None else kit.pupil_distance_sigma_mm
    try:
        scale = scale_of_kit(capture, sigma, of_pupil)
    except UsageError:
        if views is None or views.mm_per_px is None:
            return None
        scale = Scale(views.mm_per_px, SCALE.unmeasured, "given", pupil)
    if scale.pupil_mm is None and pupil is not None:
        scale = Scale(scale.mm_per_px, scale.share, scale.source, pupil, scale.pupil_share)
    return scale


def has_depth(source: Source) -> bool:
    """Tell whether a picture has depth in millimetres.

    Parameters
    ----------
    source : Source
        The picture.
    """
    views = views_of(source)
    return source.folder is not None and views is not None and views.mm_per_px is not None


def depths_of(source: Source) -> Depths | None:
    """Give a picture's depth in millimetres; None where there is none.

    Parameters
    ----------
    source : Source
        The picture.
    """
    views = views_of(source)
    if source.folder is None or views is None or views.mm_per_px is None:
        return None
    import tifffile

    depth = np.asarray(tifffile.imread(source.folder / "depth.tif"), np.float32)
    return Depths(depth, SCALE.depth_dof * views.dof * views.unit)


def axis_of(source: Source) -> tuple[float, float]:
    """Tell where the lens's axis meets a picture: there perspective starts.

    Parameters
    ----------
    source : Source
        The picture.

    Returns
    -------
    tuple of float
        Pixels of the picture.
    """
    views = views_of(source)
    if views is None:
        return (source.frame.width_px - 1) / 2.0, (source.frame.height_px - 1) / 2.0
    x0, y0 = views.crop_px[:2]
    return (views.size_px[0] - 1) / 2.0 - x0, (views.size_px[1] - 1) / 2.0 - y0
