"""Are the true flaws of a merge among the places it says to look at? Simulated sweeps with truth.

    python benchmarks/merge_places.py SET [SET ...] [--results FILE]

A set is a folder as the simulator writes it (truth.json, sharp.png, and limb.png where a limb
moves). Each is merged to the view of the truth's reference frame. A true flaw is a pixel whose
difference from the sharp truth, evened out over 2 px, is more than 15 of 255 levels and which
lies within 12 px of a place where the moving limb is seen in some of its poses and not in others
(blur and missing planes make such pixels too). Printed per set:
how many such pixels there are; the share of them within boxes of the kinds 'ghost' and 'moved';
the number of those boxes, how many of them touch nothing of the limb, and the share of the
picture that all of them cover; boxes of the other kinds. Sets without a moving limb tell false
alarms.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile

from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.merge import merge_sweep
from haltere.sweeps import solve_sweep

FLAW_LEVELS, NEAR_PX = 15.0, 12
Row = dict[str, Any]


def judge(folder: Path, decoder: Decoder) -> Row:
    """Merge one set and hold its list against the truth."""
    truth = json.loads((folder / "truth.json").read_text("utf-8"))
    files = [folder / one["file"] for one in truth["frames"]]
    frames = find_frames(files).frames
    size = (truth["width_px"], truth["height_px"])
    taken = capture(
        magnification=truth["magnification"], focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"], picture_px=size,
        pixel_pitch_mm=truth["sensor_width_mm"] / size[0],
    )  # fmt: skip
    name = next(f.name for f in frames if f.path.name == Path(truth["reference"]).name)
    with tempfile.TemporaryDirectory() as out:
        sweep = solve_sweep(frames, decoder, taken, reference=name)
        with sweep.lumas:
            merge = merge_sweep(sweep, decoder, Path(out), keep_share=0.0)
        picture = tifffile.imread(Path(out) / merge.picture).astype(np.float32) / 257.0
    x0, y0, x1, y1 = merge.crop_px
    sharp = cv2.imread(str(folder / "sharp.png"))[y0:y1, x0:x1, ::-1].astype(np.float32)
    error = np.abs(cv2.GaussianBlur(picture - sharp, (0, 0), 2.0)).max(2)
    limb = np.zeros(error.shape, bool)
    if (folder / "limb.png").exists():
        seen = cv2.imread(str(folder / "limb.png"), cv2.IMREAD_UNCHANGED)[y0:y1, x0:x1]
        side = 2 * NEAR_PX + 1
        limb = (
            cv2.dilate(
                ((seen == 1) | (seen == 2)).astype(np.uint8), np.ones((side, side), np.uint8)
            )
            > 0
        )
    flaw = (error > FLAW_LEVELS) & limb
    told = np.zeros(error.shape, bool)
    boxes = wrong = 0
    kinds: dict[str, int] = {}
    for one in merge.suspicious:
        kinds[one.kind] = kinds.get(one.kind, 0) + 1
        if one.kind not in ("ghost", "moved"):
            continue
        a, b, c, d = (round(v) for v in one.box_px)
        part = (slice(b - y0, d - y0), slice(a - x0, c - x0))
        told[part] = True
        boxes += 1
        wrong += not limb[part].any()
    return {
        "set": folder.name, "limb": bool(limb.any()), "frames": len(merge.frames_used),
        "flaw_px": int(flaw.sum()),
        "contained": float(told[flaw].mean()) if flaw.any() else None,
        "boxes": boxes, "elsewhere": wrong, "covered": float(told.mean()), "kinds": kinds,
        "seconds": merge.seconds,
    }  # fmt: skip


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("sets", nargs="+", type=Path)
    words.add_argument("--results", type=Path)
    asked = words.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True
    ).stdout.strip()
    rows = []
    with Decoder() as decoder:
        for folder in asked.sets:
            row = judge(folder, decoder)
            rows.append(row)
            print(json.dumps(row), flush=True)
            if asked.results is not None:
                with asked.results.open("a") as stream:
                    stream.write(json.dumps({"commit": commit, **row}) + "\n")
    limbs = [row for row in rows if row["flaw_px"]]
    if limbs:
        flaws = sum(row["flaw_px"] for row in limbs)
        inside = sum(row["flaw_px"] * row["contained"] for row in limbs)
        found = sum(row["boxes"] > row["elsewhere"] for row in limbs)
        print(
            f"{commit}: {found} of {len(limbs)} moved limbs that left a flaw are pointed at; "
            f"{100 * inside / flaws:.0f} % of their {flaws} flawed pixels lie in a box"
        )
    print(f"boxes that touch no moved limb: {sum(row['elsewhere'] for row in rows)} in {len(rows)}")


if __name__ == "__main__":
    main()
