"""A frame read in parts paints what the same frame paints when it is decoded whole."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from haltere.frames import Decoder
from haltere.frames.parts import read_marked
from haltere.merge.depth import DepthMap
from haltere.merge.paint import Painted, paint
from haltere.sweeps.sweep import Sweep
from tests.merge.made import DOF, sweep_of

SHAPE = (160, 240)


@pytest.fixture
def decoder() -> Iterator[Decoder]:
    with Decoder(2) as one:
        yield one


def sweep(folder: Path, subsampling: int, marked: bool) -> Sweep:
    """Three JPEGs in strong colours, of which each is painted on some part."""
    draw = np.random.default_rng(4)
    poses = np.zeros((3, 6))
    poses[:, :2] = draw.uniform(-3, 3, (3, 2))
    poses[:, 2] = np.arange(3) * DOF
    pictures = [draw.integers(0, 256, (*SHAPE, 3), dtype=np.uint8) for _ in range(3)]
    made = sweep_of(folder, pictures, poses)
    frames = []
    for k, frame in enumerate(made.frames):
        path = folder / f"{k}.jpg"
        Image.fromarray(tifffile.imread(frame.path)).save(path, subsampling=subsampling)
        frames.append(replace(frame, path=path, name=path.name, kind="jpeg"))
        pixels = read_marked(frames[-1], 120)
        assert pixels is not None
        assert pixels.marks is not None
        if marked:
            made.lumas.note(k, pixels.marks)
    return replace(made, frames=tuple(frames))


def painted(made: Sweep, decoder: Decoder, longest_px: int | None = None) -> Painted:
    nothing = np.zeros(SHAPE, np.float32)
    depth = np.broadcast_to(np.linspace(-DOF, 3 * DOF, SHAPE[1], dtype=np.float32), SHAPE).copy()
    ground = DepthMap(depth, nothing == 0, nothing + 1, nothing, 1.0)
    gains = np.array([1.0, 1.1, 0.9])
    return paint(made, decoder, [0, 1, 2], gains, ground, longest_px=longest_px)


@pytest.mark.parametrize("subsampling", [0, 1, 2])
def test_parts_paint_what_the_whole_paints(
    tmp_path: Path, decoder: Decoder, subsampling: int
) -> None:
    whole = sweep(tmp_path, subsampling, marked=False)
    parts = sweep(tmp_path, subsampling, marked=True)
    with whole.lumas, parts.lumas:
        one, other = painted(whole, decoder), painted(parts, decoder)
    assert set(np.unique(one.origin)) >= {0, 1, 2}
    np.testing.assert_array_equal(one.linear, other.linear)
    np.testing.assert_array_equal(one.origin, other.origin)
    assert not other.failed


@pytest.mark.parametrize("subsampling", [0, 1, 2])
def test_shrunk_parts_paint_what_a_small_decode_paints(
    tmp_path: Path, decoder: Decoder, subsampling: int
) -> None:
    whole = sweep(tmp_path, subsampling, marked=False)
    parts = sweep(tmp_path, subsampling, marked=True)
    with whole.lumas, parts.lumas:
        one, other = painted(whole, decoder, 60), painted(parts, decoder, 60)
    np.testing.assert_array_equal(one.origin, other.origin)
    np.testing.assert_array_equal(one.linear, other.linear)


def test_a_file_that_was_written_anew_is_decoded_whole(tmp_path: Path, decoder: Decoder) -> None:
    made = sweep(tmp_path, 1, marked=True)
    grey = np.full((*SHAPE, 3), 77, np.uint8)
    Image.fromarray(grey).save(made.frames[1].path)
    with made.lumas:
        result = painted(made, decoder)
    only = result.linear[result.origin == 1].reshape(-1, 3)
    assert np.ptp(np.median(only, axis=0)) < 1e-3


def test_a_file_that_is_gone_is_told_and_the_others_are_painted(
    tmp_path: Path, decoder: Decoder
) -> None:
    made = sweep(tmp_path, 1, marked=True)
    made.frames[1].path.unlink()
    with made.lumas:
        result = painted(made, decoder)
    assert list(result.failed) == [1]
    assert "1.jpg" in result.failed[1]
    assert set(np.unique(result.origin)) <= {0, 2, 65535}


def test_marks_are_kept_while_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = sweep(tmp_path, 1, marked=True)
    monkeypatch.setattr("haltere.align.lumas.MARKS_BYTES", 2 * one.lumas.marks[0].nbytes)
    other = sweep(tmp_path, 1, marked=True)
    with one.lumas, other.lumas:
        assert list(one.lumas.marks) == [0, 1, 2]
        assert list(other.lumas.marks) == [0, 1]
