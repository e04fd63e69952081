"""Opens the bench for a measurement, asks it, and looks at it in a browser where there is one."""

from __future__ import annotations

import json
import platform
import re
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page


def heading(what: str) -> str:
    """Say what is measured: commit, seed and size as told, machine."""
    done = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, check=False)
    return f"commit {done.stdout.decode().strip()}, {what}, {platform.platform()}"


class Bench:
    """A bench that answers, asked as its page would.

    Parameters
    ----------
    address : str
        As it prints it, with the key.
    process : int
        Its number.
    """

    def __init__(self, address: str, process: int) -> None:
        self.address, self.process = address, process
        self.base, _, self._token = address.partition("/enter?t=")

    def ms(self, path: str, body: object = None) -> tuple[float, bytes]:
        """Ask once: milliseconds, and what came."""
        data = None if body is None else json.dumps(body).encode()
        head = {"Authorization": f"Bearer {self._token}", "Content-Type": "application/json"}
        asked = urllib.request.Request(self.base + path, data, head)
        begun = time.perf_counter()
        with urllib.request.urlopen(asked) as answer:
            came = answer.read()
        return 1000 * (time.perf_counter() - begun), came


@contextmanager
def opened(book: Path) -> Iterator[Bench]:
    """Open the bench on a book as a person would."""
    words = [sys.executable, "-m", "haltere", "open", "--no-browser", "--book", str(book)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        said = re.search(r"http://\S+", server.stdout.readline())
        assert said is not None
        try:
            yield Bench(said[0], server.pid)
        finally:
            server.terminate()


@contextmanager
def seen(bench: Bench) -> Iterator[Page | None]:
    """Come to the bench in Chromium; None where there is none."""
    found = shutil.which("chromium")
    if found is None:
        yield None
        return
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=found, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1400, "height": 1000})
        page.goto(bench.address)
        page.wait_for_url(bench.base + "/")
        yield page
        browser.close()
