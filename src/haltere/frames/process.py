"""One decoding process, kept alive, given one picture at a time, replaced when it fails."""

from __future__ import annotations

import base64
import contextlib
import json
import math
import mmap
import os
import queue
import subprocess
import sys
import threading
import weakref
from collections import deque
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haltere.errors import FrameError
from haltere.frames.frame import Pixels
from haltere.frames.limits import FrameLimits

_BOOT = (
    "import sys, json; sys.path[:] = json.loads(sys.argv.pop(1)); "
    "from haltere.frames.worker import main; main()"
)


_PATH = list(sys.path)
"""Where modules are found, as it was when this one was loaded: while OpenCV is loaded, perhaps by
another thread, its own folder stands first, whose `typing` no process can start with."""


_LEAST_BYTES = 8 << 20
"""Pixels from so many bytes lie in a file that is used again: making room for 20 megapixels costs
a quarter of decoding them."""


_REST_S = 1.0
"""Pause from which a process rests: longer than any between the frames of one task."""


@dataclass(slots=True, eq=False)
class _Sheet:
    """A mapped file that pixels were handed over in, and may be again."""

    path: Path
    mapped: mmap.mmap


@dataclass(slots=True)
class Job:
    """One thing to do for a decoding process.

    Attributes
    ----------
    message : dict
        What to do, as JSON can say it; its 'out' names the file for the pixels.
    name : str
        The picture's name in messages.
    future : Future
        Where the result goes.
    """

    message: dict[str, Any]
    name: str
    future: Future[Any]


