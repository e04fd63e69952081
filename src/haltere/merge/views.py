"""How each merged frame saw the animal, kept beside the picture so that it can be repaired."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haltere.align.solve import centred, scaled
from haltere.errors import SweepError
from haltere.frames import write_bytes
from haltere.merge.paint import rotation_of
from haltere.merge.planes import plane_fit

FILE = "views.json"


@dataclass(frozen=True, slots=True)
class View:
    """One merged frame.

    Attributes
    ----------
    frame : str
        Its name.
    path, raw_path : str or None
        Where its files lay when it was merged.
    pose : tuple of 6 floats
        See `haltere.align.pose`.
    gain : float
        Factor on its linear light that evens out the flash.
    """

    frame: str
    path: str
    raw_path: str | None
    pose: tuple[float, float, float, float, float, float]
    gain: float


@dataclass(frozen=True, slots=True)
class Views:
    """All merged frames, and what their poses are counted in.

    Attributes
    ----------
    size_px : tuple of 2 ints
        Width and height of the reference frame.
    crop_px : tuple of 4 ints
        Part of it that the picture shows.
    analysis_px : tuple of 2 ints
        Width and height that poses are counted in.
    focal_px : float
        See `haltere.align.pose`, analysis pixels.
    dof : float
        Relative depth of field.
    unit : float
        What relative depth is multiplied by for the unit of the depth map.
    raw : bool
        Whether the pictures came from raw files.
    views : tuple of View
        In the order of the origin map's numbers.
    mm_per_px : float or None
        Size on the animal of one full-size pixel in the reference frame's plane of focus.
    """

    size_px: tuple[int, int]
    crop_px: tuple[int, int, int, int]
    analysis_px: tuple[int, int]
    focal_px: float
    dof: float
    unit: float
    raw: bool
    views: tuple[View, ...]
    mm_per_px: float | None = None

    @property
    def scale(self) -> float:
        """Analysis pixels over full-size pixels."""
        return self.analysis_px[0] / self.size_px[0]

    @property
    def depth_px(self) -> float:
        """Full-size pixels that one unit of the depth map is deep."""
        return self.focal_px / self.scale / self.unit

    def to_frame(self, index: int) -> NDArray[np.float64]:
        """Map picture pixels to a frame's pixels, exact for what lies in its plane of focus.

        Parameters
        ----------
        index : int
            Number of the view.

        Returns
        -------
        ndarray of float64, shape (3, 3)
            Both counted from their top left pixel's centre.
        """
        pose = np.array(self.views[index].pose)
        turn = rotation_of(pose, self.focal_px)
        normal = turn[2]
        pupil = np.array([pose[0], pose[1], pose[2] * self.focal_px])
        # rays of the reference view cut by the frame's tilted plane, seen from its pupil
        reach = (self.focal_px + normal @ pupil) * np.eye(3) - np.outer(pupil, normal)
        lens = np.diag([1.0, 1.0, self.focal_px])
        on_plane = np.diag([self.focal_px, self.focal_px, 1.0]) @ turn @ reach @ lens
        shape = (self.size_px[1], self.size_px[0])
        full = centred(scaled(on_plane, self.scale), shape, shape)
        shift = np.eye(3)
        shift[:2, 2] = self.crop_px[:2]
        moved = full @ shift
        result: NDArray[np.float64] = moved / moved[2, 2]
        return result

    def plane_at(self, index: int, x_px: float, y_px: float) -> float:
        """Depth of a frame's plane of focus at a place of the picture.

        Parameters
        ----------
        index : int
            Number of the view.
        x_px, y_px : float
            Place in the picture.

        Returns
        -------
        float
            In the unit of the depth map.
        """
        shape = (self.analysis_px[1], self.analysis_px[0])
        p0, p1, p2 = plane_fit(np.array(self.views[index].pose), shape, self.focal_px)
        x = (x_px + self.crop_px[0] - (self.size_px[0] - 1) / 2) * self.scale
        y = (y_px + self.crop_px[1] - (self.size_px[1] - 1) / 2) * self.scale
        return (p0 + p1 * x + p2 * y) * self.unit

    def nearest(self, depth: float, x_px: float, y_px: float) -> int:
        """Find the view whose plane of focus lies nearest to a depth at a place.

        Parameters
        ----------
        depth : float
            In the unit of the depth map.
        x_px, y_px : float
            Place in the picture.

        Returns
        -------
        int
            Number of the view.
        """
        away = [abs(self.plane_at(k, x_px, y_px) - depth) for k in range(len(self.views))]
        return int(np.argmin(away))


def write_views(views: Views, folder: Path) -> None:
    """Lay the views beside a merged picture.

    Parameters
    ----------
    views : Views
        Of the merge.
    folder : Path
        Where the picture lies.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    import msgspec

    write_bytes(folder / FILE, msgspec.json.encode(views))


def read_views(folder: Path) -> tuple[Views, str]:
    """Read the views of a merged picture.

    Parameters
    ----------
    folder : Path
        Where it lies.

    Returns
    -------
    views : Views
        As written.
    mark : str
        Tells this merge from another one in the same folder.

    Raises
    ------
    SweepError
        When the folder holds no merge, or one by an older haltere.
    """
    import msgspec

    try:
        data = (folder / FILE).read_bytes()
        views = msgspec.json.decode(data, type=Views)
    except (OSError, msgspec.MsgspecError) as error:
        msg = f"{folder}: holds no merge that can be worked on; make one with haltere merge"
        raise SweepError(msg) from error
    return views, hashlib.sha256(data).hexdigest()[:16]
