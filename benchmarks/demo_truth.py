"""Hold a demo card's evening against the card's truth.

usage: python benchmarks/demo_truth.py DEMO   (the folder given to `haltere demo --out DEMO`)

Prints, with the commit: whether every frame is in its right run, each burst's first frame and
verdict, each sweep's gaps, and each merged picture's PSNR and SSIM beside the best single frame
(registered with the truth in hand, so for nothing) and the plain recipe.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from plain_recipe import merge_plainly
from truth_view import TruthView, read_rgb

from haltere.frames import Decoder, find_frames


def commit() -> str:
    """Short name of the commit this tree stands on."""
    told = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    return told.stdout.strip() or "no commit"


def burst_line(said: dict[str, Any], truth: dict[str, Any], keepers: list[str]) -> str:
    """One burst: first frame's true offset at the eye named, verdict against truth."""
    frames = {f["file"]: f for f in truth["frames"]}
    eye, first = said["eye"], said["frames"][0]["frame"]
    if eye is None:
        return "no eye proposed; " + said["verdict"]["code"]
    seen = frames[eye["frame"]]["eyes_px"]
    off = [((x - eye["x_px"]) ** 2 + (y - eye["y_px"]) ** 2) ** 0.5 for x, y in seen]
    which = off.index(min(off))
    dof = truth["depth_of_field_mm"]
    offset = frames[first]["eye_depth_offset_mm"][which] / dof
    code = said["verdict"]["code"]
    right = "right" if (code == "keeper") == bool(keepers) else "WRONG"
    if code == "unsure":
        right = f"({len(keepers)} true keepers)"
    return (
        f"eye {which} named {min(off):.0f} px off; first {first} truly {offset:+.2f} DOF; "
        f"verdict {code} {right}"
    )


def sweep_lines(demo: Path, run: dict[str, Any], truth_folder: Path) -> list[str]:
    """One sweep: gaps, and the merged picture beside its rivals."""
    view = TruthView.read(truth_folder)
    names = [f["file"] for f in view.raw["frames"]]
    gaps = [
        (g["kind"], round(g["from_dof"], 2), round(g["to_dof"], 2)) for g in run["gaps"]["gaps"]
    ]
    lines = [f"gaps said {gaps}, true {view.raw['gaps']}"]
    merge = run["merge"]
    box = merge["crop_px"]
    merged = view.carried(
        read_rgb(demo / "evening" / merge["picture"]),
        names.index(merge["reference"]),
        (box[0], box[1]),
    )
    singles = [view.carried(read_rgb(demo / "card" / "frames" / n), k) for k, n in enumerate(names)]
    frames = find_frames([demo / "card" / "frames" / n for n in names]).frames
    with tempfile.TemporaryDirectory() as tmp, Decoder() as decoder:
        made = merge_plainly(frames, decoder, Path(tmp))
        reference = [Path(f.name).name for f in frames].index(Path(made.reference).name)
        plain = view.carried(
            read_rgb(Path(tmp, made.picture)), reference, (made.crop_px[0], made.crop_px[1])
        )
    best = max(singles)
    lines += [
        f"  {name:18} {psnr:6.2f} dB  SSIM {ssim:.4f}"
        for name, (psnr, ssim) in (
            ("merged", merged),
            ("best single frame", best),
            ("plain recipe", plain),
        )
    ]
    lines.append(f"  merge alone took {merge['seconds']:.1f} s")
    return lines


def main(demo: Path) -> None:
    """Print the table for one demo folder."""
    card = json.loads((demo / "card" / "truth" / "card.json").read_text())
    evening = json.loads((demo / "evening" / "evening.json").read_text())
    true = {tuple(sorted(r["files"])): r for r in card["runs"]}
    print(
        f"commit {commit()}, card seed {card['seed']}, {card['width_px']} x {card['height_px']} px"
    )
    wrong = 0
    for run in evening["runs"]:
        match = true.get(tuple(sorted(run["frames"])))
        kind = match["kind"] if match else "?"
        wrong += match is None or kind != run["kind"]
        print(f"{run['id']} {run['kind']} ({len(run['frames'])} frames), truth: {kind}")
        if match is None:
            continue
        folder = demo / "card" / "truth" / match["id"]
        if run["kind"] == "burst":
            truth = json.loads((folder / "truth.json").read_text())
            print("  " + burst_line(run["keepers"], truth, match["keepers"]))
        elif run["kind"] == "sweep" and "merge" in run:
            for line in sweep_lines(demo, run, folder):
                print("  " + line)
    print(f"{wrong} runs wrong of {len(evening['runs'])} said, {len(true)} true")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
