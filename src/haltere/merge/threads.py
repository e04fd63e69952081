"""Compiled loops cut into stretches that two threads work on."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from haltere.align.ahead import THREADS

Result = TypeVar("Result")


def compiled(plain: Callable[..., Result]) -> Callable[..., Result]:
    """Compile a plain loop; the first call costs seconds, later programs read it from disk.

    Parameters
    ----------
    plain : callable
        Function of arrays and numbers that numba understands.

    Returns
    -------
    callable
        The same, without the interpreter's lock; `py_func` is the plain one.
    """
    from numba import njit

    # products may be added in one step; sums keep their order, and NaN stays NaN
    fast: Callable[..., Result] = njit(nogil=True, cache=True, fastmath={"contract"})(plain)
    return fast


def in_stretches(
    loop: Callable[..., None], count: int, *given: Any, pieces: int = 4 * THREADS
) -> None:
    """Run ``loop(first, past_last, *given)`` over stretches of 0..count.

    Each stretch writes its own part of the output, so the result does not depend on threads.

    Parameters
    ----------
    loop : callable
        Compiled loop.
    count : int
        Number of rows, lines or whatever is cut up.
    *given
        Further arguments.
    pieces : int, optional
        How many stretches; more of them where some are much more work than others.
    """
    cuts = [round(k * count / pieces) for k in range(pieces + 1)]
    with ThreadPoolExecutor(THREADS) as pool:
        jobs = [pool.submit(loop, a, b, *given) for a, b in itertools.pairwise(cuts)]
        for job in jobs:
            job.result()
