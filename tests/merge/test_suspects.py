from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from haltere.frames import Decoder
from haltere.merge import merge_sweep, suspects
from haltere.merge.depth import DepthMap
from haltere.merge.explained import Contradiction
from haltere.merge.places import spots
from haltere.merge.taken import all_frames
from haltere.sweeps.coverage import Cells, Gap
from tests.merge.made import DOF, sweep_of, texture, two_depths


@pytest.fixture(scope="module")
def decoder():
    with Decoder(1) as one:
        yield one


def moving(folder, *, moves: bool, burnt: bool = False):
    """A slope of texture in ten planes with a bright bar that jumps between two of them."""
    sharp = texture((240, 320), 5)
    depth = np.linspace(0, 9, 320)
    poses = np.zeros((10, 6))
    poses[:, 2] = np.arange(10) * DOF
    pictures = []
    for k in range(10):
        scene = sharp.copy()
        at = 190 if moves and k >= 6 else 165
        scene[60:180, at : at + 10] = 235
        if burnt:
            scene *= 0.8
            scene[190:225, 60:95] = 400
            scene[40:43, 250:253] = 400
        picture = np.empty_like(scene)
        for x in range(0, 320, 8):
            blur = abs(k - depth[x])
            soft = cv2.GaussianBlur(scene, (0, 0), blur) if blur > 0.3 else scene
            picture[:, x : x + 8] = soft[:, x : x + 8]
        far = 1.0 / (1.0 - poses[k, 2])
        grow = np.array([[far, 0, 159.5 * (1 - far)], [0, far, 119.5 * (1 - far)]])
        grown = cv2.warpAffine(
            picture, grow, (320, 240), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
        )
        grey = np.clip(np.rint(grown), 0, 255).astype(np.uint8)
        pictures.append(np.repeat(grey[..., None], 3, axis=2))
    return sweep_of(folder, pictures, poses)


def kinds(merge):
    return {one.kind for one in merge.suspicious}


def test_a_limb_that_jumped_is_pointed_at_with_the_frames_between_which_it_did(tmp_path, decoder):
    sweep = moving(tmp_path, moves=True)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    found = [one for one in merge.suspicious if one.kind in ("ghost", "moved")]
    assert len(found) == 1
    x0, y0, x1, y1 = found[0].box_px
    assert x0 < 170 and x1 > 185 and y0 < 80 and y1 > 160
    assert (x1 - x0) * (y1 - y0) < 0.25 * 240 * 320
    assert "f005" in found[0].text and "f006" in found[0].text


def test_nothing_is_said_to_move_where_nothing_does(tmp_path, decoder):
    sweep = moving(tmp_path, moves=False)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    assert not kinds(merge) & {"ghost", "moved"}


def test_a_burnt_patch_is_pointed_at_and_a_glint_is_not(tmp_path, decoder):
    sweep = moving(tmp_path, moves=False, burnt=True)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    burnt = [one for one in merge.suspicious if one.kind == "clipped"]
    assert len(burnt) == 1
    x0, y0, x1, y1 = burnt[0].box_px
    assert 50 <= x0 <= 62 and 180 <= y0 <= 192 and 93 <= x1 <= 105 and 223 <= y1 <= 235


def test_a_gap_is_boxed_where_its_places_lie(tmp_path, decoder):
    sweep, _ = two_depths(tmp_path)
    cells = Cells(10.0, ((2, 1, 5), (3, 1, 5), (4, 1, 5), (8, 12, 15), (9, 12, 15)))
    gap = Gap("inside", 0.1, 0.4, 1.0, 2.5, (10.0, 20.0, 150.0, 100.0), ("f000",), cells)
    sweep = replace(sweep, coverage=replace(sweep.coverage, gaps=(gap,)))
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    boxes = [one.box_px for one in merge.suspicious if one.kind == "gap"]
    assert boxes == [(10.0, 20.0, 50.0, 50.0), (120.0, 80.0, 150.0, 100.0)]


def test_a_torn_edge_is_pointed_at_with_the_frame_that_shows_it(tmp_path, decoder, monkeypatch):
    sweep, _ = two_depths(tmp_path)
    strength = np.zeros((60, 80), np.float32)
    strength[20:26, 30:38] = 1.5
    strength[50:58, 0:6] = 9.0  # where the picture was cut away
    share, frame = np.full((60, 80), -0.25, np.float32), np.full((60, 80), 3, np.int16)
    said = Contradiction(strength, share, frame)
    monkeypatch.setattr(suspects, "contradicted", lambda *_: said)
    nothing = np.zeros((60, 80), np.float32)
    ground = DepthMap(nothing, nothing > 0, nothing, nothing, 2.0)
    stretches = all_frames((60, 80), 7)
    strength[20:26, 66:74] = 1.5  # beside what is clipped
    strength[1:3, 30:60] = 9.0  # at the frame's border
    clipped = nothing.copy()
    clipped[22, 70] = 1.0
    glance = suspects.Glance(np.zeros((60, 80, 3), np.float32), clipped, (), (160, 120), None)
    with sweep.lumas:
        found = suspects._unexplained(
            sweep, list(range(7)), np.ones(7), glance, ground, stretches, (20, 0, 160, 120)
        )
    assert [one.kind for one in found] == ["halo"]
    assert found[0].box_px == (52.0, 32.0, 84.0, 60.0)  # with three places around it
    assert found[0].text.startswith("f003.png.tif is 25 % darker here than the picture foretells")


def test_a_border_that_no_sharp_frame_saw_is_pointed_at_where_it_is_kept():
    nothing = np.zeros((60, 80), np.float32)
    hidden = np.zeros((60, 80), bool)
    hidden[:, :5] = hidden[10:40, 70:] = True
    ground = DepthMap(nothing, nothing > 0, nothing, nothing, 2.0, hidden=hidden)
    found = suspects._hidden(ground, (10, 0, 160, 120), (160, 120))
    assert [(one.kind, one.box_px) for one in found] == [("gap", (138.0, 18.0, 160.0, 82.0))]


def test_only_what_is_wide_and_weak_lies_before_the_first_plane():
    rims = np.zeros((60, 80), np.float32)
    rims[5:15, 5:15] = 8.0
    rims[30:36, 30:36] = 8.0  # too small
    rims[40:50, 60:70] = 300.0  # too strong
    kept = suspects._wide_and_weak(rims)
    assert (kept[5:15, 5:15] == 8.0).all()
    assert np.count_nonzero(kept) == 100
    assert suspects._wide_and_weak(None) is None


def test_spots_near_each_other_are_one_and_the_strongest_comes_first():
    strength = np.zeros((50, 60), np.float32)
    strength[10:14, 10:14] = 4.0
    strength[10:14, 17:21] = 3.5
    strength[40:44, 50:54] = 9.0
    strength[30, 30] = 20.0  # a speck
    found = spots(strength, 2.0, 3.0, 3, 3)
    assert [one.box for one in found] == [(49, 39, 55, 45), (9, 9, 22, 15)]


def test_a_weak_spot_is_left_out():
    strength = np.zeros((50, 60), np.float32)
    strength[10:20, 10:20] = 2.5
    assert spots(strength, 2.0, 3.0, 3, 3) == []
