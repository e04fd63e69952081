"""A browser without a window on a bench of its own; skipped in words where there is none."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from haltere.doors.bench.app import PAGES

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

AXE = Path(
    os.environ.get("HALTERE_AXE")
    or Path(__file__).parents[2] / "web" / "node_modules" / "axe-core" / "axe.min.js"
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
def serving(book: Path, *more: str) -> Iterator[str]:
    """Open the bench on a book as a person would; gives the address that it prints."""
    process = subprocess.Popen(
        [sys.executable, "-m", "haltere", "open", "--book", str(book), "--no-browser", *more],
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


def come_to(browser: Browser, address: str, troubles: list[str], **more: Any) -> tuple[Page, str]:
    """Open a page on a bench, and note what the browser writes down as an error.

    Takes what a browser's context takes; answers with the bench's address, too.
    """
    context = browser.new_context(**{"viewport": {"width": 1280, "height": 860}, **more})
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.on("console", lambda said: troubles.append(said.text) if said.type == "error" else None)
    page.goto(address)
    base = address.partition("/enter")[0]
    page.wait_for_url(base + "/")
    return page, base


@contextmanager
def walking(
    browser: Browser, book: Path, *, may_refuse: bool = False
) -> Iterator[Callable[..., tuple[Page, str]]]:
    """Open the bench on a book; what the browser wrote down as an error fails at the end.

    A refusal by the bench counts as an error unless the journey is about one.

    Gives a function that opens a page (with what a browser's context takes) and answers it with
    the bench's address.
    """
    troubles: list[str] = []

    with serving(book) as address:

        def begin(**more: Any) -> tuple[Page, str]:
            return come_to(browser, address, troubles, **more)

        yield begin
        for context in browser.contexts:
            context.close()
    refused = "the server responded with a status of 404"
    assert [one for one in troubles if not (may_refuse and refused in one)] == []


def axe_serious(page: Page) -> list[tuple[str, list[str]]]:
    """Name what axe holds for serious on a page as it stands."""
    if not AXE.is_file():
        missing("axe-core is not here", "npm ci in web/, or set HALTERE_AXE")
    page.evaluate(AXE.read_text("utf-8"))
    return [
        (one["id"], [node["html"][:200] for node in one["nodes"]])
        for one in page.evaluate("axe.run(document)")["violations"]
        if one["impact"] in ("serious", "critical")
    ]
