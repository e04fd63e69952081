"""Spectra of patches: smears show in the directions they lie in, turns and sizes are undone."""

import cv2
import numpy as np
import pytest

from haltere.focus.patches import at_one_scale, spectra, turns_of, window_of

SIDE = 64


def picture(seed=3):
    rng = np.random.default_rng(seed)
    grey = cv2.GaussianBlur(rng.normal(0, 120, (360, 360)), (0, 0), 1.0) + 128
    return np.clip(grey, 0, 255).astype(np.uint8)


def middles():
    y, x = np.mgrid[100:261:40, 100:261:40]
    return np.column_stack([x.ravel(), y.ravel()]).astype(float)


def mean_power(grey):
    return spectra(grey, middles(), window_of(SIDE)).mean(0, keepdims=True)


def test_a_smear_takes_the_detail_along_it_and_leaves_what_lies_across():
    sharp = picture()
    smeared = cv2.blur(sharp, (7, 1))

    left = (mean_power(smeared) / mean_power(sharp))[0]
    middle = (window_of(SIDE).frequencies > 0.1) & (window_of(SIDE).frequencies < 0.2)

    # the first sector lies level, the fourth upright
    assert left[middle][:, 0].mean() < 0.4
    assert left[middle][:, 3].mean() > 0.75


def test_the_spectrum_of_a_turned_and_larger_picture_is_put_back():
    # stripes all along one direction, so that a turn shows
    flat = cv2.GaussianBlur(picture(), (9, 1), 3.0)
    turn = cv2.getRotationMatrix2D((179.5, 179.5), -30.0, 1.1)
    other = cv2.warpAffine(flat, turn, (360, 360), flags=cv2.INTER_LANCZOS4)
    window = window_of(SIDE)
    low = (window.frequencies > 0.06) & (window.frequencies < 0.2)

    plain, turned = mean_power(flat), mean_power(other)
    back = at_one_scale(turned, window.frequencies, 1.1, np.radians(30.0))

    def misses(found):
        return float(np.abs(np.log(found / plain))[0, low].mean())

    assert misses(back) < 0.5 * misses(turned)


def test_a_patch_beyond_the_border_is_not_seen():
    found = spectra(picture(), np.array([[10.0, 180.0], [180.0, 180.0]]), window_of(SIDE))

    assert np.isnan(found[0]).all()
    assert np.isfinite(found[1]).all()


def test_size_and_turn_of_a_frame_follow_from_its_pose():
    pose = np.array([[0.0, 0.0, 0.02, 0.0, 0.0, np.radians(5.0)]])

    ((size, roll),) = turns_of(pose, np.zeros(2), 0.0, 5000.0)

    assert size == pytest.approx(1 / (1 - 0.02), rel=1e-3)
    assert abs(roll) == pytest.approx(np.radians(5.0), rel=1e-2)
