"""Memory that is freed and soon wanted again stays with the process."""

from __future__ import annotations

import ctypes
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Of mallopt(3), malloc.h."""

_KEPT_BYTES = 200 << 20
_LARGEST_BYTES = 32 << 20
"""Pictures at analysis size and what is worked out of them; larger ones go back at once."""


def keep_freed_memory() -> None:
    """Have the GNU C library keep what a sweep's small pictures free; elsewhere do nothing.

    By default each of them is fetched from the system anew, page by page: a thirtieth of a merge's
    processor time.
    """
    if not sys.platform.startswith("linux"):
        return
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError):  # another C library
        return
    mallopt(_MMAP_THRESHOLD, _LARGEST_BYTES)
    mallopt(_TRIM_THRESHOLD, _KEPT_BYTES)
