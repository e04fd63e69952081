"""What the bench holds while it is open: the book's folder, a decoder, opened pictures."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from weakref import WeakValueDictionary

import numpy as np

from haltere.doors.bench.ahead import Ahead
from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.pyramid import (
    Rgb,
    Room,
    crop,
    exact_halvings,
    halved,
    jpeg,
    pyramid,
    size_at,
    tile,
    weight,
)
from haltere.errors import FrameError, UsageError
from haltere.fieldbook import (
    Book,
    OutingRow,
    Standing,
    answers_in,
    frame_numbered,
    open_book,
)
from haltere.fieldbook.catalogue import identity
from haltere.frames import Decoder
from haltere.frames.frame import Frame, Pixels

if TYPE_CHECKING:
    from haltere.kit import Capture
    from haltere.merge.merged import Merge

LayerName = Literal["merged", "origin", "depth", "confidence", "repaired"]


class Shelf:
    """Pictures and book of one bench; safe between threads.

    Lives as long as the server. Holds `LIMITS.pyramids_bytes` of opened pictures and what two
    decoding processes are at.

    Parameters
    ----------
    folder : Path
        The book's folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.decoder = Decoder(workers=2)
        self._pyramids: Room[list[Rgb]] = Room(LIMITS.pyramids_bytes, weight)
        self._jpegs: Room[bytes] = Room(LIMITS.jpegs_bytes, len)
        self._ahead = Ahead(self.levels)
        self._decodings: WeakValueDictionary[object, Future[Pixels]] = WeakValueDictionary()
        self._lock = threading.Lock()

    def wake(self) -> None:
        """Have ready what the first picture would wait for."""
        from haltere.show.pictures import srgb_array

        self.decoder.wake()
        grey = np.full((64, 64, 3), 128, np.uint8)
        jpeg(srgb_array(Pixels(grey, 1.0, False, None)))

    def close(self) -> None:
        """End the decoding processes."""
        self._ahead.close()
        self.decoder.close()

    def book(self) -> Book:
        """Open the book for one request; to be closed by whoever asked."""
        return open_book(self.folder)

    def frame(self, number: int) -> Frame:
        """Give a frame that may be shown.

        Parameters
        ----------
        number : int
            Its number in the book.

        Raises
        ------
        UsageError
            When the book has no such frame, or its file lies where the book keeps nothing.
        """
        with self.book() as book:
            outing, frame = frame_numbered(book, number)
        within(frame.path, self.roots(outing), frame.name)
        return frame

    def roots(self, outing: OutingRow | None = None) -> tuple[Path, ...]:
        """Name the folders from which files may be shown.

        Parameters
        ----------
        outing : OutingRow, optional
            Its own folder is one of them.
        """
        roots = (self.folder.resolve(),)
        return roots if outing is None else (*roots, outing.folder.resolve())

    def levels(self, frame: Frame) -> list[Rgb]:
        """Open a frame in colours of a screen, with all its halvings.

        Parameters
        ----------
        frame : Frame
            The frame.

        Raises
        ------
        FrameError
            When it can't be decoded.
        """
        return self._pyramids.get(
            (str(frame.path), identity(frame.path)), lambda: self._open(frame)
        )

    def _open(self, frame: Frame) -> list[Rgb]:
        from haltere.show.pictures import srgb_array

        decoding = self._decoding(frame)  # held to the end: who zooms meanwhile takes from it
        return pyramid(srgb_array(decoding.result()))

    def _decoding(self, frame: Frame) -> Future[Pixels]:
        """Join in the decoding of a frame that somebody waits for, or begin it."""
        key = (str(frame.path), identity(frame.path))
        with self._lock:
            found = self._decodings.get(key)
            if found is None:
                found = self._decodings[key] = self.decoder.submit_rgb(frame)
        return found

    def tile(self, frame: Frame, level: int, column: int, row: int) -> bytes | None:
        """Write one tile of a frame as JPEG.

        The coarse steps of a large JPEG come from decoding it small, which is what a first view
        waits for; the whole is opened behind it, before anybody zooms in. Whoever zooms sooner
        waits for its decoding alone, and for the colours and halvings of the tile, not of the
        whole.

        Parameters
        ----------
        frame : Frame
            The frame.
        level : int
            0 is full size.
        column, row : int
            Which tile.

        Returns
        -------
        bytes or None
            None where the picture has no such tile.

        Raises
        ------
        FrameError
            When it can't be decoded.
        """
        large = max(frame.width_px, frame.height_px) > LIMITS.tile_px << LIMITS.coarse_level
        if level < LIMITS.coarse_level or frame.kind != "jpeg" or not large:
            held = self._pyramids.held((str(frame.path), identity(frame.path)))
            if held is None and large and level < LIMITS.coarse_level:
                self._ahead.want(frame)
                pixels = self._decoding(frame).result()
                if level <= exact_halvings(pixels.array):
                    return self._tile_of(pixels, level, column, row)
            return tile(held or self.levels(frame), level, column, row)
        key = ("coarse", str(frame.path), identity(frame.path))
        levels = self._pyramids.get(key, lambda: self._open_coarse(frame))
        return tile(levels, level - LIMITS.coarse_level, column, row)

    @staticmethod
    def _tile_of(pixels: Pixels, level: int, column: int, row: int) -> bytes | None:
        """Write a tile of a picture that was just decoded, the same as from its pyramid."""
        from haltere.show.pictures import srgb_array

        side = LIMITS.tile_px << level
        cut = pixels.array[row * side : (row + 1) * side, column * side : (column + 1) * side]
        if not cut.size:
            return None
        return jpeg(halved(srgb_array(replace(pixels, array=cut)), level))

    def _open_coarse(self, frame: Frame) -> list[Rgb]:
        import cv2

        from haltere.show.pictures import srgb_array

        size = size_at((frame.width_px, frame.height_px), LIMITS.coarse_level)
        decoding = self.decoder.submit_rgb(frame, max(size))
        self._ahead.want(frame)
        small = srgb_array(decoding.result())
        if (small.shape[1], small.shape[0]) != size:
            small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.uint8)
        return pyramid(small)

    def preview(self, frame: Frame) -> list[Rgb]:
        """Open the picture inside a raw file, enlarged to the frame's size, with its halvings.

        It is there long before the frame is developed.

        Parameters
        ----------
        frame : Frame
            The frame.

        Raises
        ------
        FrameError
            When it can't be decoded.
        """
        return self._pyramids.get(
            ("preview", str(frame.path), identity(frame.path)), lambda: self._open_preview(frame)
        )

    def _open_preview(self, frame: Frame) -> list[Rgb]:
        import cv2

        from haltere.show.pictures import srgb_array

        size = (frame.width_px, frame.height_px)
        # a raw file without one is developed at half its size, which takes a quarter of the time
        small = srgb_array(self.decoder.preview(frame, max(size) // 2))
        if (small.shape[1], small.shape[0]) != size:
            small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_LINEAR), np.uint8)
        return pyramid(small)

    def layer(self, path: Path, which: LayerName) -> list[Rgb]:
        """Open a picture that came of a merge.

        Parameters
        ----------
        path : Path
            The file.
        which : {"merged", "origin", "depth", "confidence", "repaired"}
            How it is to be read.
        """
        from haltere.doors.bench.layers import shown

        return self._pyramids.get((str(path), identity(path)), lambda: pyramid(shown(path, which)))

    def kept(self, key: object, make: Callable[[], bytes]) -> bytes:
        """Give a small picture that was made before, and make it when it was not.

        Parameters
        ----------
        key : object
            Hashable; changes whenever the picture would.
        make : callable
            Makes it.
        """
        return self._jpegs.get(key, make)

    def look(self, frame: Frame, longest_px: int) -> bytes:
        """Give a small look at a whole frame as JPEG.

        Parameters
        ----------
        frame : Frame
            The frame.
        longest_px : int
            Longest side.
        """

        def make() -> bytes:
            from haltere.show.pictures import to_srgb

            picture = to_srgb(self.decoder.look(frame, longest_px))
            picture.thumbnail((longest_px, longest_px))
            return jpeg(np.asarray(picture), LIMITS.look_quality)

        return self._jpegs.get((str(frame.path), identity(frame.path), longest_px), make)

    def eye(self, frame: Frame, centre_px: tuple[float, float], side: int) -> bytes:
        """Give a crop at one picture pixel a pixel as JPEG.

        Parameters
        ----------
        frame : Frame
            The frame.
        centre_px : tuple of float
            Middle of the crop.
        side : int
            Its side, px.
        """
        where = (round(centre_px[0]), round(centre_px[1]), side)
        key = (str(frame.path), identity(frame.path), where)
        return self._jpegs.get(key, lambda: jpeg(crop(self.levels(frame)[0], centre_px, side)))


