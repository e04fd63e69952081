"""Compiled loops of registration."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np

from haltere.align.loops import cell_motion, seen_columns, similarity_sums

_SUMS = """
import numpy as np
from haltere.align.loops import cell_motion, similarity_sums
draw = np.random.default_rng(5)
one, other = draw.normal(0.0, 5.0, (2, 96, 131)).astype(np.float32)
light, shade = draw.uniform(0.0, 30.0, (2, 24, 32)).astype(np.float32)
whole = np.tile(np.array([0, 131], np.int32), (96, 1))
told = [*similarity_sums(one, other, whole, light, shade, 3.0)]
told.append(np.empty((6, 8, 6), np.float32))
cell_motion(one, whole, other, whole, 16, told[-1])
print(b"".join(part.tobytes() for part in told).hex())
"""


def test_loops_just_compiled_give_the_same_bits_as_loops_read_from_the_disk(tmp_path: Path) -> None:
    kept = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    command = [sys.executable, "-c", _SUMS]
    first, later = (
        subprocess.run(command, env=kept, check=True, capture_output=True, text=True).stdout
        for _ in range(2)
    )
    assert any(tmp_path.rglob("*.nbi"))
    assert first == later


def test_cells_move_as_plain_sums_over_their_pixels_say() -> None:
    draw = np.random.default_rng(3)
    one, other = draw.normal(0.0, 5.0, (2, 70, 90)).astype(np.float32)
    seen = np.sort(draw.integers(0, 91, (2, 70, 2)).astype(np.int32), axis=2)
    told = np.empty((4, 5, 6), np.float32)

    cell_motion(one, seen[0], other, seen[1], 16, told)

    mean = (one.astype(np.float64) + other) / 2
    across, down = (
        cv2.Sobel(mean, cv2.CV_64F, x, y, scale=0.125, borderType=cv2.BORDER_REFLECT_101)
        for x, y in ((1, 0), (0, 1))
    )
    change, columns = other.astype(np.float64) - one, np.arange(90)
    both = np.ones((70, 90))
    for first, past in (seen[0].T, seen[1].T):
        both *= (columns >= first[:, None]) & (columns < past[:, None])
    parts = (across**2, down**2, across * down, across * change, down * change, both)
    for k, part in enumerate(parts):
        cells = (part * both)[:64, :80].reshape(4, 16, 5, 16).mean((1, 3))
        np.testing.assert_allclose(told[..., k], cells, atol=2e-5)


def test_a_similarity_is_summed_up_as_plain_sums_over_pixels_say() -> None:
    draw = np.random.default_rng(4)
    one, other = (cv2.GaussianBlur(p, (0, 0), 1.5) for p in draw.normal(0.0, 5.0, (2, 72, 92)))
    seen = np.sort(draw.integers(0, 93, (72, 2)).astype(np.int32), axis=1)
    light, shade = draw.uniform(0.0, 30.0, (2, 18, 23)).astype(np.float32)
    picture = one.astype(np.float32), other.astype(np.float32)

    normal, right, products = similarity_sums(*picture, seen, light, shade, 3.0)

    columns = np.arange(92)
    inside = (columns >= seen[:, :1]) & (columns < seen[:, 1:])
    low, high = np.minimum(light, shade).astype(float), np.maximum(light, shade).astype(float)
    votes = low / ((low + 3.0) * (high + 3.0))
    wide = np.ones((4, 4))
    told = [(np.kron(votes, wide) * inside * p).sum() for p in (one * other, one**2, other**2)]
    np.testing.assert_allclose(products, told, rtol=1e-5)
    # a row counts by the share of all its pixels that were seen, as one of a block's four
    share = inside.reshape(18, 4 * 92).mean(axis=1)[:, None]
    spread = (told[1] + told[2] - 2 * told[0]) / (16 * votes * share).sum()
    off = ((other - one) ** 2 * inside).reshape(18, 4, 23, 4).mean((1, 3))
    votes /= 1 + off / (2.25 * spread)
    across, down = (
        cv2.Sobel(
            (one + other) / 2, cv2.CV_64F, x, y, scale=0.125, borderType=cv2.BORDER_REFLECT_101
        )
        for x, y in ((1, 0), (0, 1))
    )
    gx, gy = columns - 45.5, (np.repeat(np.arange(18) * 4 + 1.5, 4) - 35.5)[:, None]
    basis = np.stack([across, down, across * gx + down * gy, down * gx - across * gy])
    voted = np.kron(votes, wide) * inside * basis
    np.testing.assert_allclose(normal, np.einsum("iyx,jyx->ij", voted, basis), rtol=1e-3, atol=0.5)
    np.testing.assert_allclose(right, (voted * (other - one)).sum((1, 2)), rtol=1e-3, atol=0.05)


def test_a_row_saw_the_pixels_whose_nearest_one_lies_in_the_frame() -> None:
    draw = np.random.default_rng(8)
    for _ in range(20):
        matrix = np.eye(3) + draw.normal(0.0, 1.0, (3, 3)) * [[0.1], [0.1], [2e-4]]
        matrix[:2, 2] = draw.uniform(-60.0, 60.0, 2)
        matrix[2, 2] = 1.0
        inside = np.zeros((70, 90), np.uint8)
        inside[3:-3, 3:-3] = 1
        flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        mask = cv2.warpPerspective(inside, matrix, (90, 70), flags=flags)

        first, past = seen_columns(matrix, (70, 90), 3, 0).T

        columns = np.arange(90)
        said = (columns >= first[:, None]) & (columns < past[:, None])
        # a pixel in the middle between two may go to either
        assert (said != (mask > 0)).sum() <= 3
        first, past = seen_columns(matrix, (70, 90), 3, 5).T
        left = (columns >= first[:, None]) & (columns < past[:, None])
        said[:5] = said[-5:] = False
        said[:, :5] = said[:, -5:] = False
        assert np.array_equal(left, said)
