"""One bad file never stops the rest, and every bad file is named."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from haltere.errors import FrameError
from haltere.frames import Decoder, Pixels, find_frames
from tests.frames.made import jpeg_bytes, texture

# broken in the Exif block or behind the picture only: the picture itself is whole
WHOLE = {
    "exif_typeerror.jpg",
    "sugarshack_bad_mpo_header.jpg",
    "invalid-exif-without-x-resolution.jpg",
    "exif-dpi-zerodivision.jpg",
    "exif-ifd-offset.jpg",
    "invalid-exif.jpg",
}


def test_a_folder_of_broken_files_among_good_ones(
    decoder: Decoder, open_data: Path, tmp_path: Path
) -> None:
    for path in (open_data / "broken").iterdir():
        shutil.copy(path, tmp_path)
    broken = {path.name for path in tmp_path.iterdir()} - WHOLE
    good = {f"good{i}.jpg" for i in range(3)}
    for name in good:
        (tmp_path / name).write_bytes(jpeg_bytes(texture(24, 32)))
    found = find_frames([tmp_path])
    decoded, failed = set(), dict[str, str]()
    for frame, got in decoder.stream(found.frames, "rgb"):
        if isinstance(got, FrameError):
            failed[frame.name] = str(got)
        else:
            decoded.add(frame.name)
    skipped = [entry.file for entry in found.skipped]
    assert decoded == good | WHOLE
    assert sorted(skipped + list(failed)) == sorted(broken)
    assert all(name in text for name, text in failed.items())


def test_reasons_are_words_not_error_names(open_data: Path) -> None:
    for skipped in find_frames(
        [open_data / "broken", open_data / "cameras", open_data / "tiff"]
    ).skipped:
        assert "Error" not in skipped.why
        assert skipped.why[0].islower()
        assert len(skipped.why.split()) >= 4


def test_shooting_data_without_a_picture_is_skipped(open_data: Path) -> None:
    (skipped,) = find_frames([open_data / "cameras" / "shooting_data_only.jpg"]).skipped
    assert "no picture" in skipped.why


def test_a_jpeg_cut_anywhere_is_named_not_shown(decoder: Decoder, tmp_path: Path) -> None:
    whole = jpeg_bytes(texture(48, 64))
    for share in (0.0, 0.01, 0.1, 0.5, 0.9):
        path = tmp_path / "cut.jpg"
        path.write_bytes(whole[: int(len(whole) * share)])
        found = find_frames([path])
        if found.skipped:
            continue
        with pytest.raises(FrameError, match="cut short"):
            decoder.rgb(found.frames[0])


def test_a_file_that_vanishes_between_finding_and_decoding_is_named(
    decoder: Decoder, tmp_path: Path
) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(texture(24, 32)))
    (frame,) = find_frames([path]).frames
    path.unlink()
    with pytest.raises(FrameError, match=r"x\.jpg.*not there any more"):
        decoder.luma(frame)


def test_twelve_bits_in_sixteen_and_tiles_of_ycbcr_decode(
    decoder: Decoder, open_data: Path
) -> None:
    for name in ("12in16bit.tif", "tiff_tiled_ycbcr_jpeg_2x2_sampling.tif", "child_ifd.tiff"):
        (frame,) = find_frames([open_data / "tiff" / name]).frames
        got = decoder.rgb(frame)
        assert isinstance(got, Pixels)
        assert got.array.shape == (frame.height_px, frame.width_px, 3)
