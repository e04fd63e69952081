"""Numbers that steer the records, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RecordLimits:
    """Bounds of reading what other programs wrote.

    Attributes
    ----------
    sidecar_bytes : int
        Largest sidecar that is opened. A sidecar is a few kilobytes; with brush strokes and an
        embedded thumbnail a few megabytes (common practice, no source), so 16 MiB leaves room
        and still keeps a mistaken or hostile file from filling the memory.
    batch_files : int
        Files that are recorded in one go. A record waits for the disk, some milliseconds; what
        a break leaves unrecorded is looked at again, so a batch stays small.
    """

    sidecar_bytes: int = 16 << 20
    batch_files: int = 32


LIMITS = RecordLimits()