def within(path: Path, roots: tuple[Path, ...], name: str) -> Path:
    """Refuse a file that lies outside some folders, also by way of a link.

    Parameters
    ----------
    path : Path
        The file.
    roots : tuple of Path
        The folders, resolved.
    name : str
        What the file is called in messages.

    Returns
    -------
    Path
        The file itself, links followed.

    Raises
    ------
    UsageError
        When it lies elsewhere.
    FrameError
        When it is gone.
    """
    real = path.resolve()
    if not any(real.is_relative_to(root) for root in roots):
        raise UsageError(f"{name}: lies outside the outing's folder and is not shown")
    if not real.is_file():
        raise FrameError(f"{name}: is no longer where it was; plug its disk in, or bring it back")
    return real


def revision(path: Path) -> str:
    """Give a mark that changes with the file.

    Parameters
    ----------
    path : Path
        The file.
    """
    size, moment = identity(path)
    return f"{max(size, 0):x}-{max(moment, 0):x}"


def file_of(answered: Standing | None, name: str) -> Path | None:
    """Find a file that came of a merge by its name; None when it is gone.

    Parameters
    ----------
    answered : Standing or None
        The merge as the book has it.
    name : str
        As the answer names it, relative to its folder.
    """
    if answered is None or not answered.whole:
        return None
    bare = name.rpartition("/")[2]
    return next((path for path in answered.made if path.name == bare), None)


def merge_in(book: Book, outing_id: int, run: str) -> tuple[Merge, Path]:
    """Find a sweep's merge, and the file beside it that says how its frames saw the animal.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.
    run : str
        The sweep.

    Raises
    ------
    UsageError
        When it is not merged, or its files are gone.
    """
    from haltere.merge.merged import Merge

    answered = answers_in(book, outing_id, run).get(("merge", run))
    merge = None if answered is None else answered.as_a(Merge)
    path = None if merge is None else file_of(answered, merge.views)
    if merge is None or path is None:
        raise UsageError(f"{run}: is not merged yet, or its files are gone; merge it again")
    return merge, path


def capture_before(answers: Mapping[tuple[str, str], Standing]) -> Capture | None:
    """Give how a run was taken, as its answers were made; None where they don't say.

    Parameters
    ----------
    answers : dict
        Of the run, from `haltere.fieldbook.answers_in`.
    """
    from haltere.kit import Capture

    said = next((one.params.get("capture") for one in answers.values()), None)
    return Capture(**said) if isinstance(said, dict) else None
