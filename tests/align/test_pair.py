"""Two frames of the same thing are brought together to a tenth of a pixel."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from haltere.align.lumas import Lumas, linear_light
from haltere.align.pair import register_pair

DRAWN = Path(__file__).parents[1] / "data" / "drawn"


def texture(seed: int, shape: tuple[int, int] = (300, 400)) -> np.ndarray:
    rng = np.random.default_rng(seed)
    noise = rng.normal(size=shape)
    soft = sum(cv2.GaussianBlur(noise, (0, 0), s) * s for s in (1.5, 4.0, 9.0))
    return (110 + 60 * soft / soft.std()).clip(0, 255).astype(np.float32)


def moved(picture: np.ndarray, scale: float, roll: float, shift: tuple[float, float]) -> np.ndarray:
    h, w = picture.shape
    c, s = scale * np.cos(roll), scale * np.sin(roll)
    m = np.array([[c, -s, shift[0]], [s, c, shift[1]]])
    centre = np.array([(w - 1) / 2, (h - 1) / 2])
    m[:, 2] += centre - m[:, :2] @ centre
    return cv2.warpAffine(picture, m, (w, h), flags=cv2.INTER_LINEAR)


@pytest.mark.parametrize(
    ("scale", "roll", "shift"),
    [(1.0, 0.0, (3.4, -2.3)), (1.012, 0.01, (12.0, 7.5)), (0.97, -0.02, (-18.0, 4.0))],
)
def test_a_known_similarity_is_found_to_a_tenth_of_a_pixel_in_the_corner(scale, roll, shift):
    first = texture(3)

    found = register_pair(first, moved(first, scale, roll, shift)).matrix

    corner = np.array([180.0, 130.0])
    c, s = scale * np.cos(roll), scale * np.sin(roll)
    truth = np.array([[c, -s], [s, c]]) @ corner + shift
    # 0.1 px of a 400 px picture: what the chain of a sweep needs
    assert np.allclose(found[:, :2] @ corner + found[:, 2], truth, atol=0.1)


def test_a_blurred_partner_is_still_found():
    first = texture(4)
    second = cv2.GaussianBlur(moved(first, 1.01, 0.005, (6.2, -3.1)), (0, 0), 2.5)

    found = register_pair(first, second)

    assert np.allclose(found.matrix[:, 2], (6.2, -3.1), atol=0.15)


def test_a_dark_partner_is_still_found():
    first = texture(5)
    second = moved(first, 1.0, 0.0, (4.0, 5.0)) * np.float32(0.15)

    found = register_pair(first, second)

    assert np.allclose(found.matrix[:, 2], (4.0, 5.0), atol=0.1)
    assert found.agreement > 0.95


def test_a_leaf_cut_off_by_the_border_does_not_hold_the_picture_still():
    # neighbours of a drawn sweep, linear light times 8; the truth is the renderer's
    first, second = (
        cv2.imread(str(DRAWN / f"leaf-in-border-{one}.png"), cv2.IMREAD_UNCHANGED) / np.float32(8)
        for one in "ab"
    )

    found = register_pair(first, second).matrix

    # by 1.022 and (5.9, 2.7), were it counted
    assert np.hypot(*found[:, 0]) == pytest.approx(1.0035, abs=0.001)
    assert np.allclose(found[:, 2], (5.08, 4.20), atol=0.15)


def test_different_things_do_not_agree():
    found = register_pair(texture(6), texture(7))

    assert found.agreement < 0.5


def test_light_of_mid_grey_is_a_fifth():
    grey = np.full((2, 2), 127.5, np.float32)

    # IEC 61966-2-1: half of the code range is 21.4 % of the light
    assert np.allclose(linear_light(grey) / 255, 0.214, atol=0.002)


def test_lumas_give_back_what_was_put_in_and_keep_few_in_memory():
    rng = np.random.default_rng(1)
    pictures = rng.integers(0, 256, (9, 32, 48), dtype=np.uint8)
    with Lumas(keep=3) as lumas:
        lumas.extend(pictures)
        for k in range(9):
            lumas.small(k, 2)

        assert np.array_equal(lumas.full(4), pictures[4].astype(np.float32))
        assert len(lumas._held) == 3


def test_lumas_refuse_another_size():
    with Lumas() as lumas:
        lumas.add(np.zeros((10, 12), np.uint8))
        with pytest.raises(ValueError, match="among frames of"):
            lumas.add(np.zeros((10, 13), np.uint8))
