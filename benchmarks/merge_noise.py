"""Whether a merge is calmed better by knowing what averaging left of the noise at each place.

    python merge_noise.py DEMO SWEEP ISO --out FOLDER

Adds the noise of a sensor at some ISO to the frames of a made-up card's sweep (`haltere demo --out
DEMO`; its frames are taken at ISO 100 already), merges them, and holds the merge against the
card's truth: as it is, calmed by one level of noise measured on it, and calmed by the merge's own
noise map. Beside it the noise of one frame, measured on a frame and on the merge. What lies in
FOLDER already is used again.
"""

from __future__ import annotations

import argparse
import json
import subprocess
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image
from truth_view import TruthView

from haltere.doors.cli import run
from haltere.finish.noise import Averaged, Noise, measure_noise
from haltere.finish.restoring import Wanted, restore
from haltere.frames import encode, to_linear
from haltere.scene.sensor import Sensor, add_noise

FULL_AT_100 = 24000.0


def noisy(card: Path, names: list[str], iso: float, out: Path) -> None:
    """Write the frames again with a sensor's noise on top, with their shooting data."""
    out.mkdir(parents=True, exist_ok=True)
    for number, name in enumerate(names):
        with Image.open(card / "frames" / name) as picture:
            light = to_linear(np.asarray(picture), None, False)
            more = add_noise(light, Sensor(FULL_AT_100 * 100.0 / iso), 1000 + number)
            Image.fromarray(encode(more, None, 8)).save(
                out / name, quality=97, subsampling=0, exif=picture.info["exif"]
            )


def at_a_fifth(noise: Noise) -> float:
    """One sigma of the noise at a light of 0.2, over that light."""
    return float(np.sqrt(noise.variance(np.full(1, 0.2, np.float32))[0]) / 0.2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("demo", type=Path)
    parser.add_argument("sweep")
    parser.add_argument("iso", type=float)
    parser.add_argument("--out", type=Path, required=True)
    said = parser.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    view = TruthView.read(said.demo / "card" / "truth" / said.sweep)
    names = [one["file"] for one in view.raw["frames"]]
    frames, merged = said.out / "frames", said.out / "merged"
    if not (merged / "noise.tif").is_file():
        noisy(said.demo / "card", names, said.iso, frames)
        run(["merge", str(frames), "--kit", str(said.demo / "kit.toml"), "--out", str(merged)])
    told = json.loads((merged / "result.json").read_text())
    light = to_linear(tifffile.imread(merged / "picture.tif"), None, False)
    averaged = Averaged(np.asarray(tifffile.imread(merged / "noise.tif"), np.float32))
    with Image.open(frames / told["reference"]) as picture:
        one_frame = measure_noise(to_linear(np.asarray(picture), None, False))
    own, of_merge = at_a_fifth(one_frame), at_a_fifth(measure_noise(light, averaged))
    low, middle, high = np.percentile(averaged.share, (5, 50, 95))
    print(
        f"commit {commit.stdout.strip()}, {said.sweep}, ISO {said.iso:g}, "
        f"{len(told['frames_used'])} frames; left of the variance {middle:.2f} ({low:.2f} to "
        f"{high:.2f}); noise of one frame at a light of 0.2: measured on it "
        f"{own:.4f}, on the merge {of_merge:.4f}"
    )

    def score(picture: NDArray[np.float32]) -> str:
        shown = encode(picture, None, 16) / 65535.0
        corner = (told["crop_px"][0], told["crop_px"][1])
        psnr, ssim = view.carried(shown, names.index(told["reference"]), corner)
        return f"{psnr:.2f} dB, SSIM {ssim:.4f}"

    wanted = Wanted(8.0, 0.004, 0.0, 1.0)
    print(f"as merged: {score(light)}", flush=True)
    print(f"one level: {score(restore(light, wanted, measure_noise(light)))}", flush=True)
    known = restore(light, wanted, measure_noise(light, averaged), averaged)
    print(f"by place:  {score(known)}")


if __name__ == "__main__":
    main()
