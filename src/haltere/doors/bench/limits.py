"""Numbers of the bench, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BenchLimits:
    """Bounds of the bench.

    Attributes
    ----------
    tile_px : int
        Side of a tile; nine of them fill a laptop's screen, each is written in a millisecond.
    coarse_level : int
        From this level on a large JPEG is decoded small instead of halved: a quarter of its side,
        at which 20 megapixels fill a window of 1400 px, takes a fifth less time to decode and a
        sixteenth of the memory that a first view must walk through.
    quality : int
        JPEG quality of tiles and crops, without colour subsampling: blocks and bled colour must
        not be taken for blur.
    look_quality : int
        The same for small looks.
    patch_quality : int
        The same for patches, which lie in the middle of tiles that were written once: their own
        blocks must not mark their edge.
    crop_px : tuple of int
        Smallest and largest side of a crop.
    pyramids_bytes : int
        Memory for opened pictures: five of 20 megapixels with all their halvings (80 MB each).
    jpegs_bytes : int
        Memory for small pictures that are written already: some 3,000 looks.
    body_bytes : int
        Largest request: a decision on 10,000 frames is 400 kB.
    follow_s : float
        How often the queue is looked at for those who follow it.
    grid_columns : int
        Columns of the grid that says which frame each place of a merged picture comes from;
        finer cells could not be told apart on a page.
    """

    tile_px: int = 512
    coarse_level: int = 2
    quality: int = 90
    look_quality: int = 82
    patch_quality: int = 95
    crop_px: tuple[int, int] = (64, 1024)
    pyramids_bytes: int = 400 << 20
    jpegs_bytes: int = 48 << 20
    body_bytes: int = 1 << 20
    follow_s: float = 0.4
    grid_columns: int = 96


LIMITS = BenchLimits()
