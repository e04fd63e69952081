"""Kills a merge at random instants and looks at what lies in its folder."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path

import tifffile
from PIL import Image

from haltere.scene import make_card

FILES = (
    "picture.tif", "picture.jpg", "origin.tif", "depth.tif", "confidence.tif", "seen.tif",
    "noise.tif",
)  # fmt: skip


def sweep_folder(place: Path) -> Path:
    """A folder with one small sweep of a made-up card."""
    card = make_card(place / "card", seed=3, width_px=360, height_px=270, views=10)
    names = next(one for one in card.runs if one.kind == "sweep").files
    folder = place / "sweep"
    folder.mkdir()
    for name in names:
        source = card.frames_folder / name
        (folder / source.name).write_bytes(source.read_bytes())
    return folder


def merging(folder: Path, out: Path, cache: Path) -> subprocess.Popen[bytes]:
    """Start a merge in a process of its own."""
    code = "from haltere.doors.cli import main; main()"
    words = ["merge", str(folder), "--out", str(out), "--magnification", "1", "--json"]
    return subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "XDG_CACHE_HOME": str(cache)},
    )


def trouble_in(out: Path) -> list[str]:
    """Name what is half: a picture under its final name that can't be read to its end."""
    found = []
    for name in FILES:
        path = out / name
        if not path.exists():
            continue
        try:
            if path.suffix == ".tif":
                tifffile.imread(path)
            else:
                Image.open(path).load()
        except Exception as error:
            found.append(f"{name}: {error!r}")
    return found


def kill_merges(folder: Path, place: Path, kills: int, seed: int) -> tuple[int, int, list[str]]:
    """Kill so many merges, each at another instant of its life.

    Returns
    -------
    whole, none, trouble : int, int, list of str
        Folders with a whole picture, folders without one, and what was half.
    """
    draw = random.Random(seed)
    begun = time.monotonic()
    assert merging(folder, place / "first", place / "cache0").wait() == 0
    life_s = time.monotonic() - begun
    whole = none = 0
    trouble: list[str] = []
    for number in range(kills):
        out = place / f"out{number}"
        process = merging(folder, out, place / f"cache{number + 1}")
        if number % 2:
            time.sleep(life_s * draw.uniform(0.0, 1.2))
        else:  # most of the danger lies where the files are written
            while process.poll() is None and not (out.is_dir() and any(out.iterdir())):
                time.sleep(0.002)
            time.sleep(draw.uniform(0.0, 0.25))
        process.kill()
        process.wait()
        trouble += [f"kill {number}: {one}" for one in trouble_in(out)]
        if (out / "picture.tif").exists():
            whole += 1
        else:
            none += 1
    again = merging(folder, place / "out0", place / "cache1")
    if again.wait() != 0 or trouble_in(place / "out0"):
        trouble.append("the merge did not end well when started again")
    return whole, none, trouble
