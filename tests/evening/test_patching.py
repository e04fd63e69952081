"""A patch while it is chosen: what it promises is what the file will hold."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import tifffile

from haltere.errors import SweepError, UsageError
from haltere.evening import repair
from haltere.evening.patching import (
    patch_rendered,
    patches,
    put_patch,
    seen_patched,
    sharpest,
)
from haltere.evening.under_patch import place_at, under
from haltere.fieldbook import Book, open_book, redo_repair, undo_repair
from haltere.frames import Decoder, Frame
from haltere.merge import merge_sweep
from haltere.merge.repairing import MADE
from haltere.merge.views import read_views
from tests.merge.made import two_depths

RIGHT = ((100.0, 30.0), (140.0, 30.0), (140.0, 90.0), (100.0, 90.0))
LEFT = tuple((x - 60, y) for x, y in RIGHT)


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder(1) as one:
        yield one


@pytest.fixture
def merged(tmp_path: Path, decoder: Decoder) -> tuple[Path, dict[str, Frame]]:
    """A small sweep whose right half is sharp in the sixth frame."""
    sweep, _ = two_depths(tmp_path)
    with sweep.lumas:
        merge_sweep(sweep, decoder, tmp_path / "out")
    return tmp_path / "out", {frame.name: frame for frame in sweep.frames}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book(tmp_path / "book") as opened:
        yield opened


def test_the_planes_under_a_patch_go_from_near_to_far(merged, book) -> None:
    told = under(book, merged[0], RIGHT)
    depths = [plane.depth for plane in told.planes]
    assert depths == sorted(depths)
    assert len(depths) == len(merged[1])
    assert abs(sum(plane.share for plane in told.planes) - 1) < 0.02
    assert told.nearest == "f005.png.tif"
    most = max(told.planes, key=lambda plane: plane.share)
    assert most.frame == told.nearest


def test_a_patch_that_stands_is_what_the_picture_shows_there(merged, book) -> None:
    put_patch(book, merged[0], RIGHT, "f001.png.tif")
    shares = {plane.frame: plane.share for plane in under(book, merged[0], RIGHT).planes}
    assert shares["f001.png.tif"] == 1.0


def test_one_pixel_is_told_with_its_patch(merged, book) -> None:
    folder, _ = merged
    before = place_at(book, folder, 120, 60)
    assert before.frame == "f005.png.tif" and not before.patched
    assert before.depth == pytest.approx(tifffile.imread(folder / "depth.tif")[60, 120])
    assert before.confidence == pytest.approx(tifffile.imread(folder / "confidence.tif")[60, 120])
    put_patch(book, folder, RIGHT, "f001.png.tif")
    after = place_at(book, folder, 120, 60)
    assert (after.frame, after.patched, after.depth) == ("f001.png.tif", True, before.depth)
    assert not place_at(book, folder, 20, 60).patched
    with pytest.raises(UsageError, match="outside"):
        place_at(book, folder, 5000, 60)


def test_a_preview_is_what_the_file_will_hold(merged, book, decoder) -> None:
    folder, frames = merged
    put_patch(book, folder, LEFT, "f006.png.tif")
    box = under(book, folder, RIGHT).box_px
    seen = seen_patched(book, folder, RIGHT, "f001.png.tif", frames, decoder)
    number = put_patch(book, folder, RIGHT, "f001.png.tif").id
    assert not (folder / MADE).exists(), "nothing is written before it is asked for"
    again = patch_rendered(book, folder, number, frames, decoder)
    repair(folder, decoder, book_folder=book.folder)
    written = tifffile.imread(folder / MADE / "picture.tif")
    part = written[box[1] : box[3], box[0] : box[2]]
    np.testing.assert_array_equal(seen, part)
    np.testing.assert_array_equal(again, part)


def test_how_far_the_written_picture_has_followed_is_told(merged, book, decoder) -> None:
    folder, _ = merged

    def told() -> tuple[int, int, bool, bool]:
        now = patches(book, folder)
        return len(now.standing), now.written, now.current, now.again

    mark = read_views(folder)[1]
    assert told() == (0, 0, True, False)
    put_patch(book, folder, RIGHT, "f001.png.tif")
    assert told() == (1, 0, False, False)
    repair(folder, decoder, book_folder=book.folder)
    assert told() == (1, 1, True, False)
    put_patch(book, folder, LEFT, "f002.png.tif")
    assert told() == (2, 1, False, False)
    undo_repair(book, folder, mark)
    assert told() == (1, 1, True, True)
    undo_repair(book, folder, mark)
    assert told() == (0, 0, False, True)
    redo_repair(book, folder, mark)
    assert told() == (1, 1, True, True)


def test_a_patch_drawn_anew_under_an_old_number_is_not_taken_for_it(merged, book, decoder) -> None:
    folder, _ = merged
    first = put_patch(book, folder, RIGHT, "f001.png.tif")
    repair(folder, decoder, book_folder=book.folder)
    undo_repair(book, folder, read_views(folder)[1])
    second = put_patch(book, folder, LEFT, "f001.png.tif")
    assert first.id == second.id
    assert not patches(book, folder).current


def test_the_sharpest_frame_of_a_place_is_measured(merged, decoder) -> None:
    folder, frames = merged
    told: list[tuple[int, int]] = []
    found = sharpest(
        folder, RIGHT, frames, decoder, progress=lambda step, done, all_: told.append((done, all_))
    )
    assert next(iter(found)) == "f005.png.tif"
    assert list(found.values()) == sorted(found.values(), reverse=True)
    assert told[-1] == (len(frames), len(frames))


def test_only_the_frames_nearest_in_depth_are_measured_in_a_long_series(
    merged, decoder, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, frames = merged
    few = SimpleNamespace(measured=3, ahead=1, least_px=16, edge_px=4.0)
    monkeypatch.setattr("haltere.evening.patching.NUMBERS", few)
    planes = {p.frame: p.depth for p in under(open_book(folder.parent / "b"), folder, RIGHT).planes}
    about = planes["f005.png.tif"]
    found = sharpest(folder, RIGHT, frames, decoder, about)
    assert set(found) == set(sorted(planes, key=lambda name: abs(planes[name] - about))[:3])


def test_what_no_patch_can_be_is_refused(merged, book, decoder) -> None:
    folder, frames = merged
    outside = tuple((x + 5000, y) for x, y in RIGHT)
    small = ((100.0, 30.0), (104.0, 30.0), (104.0, 34.0))
    with pytest.raises(UsageError, match="outside"):
        under(book, folder, outside)
    with pytest.raises(UsageError, match="outside"):
        put_patch(book, folder, outside, "f001.png.tif")
    with pytest.raises(UsageError, match="not merged"):
        put_patch(book, folder, RIGHT, "f099.tif")
    with pytest.raises(UsageError, match="too small"):
        sharpest(folder, small, frames, decoder)
    with pytest.raises(UsageError, match="does not stand"):
        patch_rendered(book, folder, 77, frames, decoder)
    with pytest.raises(SweepError, match="not in the book"):
        seen_patched(book, folder, RIGHT, "f001.png.tif", {}, decoder)
