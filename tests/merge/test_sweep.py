from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import tifffile

from haltere.errors import SweepError
from haltere.focus.fault import Fault
from haltere.frames import Decoder
from haltere.merge import merge_sweep
from haltere.merge.brightness import light_gains
from haltere.merge.merged import LeftOut
from haltere.merge.sweep import _rounded
from haltere.sweeps.choice import NOTHING_THERE, Choice, LeftFrame
from haltere.sweeps.coverage import Gap, Plane
from tests.merge.made import DOF, sweep_of, texture, turned, two_depths


@pytest.fixture(scope="module")
def decoder():
    with Decoder(1) as one:
        yield one


@pytest.fixture(scope="module")
def merged(tmp_path_factory, decoder):
    folder = tmp_path_factory.mktemp("sweep")
    sweep, truth = two_depths(folder)
    with sweep.lumas:
        return sweep, merge_sweep(sweep, decoder, folder / "out"), folder / "out", truth


def inside(merge, picture):
    x0, y0, x1, y1 = merge.crop_px
    return picture[y0:y1, x0:x1]


def test_both_halves_come_out_sharp(merged):
    _, merge, out, truth = merged
    got = tifffile.imread(out / merge.picture)[..., 1] / 257.0
    error = (got - inside(merge, truth))[8:-8, 8:-8]
    away = np.abs(np.arange(got.shape[1]) + merge.crop_px[0] - 80)[8:-8] > 10
    assert got.dtype == np.float64 and tifffile.imread(out / merge.picture).dtype == np.uint16
    assert np.sqrt(np.mean(error[:, away] ** 2)) < 5.0
    middle = cv2.GaussianBlur(truth.astype(np.float32), (0, 0), 1.4)
    blurred = (inside(merge, middle) - inside(merge, truth))[8:-8, 8:-8]
    assert np.sqrt(np.mean(error[:, away] ** 2)) < 0.4 * np.sqrt(np.mean(blurred**2))


def test_depth_is_in_millimetres_and_right(merged):
    _, merge, out, _ = merged
    depth = tifffile.imread(out / merge.depth_map)
    assert merge.depth_unit == "mm" and depth.dtype == np.float32
    left, right = np.nanmedian(depth[:, 20:60]), np.nanmedian(depth[:, 100:140])
    assert left == pytest.approx(1 * DOF * 90, abs=0.3 * DOF * 90)
    assert right == pytest.approx(5 * DOF * 90, abs=0.3 * DOF * 90)


def test_maps_have_the_size_of_the_picture(merged):
    _, merge, out, _ = merged
    shape = tifffile.imread(out / merge.picture).shape[:2]
    for name in (merge.origin_map, merge.depth_map, merge.confidence_map):
        assert tifffile.imread(out / name).shape == shape
    x0, y0, x1, y1 = merge.crop_px
    assert shape == (y1 - y0, x1 - x0)
    sure = tifffile.imread(out / merge.confidence_map)
    assert sure.min() >= 0 and sure.max() <= 1


def test_confidence_falls_beside_a_jump_of_depth(merged):
    _, merge, out, _ = merged
    sure = tifffile.imread(out / merge.confidence_map)[8:-8]
    jump = 80 - merge.crop_px[0]
    assert sure[:, jump - 2 : jump + 2].mean() < 0.5 * sure[:, jump - 40 : jump - 10].mean()


def test_the_depth_written_is_as_exact_as_is_said():
    depth = np.array([[0.123456789, -7.654321, np.nan, 0.0]], np.float32)
    kept = _rounded(depth)
    assert np.isnan(kept[0, 2])
    np.testing.assert_allclose(kept[0, [0, 1, 3]], depth[0, [0, 1, 3]], rtol=1 / 30000)
    assert len(np.unique(_rounded(np.linspace(1, 1.001, 5000, dtype=np.float32)))) < 50


