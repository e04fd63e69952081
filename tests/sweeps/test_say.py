"""When planes can't be told, nothing is said of gaps."""

from __future__ import annotations

import numpy as np

from haltere.sweeps.say import why_not_told

ALONG = np.linspace(-0.03, 0.03, 20)
FOUND = np.ones(20, bool)


def test_planes_that_are_told_apart_need_no_excuse() -> None:
    assert why_not_told(ALONG, np.full(20, 0.0005), FOUND) is None


def test_a_picture_that_does_not_grow_leaves_the_planes_open() -> None:
    said = why_not_told(ALONG, np.full(20, 0.004), FOUND)
    assert said is not None
    assert "grows" in said


def test_a_sweep_of_which_a_quarter_has_no_place_is_not_called_complete() -> None:
    found = np.arange(20) < 15
    said = why_not_told(ALONG[found], np.full(15, 0.0005), found)
    assert said == "5 of 20 frames could not be placed: too many to tell"
