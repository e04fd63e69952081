"""Memory that is freed: what is soon wanted again stays with the process, the rest goes back."""

from __future__ import annotations

import ctypes
import mmap
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

_TRIM_THRESHOLD, _MMAP_THRESHOLD, _MMAP_MAX, _ARENA_MAX = -1, -3, -4, -8
"""Of mallopt(3), malloc.h."""

_DONT_NEED = 4
"""Of madvise(2) on Linux."""

_KEPT_BYTES = 200 << 20
_LARGEST_BYTES = 32 << 20
"""Pictures at analysis size and what is worked out of them; larger ones go back at once."""

_KEPT_LARGE_BYTES = 1 << 30
"""Of pictures: what developing 70 megapixels takes."""


def _of_c_library(name: str) -> Any:
    """Give a function of the GNU C library; None elsewhere."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        return getattr(ctypes.CDLL(None), name)
    except (OSError, AttributeError):  # another C library
        return None


def keep_freed_memory() -> None:
    """Have the GNU C library keep what a sweep's small pictures free; elsewhere do nothing.

    By default each of them is fetched from the system anew, page by page: a thirtieth of a merge's
    processor time. Threads share two stores in place of one each: but for the first one's, the top
    of a store never goes back, up to 64 MiB.
    """
    mallopt = _of_c_library("mallopt")
    if mallopt is not None:
        mallopt(_ARENA_MAX, 2)
        mallopt(_MMAP_THRESHOLD, _LARGEST_BYTES)
        mallopt(_TRIM_THRESHOLD, _KEPT_BYTES)


def keep_freed_pictures() -> None:
    """Have the GNU C library keep memory of whole pictures too; elsewhere do nothing.

    For a process that develops one raw file after another: each takes the same memory, and to
    fetch it from the system anew, page by page, is a twelfth of developing.
    """
    mallopt = _of_c_library("mallopt")
    if mallopt is not None:
        mallopt(_MMAP_MAX, 0)
        mallopt(_TRIM_THRESHOLD, _KEPT_LARGE_BYTES)


def give_back_freed() -> None:
    """Give back what the GNU C library has kept of freed memory; elsewhere do nothing.

    For a moment at which the small pictures are done with and large ones come: of sixty frames
    it is some 275 MiB, in pieces between what is still in use.
    """
    trim = _of_c_library("malloc_trim")
    if trim is not None:
        trim(0)


def empty_pages(array: NDArray[Any]) -> None:
    """Give back the memory under an array that another library holds and nobody reads any more.

    Its numbers are lost; on Linux whole pages of it are zeros afterwards, elsewhere nothing
    happens.

    Parameters
    ----------
    array : ndarray
        Contiguous, in memory that belongs to this process alone.
    """
    advise = _of_c_library("madvise")
    if advise is None or not array.flags.c_contiguous:
        return
    page = mmap.PAGESIZE
    begin = -(-array.ctypes.data // page) * page
    size = (array.ctypes.data + array.nbytes) // page * page - begin
    if size > 0:
        advise(ctypes.c_void_p(begin), ctypes.c_size_t(size), _DONT_NEED)
