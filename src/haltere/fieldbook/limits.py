"""Numbers that steer unloading, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class UnloadLimits:
    """Bounds of copying and checking.

    Attributes
    ----------
    piece_bytes : int
        Read, hashed and written at a time. From 256 KiB on, larger pieces were no faster
        (measured); 1 MiB keeps calls few on slow cards.
    waiting_bytes, waiting_files : int
        Written but not yet checked, at most. 128 MiB is some five raw files: enough that
        writing never waits for reading back, and little enough for a small computer's memory
        (they lie in the system's cache, not in ours).
    batch_files, batch_bytes : int
        Files that are recorded in one go. A record costs a few milliseconds of disk; what was
        copied but not recorded is checked again after a break, so batches stay small.
    spare_bytes : int
        Left free beside the files: the book and its lists need it.
    drops : int
        How often the system is asked to forget a file before its pages count as stuck. One of
        200 files was not forgotten at the first time on a busy machine (measured).
    name_bytes : int
        Longest name that common file systems take (assumed for all).
    """

    piece_bytes: int = 1 << 20
    waiting_bytes: int = 128 << 20
    waiting_files: int = 64
    batch_files: int = 32
    batch_bytes: int = 64 << 20
    spare_bytes: int = 32 << 20
    drops: int = 5
    name_bytes: int = 255


LIMITS = UnloadLimits()
