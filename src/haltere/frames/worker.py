"""The decoding process: reads jobs on standard input, maps pixels into files, answers in JSON."""

from __future__ import annotations

import base64
import contextlib
import json
import math
import mmap
import os
import queue
import signal
import sys
import threading
from pathlib import Path
from typing import IO, Any

from haltere.errors import FrameError
from haltere.freed_memory import empty_pages, give_back_freed, keep_freed_pictures

_PIECE_BYTES = 4 << 20


def main() -> None:
    """Serve jobs until standard input closes, which it does when the parent dies."""
    with contextlib.suppress(ValueError, OSError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    settings = json.loads(sys.argv[1])
    answers = _private_stdout()
    jobs: queue.Queue[dict[str, Any]] = queue.Queue()
    threading.Thread(target=_listen, args=(jobs, settings["folder"]), daemon=True).start()
    import simplejpeg  # noqa: F401 - loaded before the clock of the first picture runs

    import haltere.frames.decode  # noqa: F401 - likewise

    _limit_memory(settings["memory_mib"])
    keep_freed_pictures()
    _say(answers, {"ready": True})
    done: set[tuple[str, str | None]] = set()
    while True:
        job = jobs.get()
        _alarm(settings["job_s"] * 2)
        try:
            answer = _do(job)
        except FrameError as error:
            answer = {"why": str(error)}
        except MemoryError:
            answer = {"memory": True}
        except Exception as error:
            answer = _other_fault(error)
        _alarm(0)
        sort = job["what"], job.get("kind")
        if sort not in done:
            # what stays of the first of a sort lies in holes that the next ones miss by a little
            done.add(sort)
            give_back_freed()
        _say(answers, answer)


def _do(job: dict[str, Any]) -> dict[str, Any]:
    from haltere.frames.decode import decode, probe_raw

    if job["what"] == "wake":
        return {"probe": None}
    if job["what"] == "rest":
        _MAPS.clear()
        give_back_freed()
        return {"probe": None}
    path = Path(job["path"])
    if job["what"] == "probe":
        return {"probe": probe_raw(path)}
    given = (path, job["kind"], job["orientation"], job["what"], job["longest_px"])
    with _Sheet(Path(job["out"]), job.get("spare"), job.get("spare_bytes", 0)) as sheet:
        got = decode(*given, sheet.room)
        sheet.hand_over(got.array)
    return {
        "in_spare": sheet.in_spare,
        "shape": got.array.shape,
        "dtype": got.array.dtype.name,
        "scale": got.scale,
        "linear": got.linear,
        "icc": base64.b64encode(got.icc).decode("ascii") if got.icc else None,
    }


class _Sheet:
    """A mapped file of pixels that the parent opens; no copy travels through a pipe."""

    def __init__(self, path: Path, spare: str | None, spare_bytes: int) -> None:
        self._path = path
        self._spare, self._spare_bytes = spare, spare_bytes
        self._array: Any = None
        self.in_spare = False

    def __enter__(self) -> _Sheet:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self._array = None
        if kind is not None:
            self._path.unlink(missing_ok=True)

    def room(self, shape: tuple[int, ...], dtype: str = "uint8") -> Any:
        """Give an array of the file: of one that is there already and fits, or of a new one."""
        import numpy as np

        kind = np.dtype(dtype)
        size = math.prod(shape) * kind.itemsize
        if self._spare is not None and size <= self._spare_bytes <= 2 * size:
            self.in_spare = True
            mapped = _mapped_before(self._spare, self._spare_bytes)
            flat = np.frombuffer(mapped, kind, count=math.prod(shape))
            self._array = flat.reshape(shape)
            return self._array
        with self._path.open("w+b") as stream:
            if hasattr(os, "posix_fallocate"):
                # a full memory disk must be an error here, not a bus error at the first write
                os.posix_fallocate(stream.fileno(), 0, size)
            else:
                stream.truncate(size)
            # the mapping goes with the last array that looks at it
            self._array = np.frombuffer(mmap.mmap(stream.fileno(), size), kind).reshape(shape)
        return self._array

    def hand_over(self, array: Any) -> None:
        """Leave pixels in the file alone, unless they were decoded into it."""
        import numpy as np

        if self._array is not None and np.may_share_memory(array, self._array):
            return
        room = self.room(array.shape, array.dtype.name)
        rows = max(1, _PIECE_BYTES // max(1, array[0].nbytes))
        for top in range(0, len(array), rows):
            part = array[top : top + rows]
            room[top : top + rows] = part
            empty_pages(part)  # so that they never lie in memory twice


_MAPS: dict[str, mmap.mmap] = {}


def _mapped_before(path: str, size: int) -> mmap.mmap:
    """Map a file that pixels lay in before; the mappings of the last few stay."""
    if path not in _MAPS:
        while len(_MAPS) >= 3:
            _MAPS.pop(next(iter(_MAPS)))
        with Path(path).open("r+b") as stream:
            _MAPS[path] = mmap.mmap(stream.fileno(), size)
    return _MAPS[path]


def _other_fault(error: Exception) -> dict[str, Any]:
    if isinstance(error, PermissionError):
        return {"why": "may not be read; give yourself permission to read it"}
    if isinstance(error, FileNotFoundError):
        return {"why": "is not there any more; check the card"}
    if isinstance(error, OSError):
        if error.errno == 28:
            return {"full": True}
        return {"why": f"can't be read ({error.strerror}); check the card or disk"}
    text = str(error).lower()
    if "memory" in text or "alloc" in text:
        return {"memory": True}
    return {"why": f"can't be decoded ({type(error).__name__}); copy it again from the card"}


def _private_stdout() -> IO[bytes]:
    """Keep standard output for answers: a native library that prints must not garble them."""
    private = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    return os.fdopen(private, "wb")


def _say(answers: IO[bytes], answer: dict[str, Any]) -> None:
    try:
        answers.write(json.dumps(answer).encode() + b"\n")
        answers.flush()
    except OSError:
        os._exit(0)


def _listen(jobs: queue.Queue[dict[str, Any]], folder: str) -> None:
    """Pass jobs on; when the parent is gone, sweep up the mapped files and end at once."""
    for line in sys.stdin.buffer:
        jobs.put(json.loads(line))
    with contextlib.suppress(OSError):
        for left in Path(folder).iterdir():
            left.unlink(missing_ok=True)
        Path(folder).rmdir()
    os._exit(0)


def _limit_memory(memory_mib: int) -> None:
    try:
        import resource
    except ImportError:  # Windows: the time limit and the size check have to do
        return
    size = memory_mib * 1024 * 1024
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (size, size))
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _alarm(seconds: float) -> None:
    """Let the system end a hung native decoder even when the parent is gone (POSIX)."""
    if hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, seconds)
