from __future__ import annotations

import errno
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.align.pose import plane_depth, project
from haltere.errors import SweepError, UsageError, WriteError
from haltere.evening import repair
from haltere.evening.repairs import view_named
from haltere.frames import Decoder
from haltere.merge import merge_sweep
from haltere.merge.patch import Box, blended, box_of, polygon_mask, read_part
from haltere.merge.repairing import MADE, Region, render_part
from haltere.merge.views import View, Views, read_views
from tests.merge.made import DOF, two_depths

RIGHT = ((100.0, 30.0), (140.0, 30.0), (140.0, 90.0), (100.0, 90.0))


@pytest.fixture(scope="module")
def decoder():
    with Decoder(1) as one:
        yield one


@pytest.fixture
def merged(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path)
    with sweep.lumas:
        merge_sweep(sweep, decoder, tmp_path / "out")
    return tmp_path / "out"


def picture(folder: Path) -> np.ndarray:
    return tifffile.imread(folder / "picture.tif").astype(int)


def one_view(pose) -> Views:
    view = View("a", "a", None, pose, 1.0)
    return Views((400, 300), (7, 5, 390, 280), (200, 150), 3000.0, DOF, 1.0, False, (view,))


@given(
    pose=st.tuples(
        *[st.floats(-30, 30)] * 2, st.floats(-0.02, 0.02), *[st.floats(-60, 60)] * 2,
        st.floats(-0.02, 0.02),
    ),
    x=st.floats(0, 380),
    y=st.floats(0, 270),
)  # fmt: skip
@settings(max_examples=50, deadline=None)
def test_a_frame_is_carried_along_its_own_tilted_plane(pose, x, y):
    views = one_view(pose)
    at = views.to_frame(0) @ (x, y, 1.0)
    point = np.array([[(x + 7 - 199.5) / 2, (y + 5 - 149.5) / 2]])
    depth = plane_depth(np.array(pose), point, 3000.0)
    asked = project(np.array(pose), point, depth, 3000.0)[0] * 2 + (199.5, 149.5)
    np.testing.assert_allclose(at[:2] / at[2], asked, atol=1e-6)


def test_the_nearest_frame_is_the_one_whose_plane_lies_there():
    poses = [(0.0, 0.0, z, 0.0, 0.0, 0.0) for z in (-0.02, 0.0, 0.03)]
    views = tuple(View(str(k), "", None, p, 1.0) for k, p in enumerate(poses))
    all_of_them = Views((400, 300), (0, 0, 400, 300), (200, 150), 3e3, DOF, 90.0, False, views)
    assert [all_of_them.nearest(d, 9.0, 9.0) for d in (-5.0, 0.4, 2.0)] == [0, 1, 2]


def test_a_picture_put_into_itself_changes_nothing():
    base = np.random.default_rng(0).integers(0, 65536, (90, 120, 3)).astype(np.uint16)
    mask = np.zeros((90, 120), np.uint8)
    mask[30:60, 40:70] = 255
    np.testing.assert_array_equal(blended(base, base.astype(np.float32), mask), base)


def test_what_is_put_in_stands_in_the_middle_and_fades_out_within_the_box():
    base = np.full((400, 400, 3), 10000, np.uint16)
    mask = np.zeros((400, 400), np.uint8)
    mask[140:260, 140:260] = 255
    got = blended(base, np.full((400, 400, 3), 30000, np.float32), mask)[..., 0].astype(int)
    assert got[200, 200] > 29000
    steps = np.abs(np.diff(got[200]))
    assert steps.max() < 0.1 * 20000, "a step of one pixel would be seen as a seam"
    box = box_of(mask)
    outside = np.ones((400, 400), bool)
    outside[box.slices] = False
    assert (got[outside] == 10000).all()


def test_a_part_of_a_picture_is_read_as_the_whole_would_be(merged):
    for name in ("picture.tif", "origin.tif", "depth.tif"):
        whole = tifffile.imread(merged / name)
        part = read_part(merged / name, Box(11, 23, 77, 91))
        np.testing.assert_array_equal(part, whole[23:91, 11:77])


def test_a_repair_takes_the_region_from_the_frame_and_leaves_the_rest(merged, decoder):
    before = picture(merged)
    done = repair(merged, decoder, polygon_px=RIGHT, frame=view_named(merged, "f001.png.tif"))
    after = picture(merged / MADE)
    rows, cols = polygon_mask(list(RIGHT), before.shape[1::-1]).nonzero()
    changed = np.abs(after - before).max(2)
    # that frame is far out of focus there
    assert changed[45:75, 110:130].mean() > 1000
    assert np.diff(after[45:75, 110:130, 1], axis=1).std() < 0.5 * (
        np.diff(before[45:75, 110:130, 1], axis=1).std()
    )
    assert changed[:, :40].max() < changed[rows, cols].mean() / 20
    np.testing.assert_array_equal(picture(merged), before)
    origin = tifffile.imread(merged / MADE / "origin.tif")
    assert (origin[40:80, 110:130] == 1).all()
    assert done.repairs[0].seen_share == 1.0


