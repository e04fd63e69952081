from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.frames import Decoder
from haltere.merge import merge_sweep
from haltere.merge.in_groups import groups_of
from tests.merge.made import two_depths


@pytest.fixture(scope="module")
def decoder():
    with Decoder(1) as one:
        yield one


class Painted:
    """Counts the frames that are painted, and stops after some."""

    def __init__(self, stop_after: int = 10**6) -> None:
        self.frames = 0
        self.stop_after = stop_after

    def __call__(self, step: str, done: int, total: int, /) -> None:
        if step == "painting":
            self.frames += 1
        if self.frames > self.stop_after:
            raise KeyboardInterrupt


def merge(folder: Path, decoder, *, group: int | None = 5, progress=None):
    sweep, _ = two_depths(folder, planes=12)
    count = progress or Painted()
    with sweep.lumas:
        merged = merge_sweep(
            sweep, decoder, folder / "out", group_frames=group, keep_share=0.0, progress=count
        )
    return merged, count.frames


def picture(folder: Path, name: str = "picture.tif"):
    return tifffile.imread(folder / "out" / name)


@given(count=st.integers(1, 200), size=st.integers(4, 60))
def test_groups_hold_every_frame_and_neighbours_overlap(count, size):
    groups = groups_of(list(range(count)), size)
    assert sorted(set().union(*groups)) == list(range(count))
    assert all(len(group) <= size for group in groups)
    for one, other in pairwise(groups):
        assert one[-2:] == other[:2], "two frames in common, in order of depth"


@pytest.mark.parametrize("size", [0, -3, 3])
def test_groups_too_small_are_refused(size):
    with pytest.raises(UsageError, match="too small"):
        groups_of(list(range(20)), size)


def test_groups_together_are_what_one_painting_is(tmp_path, decoder):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    one, frames = merge(tmp_path / "a", decoder, group=None)
    grouped, painted = merge(tmp_path / "b", decoder)
    assert frames == 12 and painted > 12, "overlapping frames are painted twice"
    assert grouped.crop_px == one.crop_px and grouped.frames_used[0].endswith("f000.png.tif")
    a, b = picture(tmp_path / "a").astype(float), picture(tmp_path / "b").astype(float)
    assert np.abs(a - b).mean() < 0.002 * 65535
    assert np.percentile(np.abs(a - b), 99) < 0.02 * 65535
    origin_a, origin_b = (picture(tmp_path / k, "origin.tif").astype(int) for k in "ab")
    assert (np.abs(origin_a - origin_b) <= 1).mean() > 0.99


def test_a_second_merge_paints_no_frame_again_and_is_the_same(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path, planes=12)
    more = {"group_frames": 5, "keep_share": 0.0}
    with sweep.lumas:
        merge_sweep(sweep, decoder, tmp_path / "out", **more)
        first = picture(tmp_path)
        count = Painted()
        merge_sweep(sweep, decoder, tmp_path / "out", progress=count, **more)
    assert count.frames == 0
    np.testing.assert_array_equal(picture(tmp_path), first)


def test_a_merge_that_was_stopped_goes_on_with_the_next_group(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path, planes=12)
    more = {"group_frames": 5, "keep_share": 0.0}
    with sweep.lumas:
        with pytest.raises(KeyboardInterrupt):
            merge_sweep(sweep, decoder, tmp_path / "out", progress=Painted(12), **more)
        assert not (tmp_path / "out" / "picture.tif").exists()
        count = Painted()
        merge_sweep(sweep, decoder, tmp_path / "out", progress=count, **more)
    # groups of 5, 5, 5 and 3: two were whole
    assert count.frames == 8


def test_added_frames_leave_the_other_groups_as_they_are(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path, planes=12)
    fewer = replace(sweep, usable=np.arange(12) < 11)
    more = {"group_frames": 5, "keep_share": 0.0}
    with sweep.lumas:
        merge_sweep(fewer, decoder, tmp_path / "out", **more)
        count = Painted()
        merge_sweep(sweep, decoder, tmp_path / "out", progress=count, **more)
    assert 0 < count.frames < 12, "only the groups that hold the new frame, or new depth"


def test_a_group_whose_view_moved_is_painted_again(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path, planes=12)
    poses = sweep.poses.copy()
    poses[1, 0] += 1.0
    more = {"group_frames": 5, "keep_share": 0.0}
    with sweep.lumas:
        merge_sweep(sweep, decoder, tmp_path / "out", **more)
        count = Painted()
        moved = replace(sweep, poses=poses)
        merge_sweep(moved, decoder, tmp_path / "out", progress=count, **more)
    assert count.frames >= 5


def test_a_group_that_was_cut_short_is_painted_again(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path, planes=12)
    more = {"group_frames": 5, "keep_share": 0.0}
    with sweep.lumas:
        merge_sweep(sweep, decoder, tmp_path / "out", **more)
        kept = sorted((tmp_path / "out" / "groups").glob("*.codes.npy"))
        kept[0].write_bytes(kept[0].read_bytes()[:1000])
        count = Painted()
        merge_sweep(sweep, decoder, tmp_path / "out", progress=count, **more)
    assert count.frames in (3, 5)
    assert len(list((tmp_path / "out" / "groups").glob("*.npz"))) == 4
