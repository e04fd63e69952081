"""Movement told by direction, held against the detail that a frame keeps."""

import cv2
import numpy as np
import pytest

from haltere.focus.blur import Blur
from haltere.focus.patches import SECTORS, Patches, spectra, window_of
from haltere.focus.smear import Kept, find_smears

SIDE, FRAMES, LIMIT_PX = 64, 6, 2.0
AIRY_PX = 2.5


def evidence(length_px, share):
    """How plainly the last of six frames at one plane moved, and how far."""
    rng = np.random.default_rng(3)
    grey = cv2.GaussianBlur(rng.normal(0, 120, (360, 360)), (0, 0), 1.0) + 128
    y, x = np.mgrid[60:301:30, 60:301:30]
    at = np.column_stack([x.ravel(), y.ravel()]).astype(float)
    window = window_of(SIDE)
    energy = []
    for k in range(FRAMES):
        moved = cv2.blur(grey, (length_px, 1)) if k == FRAMES - 1 else grey
        noisy = moved + rng.normal(0, 2, moved.shape)
        energy.append(spectra(np.clip(noisy, 0, 255).astype(np.uint8), at, window))
    stack = np.array(energy)
    assert stack.shape[-1] == SECTORS
    patches = Patches(stack, np.zeros(stack.shape[:2]), np.ones(FRAMES), window.frequencies, SIDE)
    asked = np.arange(FRAMES) == FRAMES - 1
    kept = None if share is None else Kept(share, AIRY_PX)
    told = find_smears(
        patches, np.zeros(len(at)), ~asked, asked, Blur(0.002, 1.4), LIMIT_PX, kept=kept
    )
    return told[-1].evidence, told[-1].length_px


def test_detail_that_a_smear_would_have_cost_speaks_for_it():
    alone, length = evidence(5, None)
    lost, with_it = evidence(5, 0.5)

    assert lost > alone + 15
    assert length == pytest.approx(5, rel=0.2)
    assert with_it == pytest.approx(5, rel=0.2)


def test_detail_kept_in_spite_of_a_smear_speaks_against_it_without_limit():
    alone, _ = evidence(5, None)
    all_kept, _ = evidence(5, 1.0)

    # a smear of 5 px leaves half; what explains the picture best is then a shorter one
    assert all_kept < alone - 50


def test_detail_lost_beyond_what_a_smear_costs_hardly_makes_it_longer():
    _, length = evidence(5, 0.1)

    assert length == pytest.approx(5, rel=0.25)
