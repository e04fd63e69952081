"""How fast a field book with 100,000 frames answers.

    python benchmarks/book_speed.py [FRAMES]

Generates a book (seed 1) in a temporary folder, and prints the median and the worst of twenty
answers to each question, beside the plain floor: counting all rows of the frame table.
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from haltere.fieldbook import (
    decisions_in,
    frames_in,
    open_book,
    outings,
    place_outing,
    run_named,
    runs_in,
    search,
)
from haltere.fieldbook.book import Book

PER_OUTING = 500
PER_RUN = 15


def generate(book: Book, frames: int, draw: random.Random) -> list[int]:
    """Fill a book with outings of 500 frames in runs of 15, a third of them decided on."""
    numbers = []
    moment = datetime(2029, 1, 1, 6)
    for index in range(frames // PER_OUTING):
        folder = book.folder / "originals" / f"{index:04}"
        number = place_outing(
            book, folder, draw.choice(["pond", "heath", "hedge", "reeds"]),
            day=moment.date().isoformat(), in_place=False,
        )  # fmt: skip
        numbers.append(number)
        with book.writing() as rows:
            first = rows.execute("SELECT coalesce(max(id), 0) + 1 FROM frame").fetchone()[0]
            rows.executemany(
                "INSERT INTO frame (id, outing_id, name, path, kind, bytes, mtime_ns, taken, "
                "width_px, height_px, orientation, f_number) "
                "VALUES (?, ?, ?, ?, 'jpeg', 7000000, 1, ?, 5184, 3888, 1, 8.0)",
                [
                    (
                        first + n, number, f"DCIM/100HLTRE/HL{n:06}.JPG", str(folder / f"{n}.JPG"),
                        (moment + timedelta(seconds=n / 3)).isoformat(),
                    )
                    for n in range(PER_OUTING)
                ],
            )  # fmt: skip
            for start in range(0, PER_OUTING, PER_RUN):
                run = rows.execute(
                    "INSERT INTO run (outing_id, name, kind, reason) VALUES (?, ?, 'burst', '')",
                    (number, f"run-{start // PER_RUN + 1:02}"),
                ).lastrowid
                rows.executemany(
                    "INSERT INTO run_frame (run_id, position, frame_id) VALUES (?, ?, ?)",
                    [
                        (run, n - start, first + n)
                        for n in range(start, min(start + PER_RUN, PER_OUTING))
                    ],
                )
            act = rows.execute("INSERT INTO act (what, done) VALUES ('x', 'now')").lastrowid
            rows.executemany(
                "INSERT INTO decision (act_id, frame_id, verdict) VALUES (?, ?, ?)",
                [
                    (act, first + n, draw.choice(["keep", "maybe", "drop"]))
                    for n in range(0, PER_OUTING, 3)
                ],
            )
        moment += timedelta(days=1)
    return numbers


def main() -> None:
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    draw = random.Random(1)
    with tempfile.TemporaryDirectory() as folder, open_book(Path(folder)) as book:
        begun = time.perf_counter()
        numbers = generate(book, frames, draw)
        print(
            f"{frames} frames, {len(numbers)} outings, made in {time.perf_counter() - begun:.1f} s"
        )

        def some() -> int:
            return draw.choice(numbers)

        questions: dict[str, Callable[[], object]] = {
            "list the outings": lambda: outings(book),
            "list an outing's frames": lambda: frames_in(book, some()),
            "what was decided in it": lambda: decisions_in(book, some()),
            "its runs": lambda: runs_in(book, some()),
            "open a run": lambda: run_named(book, some(), f"run-{draw.randint(1, 30):02}"),
            "search by a frame's number": lambda: search(book, f"{draw.randint(0, 499):06}"),
            "search by a name that is nowhere": lambda: search(book, "lake"),
            "search an outing's name": lambda: search(book, "heath"),
            "search what was dropped": lambda: search(book, "", verdict="drop"),
            "search what is undecided": lambda: search(book, "", verdict="undecided"),
            "floor: count all frames": lambda: book.connection.execute(
                "SELECT count(path) FROM frame"
            ).fetchone(),
        }
        print("| question | median ms | worst ms |")
        print("| --- | --- | --- |")
        for name, ask in questions.items():
            took = []
            for _ in range(20):
                begun = time.perf_counter()
                ask()
                took.append(1000 * (time.perf_counter() - begun))
            print(f"| {name} | {statistics.median(took):.1f} | {max(took):.1f} |")


if __name__ == "__main__":
    main()
