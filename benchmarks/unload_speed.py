"""How fast unloading is against copying and checking by hand, and what memory it takes.

    python benchmarks/unload_speed.py [--gigabytes 1] [--file-mb 20] [--pairs 3] [--second DIR]

Makes a card of files of random bytes and unloads it in turns with the same work by plain tools:
``cp -r``, ``sync``, dropping the system's cache of both sides, and ``sha256sum`` over both sides.
Before each, the card's files are dropped from the cache. Prints seconds of each pair, the ratio of
speeds (more than 1: unloading is faster), and the peak memory of the unloading process.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

UNLOAD = """
import resource, sys
from pathlib import Path
from haltere.fieldbook import open_book
from haltere.fieldbook.unload import unload
with open_book(Path(sys.argv[2])) as book:
    said = unload(book, Path(sys.argv[1]), second=Path(sys.argv[3]) if sys.argv[3] else None)
assert not said.troubles, said.troubles
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(said.verified_from, said.verdict.code, peak)
"""


def make_card(root: Path, total: int, each: int) -> None:
    folder = root / "DCIM" / "100ABCDE"
    folder.mkdir(parents=True)
    rng = random.Random(1)
    for number in range(1, max(1, total // each) + 1):
        with (folder / f"M_{number:04d}.RAW").open("wb") as stream:
            for _ in range(max(1, each >> 20)):
                stream.write(rng.randbytes(1 << 20))
            stream.flush()
            os.fsync(stream.fileno())


def drop(root: Path) -> None:
    for path in root.rglob("*"):
        if path.is_file():
            handle = os.open(path, os.O_RDONLY)
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
            os.close(handle)


def by_hand(card: Path, targets: list[Path]) -> float:
    drop(card)
    begun = time.perf_counter()
    for target in targets:
        subprocess.run(["cp", "-r", str(card), str(target)], check=True)
    os.sync()
    for root in [card, *targets]:
        drop(root)
        names = [str(path) for path in sorted(root.rglob("*")) if path.is_file()]
        subprocess.run(["sha256sum", *names], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begun


def by_haltere(card: Path, book: Path, second: Path | None) -> tuple[float, str, str, float]:
    drop(card)
    begun = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", UNLOAD, str(card), str(book), str(second or "")],
        check=True,
        capture_output=True,
        text=True,
    )
    spent = time.perf_counter() - begun
    where, verdict, peak = done.stdout.split()
    return spent, where, verdict, int(peak) / 1024


def commit() -> str:
    said = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    return said.stdout.strip() or "unknown"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--gigabytes", type=float, default=1.0)
    parser.add_argument("--file-mb", type=int, default=20)
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--second", type=Path, help="make a second copy in this folder too")
    words = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        make_card(work / "card", int(words.gigabytes * 1e9), words.file_mb << 20)
        total = sum(p.stat().st_size for p in (work / "card").rglob("*") if p.is_file())
        print(
            f"commit {commit()}, seed 1, {os.cpu_count()} cores, {total / 1e9:.2f} GB in files of"
        )
        print(f"{words.file_mb} MiB, second copy: {words.second or 'none'}\n")
        print("| pair | by hand, s | unload, s | ratio of speeds | read back from | peak, MiB |")
        print("| --- | --- | --- | --- | --- | --- |")
        ratios = []
        for pair in range(1, words.pairs + 1):
            targets = [work / "hand"]
            second = None
            if words.second is not None:
                words.second.mkdir(parents=True, exist_ok=True)
                targets.append(words.second / "hand")
                second = words.second / "unloaded"
            hand = by_hand(work / "card", targets)
            for target in targets:
                shutil.rmtree(target)
            ours, where, _, peak = by_haltere(work / "card", work / "book", second)
            shutil.rmtree(work / "book")
            if second is not None:
                shutil.rmtree(second)
            ratios.append(hand / ours)
            print(
                f"| {pair} | {hand:.2f} | {ours:.2f} | {hand / ours:.2f} | {where} | {peak:.0f} |"
            )
        print(f"\nmedian ratio {statistics.median(ratios):.2f}")


if __name__ == "__main__":
    main()