def test_the_frame_nearest_a_depth_is_found(merged, decoder):
    done = repair(merged, decoder, polygon_px=RIGHT, depth=5 * DOF * 90)
    assert done.repairs[0].frame.endswith("f005.png.tif")
    before, after = picture(merged), picture(merged / MADE)
    # the merge takes that frame there as well
    assert np.abs(after - before)[45:75, 110:130].mean() < 500


def test_undo_goes_back_step_by_step_to_the_merge(merged, decoder):
    repair(merged, decoder, polygon_px=RIGHT, frame=view_named(merged, "f001.png.tif"))
    one = picture(merged / MADE)
    left = tuple((x - 90, y) for x, y in RIGHT)
    repair(merged, decoder, polygon_px=left, frame=view_named(merged, "f006.png.tif"))
    assert (picture(merged / MADE) != one).any()
    done = repair(merged, decoder, undo=True)
    assert done.taken_back == 2 and len(done.repairs) == 1
    np.testing.assert_array_equal(picture(merged / MADE), one)
    assert repair(merged, decoder, undo=True).picture is None
    assert not (merged / MADE).exists()
    assert repair(merged, decoder, undo=True).taken_back is None


def test_a_mask_does_what_the_same_polygon_does(merged, decoder, tmp_path):
    from PIL import Image

    frame = view_named(merged, "f001.png.tif")
    repair(merged, decoder, polygon_px=RIGHT, frame=frame)
    by_polygon = picture(merged / MADE)
    repair(merged, decoder, undo=True)
    mask = polygon_mask(list(RIGHT), by_polygon.shape[1::-1])
    Image.fromarray(mask).save(tmp_path / "mask.png")
    repair(merged, decoder, mask=tmp_path / "mask.png", frame=frame)
    np.testing.assert_array_equal(picture(merged / MADE), by_polygon)


def test_the_part_a_person_waits_for_is_what_the_file_will_hold(merged, decoder):
    from haltere.evening.repairs import _frames

    views, _ = read_views(merged)
    size = (views.crop_px[2] - views.crop_px[0], views.crop_px[3] - views.crop_px[1])
    left = [(x - 20, y) for x, y in RIGHT]
    regions = [Region(1, polygon_mask(list(RIGHT), size)), Region(3, polygon_mask(left, size))]
    box, part = render_part(merged, views, regions, _frames(views, {1, 3}, merged), decoder)
    for points, name in ((RIGHT, "f001.png.tif"), (tuple(left), "f003.png.tif")):
        repair(merged, decoder, polygon_px=points, frame=view_named(merged, name))
    np.testing.assert_array_equal(picture(merged / MADE)[box.slices], part)


def test_a_repair_that_was_stopped_is_caught_up_with(merged, decoder):
    def stop(step: str, done: int, total: int, /) -> None:
        raise KeyboardInterrupt

    frame = view_named(merged, "f001.png.tif")
    with pytest.raises(KeyboardInterrupt):
        repair(merged, decoder, polygon_px=RIGHT, frame=frame, progress=stop)
    assert not (merged / MADE / "picture.tif").exists()
    done = repair(merged, decoder)
    assert len(done.repairs) == 1 and (merged / MADE / "picture.tif").exists()


def test_a_full_disk_loses_neither_the_merge_nor_the_repair(merged, decoder, monkeypatch):
    before = picture(merged)

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "no space")

    frame = view_named(merged, "f001.png.tif")
    with monkeypatch.context() as patch:
        patch.setattr("haltere.frames.writing.os.fsync", full)
        with pytest.raises(WriteError, match="full"):
            repair(merged, decoder, polygon_px=RIGHT, frame=frame)
    np.testing.assert_array_equal(picture(merged), before)
    assert [p.name for p in (merged / MADE).iterdir()] == []
    assert repair(merged, decoder).repairs[0].seen_share == 1.0
    assert (picture(merged / MADE) != before).any()


def test_a_repair_of_an_earlier_merge_is_not_put_on_a_new_one(merged, decoder):
    import msgspec

    repair(merged, decoder, polygon_px=RIGHT, frame=view_named(merged, "f001.png.tif"))
    data = msgspec.json.decode((merged / "views.json").read_bytes())
    data["focal_px"] += 1
    (merged / "views.json").write_bytes(msgspec.json.encode(data))
    assert repair(merged, decoder).repairs == ()


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (((1.0, 1.0), (2.0, float("nan")), (3.0, 1.0)), "corners"),
        (((900.0, 900.0), (950.0, 900.0), (950.0, 990.0)), "outside"),
    ],
)
def test_a_region_that_makes_no_sense_is_refused(merged, decoder, points, words):
    with pytest.raises(UsageError, match=words):
        repair(merged, decoder, polygon_px=points, depth=0.0)


def test_a_frame_that_is_gone_is_named(merged, decoder, tmp_path):
    frame = view_named(merged, "f001.png.tif")
    (tmp_path / "f001.png.tif").unlink()
    with pytest.raises(SweepError, match=r"f001\.png\.tif: is not there"):
        repair(merged, decoder, polygon_px=RIGHT, frame=frame)


def test_a_folder_without_a_merge_is_told_so(tmp_path, decoder):
    with pytest.raises(SweepError, match="haltere merge"):
        repair(tmp_path, decoder)
