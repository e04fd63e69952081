"""Decoded pictures that somebody will ask for soon, so that a file is decoded once."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass, replace

from haltere.errors import FrameError
from haltere.frames.frame import Frame, Pixels

ROOM_BYTES = 192 << 20
"""Some thirty pictures of a 20-megapixel camera at half size: one burst in work and one waiting."""

Key = tuple[str, str, int | None]
"""Path, 'luma' or 'rgb', and the longest side asked for."""


@dataclass(frozen=True, slots=True)
class _Picture:
    """One that is kept, decoded or about to be; what it takes, and whether it stays when used."""

    pixels: Future[Pixels]
    nbytes: int
    stays: bool


class Kept:
    """Pictures by file, kind and size; safe between threads.

    One that was `put` is handed out once. One that is `expected` stays until it is let go, and
    serves whoever asks for it, or for a smaller one, as often as they ask.

    Parameters
    ----------
    room_bytes : int, optional
        Pictures beyond it are not kept: who asks for them has them decoded again.
    """

    def __init__(self, room_bytes: int = ROOM_BYTES) -> None:
        self._room = room_bytes
        self._held: dict[Key, _Picture] = {}
        self._lock = threading.Lock()

    def put(self, key: Key, pixels: Pixels) -> None:
        """Keep a picture for whoever asks for the same next, where there is room.

        Parameters
        ----------
        key : tuple of str, str and int or None
            See `Key`.
        pixels : Pixels
            The picture, not written to any more.
        """
        with self._lock:
            if key not in self._held and pixels.array.nbytes <= self._room:
                ready: Future[Pixels] = Future()
                ready.set_result(pixels)
                self._hold(key, _Picture(ready, pixels.array.nbytes, stays=False))

    def expected(self, key: Key, begin: Callable[[], Future[Pixels]]) -> None:
        """Have a picture decoded and keep it until it is let go, where there is room.

        Parameters
        ----------
        key : tuple of str, str and int or None
            See `Key`; with a longest side.
        begin : callable
            Begins to decode it; called at once, or not at all.
        """
        # nobody knows a picture's size before it is decoded: three sides to four is usual
        nbytes = int(0.75 * (key[2] or 0) ** 2)
        with self._lock:
            if key not in self._held and 0 < nbytes <= self._room:
                self._hold(key, _Picture(begin(), nbytes, stays=True))

    def take(self, key: Key) -> Future[Pixels] | None:
        """Hand a picture out.

        Parameters
        ----------
        key : tuple of str, str and int or None
            See `Key`.

        Returns
        -------
        Future of Pixels or None
            None when neither it nor a larger one that stays is here.
        """
        path, what, longest = key
        with self._lock:
            same = self._held.get(key)
            if same is not None and not same.stays:
                return self._drop(key).pixels
            if longest is None:
                return None
            for (other, kind, size), one in self._held.items():
                if other == path and kind == what and one.stays and (size or 0) >= longest:
                    return _shrunk_later(one.pixels, longest)
            return None

    def forget(self, frames: Iterable[Frame]) -> None:
        """Let go of all pictures of some frames.

        Parameters
        ----------
        frames : iterable of Frame
            The frames.
        """
        paths = {str(frame.path) for frame in frames}
        self._let_go(lambda path: path in paths)

    def keep_only(self, frames: Iterable[Frame]) -> None:
        """Let go of all pictures but those of some frames.

        Parameters
        ----------
        frames : iterable of Frame
            Frames that may be asked for again.
        """
        paths = {str(frame.path) for frame in frames}
        self._let_go(lambda path: path not in paths)

    def _hold(self, key: Key, picture: _Picture) -> None:
        self._held[key] = picture
        self._room -= picture.nbytes

    def _drop(self, key: Key) -> _Picture:
        picture = self._held.pop(key)
        self._room += picture.nbytes
        return picture

    def _let_go(self, unwanted: Callable[[str], bool]) -> None:
        with self._lock:
            for key in [key for key in self._held if unwanted(key[0])]:
                self._drop(key).pixels.cancel()


def _shrunk_later(whole: Future[Pixels], longest_px: int) -> Future[Pixels]:
    """Picture at most `longest_px` on its longest side, as the decoder would give it.

    Another future than the one that is kept: who gives it up takes nothing from the others.
    """
    small: Future[Pixels] = Future()

    def hand_on(done: Future[Pixels]) -> None:
        if not small.set_running_or_notify_cancel():
            return
        try:
            small.set_result(_shrunk(done.result(), longest_px))
        except (FrameError, CancelledError) as error:
            small.set_exception(error)

    whole.add_done_callback(hand_on)
    return small


def _shrunk(pixels: Pixels, longest_px: int) -> Pixels:
    from haltere.frames.decode import shrunk

    small = shrunk(pixels.array, longest_px)
    scale = pixels.scale * max(small.shape[:2]) / max(pixels.array.shape[:2])
    return replace(pixels, array=small, scale=scale)
