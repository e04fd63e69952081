"""Which frames a folder holds, and in which order."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from haltere.errors import UsageError
from haltere.frames import find_frames
from tests.frames.made import jpeg_bytes, texture, words, write_dng

PICTURE = texture(24, 32)


def shot(
    path: Path, when: str | None = None, fraction: str | None = None, offset: str | None = None
) -> None:
    exif = {}
    if when:
        exif[36867] = words(when)
    if fraction:
        exif[37521] = words(fraction)
    if offset:
        exif[36881] = words(offset)
    path.write_bytes(jpeg_bytes(PICTURE, exif))


def names(*given: Path) -> list[str]:
    return [frame.name for frame in find_frames(given).frames]


def test_frames_come_in_order_of_exposure_not_of_name(tmp_path: Path) -> None:
    shot(tmp_path / "a.jpg", "2025:06:01 10:00:02")
    shot(tmp_path / "b.jpg", "2025:06:01 10:00:01")
    assert names(tmp_path) == ["b.jpg", "a.jpg"]


@pytest.mark.parametrize(("early", "late"), [("07", "5"), ("070", "071"), ("123456", "123457")])
def test_sub_seconds_order_frames_of_one_second(tmp_path: Path, early: str, late: str) -> None:
    shot(tmp_path / "a.jpg", "2025:06:01 10:00:00", late)
    shot(tmp_path / "b.jpg", "2025:06:01 10:00:00", early)
    assert names(tmp_path) == ["b.jpg", "a.jpg"]


def test_the_zone_counts_when_every_frame_has_one(tmp_path: Path) -> None:
    shot(tmp_path / "a.jpg", "2025:06:01 10:30:00", offset="+01:00")
    shot(tmp_path / "b.jpg", "2025:06:01 11:00:00", offset="+02:00")
    assert names(tmp_path) == ["b.jpg", "a.jpg"]


def test_without_times_number_2_comes_before_number_10(tmp_path: Path) -> None:
    for name in ("x10.jpg", "x2.jpg", "x1.jpg"):
        shot(tmp_path / name)
    assert names(tmp_path) == ["x1.jpg", "x2.jpg", "x10.jpg"]


def test_a_frame_without_a_time_comes_last(tmp_path: Path) -> None:
    shot(tmp_path / "a.jpg")
    shot(tmp_path / "b.jpg", "2025:06:01 10:00:00")
    assert names(tmp_path) == ["b.jpg", "a.jpg"]


def test_the_type_is_told_by_content_not_by_suffix(tmp_path: Path) -> None:
    (tmp_path / "picture.txt").write_bytes(jpeg_bytes(PICTURE))
    (tmp_path / "text.jpg").write_text("no picture at all")
    found = find_frames([tmp_path])
    assert [frame.name for frame in found.frames] == ["picture.txt"]
    assert [skipped.file for skipped in found.skipped] == ["text.jpg"]


def test_a_png_is_skipped_and_called_one(tmp_path: Path) -> None:
    Image.fromarray(PICTURE).save(tmp_path / "shot.jpg", "PNG")
    (skipped,) = find_frames([tmp_path]).skipped
    assert skipped.file == "shot.jpg"
    assert "PNG" in skipped.why


def test_hidden_files_and_inner_folders_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    shot(tmp_path / "inner" / "a.jpg")
    shot(tmp_path / ".b.jpg")
    found = find_frames([tmp_path])
    assert (found.frames, found.skipped) == ((), ())


def test_a_card_is_searched_whole(tmp_path: Path) -> None:
    for folder in ("DCIM/100A", "DCIM/101A"):
        (tmp_path / folder).mkdir(parents=True)
        shot(tmp_path / folder / "x1.jpg")
    assert names(tmp_path) == ["DCIM/100A/x1.jpg", "DCIM/101A/x1.jpg"]


def test_files_are_named_as_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("in").mkdir()
    shot(Path("in/a.jpg"))
    assert names(Path("in/a.jpg")) == ["in/a.jpg"]
    assert names(Path("in")) == ["a.jpg"]


def test_frames_of_two_folders_keep_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for folder in ("one", "two"):
        Path(folder).mkdir()
        shot(Path(folder) / "a.jpg")
    assert names(Path("one"), Path("two")) == ["one/a.jpg", "two/a.jpg"]


def test_a_file_given_twice_is_one_frame(tmp_path: Path) -> None:
    shot(tmp_path / "a.jpg")
    assert len(names(tmp_path / "a.jpg", tmp_path / "a.jpg")) == 1


def test_nothing_there_is_a_wrong_call(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such file or folder"):
        find_frames([tmp_path / "missing"])
    with pytest.raises(UsageError):
        find_frames([])


def test_a_missing_file_among_others_is_skipped(tmp_path: Path) -> None:
    shot(tmp_path / "a.jpg")
    found = find_frames([tmp_path / "a.jpg", tmp_path / "b.jpg"])
    assert len(found.frames) == 1
    assert "not there" in found.skipped[0].why


def test_a_file_that_may_not_be_read_is_skipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shot(tmp_path / "a.jpg")

    def refuse(path: Path, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", refuse)  # file modes do not bind every user
    assert "permission" in find_frames([tmp_path]).skipped[0].why


def mosaic() -> np.ndarray:
    return np.full((48, 64), 1500, np.uint16)


def test_raw_and_jpeg_of_one_exposure_are_one_frame(tmp_path: Path) -> None:
    write_dng(tmp_path / "x1.dng", mosaic(), when="2025:06:01 10:00:00")
    shot(tmp_path / "X1.JPG", "2025:06:01 10:00:00", "42")
    (frame,) = find_frames([tmp_path]).frames
    assert (frame.name, frame.raw_name, frame.kind) == ("X1.JPG", "x1.dng", "jpeg")


def test_raw_and_jpeg_of_different_moments_stay_two_frames(tmp_path: Path) -> None:
    write_dng(tmp_path / "x1.dng", mosaic(), when="2025:06:01 10:00:00")
    shot(tmp_path / "x1.jpg", "2025:06:01 10:00:05")
    assert names(tmp_path) == ["x1.dng", "x1.jpg"]


def test_a_raw_file_alone_is_a_frame(tmp_path: Path) -> None:
    write_dng(tmp_path / "x1.dng", mosaic(), orientation=6)
    (frame,) = find_frames([tmp_path]).frames
    assert (frame.kind, frame.width_px, frame.height_px, frame.orientation) == ("raw", 48, 64, 6)
