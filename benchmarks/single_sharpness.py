"""Does one frame alone tell whether its eye is sharp? Fineness of the eye against the truth.

usage: single_sharpness.py FOLDER...     folders of frames with truth.json (keepers_bursts.py)

Every frame is taken by itself, at the true eye. Prints the area under the curve between frames
with the eye within half a depth of field and those at 1, 2 and 4 or more, and quantiles: what
`alone_keeper` and `alone_none` in keepers/numbers.py were read from.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np

from haltere.frames import Decoder, find_frames
from haltere.keepers.alone import fineness


def measured(folders: list[Path]) -> np.ndarray:
    """Distance of the plane in depths of field and fineness of every usable frame, (N, 2)."""
    rows = []
    with Decoder() as decoder:
        for folder in folders:
            truth = json.loads((folder / "truth.json").read_text())
            told = {f["file"]: f for f in truth["frames"]}
            coc = truth["coc_mm"] * truth["width_px"] / truth["sensor_width_mm"]
            for frame in find_frames([folder]).frames:
                true = told[frame.name]
                eye = int(np.argmax(true["eye_depth_offset_mm"]))
                if true["faults"] or not true["eye_visible"][eye]:
                    continue
                x, y = true["eyes_px"][eye]
                found = fineness(decoder.luma(frame).array, (x, y), 0.03 * frame.width_px, coc)
                if found is not None:
                    away = true["eye_depth_offset_mm"][eye] / truth["depth_of_field_mm"]
                    rows.append((abs(away), found))
    return np.array(rows)


def main() -> None:
    """Measure and print."""
    folders = [Path(a) for a in sys.argv[1:]]
    if not folders:
        sys.exit(__doc__)
    away, fine = measured(folders).T
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    print(f"commit {commit}; {len(away)} frames of {len(folders)} folders")
    sharp = away <= 0.5
    for least in (1, 2, 4):
        other = away >= least
        if other.any() and sharp.any():
            both = np.concatenate([fine[sharp], fine[other]])
            rank = np.argsort(np.argsort(both))[: sharp.sum()]
            area = (rank.mean() - (sharp.sum() - 1) / 2) / other.sum()
            print(f"sharp against {least} or more: area under the curve {area:.3f}")
    for low, high in ((0, 0.5), (1, 2), (2, 4), (4, np.inf)):
        some = fine[(away >= low) & (away < high)]
        if some.size:
            said = ", ".join(f"{v:.3f}" for v in np.percentile(some, [5, 25, 50, 75, 95]))
            print(f"{low} to {high} away: {some.size} frames, 5 25 50 75 95 %: {said}")


if __name__ == "__main__":
    main()
