"""Are the true flaws of a merge among the places it says to look at? Simulated sweeps with truth.

    python benchmarks/merge_places.py SET [SET ...] [--results FILE]

A set is a folder of a seed's sweep as `sweeps_random.py --keep-frames` leaves it. Each is merged to
the view of the truth's reference frame. The sharp truth is drawn for every position that the limb
takes. For each connected part in which the limb is seen to move, the position that fits the merge
best is taken as meant: a limb wholly in another frame's position is no flaw, one that is doubled
or cut is. A flawed pixel differs from that truth, evened out over 2 px, by more than 15 of 255
levels, and by more than twice as much as the merge does elsewhere within 40 px of the limb at nine
of ten places (blur that no movement made). Printed per set: how many such pixels there are; the
share of them within boxes of the kinds 'ghost' and 'moved'; the number of those boxes, how many of
them touch nothing of the limb, and the share of the picture that all of them cover; boxes of the
other kinds. Sets without a moving limb tell false alarms.
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
from numpy.typing import NDArray

from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.merge import Merge, merge_sweep
from haltere.scene.camera import Camera
from haltere.scene.render import SHARP_VIEWS, expose, quick_gain, tone
from haltere.scene.sweeping import plan_sweeping
from haltere.sweeps import solve_sweep

FLAW_LEVELS, NEAR_PX = 15.0, 6
Row = dict[str, Any]
Picture = NDArray[np.float32]


def positions(folder: Path) -> list[Picture]:
    """Draw the sharp truth for every position of the limb; the first must be the kept one."""
    run = plan_sweeping(int(folder.name)).run
    lens = run.outfit.lens
    camera = Camera((0.0, 0.0, -lens.pupil_distance_mm), np.eye(3))
    gain = np.float32(quick_gain(run.stage, lens))
    drawn = [
        tone(expose(one, lens, camera, views=SHARP_VIEWS, seed=run.seed, pinhole=True) * gain)
        for one in (run.stage, *run.moved)
    ]
    kept = cv2.imread(str(folder / "sharp.png"))[..., ::-1]
    if drawn[0].shape != kept.shape or np.abs(drawn[0].astype(int) - kept).mean() > 0.1:
        raise SystemExit(f"{folder}: was drawn by another simulator; render it again")
    return [one.astype(np.float32) for one in drawn]


def flawed(
    picture: Picture, truths: list[Picture], seen: NDArray[np.uint8]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell where the limb is, and which pixels there show it in no single position."""
    errors = [np.abs(cv2.GaussianBlur(picture - one, (0, 0), 2.0)).max(2) for one in truths]
    moves = np.max([np.abs(one - truths[0]).max(2) for one in truths], axis=0) > FLAW_LEVELS
    side = 2 * NEAR_PX + 1
    near = cv2.dilate(((seen > 0) | moves).astype(np.uint8), np.ones((side, side), np.uint8))
    around = cv2.dilate(near, np.ones((81, 81), np.uint8)) > 0
    common = np.minimum.reduce(errors)[around & (near == 0)]
    floor = max(FLAW_LEVELS, 2 * float(np.percentile(common, 90)) if common.size else 0.0)
    flaw = np.zeros(near.shape, bool)
    count, parts = cv2.connectedComponents(near)
    for part in range(1, count):
        its = parts == part
        best = min(errors, key=lambda error: float(np.minimum(error[its], 60.0).mean()))
        flaw |= its & (best > floor)
    return near > 0, flaw


def merged(truth: Row, folder: Path, decoder: Decoder) -> tuple[Merge, Picture]:
    """Merge a set's frames, which lie in `folder`, to the truth's view; and its levels of 255."""
    frames = find_frames([folder / one["file"] for one in truth["frames"]]).frames
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
        return merge, tifffile.imread(Path(out) / merge.picture).astype(np.float32) / 257.0


def judge(folder: Path, decoder: Decoder) -> Row:
    """Merge one set and hold its list against the truth."""
    truth = json.loads((folder / "truth.json").read_text("utf-8"))
    merge, picture = merged(truth, folder, decoder)
    x0, y0, x1, y1 = merge.crop_px
    crop = (slice(y0, y1), slice(x0, x1))
    shape = picture.shape[:2]
    limb = np.zeros(shape, bool)
    flaw = np.zeros(shape, bool)
    if (folder / "limb.png").exists():
        seen = cv2.imread(str(folder / "limb.png"), cv2.IMREAD_UNCHANGED)[crop]
        limb, flaw = flawed(picture, [one[crop] for one in positions(folder)], seen)
    told = np.zeros(shape, bool)
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