def test_the_origin_map_names_the_frame_in_focus(merged):
    _, merge, out, _ = merged
    origin = tifffile.imread(out / merge.origin_map)
    assert origin.dtype == np.uint16
    assert np.median(origin[:, 20:60]) == 1 and np.median(origin[:, 100:140]) == 5


def test_frames_of_one_colour_stay_that_colour(tmp_path, decoder):
    colour = np.array([180, 90, 33], np.uint8)
    pictures = [np.tile(colour, (128, 160, 1)) for _ in range(3)]
    poses = np.zeros((3, 6))
    poses[:, 2] = np.arange(3) * DOF
    sweep = sweep_of(tmp_path, pictures, poses, magnification=None)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    got = tifffile.imread(tmp_path / "out" / merge.picture) / 257.0
    assert np.abs(got - colour).max() < 0.02
    assert merge.depth_unit == "dof"


def test_the_depth_of_a_turned_ring_is_in_depths_of_field_and_claims_no_near_and_far(
    tmp_path, decoder, merged
):
    sweep, _ = two_depths(tmp_path)
    with sweep.lumas:
        merge = merge_sweep(turned(sweep), decoder, tmp_path / "out")
    depth = tifffile.imread(tmp_path / "out" / merge.depth_map)
    assert (merge.depth_unit, merge.depth_order) == ("dof", "unknown")
    assert np.nanmedian(depth[:, 100:140]) == pytest.approx(5.0, abs=0.3)
    assert merged[1].depth_order == "away"


def test_spoiled_frames_are_left_out_and_gaps_are_pointed_at(tmp_path, decoder):
    picture = np.full((128, 160, 3), 90, np.uint8)
    gap = Gap("inside", 0.1, 0.4, 1.0, 2.5, (-5.0, 3.0, 200.0, 40.0), ("f000", "f001"))
    poses = np.zeros((4, 6))
    poses[:, 2] = np.arange(4) * DOF
    use = [True, True, False, True]
    sweep = sweep_of(tmp_path, [picture] * 4, poses, usable=use, gaps=(gap,))
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    assert [item.frame for item in merge.left_out] == [sweep.frames[2].name]
    assert merge.left_out[0].why
    assert sweep.frames[2].name not in merge.frames_used
    assert merge.suspicious[0].kind == "gap"
    x0, y0, x1, _ = merge.crop_px
    # cut to what the picture shows
    assert merge.suspicious[0].box_px == (x0, max(y0, 3.0), x1, 40.0)


def test_one_usable_frame_is_no_sweep(tmp_path, decoder):
    picture = np.full((128, 160, 3), 90, np.uint8)
    sweep = sweep_of(tmp_path, [picture] * 2, np.zeros((2, 6)), usable=[True, False])
    with sweep.lumas, pytest.raises(SweepError, match="at least two"):
        merge_sweep(sweep, decoder, tmp_path / "out")


def test_a_merge_that_keeps_too_little_is_refused(tmp_path, decoder):
    picture = np.full((128, 160, 3), 90, np.uint8)
    poses = np.zeros((3, 6))
    poses[1:, 0] = 90.0  # half of the view is seen by the reference alone ...
    poses[:, 2] = (0.0, 3 * DOF, 3 * DOF)
    poses[0, 0] = 90.0  # ... and here by nobody
    sweep = sweep_of(tmp_path, [picture] * 3, poses)
    with sweep.lumas, pytest.raises(SweepError, match="reference"):
        merge_sweep(sweep, decoder, tmp_path / "out")


def test_flash_flicker_is_measured_in_light(tmp_path):
    rng = np.random.default_rng(2)
    scene = cv2.GaussianBlur(rng.uniform(0.05, 0.5, (400, 480)).astype(np.float32), (0, 0), 4)
    levels = (1.0, 1.12, 0.93, 1.0)
    pictures = []
    for level in levels:
        light = np.clip(scene * level, 0, 1)
        code = np.where(light > 0.0031308, 1.055 * light ** (1 / 2.4) - 0.055, 12.92 * light)
        grey = np.rint(255 * code).astype(np.uint8)
        pictures.append(np.repeat(grey[..., None], 3, axis=2))
    sweep = sweep_of(tmp_path, pictures, np.zeros((4, 6)))
    with sweep.lumas:
        gains = light_gains(sweep, [0, 1, 2, 3], np.zeros((400, 480), np.float32))
    np.testing.assert_allclose(gains * levels, np.median(gains * levels), rtol=0.01)


