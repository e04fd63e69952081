"""How much noise a merge left where, as the merge itself says it; patches are of one frame."""

from __future__ import annotations

import numpy as np

from haltere.finish.noise import Averaged
from haltere.finish.source import REPAIRED, Source
from haltere.merge.averaged import FILE


def averaged_of(source: Source) -> Averaged | None:
    """Give what averaging left of one frame's noise in a picture.

    Parameters
    ----------
    source : Source
        The picture.

    Returns
    -------
    Averaged or None
        None for a lone picture, and for a merge by an older haltere.
    """
    if source.folder is None or not (source.folder / FILE).is_file():
        return None
    import tifffile

    share = np.asarray(tifffile.imread(source.folder / FILE), np.float32)
    if source.made.repaired:
        before, after = (
            tifffile.imread(folder / "origin.tif")
            for folder in (source.folder, source.folder / REPAIRED)
        )
        rows, columns = (
            (2 * np.arange(few) + 1) * many // (2 * few)
            for few, many in zip(share.shape, before.shape, strict=True)
        )
        thin = np.ix_(rows, columns)
        share = np.where(before[thin] == after[thin], share, np.maximum(share, np.float32(1.0)))
    return Averaged(share)
