"""How long the bench takes to say how the hand moves.

    python benchmarks/hand_speed.py [RUNS]

Generates a book (seed 1) of 2,000 runs unless said, seven bursts to three sweeps in outings of
twenty, and asks the bench's page of the hand: the first time, again, and after one more word was
written into the book.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path

import msgspec
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from starlette.testclient import TestClient

from haltere.doors.bench.app import make_app
from haltere.fieldbook import open_book, place_outing
from haltere.fieldbook.book import Book
from haltere.focus.fault import Fault
from haltere.hand.seen import BurstSeen, SweepSeen
from haltere.keepers.verdict import JudgedFrame, Keepers, Verdict
from haltere.sweeps.coverage import Coverage, Plane
from haltere.sweeps.push import Push
from tests.hand.made import burst, some_hand, sweep

PER_OUTING = 20


def judged(seen: BurstSeen, names: list[str]) -> Keepers:
    """Say of an invented burst what judging would have said."""
    smeared = (Fault("motion", 0.9, "smeared"),)
    frames = tuple(
        JudgedFrame(
            name, 1, (float(x), float(y)) if np.isfinite(x + y) else None, 1.0, float(mm),
            float(mm / seen.dof_mm), float(error / seen.dof_mm), smeared if n < seen.motion else (),
            bool(seen.hit and n == 0),
        )
        for n, (name, mm, error, (x, y)) in enumerate(
            zip(names, seen.offset_mm, seen.error_mm, seen.aside_mm, strict=True)
        )
    )  # fmt: skip
    return Keepers(None, frames, Verdict("keeper" if seen.hit else "none", ""))


def placed(seen: SweepSeen, names: list[str]) -> Coverage:
    """Say of an invented sweep what placing would have said."""
    planes = tuple(
        Plane(name, None, n * seen.step_dof, None, seen.step_error_dof, True, ())
        for n, name in enumerate(names)
    )
    push = Push(
        None, None, seen.step_dof, seen.step_spread_dof, None, seen.speed_mm_s, None,
        seen.frames_per_s, None, None, None, 0.0, 0, 0, 0, "",
    )  # fmt: skip
    return Coverage(names[0], 0.3, "", 0.03, 0.002, "given", planes, (), (), True, "", push=push)


def fill(book: Book, runs: int) -> None:
    """Write outings with their frames, and one answer a run."""
    draw = np.random.default_rng(1)
    hand, moment = some_hand(draw), datetime(2029, 1, 1, 6)
    for number in range(runs // PER_OUTING):
        folder = book.folder / "originals" / f"{number:04}"
        outing = place_outing(
            book, folder, f"walk {number}", day=moment.date().isoformat(), in_place=False
        )
        frames, steps, at = [], [], moment
        for run in range(PER_OUTING):
            at += timedelta(minutes=5)
            kind = "keepers" if run % 10 < 7 else "gaps"
            seen = burst(hand, draw) if kind == "keepers" else sweep(hand, draw)
            count = seen.frames if isinstance(seen, BurstSeen) else seen.steps + 1
            names = [f"{run:02}-{n:03}.JPG" for n in range(count)]
            frames += [
                (outing, name, str(folder / name), (at + timedelta(seconds=n / 10)).isoformat())
                for n, name in enumerate(names)
            ]
            told = judged(seen, names) if isinstance(seen, BurstSeen) else placed(seen, names)
            params = {"capture": {"magnification": seen.magnification, "pixel_pitch_mm": 0.0033}}
            steps.append((
                outing, kind, f"run-{run:02}", f"{outing} {run}", msgspec.json.encode(params),
                msgspec.json.encode(asdict(told), enc_hook=float),
            ))  # fmt: skip
        with book.writing() as rows:
            rows.executemany(
                "INSERT INTO frame (outing_id, name, path, kind, bytes, mtime_ns, taken, "
                "width_px, height_px, orientation) "
                "VALUES (?, ?, ?, 'jpeg', 7000000, 1, ?, 5184, 3888, 1)", frames,
            )  # fmt: skip
            rows.executemany(
                "INSERT INTO step (outing_id, verb, subject, key, version, params, answer, made, "
                "ended, stands) VALUES (?, ?, ?, ?, '', CAST(? AS TEXT), CAST(? AS TEXT), '{}', "
                "'', (SELECT coalesce(max(stands), 0) + 1 FROM step))", steps,
            )  # fmt: skip
        moment += timedelta(days=1)


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    with tempfile.TemporaryDirectory() as folder:
        with open_book(Path(folder)) as book:
            fill(book, runs)
        with TestClient(make_app(Path(folder)), base_url="http://127.0.0.1") as page:

            def asked(words: str) -> None:
                begun, waits = time.perf_counter(), []
                while True:
                    since = time.perf_counter()
                    told = page.get("/api/hand").json()
                    waits.append(time.perf_counter() - since)
                    if told["current"]:
                        break
                    time.sleep(1.0)
                took, report = time.perf_counter() - begun, told["report"]
                print(
                    f"{words}: current after {took:.1f} s, {len(waits)} requests, {max(waits):.2f} "
                    f"s at most (bursts {report['bursts']}, sweeps {report['sweeps']})"
                )

            print(f"commit {commit}, {runs} runs")
            asked("first")
            asked("again")
            page.post("/api/support", json={"outing": 1, "word": "knee"})
            asked("after a word")


if __name__ == "__main__":
    main()
