"""What is worked out of each frame in turn, by two threads ahead of whoever takes it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

import cv2

THREADS = 2

Result = TypeVar("Result")
Item = TypeVar("Item")


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


@contextmanager
def calls_alone() -> Iterator[None]:
    """Have each call of OpenCV done by the thread that calls: all cores have their threads."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)
