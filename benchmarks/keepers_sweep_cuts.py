"""Are short bursts cut out of a long sweep judged well, and a rendered burst? Against their truth.

usage: keepers_sweep_cuts.py FOLDER ... [--length PX] [--list]

A FOLDER holds frames and truth.json. Of a sweep 24 bursts of 10 to 14 frames are cut: consecutive
frames, every second one, or any (drawn with seed 1), some with the planes of the eyes and some
without. A burst is judged as it is. Each is judged with the eye given and proposed, and the lines
of keepers_bursts.py are printed. Cuts of one sweep share their frames and their animal: their
intervals are too narrow. Body lengths are taken from mask.png where there is one, else from
`--length` (body without legs and horns, full-size pixels).
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from keepers_bursts import (
    LIMIT,
    Judged,
    Row,
    commit,
    judge,
    lengths,
    print_lines,
    print_proposed,
    print_wrong,
    proposal,
    truth_row,
)

from haltere.frames import Decoder, Frame, find_frames

SEED = 1
LENGTHS = (10, 11, 12, 13, 14)


def cuts(count: int) -> Iterator[tuple[str, list[int]]]:
    """Give the frames of each cut: ten consecutive ones, eight of every second, six of any."""
    for k, start in enumerate(np.linspace(0, count - 14, 10).astype(int)):
        n = LENGTHS[k % 5]
        yield "consecutive", list(range(start, start + n))
    for k, start in enumerate(np.linspace(0, max(count - 27, 0), 8).astype(int)):
        n = LENGTHS[k % 5]
        yield "every second", list(range(start, min(start + 2 * n, count), 2))
    draw = np.random.default_rng(SEED)
    for k in range(6):
        yield "any", sorted(draw.choice(count, LENGTHS[k % 5], replace=False).tolist())


def said_of(row: Row) -> str:
    """One burst in a line."""
    given, proposed = Judged(row), Judged(row, "proposed")
    best = np.abs(given.off[given.fine]).min(initial=99.0)
    want = "keeper" if given.has else "none"
    right = {True: "right", False: f"truth {want}"}
    away = proposal(row)["away"]
    track = given.tracked()
    return (
        f"{row['seed']:>3} {row['how']:12s} {row['frames']} frames, "
        f"planes {given.off.min():.1f} to {given.off.max():.1f}, best {best:.2f}"
        f"{' (border)' if given.border else ''}: "
        f"given {given.code} ({right[given.code == want]}), first true {given.first}, "
        f"tracked {sum(track)}/{len(track)}; proposed {proposed.code}, first true "
        f"{proposed.first}, {away:.0f} px from the nearest eye seen"
    )


def told(folder: Path, decoder: Decoder, length: float | None, each: bool, name: str) -> None:
    """Judge a folder and print its tables."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    names = {Path(f["file"]).name for f in truth["frames"]}
    frames: Sequence[Frame] = [f for f in find_frames([folder]).frames if f.name in names]
    is_sweep = truth.get("kind", "burst" if len(frames) <= 20 else "sweep") == "sweep"
    parts = list(cuts(len(frames))) if is_sweep else [("as it is", list(range(len(frames))))]
    size = lengths(folder) or ({"body_px": length, "animal_px": length} if length else {})
    rows: list[Row] = []
    for number, (how, which) in enumerate(parts):
        some = [frames[i] for i in which]
        row: Row = {"commit": name, "seed": number, "how": how}
        row |= truth_row(truth, some) | size
        judge(row, truth, some, decoder, number)
        rows.append(row)
        if each or not is_sweep:
            print(said_of(row), flush=True)
    given = [Judged(r) for r in rows if r["given"]]
    lacking = sum(not b.has for b in given)
    body = f"body {size['body_px']:.0f} px long" if size else "body's length not known"
    print(f"\n## {folder.name}, {len(rows)} bursts, {lacking} without a frame within {LIMIT:g} "
          f"depths of field, seed {SEED}, commit {name}, {body}")  # fmt: skip
    print_lines(given, f"{folder.name}, the eye given")
    print_wrong(rows)
    print_proposed(rows)
    print_lines([Judged(r, "proposed") for r in rows if r["given"]],
                f"{folder.name}, the eye proposed", proposed=True)  # fmt: skip


def main() -> None:
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("folders", type=Path, nargs="+")
    ask.add_argument("--length", type=float, help="body length, px, where there is no mask")
    ask.add_argument("--list", action="store_true", help="a line for each burst too")
    said = ask.parse_args()
    name = commit()
    with Decoder() as decoder:
        for folder in said.folders:
            told(folder, decoder, said.length, said.list, name)


if __name__ == "__main__":
    main()
