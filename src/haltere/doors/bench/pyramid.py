"""Pictures cut into tiles: opened once, halved down, kept while there is room."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Generic, TypeVar

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from haltere.doors.bench.limits import LIMITS

Rgb = NDArray[np.uint8]
Held = TypeVar("Held")


class Room(Generic[Held]):
    """Keeps what was made under its key, the least lately used going first; safe between threads.

    What several ask for at once is made once.

    Parameters
    ----------
    room_bytes : int
        The last thing made is kept even if it is larger.
    weigh : callable
        Bytes of a thing.
    """

    def __init__(self, room_bytes: int, weigh: Callable[[Held], int]) -> None:
        self._room_bytes, self._weigh = room_bytes, weigh
        self._held: OrderedDict[object, Held] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()
        self._making: dict[object, threading.Lock] = {}

    def get(self, key: object, make: Callable[[], Held]) -> Held:
        """Give what is kept under a key, and make it when it is not here.

        Parameters
        ----------
        key : object
            Hashable; changes whenever the thing would.
        make : callable
            Makes it.
        """
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
            making = self._making.setdefault(key, threading.Lock())
        with making:
            with self._lock:
                if key in self._held:
                    return self._held[key]
            made = make()
            with self._lock:
                self._held[key] = made
                self._bytes += self._weigh(made)
                self._making.pop(key, None)
                while self._bytes > self._room_bytes and len(self._held) > 1:
                    self._bytes -= self._weigh(self._held.popitem(last=False)[1])
            return made

    def held(self, key: object) -> Held | None:
        """Give what is kept under a key; None while it is not here.

        Parameters
        ----------
        key : object
            Hashable; changes whenever the thing would.
        """
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
            return self._held.get(key)


def pyramid(full: Rgb) -> list[Rgb]:
    """Halve a picture until it fits one tile.

    Parameters
    ----------
    full : ndarray of uint8, shape (H, W, 3)
        Full size.

    Returns
    -------
    list of ndarray
        Full size first; each side is half of the one before, rounded up.
    """
    levels = [np.ascontiguousarray(full)]
    while max(levels[-1].shape[:2]) > LIMITS.tile_px:
        levels.append(halved(levels[-1], 1))
    return levels


def halved(rgb: Rgb, times: int) -> Rgb:
    """Halve a picture, each side rounded up.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        The picture.
    times : int
        How often; 0 gives it back.
    """
    for _ in range(times):
        height, width = rgb.shape[:2]
        size = size_at((width, height), 1)
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    return rgb


def exact_halvings(array: NDArray[Any]) -> int:
    """Count how often a picture can be halved without a rest, so that each part can by itself.

    Parameters
    ----------
    array : ndarray, shape (H, W, ...)
        The picture.
    """
    height, width = array.shape[:2]
    found = 0
    while width % 2 == height % 2 == 0 and min(width, height) > 1:
        width, height, found = width // 2, height // 2, found + 1
    return found


def size_at(size_px: tuple[int, int], level: int) -> tuple[int, int]:
    """Give the size of a picture at a level of its pyramid.

    Parameters
    ----------
    size_px : tuple of int
        Width and height at full size.
    level : int
        0 is full size.
    """
    width, height = size_px
    for _ in range(level):
        width, height = (width + 1) // 2, (height + 1) // 2
    return width, height


def weight(levels: list[Rgb]) -> int:
    """Bytes of a pyramid.

    Parameters
    ----------
    levels : list of ndarray
        From `pyramid`.
    """
    return sum(level.nbytes for level in levels)


def tile(levels: list[Rgb], level: int, column: int, row: int) -> bytes | None:
    """Write one tile as JPEG.

    Parameters
    ----------
    levels : list of ndarray
        From `pyramid`.
    level : int
        0 is full size.
    column, row : int
        Which tile.

    Returns
    -------
    bytes or None
        None where the picture has no such tile.
    """
    side = LIMITS.tile_px
    if not 0 <= level < len(levels):
        return None
    cut = levels[level][row * side : (row + 1) * side, column * side : (column + 1) * side]
    return jpeg(cut) if cut.size else None


def crop(full: Rgb, centre_px: tuple[float, float], side: int) -> Rgb:
    """Cut a square about a point at one picture pixel a pixel, grey where the picture ends.

    Parameters
    ----------
    full : ndarray of uint8, shape (H, W, 3)
        Full size.
    centre_px : tuple of float
        (x, y) of the middle.
    side : int
        Side of the square.
    """
    height, width = full.shape[:2]
    x0, y0 = round(centre_px[0] - side / 2), round(centre_px[1] - side / 2)
    out = np.full((side, side, 3), 128, np.uint8)
    left, top = max(0, x0), max(0, y0)
    right, bottom = min(width, x0 + side), min(height, y0 + side)
    if right > left and bottom > top:
        out[top - y0 : bottom - y0, left - x0 : right - x0] = full[top:bottom, left:right]
    return out


def jpeg(rgb: Rgb, quality: int = LIMITS.quality) -> bytes:
    """Write a picture as JPEG, colours at full size.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        The picture.
    quality : int, optional
        1 to 100.
    """
    return bytes(
        simplejpeg.encode_jpeg(
            np.ascontiguousarray(rgb), quality=quality, colorspace="RGB", colorsubsampling="444"
        )
    )
