"""The worker beside the server: started, watched, started again when it falls."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path
from types import TracebackType
from typing import Self

PATIENCE_S = 5.0
"""How long a worker is given to leave before it is ended; what it was at is begun again."""


class Hired:
    """Keeps one worker at work on a book, from entering to leaving a `with` block.

    The worker is a process of its own, so that a merge never keeps the page waiting. It ends
    when the pipe to it closes, however this process ends.

    Parameters
    ----------
    folder : Path
        The book's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._leaving = threading.Event()
        self._process: subprocess.Popen[bytes] | None = None
        self._watch = threading.Thread(target=self._keep, name="hiring", daemon=True)

    def __enter__(self) -> Self:
        self._watch.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._leaving.set()
        process = self._process
        if process is not None and process.stdin is not None:
            process.stdin.close()
            try:
                process.wait(PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self._watch.join(PATIENCE_S)

    def _keep(self) -> None:
        while not self._leaving.is_set():
            self._process = subprocess.Popen(
                [sys.executable, "-m", "haltere.doors.bench.worker", str(self._folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
            )
            self._process.wait()
            self._leaving.wait(1.0)
