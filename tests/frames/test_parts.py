"""Parts of a JPEG, read by themselves, are what the decoder gives for the whole."""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
import pytest
import simplejpeg
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from haltere.errors import FrameError
from haltere.frames import Decoder, Frame, Pixels, Shooting
from haltere.frames.bits import END, WINDOW, fetch, read_units
from haltere.frames.decode import decode
from haltere.frames.marks import Marks, coding_of, lookups
from haltere.frames.parts import load_loops, open_parts, planes_for, read_marked

Picture = NDArray[np.uint8]


def grain(height: int, width: int, seed: int = 0) -> Picture:
    """Blobs of colour with noise on them: long codes and short ones."""
    rng = np.random.default_rng(seed)
    soft = rng.uniform(0, 255, (height // 16 + 2, width // 16 + 2, 3)).repeat(16, 0).repeat(16, 1)
    noisy = soft[:height, :width] + rng.normal(0, rng.uniform(0, 60), (height, width, 3))
    return np.clip(noisy, 0, 255).astype(np.uint8)


def file_of(path: Path, picture: Picture, orientation: int = 1, **how: object) -> Frame:
    Image.fromarray(picture).save(path, "JPEG", **how)
    height, width = picture.shape[:2]
    return Frame(path, path.name, "jpeg", width, height, orientation, Shooting())


def marks_of(frame: Frame, longest_px: int) -> Marks:
    pixels = read_marked(frame, longest_px)
    assert pixels is not None
    assert pixels.marks is not None
    return pixels.marks


@given(
    seed=st.integers(0, 99),
    quality=st.integers(5, 100),
    subsampling=st.sampled_from([0, 1, 2]),
    optimize=st.booleans(),
    restart=st.sampled_from([0, 1, 7]),
    share=st.sampled_from([2, 3, 4, 6]),
    size=st.tuples(st.integers(10, 60), st.integers(10, 60)),
)
@settings(max_examples=60, deadline=None)
def test_small_grey_pixels_are_the_decoders(
    tmp_path_factory: pytest.TempPathFactory,
    seed: int,
    quality: int,
    subsampling: int,
    optimize: bool,
    restart: int,
    share: int,
    size: tuple[int, int],
) -> None:
    path = tmp_path_factory.getbasetemp() / "grey.jpg"
    how = {"quality": quality, "subsampling": subsampling, "optimize": optimize}
    frame = file_of(
        path, grain(4 * size[0], 4 * size[1], seed), restart_marker_blocks=restart, **how
    )
    longest = max(frame.width_px, frame.height_px) // share
    mine, theirs = read_marked(frame, longest), decode(path, "jpeg", 1, "luma", longest)
    assert mine is not None
    np.testing.assert_array_equal(mine.array, theirs.array)
    assert mine.scale == theirs.scale


@given(
    seed=st.integers(0, 99),
    quality=st.integers(5, 100),
    subsampling=st.sampled_from([0, 1, 2]),
    restart=st.sampled_from([0, 1, 7]),
    corner=st.tuples(st.floats(0, 0.9), st.floats(0, 0.9)),
)
@settings(max_examples=60, deadline=None)
def test_the_parts_of_a_window_are_those_of_the_whole_picture(
    tmp_path_factory: pytest.TempPathFactory,
    seed: int,
    quality: int,
    subsampling: int,
    restart: int,
    corner: tuple[float, float],
) -> None:
    path = tmp_path_factory.getbasetemp() / "window.jpg"
    how = {"quality": quality, "subsampling": subsampling, "restart_marker_blocks": restart}
    frame = file_of(path, grain(180, 316, seed), **how)
    marks = marks_of(frame, 150)
    planes = planes_for(marks.coding)
    parts = open_parts(marks, planes)
    assert parts is not None
    left, top = int(corner[0] * 316), int(corner[1] * 180)
    right, bottom = min(left + 20, 316), min(top + 20, 180)
    fetch(left, top, right, bottom, parts, np.zeros(marks.places.shape, np.uint8))
    grey = simplejpeg.decode_jpeg(path.read_bytes(), "GRAY")[:, :, 0]
    window = slice(top, bottom), slice(left, right)
    np.testing.assert_array_equal(planes[0][window], grey[window])


def said_one_by_one(short: NDArray[np.int32], window: int) -> list[tuple[int, int, int]]:
    """Value, places it goes on by and bits of each value that a window holds, up to a block's."""
    said: list[tuple[int, int, int]] = []
    used = 0
    while sum(on for _, on, _ in said) < 64:
        entry = int(short[(window << used) % (1 << WINDOW)])
        value, run, bits = entry >> 16, (entry >> 8) & 255, entry & 255
        if bits == 0 or used + bits > WINDOW:
            break
        said.append((value, run + 1 if value != 0 or run == 15 else END, bits))
        used += bits
    return said


@pytest.mark.parametrize("quality", [30, 97])
def test_what_a_window_says_at_once_is_what_its_values_say_one_by_one(
    tmp_path: Path, quality: int
) -> None:
    path = file_of(tmp_path / "a.jpg", grain(160, 240), quality=quality, optimize=True).path
    coding = coding_of(path.read_bytes())
    assert coding is not None
    short, _, pairs, skips = (one.reshape(4, -1) for one in lookups(coding.tables))
    for table in (1, 3):
        for window in range(1 << WINDOW):
            said = said_one_by_one(short[table], window)
            both, skip = int(pairs[table, window]), int(skips[table, window])
            if not said:
                assert both == skip == 0
                continue
            ons = [on for _, on, _ in said]
            assert skip == sum(ons[:-1]) << 16 | sum(ons) << 8 | sum(bits for *_, bits in said)
            (first, first_on, first_bits), (value, on, bits) = (*said, (0, 0, 0))[:2]
            assert (both >> 32 & 65535, both >> 48) == (first & 65535, value)
            assert (both >> 10 & 255, both >> 18 & 255) == (first_on, on)
            assert (both >> 5 & 31, both & 31) == (first_bits, first_bits + bits)
            assert both >> 26 & 63 == (on - 1 if 0 < on < END else 0)


@pytest.mark.parametrize("subsampling", [0, 1, 2])
def test_the_luma_of_shrunk_parts_is_that_of_the_small_decode(
    tmp_path: Path, subsampling: int
) -> None:
    frame = file_of(tmp_path / "a.jpg", grain(160, 240), subsampling=subsampling)
    marks = marks_of(frame, 100)
    for factor in (2, 4):
        planes = planes_for(marks.coding, factor)
        parts = open_parts(marks, planes, factor)
        assert parts is not None
        height, width = 160 // factor, 240 // factor
        assert parts[1:3] == (height, width)
        fetch(0, 0, width, height, parts, np.zeros(marks.places.shape, np.uint8))
        small = simplejpeg.decode_jpeg(
            frame.path.read_bytes(), "GRAY", min_height=height, min_width=width
        )
        np.testing.assert_array_equal(planes[0][:height, :width], small[:, :, 0])


def test_only_the_parts_that_are_asked_for_are_read(tmp_path: Path) -> None:
    marks = marks_of(file_of(tmp_path / "a.jpg", grain(320, 640)), 300)
    planes = planes_for(marks.coding)
    parts = open_parts(marks, planes)
    assert parts is not None
    done = np.zeros(marks.places.shape, np.uint8)
    fetch(300, 100, 310, 110, parts, done)
    assert 1 <= done.sum() <= 4
    assert not planes[0][200:].any()


@pytest.mark.parametrize(
    ("name", "how"),
    [
        ("progressive", {"progressive": True}),
        ("little larger", {"longest": 200}),
        ("turned", {"orientation": 6}),
    ],
)
def test_other_files_are_left_to_the_decoder(
    tmp_path: Path, name: str, how: dict[str, object]
) -> None:
    longest = how.pop("longest", 100)
    frame = file_of(tmp_path / f"{name}.jpg", grain(160, 240), **how)
    assert read_marked(frame, longest) is None


def test_a_grey_file_and_one_in_printers_colours_are_left_to_the_decoder(tmp_path: Path) -> None:
    for mode in ("L", "CMYK"):
        path = tmp_path / f"{mode}.jpg"
        Image.fromarray(grain(160, 240)).convert(mode).save(path)
        frame = Frame(path, path.name, "jpeg", 240, 160, 1, Shooting())
        assert read_marked(frame, 100) is None


@pytest.mark.parametrize("left", [0.02, 0.5, 0.99])
def test_a_file_that_is_cut_short_is_left_to_the_decoder(tmp_path: Path, left: float) -> None:
    frame = file_of(tmp_path / "cut.jpg", grain(320, 480), quality=90)
    data = frame.path.read_bytes()
    frame.path.write_bytes(data[: int(left * len(data))])
    assert read_marked(frame, 200) is None


@given(seed=st.integers(0, 10_000))
@settings(max_examples=150, deadline=None)
def test_spoilt_bits_end_and_stay_within_the_picture(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    path = tmp_path_factory.getbasetemp() / "spoilt.jpg"
    buffer = io.BytesIO()
    how = {"quality": 90, "subsampling": int(rng.integers(3)), "restart_marker_blocks": seed % 3}
    Image.fromarray(grain(160, 240, seed % 7)).save(buffer, "JPEG", **how)
    data = np.frombuffer(bytearray(buffer.getvalue()), np.uint8)
    at = rng.integers(2, len(data), rng.integers(1, 6))
    data[at] = rng.integers(0, 256, len(at))
    path.write_bytes(data.tobytes())
    pixels = read_marked(Frame(path, path.name, "jpeg", 240, 160, 1, Shooting()), 100)
    if pixels is None:
        return
    assert pixels.array.shape == (66, 99)
    assert pixels.marks is not None
    parts = open_parts(pixels.marks, planes_for(pixels.marks.coding))
    assert parts is not None
    fetch(0, 0, 240, 160, parts, np.zeros(pixels.marks.places.shape, np.uint8))


def test_parts_of_a_file_that_changed_since_are_not_read(tmp_path: Path) -> None:
    frame = file_of(tmp_path / "a.jpg", grain(160, 240))
    marks = marks_of(frame, 100)
    os.utime(frame.path, ns=(0, marks.stamp[1] + 1))
    assert open_parts(marks, planes_for(marks.coding)) is None
    frame.path.unlink()
    assert open_parts(marks, planes_for(marks.coding)) is None


def test_a_marked_stream_gives_what_a_plain_one_gives(decoder: Decoder, tmp_path: Path) -> None:
    frames = [
        file_of(tmp_path / "a.jpg", grain(160, 240)),
        file_of(tmp_path / "b.jpg", grain(160, 240, 1), progressive=True),
        file_of(tmp_path / "c.jpg", grain(160, 240, 2)),
    ]
    frames[2].path.write_bytes(frames[2].path.read_bytes()[:400])
    plain = list(decoder.stream(frames, "luma", 100))
    marked = list(decoder.stream(frames, "luma", 100, marked=True))
    assert [frame.name for frame, _ in marked] == [frame.name for frame, _ in plain]
    for (_, one), (_, other) in zip(plain, marked, strict=True):
        if isinstance(one, FrameError) or isinstance(other, FrameError):
            assert str(one) == str(other)
        else:
            np.testing.assert_array_equal(one.array, other.array)
    had = [getattr(got, "marks", None) is not None for _, got in marked]
    assert had == [True, False, False]


def test_loops_that_are_loaded_ahead_are_those_that_reading_calls(tmp_path: Path) -> None:
    marks_of(file_of(tmp_path / "a.jpg", grain(160, 240)), 100)
    called = len(read_units.signatures)
    load_loops()
    assert len(read_units.signatures) == called


def test_frames_read_ahead_are_handed_to_the_stream_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    frames = [file_of(tmp_path / f"{k}.jpg", grain(160, 240, k)) for k in range(3)]
    read: list[str] = []

    def noted(frame: Frame, longest_px: int) -> Pixels | None:
        read.append(frame.name)
        return read_marked(frame, longest_px)

    monkeypatch.setattr("haltere.frames.parts.read_marked", noted)
    with Decoder(1) as one:
        one.read_ahead(frames[:2], 100)
        first = [got for _, got in one.stream(frames, "luma", 100, marked=True)]
        assert sorted(read) == ["0.jpg", "1.jpg", "2.jpg"]
        again = [got for _, got in one.stream(frames, "luma", 100, marked=True)]
    assert len(read) == 6
    for one_got, other in zip(first, again, strict=True):
        assert isinstance(one_got, Pixels)
        assert isinstance(other, Pixels)
        np.testing.assert_array_equal(one_got.array, other.array)
