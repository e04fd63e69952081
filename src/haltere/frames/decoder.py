"""A pool of decoding processes: a picture that crashes or hangs one costs itself, no more."""

from __future__ import annotations

import contextlib
import itertools
import os
import queue
import shutil
import tempfile
import threading
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

from haltere.errors import FrameError
from haltere.frames.frame import Frame, Pixels
from haltere.frames.kept import ROOM_BYTES, Kept
from haltere.frames.limits import LIMITS, FrameLimits
from haltere.frames.process import DecodingProcess, Job

Member = Literal["jpeg", "raw"]


class Decoder:
    """Decodes pictures in separate processes, in order or by single calls.

    A process that crashes, hangs or wants too much memory is replaced; its picture becomes one
    `FrameError`. Processes start at the first job, ignore Ctrl-C (the parent decides) and end
    with the parent. Pixels come through memory-mapped files, never through a pipe. Holds, at any
    moment, the pictures in work (one a process) plus what the caller keeps, and what it was told
    to `keep` or `expect`. Only a marked stream reads usual JPEGs in threads of this process, by a
    loop of our own that ends and keeps within its arrays whatever a file says.

    Parameters
    ----------
    workers : int, optional
        Number of processes.
    limits : FrameLimits, optional
        Bounds on memory and time.
    kept_bytes : int, optional
        Memory for decoded pictures that are kept for whoever asks next.
    """

    def __init__(
        self, workers: int = 2, limits: FrameLimits = LIMITS, kept_bytes: int = ROOM_BYTES
    ) -> None:
        self._limits = limits
        self._jobs: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._count = max(1, workers)
        self._threads: list[DecodingProcess] = []
        self._folder: Path | None = None
        self._lock = threading.Lock()
        self._numbers = itertools.count()
        self._closed = False
        self._kept = Kept(kept_bytes)
        self._readers: ThreadPoolExecutor | None = None
        self._ahead: dict[tuple[Path, int], Future[Pixels]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the processes at once; jobs still waiting are cancelled."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
        if self._readers is not None:
            self._readers.shutdown(wait=False, cancel_futures=True)
        with contextlib.suppress(queue.Empty):
            while True:
                job = self._jobs.get_nowait()
                if job is not None:
                    job.future.cancel()
        for process in self._threads:
            self._jobs.put(None)
            process.stop()
        for process in self._threads:
            process.join(timeout=5.0)
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def luma(self, frame: Frame, longest_px: int | None = None) -> Pixels:
        """Decode a frame to grey.

        Parameters
        ----------
        frame : Frame
            The frame.
        longest_px : int, optional
            Longest side wanted; without it full size. Up to 2 % less may come, so that one
            `scale` holds for both axes.

        Returns
        -------
        Pixels
            Array (H, W) of uint8; uint16 for 16-bit TIFF and developed raw.

        Raises
        ------
        FrameError
            When the file can't be decoded.
        """
        return self.submit_luma(frame, longest_px).result()

    def rgb(self, frame: Frame, longest_px: int | None = None, member: Member = "jpeg") -> Pixels:
        """Decode a frame to colour.

        Parameters
        ----------
        frame : Frame
            The frame.
        longest_px : int, optional
            Longest side wanted; without it full size.
        member : {"jpeg", "raw"}
            Which file of a pair; a frame that has only one file uses that.

        Returns
        -------
        Pixels
            Array (H, W, 3) of uint8; uint16 for 16-bit TIFF and raw.

        Raises
        ------
        FrameError
            When the file can't be decoded.
        """
        return self.submit_rgb(frame, longest_px, member).result()

    def wake(self) -> None:
        """Start the processes now, so that the first picture need not wait for them."""
        for _ in range(self._count):
            self._queue({"what": "wake"}, "")

    def look(self, frame: Frame, longest_px: int) -> Pixels:
        """Decode a frame small, to be looked at and nothing else.

        Where the camera put a small picture of the same into the file, that one is taken; it may
        be sharpened and coloured otherwise than the picture itself.

        Parameters
        ----------
        frame : Frame
            The frame.
        longest_px : int
            Longest side wanted.

        Returns
        -------
        Pixels
            Array (H, W, 3) of uint8; uint16 for TIFF of 16 bit and for raw without a preview.

        Raises
        ------
        FrameError
            When the file can't be decoded.
        """
        return self._submit(frame, "look", longest_px, "jpeg").result()

    def preview(self, frame: Frame, longest_px: int) -> Pixels:
        """Give the picture that the camera put into a raw file, at its own size.

        Parameters
        ----------
        frame : Frame
            The frame.
        longest_px : int
            Longest side for a raw file that holds none, or a frame that is no raw file: it is
            decoded to that size instead.

        Returns
        -------
        Pixels
            Array (H, W, 3) of uint8, no light but as the camera showed it; uint16 and linear
            where it was developed.

        Raises
        ------
        FrameError
            When the file can't be decoded.
        """
        return self._submit(frame, "preview", longest_px, "jpeg").result()

    def submit_luma(self, frame: Frame, longest_px: int | None = None) -> Future[Pixels]:
        """Start decoding a frame to grey.

        Parameters
        ----------
        frame : Frame
            The frame.
        longest_px : int, optional
            Longest side wanted.

        Returns
        -------
        Future of Pixels
            Its result is what `luma` returns; it raises what `luma` raises.
        """
        return self._submit(frame, "luma", longest_px, "jpeg")

    def submit_rgb(
        self, frame: Frame, longest_px: int | None = None, member: Member = "jpeg"
    ) -> Future[Pixels]:
        """Start decoding a frame to colour.

        Parameters
        ----------
        frame : Frame
            The frame.
        longest_px : int, optional
            Longest side wanted.
        member : {"jpeg", "raw"}
            Which file of a pair.

        Returns
        -------
        Future of Pixels
            Its result is what `rgb` returns; it raises what `rgb` raises.
        """
        return self._submit(frame, "rgb", longest_px, member)

    def stream(
        self,
        frames: Iterable[Frame],
        what: Literal["luma", "rgb"] = "luma",
        longest_px: int | None = None,
        ahead: int = 2,
        member: Member = "jpeg",
        *,
        marked: bool = False,
    ) -> Iterator[tuple[Frame, Pixels | FrameError]]:
        """Decode frames in order, a few ahead of the caller.

        Holds `ahead` + 1 decoded pictures at most, besides those the caller keeps.

        Parameters
        ----------
        frames : iterable of Frame
            The frames.
        what : {"luma", "rgb"}
            Grey or colour.
        longest_px : int, optional
            Longest side wanted.
        ahead : int, optional
            Frames decoded in advance.
        member : {"jpeg", "raw"}
            Which file of a pair, for colour.
        marked : bool, optional
            Grey and small: note where the parts of each file lie, where that can be done.

        Yields
        ------
        frame : Frame
            One frame after the other.
        pixels : Pixels or FrameError
            Its pixels, or what is wrong with it; a bad frame does not end the stream.
        """
        waiting: deque[tuple[Frame, Future[Pixels]]] = deque()
        source = iter(frames)
        try:
            while True:
                for frame in itertools.islice(source, max(1, ahead + 1) - len(waiting)):
                    if marked and what == "luma" and longest_px is not None:
                        future = self._submit_marked(frame, longest_px)
                    else:
                        future = self._submit(frame, what, longest_px, member)
                    waiting.append((frame, future))
                if not waiting:
                    return
                frame, future = waiting.popleft()
                try:
                    got: Pixels | FrameError = future.result()
                except FrameError as error:
                    got = error
                del future
                yield frame, got
                del got
        finally:
            for _, future in waiting:
                future.cancel()

    def read_ahead(self, frames: Iterable[Frame], longest_px: int) -> None:
        """Begin to read frames that a marked stream will be asked for.

        Parameters
        ----------
        frames : iterable of Frame
            Frames, of which the first 64 are read.
        longest_px : int
            Longest side that will be asked for.
        """
        from haltere.frames.parts import load_loops

        # by this thread, before two need them and while nothing else is loaded beside
        load_loops()
        for frame in itertools.islice(frames, self._limits.ahead):
            self._ahead[frame.path, longest_px] = self._submit_marked(frame, longest_px)

    def keep(
        self,
        frame: Frame,
        pixels: Pixels,
        what: Literal["luma", "rgb"] = "luma",
        longest_px: int | None = None,
    ) -> None:
        """Have a decoded picture ready for whoever asks for the same next; where there is room.

        Parameters
        ----------
        frame : Frame
            The frame.
        pixels : Pixels
            What this decoder gave for it, not written to any more.
        what : {"luma", "rgb"}
            Grey or colour.
        longest_px : int, optional
            Longest side that was asked for.
        """
        self._kept.put((str(frame.path), what, longest_px), pixels)

    def expect(self, frame: Frame, longest_px: int) -> None:
        """Start decoding a frame to grey that will be asked for, where there is room to keep it.

        It serves all who ask for it or for a smaller one, until it is let go.

        Parameters
        ----------
        frame : Frame
            A frame that has just arrived.
        longest_px : int
            Longest side that will be asked for.
        """
        key = (str(frame.path), "luma", longest_px)
        self._kept.expected(key, lambda: self._decode(frame, "luma", longest_px, "jpeg"))

    def keep_only(self, frames: Iterable[Frame]) -> None:
        """Let go of what was kept of all frames but some.

        Parameters
        ----------
        frames : iterable of Frame
            Frames that may be asked for again.
        """
        self._kept.keep_only(frames)

    def forget(self, frames: Iterable[Frame]) -> None:
        """Let go of what was kept of some frames.

        Parameters
        ----------
        frames : iterable of Frame
            The frames.
        """
        self._kept.forget(frames)

    def probe_raw(self, path: Path, name: str) -> tuple[int, int, int]:
        """Ask the raw reader what a file is.

        Parameters
        ----------
        path : Path
            The file.
        name : str
            Its name in messages.

        Returns
        -------
        width_px, height_px, orientation : int
            Stored size and orientation.

        Raises
        ------
        FrameError
            When it is no raw file; the text does not name it.
        """
        try:
            width, height, orientation = self._put({"what": "probe", "path": str(path)}, name)
        except FrameError as error:
            raise FrameError(str(error).removeprefix(f"{name}: ")) from None
        return width, height, orientation

    def _put(self, message: dict[str, Any], name: str) -> Any:
        return self._queue(message, name).result()

    def _submit(
        self, frame: Frame, what: str, longest_px: int | None, member: Member
    ) -> Future[Pixels]:
        path = _file_of(frame, member)
        kept = None if self._closed else self._kept.take((str(path), what, longest_px))
        return self._decode(frame, what, longest_px, member) if kept is None else kept

    def _submit_marked(self, frame: Frame, longest_px: int) -> Future[Pixels]:
        """Read a frame by a loop that can neither crash nor hang; others as usual."""
        begun = self._ahead.pop((frame.path, longest_px), None)
        if begun is not None:
            return begun
        with self._lock:
            if self._closed:
                raise CancelledError("the decoder is closed")
            if self._readers is None:
                self._readers = ThreadPoolExecutor(self._count, "haltere-reader")

        def read() -> Pixels:
            from haltere.frames.parts import read_marked

            pixels = read_marked(frame, longest_px) if frame.raw_path is None else None
            if pixels is None:
                return self._submit(frame, "luma", longest_px, "jpeg").result()
            return pixels

        return self._readers.submit(read)

    def _decode(
        self, frame: Frame, what: str, longest_px: int | None, member: Member
    ) -> Future[Pixels]:
        path = _file_of(frame, member)
        raw = path != frame.path
        kind = "raw" if raw else frame.kind
        name = (frame.raw_name if raw else frame.name) or frame.name
        message = {
            "what": what,
            "path": str(path),
            "kind": kind,
            # the raw file of a pair says itself how it lies: some cameras turn only the JPEG
            "orientation": None if raw else frame.orientation,
            "longest_px": longest_px,
        }
        return self._queue(message, name)

    def _queue(self, message: dict[str, Any], name: str) -> Future[Any]:
        future: Future[Any] = Future()
        with self._lock:
            if self._closed:
                raise CancelledError("the decoder is closed")
            if self._folder is None:
                self._folder = _memory_folder()
            message["out"] = str(self._folder / f"{next(self._numbers)}.px")
            if len(self._threads) < self._count:
                process = DecodingProcess(self._jobs, self._folder, self._limits)
                self._threads.append(process)
                process.start()
            self._jobs.put(Job(message, name, future))
        return future


def _file_of(frame: Frame, member: Member) -> Path:
    """File of a pair that is asked for; a frame that has only one uses that."""
    return frame.raw_path if member == "raw" and frame.raw_path is not None else frame.path


def _memory_folder() -> Path:
    """Make the folder for mapped pixels: in memory where the system offers that with room."""
    shared = Path("/dev/shm")
    roomy = 0
    if hasattr(os, "statvfs") and shared.is_dir() and os.access(shared, os.W_OK):
        stats = os.statvfs(shared)
        roomy = stats.f_bavail * stats.f_frsize
    # six 60 megapixel colour pictures of 16 bit; small containers give 64 MiB in all
    base = shared if roomy >= 2 << 30 else None
    return Path(tempfile.mkdtemp(prefix="haltere-", dir=base))