class DecodingProcess(threading.Thread):
    """Keeps one decoding process alive and passes it one job at a time.

    Parameters
    ----------
    jobs : SimpleQueue of Job or None
        Shared with the other processes of a pool; None ends one of them.
    folder : Path
        Where the mapped pixels go.
    limits : FrameLimits
        Bounds on memory and time.
    """

    def __init__(
        self, jobs: queue.SimpleQueue[Job | None], folder: Path, limits: FrameLimits
    ) -> None:
        super().__init__(name="haltere-decoder", daemon=True)
        self._jobs = jobs
        self._folder = folder
        self._limits = limits
        self._process: subprocess.Popen[bytes] | None = None
        self._stopping = False
        self._resting = False
        self._guard = threading.Lock()
        self._free: deque[_Sheet] = deque()

    def stop(self) -> None:
        """End the process now; the thread follows."""
        with self._guard:
            self._stopping = True
            if self._process is not None:
                self._process.kill()

    def run(self) -> None:
        """Pass jobs on until told to stop."""
        while (job := self._next()) is not None:
            if self._stopping:
                job.future.cancel()
            if not job.future.set_running_or_notify_cancel():
                continue
            try:
                result = self._serve(job)
            except BaseException as error:
                job.future.set_exception(error)
                del error
            else:
                job.future.set_result(result)
                del result
            del job
        self._end()

    def _next(self) -> Job | None:
        """Wait for a job; give memory back when none comes for a while."""
        try:
            return self._jobs.get(timeout=_REST_S)
        except queue.Empty:
            self._rest()
        job = self._jobs.get()
        self._resting = False
        return job

    def _rest(self) -> None:
        """Let go of the files that pixels would have been handed over in next."""
        self._resting = True
        while self._free:
            self._free.popleft().path.unlink(missing_ok=True)
        if self._process is not None and self._process.poll() is None:
            self._ask({"what": "rest"})

    def _serve(self, job: Job) -> Any:
        spare = self._free.popleft() if self._free else None
        if spare is not None:
            job.message |= {"spare": str(spare.path), "spare_bytes": len(spare.mapped)}
        answer: dict[str, Any] | None = None
        try:
            answer, timed_out = self._ask(job.message)
        finally:
            if spare is not None and (answer is None or not answer.get("in_spare")):
                self._give_back(spare)
                spare = None
        return self._result(job, answer, timed_out, spare)

    def _result(
        self, job: Job, answer: dict[str, Any] | None, timed_out: bool, spare: _Sheet | None
    ) -> Any:
        if answer is None:
            self._end()
            out = Path(job.message["out"])
            out.unlink(missing_ok=True)
            if timed_out:
                raise FrameError(
                    f"{job.name}: took longer than {self._limits.job_s:.0f} s to decode; the file "
                    "is probably damaged, copy it again from the card"
                )
            raise FrameError(
                f"{job.name}: made the decoder crash; the file is probably damaged, copy it again "
                "from the card"
            )
        if "why" in answer:
            raise FrameError(f"{job.name}: {answer['why']}")
        if "memory" in answer:
            Path(job.message["out"]).unlink(missing_ok=True)
            raise FrameError(
                f"{job.name}: needs more memory than the {self._limits.memory_mib} MiB a picture "
                "may take; the file is damaged or too large, make a smaller copy"
            )
        if "full" in answer:
            Path(job.message["out"]).unlink(missing_ok=True)
            raise FrameError(
                f"{job.name}: there is no room for its pixels in {self._folder.parent}; free some"
            )
        if "probe" in answer:
            return answer["probe"]
        icc = base64.b64decode(answer["icc"]) if answer["icc"] else None
        array = self._opened(Path(job.message["out"]), answer, spare)
        return Pixels(array, answer["scale"], answer["linear"], icc)

    def _opened(self, path: Path, answer: dict[str, Any], spare: _Sheet | None) -> NDArray[Any]:
        """Map the pixels a process left, so that nothing is copied."""
        sheet = spare
        if sheet is None:
            with path.open("r+b") as stream:
                sheet = _Sheet(path, mmap.mmap(stream.fileno(), 0))
        shape = tuple(answer["shape"])
        flat = np.frombuffer(sheet.mapped, answer["dtype"], count=math.prod(shape))
        if os.name == "nt":  # there a mapped file can't be removed, so the pixels are copied
            array = flat.reshape(shape).copy()
            del flat
            sheet.mapped.close()
            path.unlink(missing_ok=True)
            return array
        # developing takes much longer than making room, and much memory of its own
        if len(sheet.mapped) < _LEAST_BYTES or answer["linear"]:
            path.unlink(missing_ok=True)
        else:
            # every view of the pixels holds on to `flat`
            weakref.finalize(flat, self._give_back, sheet).atexit = False
        return flat.reshape(shape)

    def _give_back(self, sheet: _Sheet) -> None:
        """Keep one file for the next pixels, remove others; called when nobody looks at it."""
        if self._free or self._stopping or self._resting:
            sheet.path.unlink(missing_ok=True)
        else:
            self._free.append(sheet)

    def _ask(self, message: dict[str, Any]) -> tuple[dict[str, Any] | None, bool]:
        """Send a job; give the answer, or None and whether time ran out."""
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._start()
        process = self._process
        if process is None or process.stdin is None or process.stdout is None:
            return None, False
        expired = threading.Event()

        def expire() -> None:
            expired.set()
            process.kill()

        timer = threading.Timer(self._limits.job_s, expire)
        timer.daemon = True
        timer.start()
        try:
            process.stdin.write(json.dumps(message).encode() + b"\n")
            process.stdin.flush()
            line = process.stdout.readline()
        except OSError:
            line = b""
        finally:
            timer.cancel()
        return (json.loads(line) if line.endswith(b"\n") else None), expired.is_set()

    def _start(self) -> None:
        settings = {
            "folder": str(self._folder),
            "memory_mib": self._limits.memory_mib,
            "job_s": self._limits.job_s,
        }
        environment = dict(os.environ)
        for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
            environment[name] = "1"  # the pool itself is the parallelism
        with self._guard:
            if self._stopping:
                return
            try:
                self._process = subprocess.Popen(
                    [sys.executable, "-c", _BOOT, json.dumps(_PATH), json.dumps(settings)],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    env=environment,
                    creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
                )
            except OSError as error:
                raise FrameError(
                    f"a decoding process could not be started ({error.strerror}); close other "
                    "programs and try again"
                ) from error
        process = self._process
        timer = threading.Timer(self._limits.start_s, process.kill)
        timer.daemon = True
        timer.start()
        try:
            ready = process.stdout.readline() if process.stdout else b""
        finally:
            timer.cancel()
        if not ready and not self._stopping:
            self._end()
            raise FrameError(
                "the decoding process did not start; check that this Python can import haltere"
            )

    def _end(self) -> None:
        with self._guard:
            process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        process.wait()
