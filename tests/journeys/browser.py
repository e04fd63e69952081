"""A browser without a window on a bench of its own; skipped in words where there is none."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from haltere.doors.bench.app import PAGES

if TYPE_CHECKING:
    from playwright.sync_api import Browser

QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def missing(what: str, cure: str) -> None:
    """Skip where a person tests without it, fail where all of it must be tried."""
    if os.environ.get("HALTERE_ALL_TESTS"):
        pytest.fail(f"{what}; {cure}")
    pytest.skip(f"{what}; {cure}")


@contextmanager
def browsing() -> Iterator[Browser]:
    """Start the system's Chromium."""
    from playwright.sync_api import sync_playwright

    found = os.environ.get("HALTERE_CHROMIUM") or shutil.which("chromium")
    if found is None:
        missing("there is no Chromium here", "apt-get install chromium, or set HALTERE_CHROMIUM")
    if not (PAGES / "index.html").is_file():
        missing("the pages were not built", "pip install -e . with a network")
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=found, args=list(QUIET))
        yield browser
        browser.close()


@contextmanager
def serving(book: Path) -> Iterator[str]:
    """Open the bench on a book as a person would; gives the address that it prints."""
    process = subprocess.Popen(
        [sys.executable, "-m", "haltere", "open", "--book", str(book), "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
    )
    assert process.stdout is not None
    try:
        said = process.stdout.readline()
        address = re.search(r"http://\S+", said)
        assert address is not None, said + process.stdout.read()
        yield address[0]
    finally:
        process.terminate()
        process.stdout.close()
        process.wait(20)