def test_flicker_does_not_drift_along_a_sweep_of_resampled_frames(tmp_path):
    rng = np.random.default_rng(4)
    scene = 0.08 + 0.3 * (texture((200, 240), 6).astype(np.float64) / 255) ** 2
    levels = np.exp(rng.normal(0, 0.03, 30))
    levels[0] = 1.0
    poses = np.zeros((30, 6))
    # seen half a pixel aside, where resampling blurs most; the reference is not resampled
    poses[1:, 3] = 0.5
    poses[:, 2] = np.linspace(0, 1e-6, 30)
    shift = np.array([[1.0, 0, 0.5], [0, 1, 0]])
    aside = cv2.warpAffine(scene, shift, (240, 200), borderMode=cv2.BORDER_REFLECT)
    pictures = []
    for k, level in enumerate(levels):
        code = 1.055 * ((aside if k else scene) * level) ** (1 / 2.4) - 0.055
        pictures.append(np.repeat(np.rint(255 * code).astype(np.uint8)[..., None], 3, axis=2))
    sweep = sweep_of(tmp_path, pictures, poses)
    with sweep.lumas:
        gains = light_gains(sweep, list(range(30)), np.zeros((200, 240), np.float32))
    np.testing.assert_allclose(gains * levels, 1.0, atol=0.006)


def test_a_merge_is_as_bright_as_its_reference_frame(tmp_path):
    scene = np.full((200, 240), 120, np.uint8)
    scene[60:140, 60:180] = 90
    pictures = [np.repeat(np.uint8(scene * level)[..., None], 3, axis=2) for level in (0.9, 1, 1)]
    sweep = sweep_of(tmp_path, pictures, np.zeros((3, 6)))
    with sweep.lumas:
        gains = light_gains(sweep, [0, 1, 2], np.zeros((200, 240), np.float32))
        without = light_gains(sweep, [1, 2], np.zeros((200, 240), np.float32))
    assert sweep.reference == 0
    assert gains[0] == pytest.approx(1.0, abs=1e-6)
    assert gains[1] < 0.9
    np.testing.assert_allclose(without, 1.0, rtol=0.01)


def test_the_same_sweep_gives_the_same_picture_twice(merged, tmp_path, decoder):
    _, merge, out, _ = merged
    sweep, _ = two_depths(tmp_path)
    with sweep.lumas:
        merge_sweep(sweep, decoder, tmp_path / "again")
    for name in (merge.picture, merge.depth_map, merge.origin_map):
        np.testing.assert_array_equal(
            tifffile.imread(out / name), tifffile.imread(tmp_path / "again" / name)
        )


def test_a_frame_that_could_not_be_read_is_named_with_the_reason(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path)
    told = Fault("hidden", 0.99, "is cut short: the file ends before the picture does")
    lost = Plane("lost.jpg", None, None, None, None, usable=False, faults=(told,))
    sweep = replace(sweep, coverage=replace(sweep.coverage, planes=(lost,)))
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    assert merge.left_out == (LeftOut("lost.jpg", told.detail),)
    assert merge.frames_used == tuple(frame.name for frame in sweep.frames)


def test_a_frame_that_fails_at_painting_is_left_out_and_not_named_as_used(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path)
    broken = sweep.frames[3]
    broken.path.write_bytes(broken.path.read_bytes()[:200])
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    assert [item.frame for item in merge.left_out] == [broken.name]
    assert broken.name not in merge.frames_used and len(merge.frames_used) == 6
    origin = tifffile.imread(tmp_path / "out" / merge.origin_map)
    # counted without the broken one, the right half comes from the fifth
    assert merge.frames_used[int(np.median(origin[:, 100:140]))] == sweep.frames[5].name
    assert origin[origin != 65535].max() < 6


