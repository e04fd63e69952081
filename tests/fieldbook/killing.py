"""Unloading in a process of its own, so that it can be killed."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tests.fieldbook.kept import Tree, check_always, check_finished, state

CHILD = """
import sys
from pathlib import Path
from haltere.fieldbook import open_book
from haltere.fieldbook.unload import unload
import exifread
print("ready", flush=True)
sys.stdin.readline()
with open_book(Path(sys.argv[2])) as book:
    unload(book, Path(sys.argv[1]), second=Path(sys.argv[3]) if sys.argv[3] else None)
"""


@dataclass
class Killed:
    """What came of it."""

    kills: int = 0
    finished: int = 0
    seconds: float = 0.0


def start(card: Path, book: Path, second: Path | None) -> subprocess.Popen[str]:
    """Start a process that waits for a word before it unloads."""
    process = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(card), str(book), str(second or "")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def go(process: subprocess.Popen[str]) -> None:
    assert process.stdin is not None
    process.stdin.write("\n")
    process.stdin.flush()


def end(process: subprocess.Popen[str]) -> int:
    code = process.wait()
    for stream in (process.stdin, process.stdout):
        assert stream is not None
        stream.close()
    return code


def kill_often(card: Path, before: Tree, work: Path, kills: int, seed: int) -> Killed:
    """Kill at random instants, start again, and look after each; books follow books."""
    rng = random.Random(seed)
    said = Killed()
    reference = work / "reference"
    process = start(card, reference, work / "reference-second")
    begun = time.perf_counter()
    go(process)
    assert end(process) == 0
    said.seconds = time.perf_counter() - begun
    check_finished(reference, card, before, work / "reference-second")
    wanted = state(reference, work / "reference-second")
    number = 0
    following = start(card, work / "book-0", work / "second-0")
    while said.kills < kills:
        book, second = work / f"book-{number}", work / f"second-{number}"
        process = following
        wait_s = rng.uniform(0, said.seconds)
        go(process)
        try:
            process.wait(wait_s)
        except subprocess.TimeoutExpired:
            process.kill()
        code = end(process)
        assert code in (0, -9), code
        if code == -9:
            said.kills += 1
            if (book / "fieldbook.sqlite").exists() and second.exists():
                check_always(book, card, before, second)
        else:
            said.finished += 1
            check_finished(book, card, before, second)
            assert state(book, second) == wanted
            number += 1
        following = start(card, work / f"book-{number}", work / f"second-{number}")
    go(following)
    assert end(following) == 0
    check_finished(work / f"book-{number}", card, before, work / f"second-{number}")
    assert state(work / f"book-{number}", work / f"second-{number}") == wanted
    return said
