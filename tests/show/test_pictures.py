"""Pictures of any kind in colours of a screen."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from haltere.frames import Pixels, srgb_profile
from haltere.show.pictures import srgb_array, to_srgb, with_profile


def colours() -> np.ndarray:  # type: ignore[type-arg]
    return np.random.default_rng(4).integers(0, 256, (20, 30, 3)).astype(np.uint8)


@pytest.mark.parametrize("icc", [None, srgb_profile()])
def test_what_is_in_colours_of_a_screen_stays_as_it_is(icc: bytes | None) -> None:
    rgb = colours()
    shown = srgb_array(Pixels(rgb, 1.0, False, icc))
    np.testing.assert_array_equal(shown, rgb)
    np.testing.assert_array_equal(np.asarray(with_profile(Image.fromarray(rgb), icc)), rgb)
    assert not np.shares_memory(shown, rgb), "the decoder's pixels lie in memory that is given back"


@pytest.mark.parametrize(
    "pixels",
    [
        Pixels(colours().astype(np.uint16) * 257, 1.0, False, None),
        Pixels(colours().astype(np.uint16) * 257, 1.0, True, None),
        Pixels(colours(), 1.0, False, b"no profile at all"),
    ],
    ids=["16 bit", "linear light", "a profile that can't be used"],
)
def test_others_are_turned_as_they_always_were(pixels: Pixels) -> None:
    np.testing.assert_array_equal(srgb_array(pixels), np.asarray(to_srgb(pixels)))
