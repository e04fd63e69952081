"""Defocus, occlusion, scale, movement and diffraction keep to geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from haltere.scene.camera import Camera, Lens, plane_homography, project, rotation_matrix
from haltere.scene.exposure import Smear, diffract, gather, transfer

from .targets import LIGHT, board, moments, straight_on

LENS = Lens(1.0, 60.0, 8.0, 17.3, 400, 300)


@pytest.mark.parametrize("defocus_mm", [-6.0, -2.5, 3.0, 8.0])
def test_a_point_off_the_plane_becomes_a_disc_of_the_diameter_that_geometry_gives(
    defocus_mm: float,
) -> None:
    lens = replace(LENS, sensor_width_mm=4.0)
    half = 1.5 / lens.px_per_mm
    stage = board(lens, [(0.0, 0.0, defocus_mm, half, half)])
    light = gather(stage, lens, straight_on(lens), views=40)[..., 0].astype(float)
    _, _, vx, vy = moments(light)
    dot = 3.0 * lens.pupil_distance_mm / (lens.pupil_distance_mm + defocus_mm)
    # a disc has a sixteenth of its squared diameter as variance along each axis
    spread = 0.5 * (vx + vy) - dot**2 / 12.0 - 1.0 / 12.0
    assert 4.0 * np.sqrt(spread) == pytest.approx(lens.blur_disc_px(defocus_mm), rel=0.03)


def test_an_edge_off_the_plane_is_as_soft_as_its_disc() -> None:
    lens = replace(LENS, sensor_width_mm=6.0)
    stage = board(lens, [(-50.0, 0.0, 5.0, 50.0, 50.0)])
    light = gather(stage, lens, straight_on(lens), views=40)[150, :, 0].astype(float)
    line = -np.diff(light)
    x = np.arange(line.size)
    middle = (line * x).sum() / line.sum()
    width = 4.0 * np.sqrt((line * (x - middle) ** 2).sum() / line.sum())
    assert width == pytest.approx(lens.blur_disc_px(5.0), rel=0.03)
    assert light.max() == pytest.approx(LIGHT, rel=1e-3)
    # no step of the pupil's points shows in the ramp
    assert line.max() < 2.2 * LIGHT / lens.blur_disc_px(5.0)


def test_what_lies_in_the_plane_stays_sharp_however_wide_the_pupil() -> None:
    wide = replace(LENS, f_number=2.0)
    half = 5.0 / LENS.px_per_mm
    spots = [
        moments(
            gather(board(at, [(0, 0, 0, half, half)]), at, straight_on(at))[..., 0].astype(float)
        )
        for at in (LENS, wide)
    ]
    assert spots[1][2] == pytest.approx(spots[0][2], rel=0.02)


def test_scale_changes_by_the_pupil_distance_when_the_camera_moves() -> None:
    lens = replace(LENS, width_px=1600, height_px=100)
    half = 3.0 / lens.px_per_mm
    stage = board(lens, [(-6.0, 0.0, 0.0, half, half), (6.0, 0.0, 0.0, half, half)])
    lengths = []
    for forward in (0.0, -2.0):
        light = gather(stage, lens, straight_on(lens, forward_mm=forward), pinhole=True)[..., 0]
        left, right = light[:, :800].astype(float), light[:, 800:].astype(float)
        lengths.append(moments(right)[0] + 800.0 - moments(left)[0])
    per_mm = (1.0 - lengths[1] / lengths[0]) / 2.0
    # at rest s, two mm farther s + 2
    expected = 1.0 / (lens.pupil_distance_mm + 2.0)
    assert per_mm == pytest.approx(expected, rel=0.01)


def test_a_near_hair_takes_only_part_of_the_light_from_behind_it() -> None:
    lens = replace(LENS, sensor_width_mm=6.0)
    width_mm, near = 0.06, -5.0
    stage = board(lens, [(0.0, 0.0, 0.0, 30.0, 30.0)], hairs=[(0.0, near, width_mm)])
    row = gather(stage, lens, straight_on(lens), views=60)[150, :, 0] / LIGHT
    disc = lens.blur_disc_px(near)
    hair_px = width_mm * lens.focal_px / (lens.pupil_distance_mm + near)
    # all light that is missing is what the hair's width takes
    assert (1.0 - row).sum() == pytest.approx(hair_px, rel=0.03)
    # the disc's middle is its longest chord: 4/pi of the mean
    assert (1.0 - row).max() == pytest.approx(4.0 / np.pi * hair_px / disc, rel=0.15)


def test_a_dot_in_the_plane_is_seen_through_a_blurred_hair() -> None:
    half = 2.0 / LENS.px_per_mm
    bare = board(LENS, [(0.0, 0.0, 0.0, half, half)])
    veiled = board(LENS, [(0.0, 0.0, 0.0, half, half)], hairs=[(0.0, -6.0, 0.1)])
    free = gather(bare, LENS, straight_on(LENS))[..., 0].astype(float)
    seen = gather(veiled, LENS, straight_on(LENS))[..., 0].astype(float)
    assert 0.4 < seen.max() / free.max() < 0.95
    assert moments(seen)[2] == pytest.approx(moments(free)[2], rel=0.1)


def test_a_hair_behind_a_surface_is_hidden() -> None:
    stage = board(LENS, [(0.0, 0.0, 0.0, 30.0, 30.0)], hairs=[(0.0, 1.0, 0.3)])
    light = gather(stage, LENS, straight_on(LENS), pinhole=True)
    assert light.min() == pytest.approx(LIGHT, rel=1e-3)


def test_a_thin_hair_darkens_by_its_width_even_below_a_pixel() -> None:
    width_mm = 0.4 / LENS.px_per_mm
    stage = board(LENS, [(0.0, 0.0, 0.0, 30.0, 30.0)], hairs=[(0.011, -0.001, width_mm)])
    row = gather(stage, LENS, straight_on(LENS), pinhole=True)[150, :, 0] / LIGHT
    assert (1.0 - row).sum() == pytest.approx(0.4, rel=0.03)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_movement_smears_along_its_line_only(seed: int) -> None:
    half = 4.0 / LENS.px_per_mm
    stage = board(LENS, [(0.0, 0.0, 0.0, half, half)])
    spots = [
        moments(
            gather(stage, LENS, straight_on(LENS), seed=seed, smear=smear)[..., 0].astype(float)
        )
        for smear in (Smear(), Smear(flash_px=(16.0, 0.0)))
    ]
    # a line has a twelfth of its squared length as variance
    assert spots[1][2] - spots[0][2] == pytest.approx(256.0 / 12.0, rel=0.05)
    assert spots[1][3] == pytest.approx(spots[0][3], abs=0.1)


def test_diffraction_passes_half_the_contrast_at_two_fifths_of_the_cut_off() -> None:
    # t = 0.404 from a diffraction program (prysm 0.21); frequency t / (lambda Ne) per mm
    lens = replace(LENS, f_number=11.0, sensor_width_mm=4.0)
    otf = transfer(lens, (4096, 4096))
    per_px = 0.404 / (550e-6 * lens.f_number_effective) * lens.pixel_pitch_mm
    assert otf[0, round(per_px * 4096)] == pytest.approx(0.5, abs=0.002)


def test_diffraction_keeps_light() -> None:
    light = np.zeros((64, 96, 3), np.float32)
    light[30:34, 40:44] = 1.0
    assert diffract(light, LENS).sum() == pytest.approx(light.sum(), rel=1e-3)


def test_the_plane_homography_takes_frame_pixels_to_the_reference() -> None:
    camera = Camera(
        (0.3, -0.2, -LENS.pupil_distance_mm + 0.7), rotation_matrix(0.003, -0.002, 0.01)
    )
    s = LENS.pupil_distance_mm
    on_plane = np.array([[-3.0, 2.0, s], [4.0, -1.0, s], [0.5, 0.5, s]])
    world = on_plane @ camera.rotation + np.asarray(camera.centre_mm)
    here = project(LENS, camera, world)
    there = project(LENS, straight_on(LENS), world)
    mapped = np.column_stack([here, np.ones(3)]) @ plane_homography(LENS, camera).T
    assert mapped[:, :2] / mapped[:, 2:] == pytest.approx(there, abs=1e-6)


def test_the_picture_lies_where_projection_says() -> None:
    camera = Camera(
        (0.3, -0.2, -LENS.pupil_distance_mm + 0.7), rotation_matrix(0.003, -0.002, 0.01)
    )
    half = 2.0 / LENS.px_per_mm
    light = gather(board(LENS, [(1.0, -0.8, 0.9, half, half)]), LENS, camera)[..., 0]
    x, y, _, _ = moments(light.astype(float))
    expected = project(LENS, camera, np.array([1.0, -0.8, 0.9]))
    assert (x, y) == pytest.approx(tuple(expected), abs=0.08)
