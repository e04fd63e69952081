"""Kills, full disks, pulled cards and flipped bits, many of each, and what was left after them.

    python benchmarks/unload_faults.py [--kills 200] [--files 300] [--seed 7]

Run from the repository, since the card and the checks are those of the tests. After every fault:
no file lost, doubled, half or unverified, the book consistent, the card identical; after the next
start the book is the same as one that was never disturbed. The full disk is a real one, a tmpfs of
a few megabytes; mounting it needs root, and without it that part says that it was left out.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from haltere.errors import HaltereError
from haltere.fieldbook import copying, open_book
from haltere.fieldbook.durable import ReadBack, read_back
from haltere.fieldbook.unload import unload
from tests.fieldbook.kept import (
    Tree,
    check_always,
    check_finished,
    make_card,
    tree,
)
from tests.fieldbook.killing import kill_often


def commit() -> str:
    said = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    return said.stdout.strip() or "unknown"


def full_disks(card: Path, before: Tree, work: Path, rng: random.Random, times: int) -> str:
    """Unload to a file system that is too small, then make it larger under the same book."""
    disk = work / "small"
    disk.mkdir()
    size = sum(p.stat().st_size for p in card.rglob("*") if p.is_file())
    stopped = 0
    for _ in range(times):
        room = rng.randrange(400_000, size)
        words = ["mount", "-t", "tmpfs", "-o", f"size={room}", "none", str(disk)]
        if subprocess.run(words, check=False, capture_output=True).returncode:
            return "left out: mounting needs root"
        try:
            stopped += _filled(card, before, disk, size)
        finally:
            subprocess.run(["umount", str(disk)], check=True)
    return f"{stopped} of {times} stopped by the full disk, all finished after it grew"


def _filled(card: Path, before: Tree, disk: Path, size: int) -> int:
    stopped = 0
    limits = "haltere.fieldbook.unload"  # the check beforehand would refuse: go around it
    module = sys.modules[limits]
    check = module._refuse_full
    module._refuse_full = lambda *_: None
    try:
        with open_book(disk / "book") as book:
            unload(book, card)
    except HaltereError:
        stopped = 1
    finally:
        module._refuse_full = check
    if (disk / "book" / "fieldbook.sqlite").exists():
        check_always(disk / "book", card, before)
    grow = ["mount", "-o", f"remount,size={2 * size + 80_000_000}", str(disk)]
    subprocess.run(grow, check=True)
    with open_book(disk / "book") as book:
        unload(book, card)
    check_finished(disk / "book", card, before)
    return stopped


def pulled_cards(card: Path, before: Tree, work: Path, rng: random.Random, times: int) -> str:
    pocket = card.with_name("pocket")
    pulled = 0
    for number in range(times):
        book_folder, second = work / f"pulled-{number}", work / f"pulled-second-{number}"
        at, heard = rng.randrange(1, len(before)), 0

        def pull(step: str, done: int, total: int, /, at: int = at) -> None:
            nonlocal heard
            heard += 1
            if heard == at:
                card.rename(pocket)

        with open_book(book_folder) as book:
            try:
                unload(book, card, second=second, progress=pull)
            except HaltereError:
                pulled += 1
            if pocket.exists():
                pocket.rename(card)
            check_always(book_folder, card, before, second)
            unload(book, card, second=second)
        check_finished(book_folder, card, before, second)
    return f"{pulled} of {times} stopped, all finished after the card came back"


def flipped_bits(card: Path, before: Tree, work: Path, rng: random.Random, times: int) -> str:
    found = 0
    for number in range(times):
        book_folder, second = work / f"flip-{number}", work / f"flip-second-{number}"
        at, seen = rng.randrange(1, len(before)), 0

        def flipping(
            path: Path, *, at: int = at, synced: bool = False, tick: None = None
        ) -> ReadBack:
            nonlocal seen
            if path.suffix == ".part" and path.stat().st_size:
                seen += 1
                if seen == at:
                    data = bytearray(path.read_bytes())
                    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
                    path.write_bytes(data)
            return read_back(path, synced=synced, tick=tick)

        with open_book(book_folder) as book:
            copying.read_back = flipping
            try:
                said = unload(book, card, second=second)
            finally:
                copying.read_back = read_back
            assert said.verdict.code == "keep"
            found += bool(said.troubles)
            check_always(book_folder, card, before, second)
            unload(book, card, second=second)
        check_finished(book_folder, card, before, second)
    return f"{found} of {times} found, all mended by unloading again"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--files", type=int, default=300)
    parser.add_argument("--others", type=int, default=30, help="of each other fault")
    parser.add_argument("--seed", type=int, default=7)
    words = parser.parse_args()
    rng = random.Random(words.seed)
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        card = make_card(work / "card", words.files)
        before = tree(card)
        print(f"commit {commit()}, seed {words.seed}, {os.cpu_count()} cores, {len(before)} files")
        print("\n| fault | what came of it |\n| --- | --- |")
        begun = time.perf_counter()
        said = kill_often(card, before, work, words.kills, words.seed)
        print(
            f"| killed (SIGKILL) | {said.kills} kills at random instants of {said.seconds:.2f} s, "
            f"{said.finished + 1} books finished between them: all invariants hold |"
        )
        print(f"| disk full | {full_disks(card, before, work, rng, words.others)} |")
        print(f"| card pulled out | {pulled_cards(card, before, work, rng, words.others)} |")
        print(
            f"| bit flipped on the disk | {flipped_bits(card, before, work, rng, words.others)} |"
        )
        print(f"\n{time.perf_counter() - begun:.0f} s in all")


if __name__ == "__main__":
    main()
