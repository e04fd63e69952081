"""Decoded pictures that somebody else will ask for soon, so that a file is decoded once."""

from __future__ import annotations

import threading
from collections.abc import Iterable

from haltere.frames.frame import Frame, Pixels

ROOM_BYTES = 192 << 20
"""Some thirty pictures of a 20-megapixel camera at half size: one burst in work and one waiting."""

Key = tuple[str, str, int | None]


class Kept:
    """Pictures by file, kind and size, each handed out once; safe between threads.

    Parameters
    ----------
    room_bytes : int, optional
        Pictures beyond it are not kept: who asks for them has them decoded again, to the same
        pixels.
    """

    def __init__(self, room_bytes: int = ROOM_BYTES) -> None:
        self._room = room_bytes
        self._held: dict[Key, Pixels] = {}
        self._lock = threading.Lock()

    def put(self, key: Key, pixels: Pixels) -> None:
        """Keep a picture where there is room.

        Parameters
        ----------
        key : tuple of str, str and int or None
            Path, 'luma' or 'rgb', and the longest side asked for.
        pixels : Pixels
            The picture, not written to any more.
        """
        with self._lock:
            if key not in self._held and pixels.array.nbytes <= self._room:
                self._held[key] = pixels
                self._room -= pixels.array.nbytes

    def take(self, key: Key) -> Pixels | None:
        """Hand a picture out, and keep it no longer.

        Parameters
        ----------
        key : tuple of str, str and int or None
            As it was put.

        Returns
        -------
        Pixels or None
            None when it is not here.
        """
        with self._lock:
            pixels = self._held.pop(key, None)
            if pixels is not None:
                self._room += pixels.array.nbytes
            return pixels

    def forget(self, frames: Iterable[Frame]) -> None:
        """Let go of all pictures of some frames.

        Parameters
        ----------
        frames : iterable of Frame
            The frames.
        """
        paths = {str(frame.path) for frame in frames}
        for key in [key for key in tuple(self._held) if key[0] in paths]:
            self.take(key)
