"""Analysis pictures of a run: small grey frames kept on disk, a few in memory."""

from __future__ import annotations

import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture, shrink
from haltere.frames.marks import Marks


def linear_light(picture: Picture) -> Picture:
    """Turn encoded luma on 0..255 into light on 0..255 by the sRGB curve (IEC 61966-2-1).

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Encoded values.

    Returns
    -------
    ndarray of float32, shape (H, W)
        Linear light.
    """
    result: Picture = np.interp(picture, np.arange(256), _LIGHT).astype(np.float32)
    return result


def _light_curve() -> NDArray[np.float32]:
    codes = np.arange(256, dtype=np.float64) / 255.0
    curve = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return (curve * 255.0).astype(np.float32)


_LIGHT = _light_curve()


def light_of(raw: NDArray[np.uint8] | NDArray[np.uint16]) -> Picture:
    """Light on 0..255 of encoded values as they are stored, see `linear_light`.

    Parameters
    ----------
    raw : ndarray of uint8 or uint16
        Encoded values, any shape.
    """
    if raw.dtype == np.uint8:
        # six times as fast as indexing
        return np.asarray(cv2.LUT(np.asarray(raw), _LIGHT), np.float32)
    return linear_light(raw.astype(np.float32) * np.float32(255.0 / 65535.0))


KEPT_BYTES = 80 << 20
"""Memory for what is worked out of all frames alike, by name; as much again for older names."""

MARKS_BYTES = 64 << 20
"""Memory for where the parts of files lie: of 120 frames of 20 megapixels, half a megabyte each."""

Made = TypeVar("Made", bound=NDArray[Any])


class Lumas:
    """Grey analysis frames by index, written once, read as often as needed.

    Memory held: at most `keep` shrunk frames, 160 MiB of what is worked out of them again and
    again, 64 MiB of marks, and frames up to `roomy_bytes`; everything else lies in a temporary
    folder that goes when the object is closed.

    Parameters
    ----------
    keep : int
        Shrunk pictures kept in memory.
    roomy_bytes : int
        Memory for frames as they were added; those that do not fit lie in the folder.

    Attributes
    ----------
    marks : dict of int to Marks
        Where parts of the files lie, by index, of those of which it is known.
    """

    def __init__(self, keep: int = 24, roomy_bytes: int = 0) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="haltere-")
        self._keep = keep
        self._room = roomy_bytes
        self._added: dict[int, NDArray[np.uint8] | NDArray[np.uint16]] = {}
        self._held: OrderedDict[tuple[int, int], Picture] = OrderedDict()
        self._made: OrderedDict[tuple[Hashable, int], NDArray[Any]] = OrderedDict()
        self._made_bytes = 0
        self._lock = threading.Lock()
        self._count = 0
        self.shape: tuple[int, int] = (0, 0)
        self.marks: dict[int, Marks] = {}
        # bare values: numpy reads a head by `ast`, which Python 3.11 does not stand in two threads
        self._laid: dict[int, np.dtype[Any]] = {}

    def __enter__(self) -> Lumas:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __len__(self) -> int:
        return self._count

    def forget(self) -> None:
        """Give back the memory of what was worked out; what is asked for is worked out again."""
        self._held.clear()
        with self._lock:
            self._made.clear()
            self._made_bytes = 0

    def close(self) -> None:
        """Forget everything and remove the temporary folder."""
        self.forget()
        self._added.clear()
        self._folder.cleanup()

    def add(self, luma: NDArray[np.uint8] | NDArray[np.uint16]) -> int:
        """Keep one more frame and return its index.

        Parameters
        ----------
        luma : ndarray of uint8 or uint16, shape (H, W)
            Grey analysis picture, not written to any more; all of a run have one size.

        Returns
        -------
        int
            Its index, counted from 0.

        Raises
        ------
        ValueError
            When the size differs from the first frame's.
        """
        if self._count == 0:
            self.shape = (int(luma.shape[0]), int(luma.shape[1]))
        elif luma.shape[:2] != self.shape:
            msg = f"frame of {luma.shape[:2]} among frames of {self.shape}"
            raise ValueError(msg)
        if luma.nbytes <= self._room:
            self._room -= luma.nbytes
            self._added[self._count] = luma
        else:
            luma.tofile(self._file(self._count))
            self._laid[self._count] = luma.dtype
        self._count += 1
        return self._count - 1

    def note(self, index: int, marks: Marks) -> None:
        """Keep where the parts of a frame's file lie, while there is room for that.

        Parameters
        ----------
        index : int
            Index that `add` returned.
        marks : Marks
            Of its file.
        """
        if sum(one.nbytes for one in self.marks.values()) + marks.nbytes <= MARKS_BYTES:
            self.marks[index] = marks

    def extend(self, lumas: Iterable[NDArray[np.uint8]]) -> None:
        """Keep several frames, see `add`.

        Parameters
        ----------
        lumas : iterable of ndarray of uint8, shape (H, W)
            Grey analysis pictures.
        """
        for luma in lumas:
            self.add(luma)

    def full(self, index: int) -> Picture:
        """One frame at analysis size, float32 on 0..255.

        Parameters
        ----------
        index : int
            Index that `add` returned.
        """
        raw = self._added.get(index)
        if raw is None:
            raw = np.fromfile(self._file(index), self._laid[index]).reshape(self.shape)
        scale = np.float32(255.0 / 65535.0) if raw.dtype == np.uint16 else np.float32(1.0)
        picture: Picture = raw.astype(np.float32) * scale
        return picture

    def small(self, index: int, factor: int) -> Picture:
        """One frame in linear light, shrunk by `factor`, float32 on 0..255, kept for a while.

        Linear, because defocus mixes light: in encoded values a blurred bright outline seems to
        grow, and a sweep's scale with it (measured: 3 % of the travel of a 62-frame sweep).

        Parameters
        ----------
        index : int
            Index that `add` returned.
        factor : int
            Times that width and height are shrunk; 1 leaves the size.
        """
        key = (index, factor)
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        picture = self.made(
            index, ("small", factor), lambda: shrink(light_of(self.stored(index)), factor)
        )
        with self._lock:
            self._held[key] = picture
            while len(self._held) > self._keep:
                self._held.popitem(last=False)
        return picture

    def made(self, index: int, name: Hashable, make: Callable[[], Made]) -> Made:
        """Give something worked out of one frame, kept where that of all frames has room.

        Parameters
        ----------
        index : int
            Index that `add` returned.
        name : hashable
            What it is, with every number that it depends on.
        make : callable
            Works it out.

        Returns
        -------
        ndarray
            What `make` returned, now or before; not to be written to.
        """
        key = (name, index)
        with self._lock:
            if key in self._made:
                self._made.move_to_end(key)
                return self._made[key]  # type: ignore[return-value] # one name, one type
        result = make()
        with self._lock:
            # kept for some frames only it would be gone whenever it is asked for in turn
            if result.nbytes * self._count <= KEPT_BYTES and key not in self._made:
                self._made[key] = result
                self._made_bytes += result.nbytes
                while self._made_bytes > 2 * KEPT_BYTES:
                    self._made_bytes -= self._made.popitem(last=False)[1].nbytes
        return result

    def stored(self, index: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
        """One frame as it was added; from the disk only what is cut from it is read.

        Parameters
        ----------
        index : int
            Index that `add` returned.
        """
        held = self._added.get(index)
        if held is not None:
            return held
        return np.memmap(self._file(index), self._laid[index], "r", shape=self.shape)

    def _file(self, index: int) -> Path:
        return Path(self._folder.name, f"{index:05d}.grey")
