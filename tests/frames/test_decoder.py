"""Pixels from separate processes: upright, at the asked size, one bad file costing only itself."""

from __future__ import annotations

import os
import threading
from concurrent.futures import CancelledError, Future
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import simplejpeg
import tifffile
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import FrameError
from haltere.frames import Decoder, Frame, Pixels, Shooting, find_frames
from haltere.frames.decode import reduced_size
from haltere.frames.kept import Kept, Key
from haltere.frames.limits import FrameLimits
from haltere.frames.upright import turn_upright, upright_size
from tests.frames.made import jpeg_bytes, short, texture, write_dng

HUGE = 4_000_000_000


def one(path: Path) -> Frame:
    (frame,) = find_frames([path]).frames
    return frame


def pixels(got: Pixels | FrameError) -> Pixels:
    assert isinstance(got, Pixels), got
    return got


def test_the_eight_orientations_of_one_scene_decode_to_one_picture(
    decoder: Decoder, open_data: Path
) -> None:
    import cv2

    # the files were saved one by one, the lying ones at three quarters of the size
    decoded = [decoder.luma(one(open_data / "orientation" / f"{o}.jpg")).array for o in range(1, 9)]
    first, *others = (cv2.resize(a, (150, 200), interpolation=cv2.INTER_AREA) for a in decoded)
    for array in others:
        assert np.corrcoef(array.ravel(), first.ravel())[0, 1] > 0.9


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_tiff_is_turned_exactly_once(
    decoder: Decoder, tmp_path: Path, orientation: int, compression: str | None
) -> None:
    stored = np.random.default_rng(orientation).integers(0, 65535, (20, 30, 3), dtype=np.uint16)
    path = tmp_path / "x.tif"
    tifffile.imwrite(
        path,
        stored,
        photometric="rgb",
        compression=compression,
        metadata=None,
        extratags=[(274, 3, 1, orientation, True)],
    )
    frame = one(path)
    upright = turn_upright(stored, orientation)
    assert (frame.height_px, frame.width_px) == upright.shape[:2]
    assert np.array_equal(decoder.rgb(frame).array, upright)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turning_agrees_with_another_library(orientation: int) -> None:
    from PIL import Image, ImageOps

    stored = texture(20, 30)
    image = Image.fromarray(stored)
    exif = image.getexif()
    exif[274] = orientation
    expected = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(turn_upright(stored, orientation), expected)
    assert upright_size(30, 20, orientation) == (expected.shape[1], expected.shape[0])


def test_a_compressed_tiff_that_needs_another_decoder_is_turned_once_too(
    decoder: Decoder, open_data: Path, tmp_path: Path
) -> None:
    plain = one(open_data / "tiff" / "hopper_lzw.tif")
    expected = turn_upright(decoder.rgb(plain).array, 6)
    data = bytearray((open_data / "tiff" / "hopper_lzw.tif").read_bytes())
    with tifffile.TiffFile(open_data / "tiff" / "hopper_lzw.tif") as file:
        at = file.pages.first.tags[274].valueoffset
        data[at : at + 2] = (6).to_bytes(2, "little" if file.byteorder == "<" else "big")
    (tmp_path / "turned.tif").write_bytes(bytes(data))
    assert np.array_equal(decoder.rgb(one(tmp_path / "turned.tif")).array, expected)


def test_an_mpo_is_one_shot(decoder: Decoder, open_data: Path) -> None:
    frame = one(open_data / "cameras" / "ignore_frame_size.mpo")
    assert decoder.rgb(frame).array.shape == (64, 64, 3)


def test_the_profile_comes_along(decoder: Decoder, open_data: Path) -> None:
    tagged = decoder.rgb(one(open_data / "tiff" / "hopper.iccprofile.tif"))
    assert tagged.icc is not None
    assert len(tagged.icc) == 3144
    jpeg = decoder.rgb(one(open_data / "cameras" / "icc_2x1.jpg"))
    assert jpeg.icc is not None
    assert len(jpeg.icc) == 3144
    assert decoder.rgb(one(open_data / "cameras" / "noexif.jpg")).icc is None


