"""Are the flaws of a merge among the places it says to look at? Sweeps with truth.

    python benchmarks/merge_flaws.py SET [SET ...] [--demo DEMO] [--results FILE]

A set is a folder with truth.json, its frames, and the sharp truth, as `sweeps_random.py
--keep-frames` leaves it; with `--demo` the sweeps of a demo card (`haltere demo --out DEMO`) come
first. Each is solved with the magnification and the lens that the truth tells, and merged to the
view of the truth's reference frame, however little of it is kept. A flawed pixel differs from the
truth by more than 14 of 255 levels in some channel, both evened out over 2 px (standard
deviation). A limb that moved and is whole in another frame's position counts as flawed.

Told for each: the share of the reference frame that is kept, flawed pixels, how many of these lie
in a box of any kind, the share of the picture that all boxes cover, the number of boxes by kind,
and how many of those of kind 'halo' (what frames contradict) hold a flawed pixel, or one that is
more than 8 levels off.
"""

from __future__ import annotations

import argparse
import json
import subprocess
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from merge_places import merged

from haltere.frames import Decoder

FLAW_LEVELS, DIFFERS_LEVELS, EVENED_PX = 14.0, 8.0, 2.0
Row = dict[str, Any]


def judge(name: str, told: Path, frames_folder: Path, decoder: Decoder) -> Row:
    """Merge one set and hold its list against the truth."""
    truth = json.loads((told / "truth.json").read_text("utf-8"))
    merge, picture = merged(truth, frames_folder, decoder)
    x0, y0, x1, y1 = merge.crop_px
    sharp = cv2.imread(str(told / "sharp.png"))[y0:y1, x0:x1, ::-1].astype(np.float32)
    error = np.abs(cv2.GaussianBlur(picture - sharp, (0, 0), EVENED_PX)).max(2)
    flaw = error > FLAW_LEVELS
    boxed = np.zeros(flaw.shape, bool)
    kinds: dict[str, int] = {}
    flawed = differing = 0
    for one in merge.suspicious:
        a, b, c, d = (round(v) for v in one.box_px)
        part = (slice(b - y0, d - y0), slice(a - x0, c - x0))
        boxed[part] = True
        kinds[one.kind] = kinds.get(one.kind, 0) + 1
        if one.kind == "halo":
            flawed += bool(flaw[part].any())
            differing += bool((error[part] > DIFFERS_LEVELS).any())
    return {
        "set": name, "kept": round(merge.kept_share, 3), "flaw_px": int(flaw.sum()),
        "in_box": round(float(boxed[flaw].mean()), 3) if flaw.any() else None,
        "covered": round(float(boxed.mean()), 3), "boxes": len(merge.suspicious), "kinds": kinds,
        "halo_with_flaw": flawed, "halo_that_differs": differing, "limb": "limb" in truth,
    }  # fmt: skip


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("sets", nargs="*", type=Path)
    words.add_argument("--demo", type=Path)
    words.add_argument("--results", type=Path)
    asked = words.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True
    ).stdout.strip()
    todo = [(one.name, one, one) for one in asked.sets]
    if asked.demo is not None:
        card = asked.demo / "card"
        for one in sorted((card / "truth").glob("sweep-*"), reverse=True):
            todo.insert(0, (one.name, one, card / "frames"))
    rows = []
    with Decoder() as decoder:
        for name, told, frames in todo:
            rows.append(judge(name, told, frames, decoder))
            print(json.dumps(rows[-1]), flush=True)
            if asked.results is not None:
                with asked.results.open("a") as stream:
                    stream.write(json.dumps({"commit": commit, **rows[-1]}) + "\n")
    shares = [row["in_box"] for row in rows if row["in_box"] is not None]
    halos = sum(row["kinds"].get("halo", 0) for row in rows)
    print(
        f"{commit}: {len(rows)} sets; flawed pixels in a box: median {np.median(shares):.3f}, "
        f"least {min(shares):.3f}; of {halos} boxes of kind 'halo' "
        f"{sum(row['halo_with_flaw'] for row in rows)} hold a flawed pixel, "
        f"{sum(row['halo_that_differs'] for row in rows)} one {DIFFERS_LEVELS:.0f} levels off"
    )


if __name__ == "__main__":
    main()
