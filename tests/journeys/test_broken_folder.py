"""Thirty broken files among good frames: each is named, every good frame is worked."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from haltere.scene import render_burst

BROKEN = Path(__file__).parents[1] / "data" / "open" / "broken"


def spoil(folder: Path, good: bytes) -> set[str]:
    """Lay thirty broken or foreign files into the folder and give their names."""
    laid = {}
    for source in sorted(BROKEN.iterdir()):
        # six of these hold a whole picture behind odd headers; they are read, not refused
        laid[f"odd-{source.name}"] = source.read_bytes()
    made = {
        "empty.jpg": b"",
        "one-byte.jpg": b"\xff",
        "cut-early.jpg": good[:900],
        "cut-late.jpg": good[: len(good) * 2 // 3],
        "noise.jpg": bytes(range(256)) * 40,
        "text.jpg": b"not a picture at all\n" * 50,
        "renamed.jpg": b"\x89PNG\r\n\x1a\n" + b"\0" * 64,
        "half.dng": b"II*\0\x08\0\0\0\xff\xff" + b"\0" * 40,
        "half.tif": b"MM\0*\0\0\0\x08" + b"\x7f" * 60,
        "video.mov": b"\0\0\0\x14ftypqt  " + b"\0" * 99,
    }
    for name, content in {**laid, **made}.items():
        (folder / name).write_bytes(content)
    assert len(laid) + len(made) >= 30
    return set(laid) | set(made)


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory):
    made = tmp_path_factory.mktemp("burst")
    render_burst(5, made, frames=6, width_px=480, height_px=360, views=8)
    folder = tmp_path_factory.mktemp("card")
    good = sorted(made.glob("*.jpg")) + sorted(made.glob("*.JPG"))
    for path in good:
        shutil.copy2(path, folder)
    bad = spoil(folder, good[0].read_bytes())
    out = tmp_path_factory.mktemp("out")
    done = subprocess.run(
        [sys.executable, "-m", "haltere", "evening", str(folder), "--out", str(out), "--json"],
        capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    return done, {p.name for p in good}, bad


def test_the_evening_ends_well_and_without_a_traceback(worked):
    done, _, _ = worked

    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr + done.stdout


def test_every_broken_file_is_named_once_with_a_reason_or_was_readable_after_all(worked):
    done, _, bad = worked
    answer = json.loads(done.stdout)
    skipped = [one["file"] for one in answer["skipped"]]
    used = {name for run in answer["runs"] for name in run["frames"]}

    assert len(skipped) == len(set(skipped))
    assert bad <= set(skipped) | used
    assert all(one["why"] for one in answer["skipped"])
    made = {name for name in bad if not name.startswith("odd-")}
    assert made <= set(skipped)


def test_every_good_frame_is_worked(worked):
    done, good, _ = worked
    answer = json.loads(done.stdout)
    used = {name for run in answer["runs"] for name in run["frames"]}

    assert good <= used