def test_sixteen_bit_tiff_stays_sixteen_bit(decoder: Decoder, open_data: Path) -> None:
    got = decoder.luma(one(open_data / "tiff" / "16bit.MM.cropped.tif"))
    expected = tifffile.imread(open_data / "tiff" / "16bit.MM.cropped.tif")
    assert got.array.dtype == np.uint16
    assert np.array_equal(got.array, expected)


def test_jpeg_colour_equals_a_plain_decode(decoder: Decoder, tmp_path: Path) -> None:
    data = jpeg_bytes(texture(120, 160))
    (tmp_path / "x.jpg").write_bytes(data)
    got = decoder.rgb(one(tmp_path / "x.jpg"))
    assert np.array_equal(got.array, simplejpeg.decode_jpeg(data))
    assert (got.scale, got.linear) == (1.0, False)


@pytest.mark.parametrize("longest", [159, 80, 61, 20, 7])
def test_a_reduced_picture_is_the_area_mean(decoder: Decoder, tmp_path: Path, longest: int) -> None:
    import cv2

    data = jpeg_bytes(texture(120, 160))
    (tmp_path / "x.jpg").write_bytes(data)
    got = decoder.luma(one(tmp_path / "x.jpg"), longest)
    height, width = got.array.shape
    assert max(width, height) <= longest
    assert got.scale == pytest.approx(width / 160)
    grey = simplejpeg.decode_jpeg(data, "GRAY")[:, :, 0]
    expected = cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA)
    assert np.abs(got.array.astype(int) - expected).max() <= 3


@given(st.integers(16, 9000), st.integers(16, 9000), st.integers(8, 4000))
def test_a_reduced_size_never_exceeds_what_was_asked(w: int, h: int, longest: int) -> None:
    width, height = reduced_size(w, h, longest)
    assert 1 <= max(width, height) <= max(1, min(longest, max(w, h)))
    assert max(width, height) >= min(longest * 0.98 - 1, max(w, h))


@given(st.integers(50, 2000))
def test_both_axes_share_one_scale_for_sensor_shapes(longest: int) -> None:
    for w, h in ((5184, 3888), (6000, 4000), (1600, 1200), (5472, 3648)):
        width, height = reduced_size(w, h, longest)
        assert abs(height - h * width / w) <= 0.5
    if longest >= 200:  # there is always a whole ratio within two per cent
        width, height = reduced_size(6000, 4000, longest)
        assert height == pytest.approx(4000 * width / 6000, abs=0.02)


