"""Compiled loops cut into stretches that two threads work on."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

THREADS = 2

Result = TypeVar("Result")
Item = TypeVar("Item")


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


def in_turn(work: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
    """Give ``work(item)`` of one item after the other, worked out by two threads ahead of time.

    Parameters
    ----------
    work : callable
        What each item needs; it may run beside itself.
    items : iterable
        Items.

    Yields
    ------
    object
        Results in the order of the items; a few more than there are threads are held.
    """
    waiting: deque[Future[Result]] = deque()
    with ThreadPoolExecutor(THREADS) as pool:
        try:
            for item in items:
                waiting.append(pool.submit(work, item))
                if len(waiting) > THREADS:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for one in waiting:
                one.cancel()


def in_stretches(loop: Callable[..., None], count: int, *given: Any) -> None:
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
    """
    cuts = [round(k * count / (4 * THREADS)) for k in range(4 * THREADS + 1)]
    with ThreadPoolExecutor(THREADS) as pool:
        jobs = [pool.submit(loop, a, b, *given) for a, b in itertools.pairwise(cuts)]
        for job in jobs:
            job.result()
