"""Large pictures: coarse steps at once, the whole behind them, always the same tiles."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from haltere.doors.bench.ahead import MOST, Ahead
from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.pyramid import pyramid, size_at, tile
from haltere.doors.bench.shelf import Shelf
from haltere.errors import FrameError
from haltere.frames import find_frames, write_jpeg
from haltere.frames.frame import Frame

SIZE = (2562, 1406)
"""Not to be halved twice without a rest."""


def textured(folder: Path, size: tuple[int, int] = SIZE) -> Frame:
    rng = np.random.default_rng(1)
    coarse = rng.uniform(20, 235, (size[1] // 24, size[0] // 24, 3)).astype(np.float32)
    rgb = np.clip(cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC), 0, 255)
    write_jpeg(folder / "L.JPG", rgb.astype(np.uint8), None, quality=95)
    return find_frames([folder]).frames[0]


@pytest.fixture
def large(tmp_path: Path) -> Frame:
    """A large textured JPEG."""
    return textured(tmp_path)


@pytest.fixture
def shelf(tmp_path: Path) -> Iterator[Shelf]:
    """A shelf of a book that is not asked for."""
    held = Shelf(tmp_path / "book")
    yield held
    held.close()


def seen(content: bytes | None) -> np.ndarray:  # type: ignore[type-arg]
    assert content is not None
    with Image.open(io.BytesIO(content)) as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


def test_a_coarse_tile_shows_what_halving_the_whole_would_show(shelf: Shelf, large: Frame) -> None:
    level = LIMITS.coarse_level
    halved = shelf.levels(large)
    for column in range(2):
        coarse, own = (
            seen(shelf.tile(large, level, column, 0)),
            seen(tile(halved, level, column, 0)),
        )
        assert coarse.shape == own.shape
        assert np.abs(coarse - own).mean() < 3.0
    assert shelf.tile(large, level, 2, 0) is None
    assert size_at(SIZE, level) == halved[level].shape[1::-1]
    last = len(halved) - 1
    assert shelf.tile(large, last, 0, 0) is not None
    assert shelf.tile(large, last + 1, 0, 0) is None


@pytest.mark.parametrize("size", [SIZE, (2562, 1407), (2561, 1406), (2564, 1408)])
def test_a_tile_is_the_same_whatever_was_opened_before(
    tmp_path: Path, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    frame, told = textured(tmp_path, size), []
    where = [(level, column, row) for level in (3, 2, 1, 0) for column, row in ((0, 0), (2, 1))]
    for whole_first in (True, False):
        shelf = Shelf(tmp_path / "book")
        if whole_first:
            shelf.levels(frame)
        else:
            monkeypatch.setattr(shelf._pyramids, "held", lambda _: None)
        told.append([shelf.tile(frame, *one) for one in where])
        shelf.close()
    assert told[0] == told[1]


@pytest.mark.parametrize("level", [0, 1])
def test_a_first_zoom_waits_for_the_decoding_alone(
    shelf: Shelf, large: Frame, level: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole, go_on = shelf._open, threading.Event()

    def late(frame: Frame) -> object:
        assert go_on.wait(20), "the tile waited for all of the picture"
        return whole(frame)

    monkeypatch.setattr(shelf, "_open", late)
    first = shelf.tile(large, level, 1, 0)
    go_on.set()
    assert first == tile(shelf.levels(large), level, 1, 0)


def test_a_zoom_and_what_is_opened_behind_the_view_decode_the_picture_once(
    shelf: Shelf, large: Frame, monkeypatch: pytest.MonkeyPatch
) -> None:
    submit, whole = shelf.decoder.submit_rgb, []
    halving, go_on = threading.Event(), threading.Event()

    def submitted(frame: Frame, longest_px: int | None = None) -> object:
        whole.append(longest_px is None)
        return submit(frame, longest_px)

    def halvings(full: np.ndarray) -> list[np.ndarray]:  # type: ignore[type-arg]
        if full.shape[1] == SIZE[0]:
            halving.set()
            go_on.wait(60)
        return pyramid(full)

    monkeypatch.setattr(shelf.decoder, "submit_rgb", submitted)
    monkeypatch.setattr("haltere.doors.bench.shelf.pyramid", halvings)
    shelf.tile(large, LIMITS.coarse_level, 0, 0)
    assert halving.wait(60)
    shelf.tile(large, 0, 0, 0)
    go_on.set()
    shelf.levels(large)
    assert whole.count(True) == 1


def test_the_whole_is_opened_behind_a_coarse_tile(
    shelf: Shelf, large: Frame, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = threading.Event()
    whole = shelf._open

    def opening(frame: Frame) -> object:
        made = whole(frame)
        opened.set()
        return made

    monkeypatch.setattr(shelf, "_open", opening)
    assert shelf.tile(large, LIMITS.coarse_level, 0, 0) is not None
    assert opened.wait(60)


def test_the_last_wish_is_opened_first_and_old_ones_are_forgotten(large: Frame) -> None:
    from dataclasses import replace

    opened: list[str] = []
    begun, go_on, done = threading.Event(), threading.Event(), threading.Event()

    def open_one(frame: Frame) -> None:
        opened.append(frame.name)
        begun.set()
        go_on.wait(60)
        if len(opened) == 1 + MOST:
            done.set()
        raise FrameError("one that can't be read ends nothing")

    ahead = Ahead(open_one)
    ahead.want(large)
    assert begun.wait(60)
    for number in range(MOST + 3):
        ahead.want(replace(large, name=str(number)))
    go_on.set()
    assert done.wait(60)
    ahead.close()
    assert opened == [large.name, *(str(number) for number in range(MOST + 2, 2, -1))]
    ahead.want(large)
    assert len(opened) == 1 + MOST
