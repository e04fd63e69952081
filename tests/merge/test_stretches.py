from __future__ import annotations

import cv2
import numpy as np
import pytest
import tifffile

from haltere.frames import Decoder
from haltere.merge import merge_sweep
from haltere.merge.depth import DepthMap
from haltere.merge.moved import find_moved
from haltere.merge.paint import paint
from haltere.merge.stretches import _chosen, _Part, choose_stretches
from haltere.merge.taken import Stretches
from tests.merge.made import DOF, blurred, grown, sweep_of, texture

SHAPE = (240, 320)
OLD, NEW = (90, 120), (190, 120)  # where the limb lies before and after, x and y


def drawn(place):
    grey = 0.35 * (texture(SHAPE, 5) - 128) + 90
    cv2.circle(grey, place, 14, 200.0, -1, cv2.LINE_AA)
    return grey


def frames(places, planes_dof=None):
    pictures = []
    for k, place in enumerate(places):
        picture = drawn(place)
        if planes_dof is not None:
            away = abs(planes_dof[k]) * 1.4
            soft = blurred(picture, away) if away else picture
            grey = grown(soft, planes_dof[k] * DOF)
        else:
            grey = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
        pictures.append(np.repeat(grey[..., None], 3, axis=2))
    return pictures


def flat(shape=SHAPE):
    return DepthMap(
        np.zeros(shape, np.float32),
        np.ones(shape, bool),
        np.ones(shape, np.float32),
        np.zeros(shape, np.float32),
        1.0,
    )


def chosen(folder, places, planes_dof):
    poses = np.zeros((len(places), 6))
    poses[:, 2] = np.asarray(planes_dof) * DOF
    sweep = sweep_of(folder, frames(places), poses)
    used, gains = list(range(len(places))), np.ones(len(places))
    with sweep.lumas:
        moved = find_moved(sweep, used, gains, flat())
        return choose_stretches(sweep, used, gains, flat(), moved)


def taken_at(stretches, place):
    return stretches.taken[:, stretches.region[place[1], place[0]]].tolist()


def test_where_nothing_moved_all_frames_are_taken(tmp_path):
    found = chosen(tmp_path, [OLD] * 6, [-0.5, -0.3, -0.1, 0.1, 0.3, 0.5])
    assert not found.moved


def test_a_moved_limb_is_taken_from_the_stretch_of_the_reference_frame(tmp_path):
    found = chosen(tmp_path, [OLD] * 3 + [NEW] * 3, [-0.5, -0.3, -0.1, 0.1, 0.3, 0.5])
    for place in (OLD, NEW):
        assert taken_at(found, place) == [1, 1, 1, 0, 0, 0]
    assert taken_at(found, (20, 20)) == [1] * 6


def test_a_stretch_that_shows_the_same_again_is_added(tmp_path):
    found = chosen(tmp_path, [OLD, OLD, NEW, NEW, OLD, OLD], [-0.5, -0.3, -0.1, 0.1, 0.3, 0.5])
    assert taken_at(found, NEW) == [1, 1, 0, 0, 1, 1]


def test_a_stretch_that_is_in_focus_wins_over_a_soft_reference(tmp_path):
    found = chosen(tmp_path, [OLD] * 2 + [NEW] * 4, [-2.6, -2.3, -0.2, 0.0, 0.2, 0.4])
    assert taken_at(found, OLD) == [0, 0, 1, 1, 1, 1]


@pytest.fixture(scope="module")
def merged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("moved")
    planes = np.linspace(-3, 3, 13)
    poses = np.zeros((13, 6))
    poses[:, 2] = planes * DOF
    sweep = sweep_of(folder, frames([OLD] * 7 + [NEW] * 6, planes), poses)
    with sweep.lumas, Decoder(1) as decoder:
        merge = merge_sweep(sweep, decoder, folder / "out")
    return merge, tifffile.imread(folder / "out" / merge.picture)[..., 1] / 257.0


@pytest.mark.parametrize("place", [OLD, NEW])
def test_a_merge_shows_no_ghost_of_a_limb_that_moved(merged, place):
    merge, got = merged
    x, y = place[0] - merge.crop_px[0], place[1] - merge.crop_px[1]
    true = drawn(OLD)[place[1] - 20 : place[1] + 21, place[0] - 20 : place[0] + 21]
    # half of the limb at either place would be 25 levels and more
    assert np.abs(got[y - 20 : y + 21, x - 20 : x + 21] - true).mean() < 6


@pytest.mark.parametrize("depths_dof", [(0.0, 0.0), (0.8, 0.0), (6.0, 0.0)])
def test_a_part_that_moved_has_no_seam_in_the_backdrop(tmp_path, depths_dof):
    # out of focus the same backdrop looks lighter from one place than from another
    pictures = [np.full((*SHAPE, 3), level, np.uint8) for level in (120, 160)]
    poses = np.zeros((2, 6))
    poses[:, 2] = np.asarray(depths_dof) * DOF
    region = np.zeros(SHAPE, np.uint8)
    region[:, 160:] = 1
    stretches = Stretches(region, np.array([[1, 1], [1, 0]], np.uint8))
    animal, backdrop = (flat() for _ in range(2))
    backdrop.known[:], backdrop.away_px[:] = False, 40.0
    sweep = sweep_of(tmp_path, pictures, poses)
    with sweep.lumas, Decoder(1) as decoder:
        line, hard = (
            paint(sweep, decoder, [0, 1], np.ones(2), ground, stretches=stretches).linear[120, :, 0]
            for ground in (backdrop, animal)
        )
    step, whole = np.abs(np.diff(line[20:300])), hard[60] - hard[250]
    assert line[250] == pytest.approx(hard[250], rel=1e-3)
    assert line[60] == pytest.approx(line[120], rel=1e-3)
    assert np.abs(np.diff(hard[20:300])).max() == pytest.approx(whole, rel=1e-3)
    assert step.max() < 0.25 * (line[60] - line[250])


@pytest.mark.parametrize(
    ("slope", "taken"), [(0.05, [1, 1, 1, 0, 0, 0]), (0.6, [0, 0, 0, 1, 1, 1])]
)
def test_a_limb_that_came_into_bare_backdrop_is_left_where_the_reference_has_it(
    tmp_path, slope, taken
):
    # the reference's stretch ends two depths of field before where the limb comes into focus
    planes = np.array([-2.8, -2.4, -2.0, -1.0, 0.0, 1.0])
    pictures = [np.full((*SHAPE, 3), 90, np.uint8)] * len(planes)
    poses = np.zeros((len(planes), 6))
    poses[:, 2] = planes * DOF
    light = np.full((6, 100), 8.0, np.float32)
    light[3:] += 3.0
    slopes = np.full(light.shape, slope, np.float32)
    slopes[3:] = 0.6
    away = np.repeat(np.abs(planes)[:, None], 100, axis=1).astype(np.float32)
    sweep = sweep_of(tmp_path, pictures, poses)
    sweep.lumas.close()
    assert _chosen(sweep, list(range(6)), _Part(light, slopes, away)).tolist() == taken
