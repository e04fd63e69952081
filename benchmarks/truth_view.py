"""Truth of a rendered set, and pictures carried to its reference view to be compared."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.metrics import structural_similarity

Floats = NDArray[np.float64]


def luma(rgb: Floats) -> Floats:
    """ITU-R BT.709 luma of RGB on 0..1."""
    return rgb @ np.array([0.2126, 0.7152, 0.0722])


def read_rgb(path: Path) -> Floats:
    """RGB on 0..1 of an 8- or 16-bit picture."""
    picture = cv2.imread(str(path), cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION)
    assert picture is not None, path
    return picture[..., ::-1].astype(np.float64) / np.iinfo(picture.dtype).max


@dataclass(frozen=True, slots=True)
class TruthView:
    """A rendered set's truth.json with its maps."""

    raw: dict[str, Any]
    sharp: Floats
    depth_mm: Floats
    mask: NDArray[np.uint8]

    @classmethod
    def read(cls, folder: Path) -> TruthView:
        """Read truth.json, sharp.png, depth.png and mask.png."""
        raw = json.loads((folder / "truth.json").read_text())
        rule = raw["depth_png"]
        codes = cv2.imread(str(folder / "depth.png"), cv2.IMREAD_UNCHANGED)
        mask = cv2.imread(str(folder / "mask.png"), cv2.IMREAD_GRAYSCALE)
        assert codes is not None
        assert mask is not None
        depth = codes.astype(np.float64) * rule["scale_mm"] + rule["depth_min_mm"]
        depth[codes == rule["nothing"]] = np.nan
        return cls(raw, read_rgb(folder / "sharp.png"), depth, np.asarray(mask, np.uint8))

    def place(self, index: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Where frame `index` shows what the reference view shows, two maps of pixels."""
        h, w = self.depth_mm.shape
        k = self.raw["focal_px"]
        cx, cy = self.raw["principal_point_px"]
        s = self.raw["entrance_pupil_to_plane_mm"]
        far = s + np.where(np.isfinite(self.depth_mm), self.depth_mm, np.nanmax(self.depth_mm))
        y, x = np.mgrid[0:h, 0:w].astype(np.float64)
        space = np.stack([(x - cx) / k * far, (y - cy) / k * far, far - s], axis=-1)
        frame = self.raw["frames"][index]
        seen = (space - np.array(frame["camera_mm"])) @ np.array(frame["rotation"]).T
        u = k * seen[..., 0] / seen[..., 2] + cx
        v = k * seen[..., 1] / seen[..., 2] + cy
        return u.astype(np.float32), v.astype(np.float32)

    def plane_mm(self, index: int) -> Floats:
        """Depth at which frame `index`'s plane of focus cuts each line of sight, mm."""
        h, w = self.depth_mm.shape
        k = self.raw["focal_px"]
        cx, cy = self.raw["principal_point_px"]
        s = self.raw["entrance_pupil_to_plane_mm"]
        frame = self.raw["frames"][index]
        nx, ny, nz = np.array(frame["rotation"])[2]
        x, y = np.arange(w)[None, :], np.arange(h)[:, None]
        along = nx * (x - cx) / k + ny * (y - cy) / k + nz
        camera = np.array(frame["camera_mm"])
        far: Floats = (s + np.array([nx, ny, nz]) @ (camera + np.array([0, 0, s]))) / along
        return far - s

    def usable(self) -> list[int]:
        """Frames without a fault."""
        return [k for k, frame in enumerate(self.raw["frames"]) if not frame["faults"]]

    def covered(self) -> NDArray[np.bool_]:
        """Animal within half a depth of field of a usable frame's plane."""
        result = np.zeros(self.mask.shape, bool)
        half = self.raw["depth_of_field_mm"] / 2
        for k in self.usable():
            result |= np.abs(self.depth_mm - self.plane_mm(k)) <= half
        return result & (self.mask >= 2)

    def figures(self, rgb: Floats, valid: NDArray[np.bool_]) -> tuple[float, float]:
        """PSNR (dB) and SSIM of luma over the covered animal that `valid` holds."""
        where = self.covered() & valid
        said, true = luma(rgb), luma(self.sharp)
        error = (said - true)[where]
        psnr = -10 * float(np.log10(np.mean(error**2)))
        _, ssim = structural_similarity(
            said,
            true,
            gaussian_weights=True,
            sigma=1.5,
            use_sample_covariance=False,
            data_range=1.0,
            full=True,
        )
        return psnr, float(ssim[where].mean())

    def carried(
        self, rgb: Floats, index: int, corner: tuple[int, int] = (0, 0)
    ) -> tuple[float, float]:
        """Figures of a picture seen from frame `index`, whose first pixel is at `corner`."""
        return self.figures(*self.laid(rgb, index, corner))

    def laid(
        self, picture: Floats, index: int, corner: tuple[int, int] = (0, 0)
    ) -> tuple[Floats, NDArray[np.bool_]]:
        """Carry a picture seen from frame `index` to the truth's view, and tell what it holds."""
        h, w = self.depth_mm.shape
        if index == self.raw["reference_index"]:
            v, u = np.mgrid[0:h, 0:w].astype(np.float32)
        else:
            u, v = self.place(index)
        u, v = u - corner[0], v - corner[1]
        h, w = picture.shape[:2]
        valid = (u >= 0) & (v >= 0) & (u <= w - 1) & (v <= h - 1)
        seen = cv2.remap(
            picture.astype(np.float32), u, v, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE
        )
        return seen.astype(np.float64), valid