def test_no_size_asked_means_full_size_and_never_larger(decoder: Decoder, tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(jpeg_bytes(texture(24, 32)))
    assert decoder.luma(one(tmp_path / "x.jpg"), 500).array.shape == (24, 32)


def ramp() -> np.ndarray:
    x = np.arange(64, dtype=np.float64)[None, :] / 63
    return np.rint(256 + 3000 * np.repeat(x, 48, axis=0)).astype(np.uint16)


def test_raw_is_developed_to_linear_light(decoder: Decoder, tmp_path: Path) -> None:
    write_dng(tmp_path / "x.dng", ramp())
    got = decoder.rgb(one(tmp_path / "x.dng"))
    assert (got.array.shape, got.array.dtype, got.linear) == ((48, 64, 3), np.uint16, True)
    light = got.array[24, 8:-8].astype(float) / 65535
    expected = (ramp()[24, 8:-8, None] - 256) / (4095 - 256)
    assert np.abs(light - expected).max() < 0.004


def test_raw_lies_upright(decoder: Decoder, tmp_path: Path) -> None:
    write_dng(tmp_path / "x.dng", ramp(), orientation=6)
    got = decoder.luma(one(tmp_path / "x.dng")).array
    assert got.shape == (64, 48)
    assert got[4, 24] < got[-4, 24]


def test_grey_of_raw_comes_from_its_preview_when_that_is_large_enough(
    decoder: Decoder, tmp_path: Path
) -> None:
    preview = np.full((48, 64, 3), 77, np.uint8)
    write_dng(tmp_path / "x.dng", ramp(), simplejpeg.encode_jpeg(preview, 95), (64, 48))
    small = decoder.luma(one(tmp_path / "x.dng"), 32)
    assert (small.linear, small.array.dtype, small.array.shape) == (False, np.uint8, (24, 32))
    assert np.abs(small.array.astype(int) - 77).max() <= 1
    assert decoder.luma(one(tmp_path / "x.dng")).linear


def test_the_preview_of_a_raw_file_comes_at_its_own_size_and_upright(
    decoder: Decoder, tmp_path: Path
) -> None:
    preview = np.full((24, 32, 3), 40, np.uint8)
    preview[:, :16] = 200
    inside = simplejpeg.encode_jpeg(preview, 95)
    write_dng(tmp_path / "x.dng", ramp(), inside, (32, 24), orientation=6)
    got = decoder.preview(one(tmp_path / "x.dng"), 32)
    assert (got.array.shape, got.linear, got.scale) == ((32, 24, 3), False, 0.5)
    assert got.array[4].mean() > 190 and got.array[-4].mean() < 50


def test_a_raw_file_without_a_preview_is_developed_small(decoder: Decoder, tmp_path: Path) -> None:
    write_dng(tmp_path / "x.dng", ramp())
    got = decoder.preview(one(tmp_path / "x.dng"), 32)
    assert (got.array.shape, got.linear) == ((24, 32, 3), True)


def test_the_raw_member_of_a_pair_can_be_asked_for(decoder: Decoder, tmp_path: Path) -> None:
    write_dng(tmp_path / "x.dng", ramp(), orientation=3)
    (tmp_path / "x.jpg").write_bytes(jpeg_bytes(texture(48, 64)))
    frame = one(tmp_path)
    assert decoder.rgb(frame).array.dtype == np.uint8
    raw = decoder.rgb(frame, member="raw")
    assert raw.linear
    assert raw.array[24, 4, 1] > raw.array[24, -4, 1]  # turned by the raw file's own orientation


def test_a_stream_keeps_the_order_and_survives_a_bad_frame(tmp_path: Path) -> None:
    for i in range(6):
        data = jpeg_bytes(np.full((16, 16 + 8 * i, 3), 100, np.uint8))
        (tmp_path / f"{i}.jpg").write_bytes(data[:-40] if i == 2 else data)
    frames = find_frames([tmp_path]).frames
    with Decoder(workers=2) as pool:
        got = list(pool.stream(frames, "rgb", ahead=3))
    assert [frame.name for frame, _ in got] == [f"{i}.jpg" for i in range(6)]
    for i, (_, picture) in enumerate(got):
        if i == 2:
            assert isinstance(picture, FrameError)
            assert "2.jpg" in str(picture)
            assert "cut short" in str(picture)
        else:
            assert pixels(picture).array.shape[1] == 16 + 8 * i


def test_a_stream_runs_only_a_few_frames_ahead(decoder: Decoder, tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(jpeg_bytes(texture(16, 16)))
    frame = one(tmp_path / "x.jpg")
    taken = 0

    def source() -> object:
        nonlocal taken
        for _ in range(20):
            taken += 1
            yield frame

    stream = decoder.stream(source(), ahead=2)  # type: ignore[arg-type]
    next(stream)
    assert taken == 3
    stream.close()


@pytest.mark.skipif(os.name == "nt", reason="needs a named pipe")
def test_a_hanging_file_costs_only_itself(tmp_path: Path) -> None:
    (tmp_path / "good.jpg").write_bytes(jpeg_bytes(texture(16, 16)))
    good = one(tmp_path / "good.jpg")
    os.mkfifo(tmp_path / "pipe")  # nobody writes into it: reading waits for ever
    hanging = replace(good, path=tmp_path / "pipe", name="pipe")
    with Decoder(workers=1, limits=FrameLimits(job_s=2.0)) as pool:
        got = [picture for _, picture in pool.stream([good, hanging, good])]
    assert isinstance(got[1], FrameError)
    assert "pipe" in str(got[1])
    assert "longer than" in str(got[1])
    assert pixels(got[2]).array.shape == (16, 16)


@pytest.mark.skipif(os.name == "nt", reason="needs a named pipe")
def test_a_crashing_decoder_costs_only_its_file(tmp_path: Path) -> None:
    (tmp_path / "good.jpg").write_bytes(jpeg_bytes(texture(16, 16)))
    good = one(tmp_path / "good.jpg")
    os.mkfifo(tmp_path / "pipe")
    waiting = replace(good, path=tmp_path / "pipe", name="pipe")
    with Decoder(workers=1) as pool:
        pool.luma(good)
        future = pool.submit_luma(waiting)
        writer = os.open(tmp_path / "pipe", os.O_WRONLY)  # returns when the process reads
        (keeper,) = pool._threads
        assert keeper._process is not None
        keeper._process.kill()
        with pytest.raises(FrameError, match=r"pipe: .*crash"):
            future.result()
        os.close(writer)
        assert pool.luma(good).array.shape == (16, 16)


@pytest.mark.skipif(os.name == "nt", reason="there is no memory limit there")
def test_a_picture_that_wants_too_much_memory_costs_only_itself(tmp_path: Path) -> None:
    (tmp_path / "good.jpg").write_bytes(jpeg_bytes(texture(16, 16)))
    # 7000 x 7000 px of black compress to nothing and ask for 147 MB, twice
    tifffile.imwrite(
        tmp_path / "huge.tif",
        np.zeros((7000, 7000, 3), np.uint8),
        photometric="rgb",
        compression="zlib",
    )
    frames = find_frames([tmp_path]).frames
    with Decoder(workers=1, limits=FrameLimits(memory_mib=400)) as pool:
        got = {f.name: p for f, p in pool.stream([frames[1], frames[0], frames[1]], "rgb")}
    assert isinstance(got["huge.tif"], FrameError)
    assert pixels(got["good.jpg"]).array.shape == (16, 16, 3)


def test_closing_ends_a_decoder_that_is_at_work(tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("needs a named pipe")
    os.mkfifo(tmp_path / "pipe")
    waiting = Frame(tmp_path / "pipe", "pipe", "jpeg", 16, 16, 1, Shooting())
    pool = Decoder(workers=1, limits=FrameLimits(job_s=HUGE // 1000))
    first, second = pool.submit_luma(waiting), pool.submit_luma(waiting)
    pool.close()
    assert second.cancelled()
    with pytest.raises((FrameError, CancelledError)):
        first.result(timeout=10)
    assert not any(
        t.name == "haltere-decoder" and t in pool._threads for t in threading.enumerate()
    )
    with pytest.raises(CancelledError):
        pool.submit_luma(waiting)


def test_nothing_stays_behind_after_closing(tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(jpeg_bytes(texture(16, 16)))
    with Decoder(workers=1) as pool:
        kept = pool.luma(one(tmp_path / "x.jpg")).array
        folder = pool._folder
        assert folder is not None
        assert list(folder.iterdir()) == []
    assert not folder.exists()
    assert kept.shape == (16, 16)
    assert int(kept.astype(np.int64).sum()) > 0


def test_a_decoder_without_jobs_starts_no_process() -> None:
    with Decoder() as pool:
        assert pool._threads == []


def test_a_cmyk_jpeg_is_skipped_in_plain_words(tmp_path: Path) -> None:
    from PIL import Image

    Image.new("CMYK", (16, 16)).save(tmp_path / "x.jpg", "JPEG")
    (skipped,) = find_frames([tmp_path]).skipped
    assert "CMYK" in skipped.why


def test_orientation_beyond_eight_counts_as_upright(tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(jpeg_bytes(texture(16, 24), None, {274: short(9)}))
    assert one(tmp_path / "x.jpg").orientation == 1


def test_a_picture_that_was_kept_is_handed_out_once_and_not_decoded_again(
    decoder: Decoder, tmp_path: Path
) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(texture(60, 90)))
    frame = one(path)
    decoder.keep(frame, decoder.luma(frame, 45), "luma", 45)
    before = path.read_bytes()
    path.write_bytes(b"gone")
    assert pixels(decoder.luma(frame, 45)).array.shape == (30, 45)
    with pytest.raises(FrameError):
        decoder.luma(frame, 45)
    path.write_bytes(before)


def test_another_size_or_kind_than_the_one_kept_is_decoded(
    decoder: Decoder, tmp_path: Path
) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(texture(60, 90)))
    frame = one(path)
    decoder.keep(frame, decoder.luma(frame, 45), "luma", 45)
    assert decoder.luma(frame).array.shape == (60, 90)
    assert decoder.rgb(frame, 45).array.shape == (30, 45, 3)
    decoder.forget([frame])
    path.write_bytes(b"gone")
    with pytest.raises(FrameError):
        decoder.luma(frame, 45)


def test_no_more_is_kept_than_there_is_room_for() -> None:
    kept = Kept(room_bytes=1000)
    small = Pixels(np.zeros((20, 30), np.uint8), 1.0, False, None)
    kept.put(("a", "luma", None), small)
    kept.put(("b", "luma", None), small)
    assert kept.take(("b", "luma", None)) is None
    assert taken(kept, ("a", "luma", None)) is small
    kept.put(("b", "luma", None), small)
    assert taken(kept, ("b", "luma", None)) is small


def taken(kept: Kept, key: Key) -> Pixels:
    future = kept.take(key)
    assert future is not None
    return future.result()


def test_an_expected_picture_is_decoded_once_and_serves_all_who_ask(
    decoder: Decoder, tmp_path: Path
) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(texture(60, 90)))
    frame = one(path)
    plain = pixels(decoder.luma(frame, 45))
    decoder.expect(frame, 45)
    first = pixels(decoder.luma(frame, 45))
    path.write_bytes(b"gone")
    np.testing.assert_array_equal(first.array, plain.array)
    small = pixels(decoder.luma(frame, 15))
    assert small.array.shape == (10, 15)
    assert small.scale == pytest.approx(15 / 90)
    np.testing.assert_array_equal(decoder.luma(frame, 45).array, plain.array)
    decoder.keep_only([])
    with pytest.raises(FrameError):
        decoder.luma(frame, 45)


def test_pictures_that_are_still_wanted_stay_expected(decoder: Decoder, tmp_path: Path) -> None:
    names = ("x.jpg", "y.jpg")
    for name in names:
        (tmp_path / name).write_bytes(jpeg_bytes(texture(60, 90)))
    first, second = (one(tmp_path / name) for name in names)
    for frame in (first, second):
        decoder.expect(frame, 45)
        decoder.luma(frame, 45)
    decoder.keep_only([second])
    for name in names:
        (tmp_path / name).write_bytes(b"gone")
    assert decoder.luma(second, 45).array.shape == (30, 45)
    with pytest.raises(FrameError):
        decoder.luma(first, 45)


def test_giving_up_a_stream_takes_no_expected_picture_from_others(
    decoder: Decoder, tmp_path: Path
) -> None:
    for k in range(4):
        (tmp_path / f"x{k}.jpg").write_bytes(jpeg_bytes(texture(60, 90)))
    frames = find_frames([tmp_path]).frames
    for frame in frames:
        decoder.expect(frame, 45)
    stream = decoder.stream(frames, longest_px=45)
    next(stream)
    stream.close()
    again = [got for _, got in decoder.stream(frames, longest_px=45)]
    assert [pixels(got).array.shape for got in again] == [(30, 45)] * 4
    decoder.forget(frames)


def test_no_more_is_expected_than_there_is_room_for() -> None:
    kept = Kept(room_bytes=1000)
    begun: list[str] = []

    def begin(name: str) -> Future[Pixels]:
        begun.append(name)
        return Future()

    for name in ("a", "b", "a"):
        kept.expected((name, "luma", 32), lambda name=name: begin(name))
    assert begun == ["a"]


@pytest.fixture
def large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Frame]:
    """Four frames of one size, each of its own grey; files for their pixels are used again."""
    # however slow the machine: no process rests between two of them
    monkeypatch.setattr("haltere.frames.process._REST_S", 600.0)
    frames = []
    for level in (20, 90, 160, 230):
        path = tmp_path / f"{level}.jpg"
        path.write_bytes(simplejpeg.encode_jpeg(np.full((1500, 2100, 3), level, np.uint8)))
        frames.append(one(path))
    return frames


def test_pixels_that_somebody_holds_are_never_written_over(large: list[Frame]) -> None:
    with Decoder(workers=1) as decoder:
        held = [decoder.rgb(frame).array[::7, ::7] for frame in large]
        for frame in large:
            decoder.rgb(frame)
        assert [int(np.median(view)) for view in held] == [20, 90, 160, 230]


def test_pixels_are_right_in_a_file_that_is_used_again(large: list[Frame]) -> None:
    with Decoder(workers=1) as decoder:
        for frame in [*large, *large]:
            assert decoder.rgb(frame).array.mean() == pytest.approx(int(frame.path.stem), abs=2)
        # smaller ones take no place of their own in it, nor leave it in the way of others
        assert decoder.luma(large[0], 300).array.shape == (210, 294)
        assert decoder.rgb(large[3]).array.mean() == pytest.approx(230, abs=2)
        names = list(_folder(decoder).iterdir())
        assert len(names) == 1


def test_a_damaged_file_between_others_leaves_them_whole(large: list[Frame]) -> None:
    cut = large[1].path.read_bytes()
    large[1].path.write_bytes(cut[: len(cut) // 2])
    with Decoder(workers=1) as decoder:
        first = decoder.rgb(large[0])
        with pytest.raises(FrameError):
            decoder.rgb(large[1])
        assert decoder.rgb(large[2]).array.mean() == pytest.approx(160, abs=2)
        assert first.array.mean() == pytest.approx(20, abs=2)


def test_no_room_is_kept_for_raw_files_while_they_are_developed(tmp_path: Path) -> None:
    write_dng(tmp_path / "x.dng", np.full((1200, 1300), 2000, np.uint16))
    with Decoder(workers=1) as decoder:
        held = decoder.rgb(one(tmp_path / "x.dng"))
        assert held.linear and held.array.nbytes > 8 << 20
        assert list(_folder(decoder).iterdir()) == []
        assert held.array.std() < held.array.mean()


def test_a_process_that_rests_gives_its_memory_back(large: list[Frame]) -> None:
    with Decoder(workers=1) as decoder:
        for frame in large:
            decoder.rgb(frame)
        held = decoder.rgb(large[0])
        decoder._threads[0]._rest()
        assert len(list(_folder(decoder).iterdir())) <= 1
        assert held.array.mean() == pytest.approx(20, abs=2)
        del held
        assert list(_folder(decoder).iterdir()) == []
        assert decoder.rgb(large[1]).array.mean() == pytest.approx(90, abs=2)


def _folder(decoder: Decoder) -> Path:
    assert decoder._folder is not None
    return decoder._folder


def test_a_process_starts_while_a_library_that_is_loaded_hides_a_module(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # as OpenCV does for a moment, with a `typing` of its own
    (tmp_path / "typing.py").write_text("raise ImportError")
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg_bytes(texture(48, 64)))
    (frame,) = find_frames([path]).frames
    monkeypatch.syspath_prepend(tmp_path)
    with Decoder(1) as own:
        assert own.luma(frame).array.shape == (48, 64)