def test_the_seen_map_shows_what_the_crop_cost(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    seen = tifffile.imread(tmp_path / "out" / merge.seen_map)
    x0, y0, x1, y1 = merge.crop_px
    assert seen.shape == (120, 160)
    outside = np.ones(seen.shape, bool)
    outside[y0:y1, x0:x1] = False
    assert not (seen[outside] == 255).any() and (seen[~outside] == 255).mean() > 0.99
    assert merge.kept_share == pytest.approx((x1 - x0) * (y1 - y0) / seen.size)


def test_less_than_wished_is_kept_when_asked(tmp_path, decoder):
    picture = np.full((128, 160, 3), 90, np.uint8)
    poses = np.zeros((3, 6))
    poses[1:, 0] = 90.0
    poses[:, 2] = (0.0, 3 * DOF, 3 * DOF)
    poses[0, 0] = 90.0
    sweep = sweep_of(tmp_path, [picture] * 3, poses)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out", keep_share=0.0)
    assert merge.kept_share < 0.85


def test_planes_behind_the_animal_are_left_out_unless_asked(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path, planes=10)
    names = [frame.name for frame in sweep.frames]
    planes = tuple(
        Plane(name, None, float(k), None, 0.1, usable=True, faults=())
        for k, name in enumerate(names)
    )
    left = tuple(LeftFrame(name, NOTHING_THERE) for name in (names[0], *names[7:]))
    choice = Choice(tuple(names[1:7]), left, 0.2)
    coverage = replace(sweep.coverage, planes=planes, choice=choice)
    sweep = replace(sweep, coverage=coverage)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out", keep_share=0.0)
        asked = merge_sweep(
            sweep, decoder, tmp_path / "asked", keep_share=0.0, with_background=True
        )
    assert [item.frame for item in merge.left_out] == names[8:]
    assert "2.0 depths of field behind" in merge.left_out[0].why
    assert asked.left_out == () and len(asked.frames_used) == 10


def test_planes_that_hold_what_the_animal_sits_on_are_merged(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path, planes=10)
    names = [frame.name for frame in sweep.frames]
    planes = tuple(
        Plane(name, None, float(k), None, 0.1, usable=True, faults=())
        for k, name in enumerate(names)
    )
    left = (*(LeftFrame(n, "only what the animal sits on lies there") for n in names[7:]),)
    coverage = replace(sweep.coverage, planes=planes, choice=Choice(tuple(names[:7]), left, 0.2))
    with sweep.lumas:
        merge = merge_sweep(replace(sweep, coverage=coverage), decoder, tmp_path / "out")
    assert merge.left_out == ()


def test_a_limb_that_moved_does_not_pass_for_flicker(tmp_path):
    rng = np.random.default_rng(4)
    scene = cv2.GaussianBlur(rng.uniform(40, 120, (400, 480)).astype(np.float32), (0, 0), 6)
    pictures = []
    for k in range(4):
        picture = scene.copy()
        # little else is known than where a bright bar was, and is no more in the last two
        picture[100:300, 200:230] = 210 if k < 2 else 25
        picture[100:300, 230:260] = 25 if k < 2 else 90
        pictures.append(np.repeat(np.rint(picture).astype(np.uint8)[..., None], 3, axis=2))
    known = np.zeros((400, 480), bool)
    known[100:300, 200:260] = True
    sweep = sweep_of(tmp_path, pictures, np.zeros((4, 6)))
    with sweep.lumas:
        gains = light_gains(sweep, [0, 1, 2, 3], np.zeros((400, 480), np.float32), known)
    np.testing.assert_allclose(gains, 1.0, atol=0.02)
