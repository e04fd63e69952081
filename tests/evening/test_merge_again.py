"""A merge that is stopped goes on where it was, and loses nothing that stood."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from haltere.errors import WriteError
from haltere.evening import Told, at_work, capture_of
from haltere.frames import Decoder, Frame, find_frames
from haltere.merge.merged import Merge
from haltere.scene import render_sweep

FILES = ("picture.tif", "origin.tif", "depth.tif", "confidence.tif", "seen.tif", "noise.tif")


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> tuple[Frame, ...]:
    folder = tmp_path_factory.mktemp("sweep")
    render_sweep(5, folder, frames=9, width_px=400, height_px=300, views=8)
    return find_frames(sorted(folder.glob("frame_*.jpg"))).frames


class Steps:
    """Notes the steps and stops at one."""

    def __init__(self, stop: str = "") -> None:
        self.stop = stop
        self.seen: list[str] = []

    def __call__(self, step: str, done: int, total: int, /) -> None:
        if step not in self.seen:
            self.seen.append(step)
        if step == self.stop:
            raise KeyboardInterrupt


def merge(frames: tuple[Frame, ...], place: Path, out: Path, steps: Any) -> Merge:
    told = Told(magnification=2.0)
    with (
        Decoder(1) as decoder,
        at_work(frames, frames[0].path.parent, "x", decoder, place, None) as work,
    ):
        return work.merge(frames, capture_of(frames, told), out, progress=steps)


def pictures(out: Path) -> dict[str, Any]:
    return {name: tifffile.imread(out / name) for name in FILES}


@pytest.fixture(scope="module")
def whole(frames: tuple[Frame, ...], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    place = tmp_path_factory.mktemp("whole")
    merge(frames, place / "book", place / "out", Steps())
    return pictures(place / "out")


@pytest.mark.parametrize("stop", ["measuring depth", "painting", "writing"])
def test_a_stopped_merge_is_not_solved_again_and_comes_out_the_same(
    frames: tuple[Frame, ...], whole: dict[str, Any], tmp_path: Path, stop: str
) -> None:
    with pytest.raises(KeyboardInterrupt):
        merge(frames, tmp_path / "book", tmp_path / "out", Steps(stop))
    assert not (tmp_path / "out" / "picture.tif").exists()
    steps = Steps()
    merge(frames, tmp_path / "book", tmp_path / "out", steps)
    assert "registering frames" not in steps.seen and "solving poses" not in steps.seen
    for name, picture in pictures(tmp_path / "out").items():
        np.testing.assert_array_equal(picture, whole[name], err_msg=name)


def test_a_solved_sweep_that_was_cut_short_is_solved_again(
    frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    with pytest.raises(KeyboardInterrupt):
        merge(frames, tmp_path / "book", tmp_path / "out", Steps("painting"))
    (kept,) = (tmp_path / "book" / "derived" / "solved").glob("*.npz")
    kept.write_bytes(kept.read_bytes()[:500])
    steps = Steps()
    merge(frames, tmp_path / "book", tmp_path / "out", steps)
    assert "registering frames" in steps.seen


def test_a_full_disk_leaves_no_half_picture_and_the_next_merge_ends_well(
    frames: tuple[Frame, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "no space")

    with monkeypatch.context() as patch:
        patch.setattr("haltere.frames.writing.os.fsync", full)
        with pytest.raises(WriteError, match="full"):
            merge(frames, tmp_path / "book", tmp_path / "out", Steps())
    assert list((tmp_path / "out").iterdir()) == []
    merge(frames, tmp_path / "book", tmp_path / "out", Steps())
    assert (tmp_path / "out" / "picture.tif").exists()
