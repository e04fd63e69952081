"""A ladder of defocus is ranked as the outside measures rank it, whatever else changes.

Photographs lie in tests/data/open/photos.  More of them take part where the variable
HALTERE_PHOTOS names a folder that holds files of the names below.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.special import j1
from skimage.measure import blur_effect

from haltere.errors import UsageError
from haltere.focus.detail import (
    NUMBERS,
    band_energies,
    band_frequencies,
    noise_variance,
    sharpness,
)
from haltere.focus.edge import slanted_edge
from haltere.frames.icc import SRGB

DISCS_PX = (0, 1, 2, 3, 4, 6, 8, 10, 12, 14, 16)
HERE = Path(__file__).resolve().parents[1] / "data" / "open" / "photos"
MORE = Path(os.environ.get("HALTERE_PHOTOS", HERE))
# y, x, h, w of the sharpest piece with an edge that is legal on every rung, found by trying all;
# only where it is sharp, at 0.2 cycles per pixel and more: a disc of one pixel does not show
# behind seven pixels of blur
EDGES = {
    "butterfly_493.jpg": (24, 56, 64, 40),
    "chrysanthemum_2268.jpg": (1152, 672, 64, 40),
    "dahlia_640.jpg": (216, 424, 32, 40),
    "dslr_pendant_2000.jpg": (288, 1128, 40, 32),
    "tulips_500.png": (336, 312, 40, 64),
}
WITHOUT_SHARP_EDGE = (
    "blossom_500.png",
    "cat_whiskers_451.png",
    "coffee_600.png",
    "defocus_blur_text.jpg",
    "gravel_512.png",
    "heather_300.jpg",
    "motion_blur_clock.png",
    "motion_blur_text.jpg",
)


def found(name: str) -> list[Path]:
    """Where a photograph lies."""
    return [folder / name for folder in (HERE, MORE) if (folder / name).exists()]


def photo(name: str) -> np.ndarray:
    """Linear light of a photograph."""
    grey = np.asarray(Image.open(found(name)[0]).convert("L"), float)
    return SRGB.light(grey / 255)


def blurred(light: np.ndarray, disc_px: float, around: int = 24) -> np.ndarray:
    """Light behind a disc of blur, by its exact transform."""
    if disc_px == 0:
        return light
    wide = np.pad(light, around, mode="reflect")
    f = np.hypot(np.fft.fftfreq(wide.shape[0])[:, None], np.fft.rfftfreq(wide.shape[1])[None, :])
    x = np.maximum(np.pi * disc_px * f, 1e-9)
    soft = np.fft.irfft2(np.fft.rfft2(wide) * 2 * j1(x) / x, wide.shape)
    return np.clip(soft[around:-around, around:-around], 0, 1)


def code(light: np.ndarray) -> np.ndarray:
    return np.rint(255 * SRGB.code(np.clip(light, 0, 1))).astype(np.float32)


def noisy(light: np.ndarray, at_white: float, seed: int) -> np.ndarray:
    """Light with noise that grows with its root, as that of photons does."""
    drawn = np.random.default_rng(seed).normal(0, at_white, light.shape)
    return light + drawn * np.sqrt(light + 0.02)


def as_jpeg(coded: np.ndarray, quality: int) -> np.ndarray:
    held = BytesIO()
    Image.fromarray(coded.astype(np.uint8)).save(held, "JPEG", quality=quality)
    return np.asarray(Image.open(held), np.float32)


def square(tilt_deg: float, levels: tuple[float, float]) -> Iterator[np.ndarray]:
    """A tilted square behind each disc, blurred in quarter pixels."""
    y, x = (np.mgrid[0:768, 0:768] + 0.5) / 4 - 96
    c, s = np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))
    inside = (np.abs(x * c + y * s) < 48) & (np.abs(-x * s + y * c) < 48)
    light = np.where(inside, levels[1], levels[0])
    for disc_px in DISCS_PX:
        yield blurred(light, 4 * disc_px, 96).reshape(192, 4, 192, 4).mean(axis=(1, 3))


def place(coded: np.ndarray) -> tuple[int, int, int, int]:
    return (8, 8, coded.shape[1] - 8, coded.shape[0] - 8)


def ours(coded: np.ndarray) -> float:
    return sharpness(coded, place(coded))


def outside(coded: np.ndarray) -> float:
    return 1 - blur_effect(coded / 255)


def ranks(values: Sequence[float | None]) -> list[int]:
    """Rungs from the sharpest to the softest; equal values keep no order and fail."""
    assert len(set(values)) == len(values)
    assert None not in values
    return sorted(range(len(values)), key=lambda k: -float(values[k] or 0.0))


KNOWN = list(range(len(DISCS_PX)))


@pytest.mark.parametrize("levels", [(0.1, 0.6), (0.2, 0.4)], ids=["strong", "weak"])
@pytest.mark.parametrize("tilt_deg", [3.0, 5.0, 8.0])
@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_made_edges_are_ranked_alike_by_all_three_measures(tilt_deg, levels, noise):
    rungs = [code(noisy(light, noise, 7)) for light in square(tilt_deg, levels)]

    assert ranks([slanted_edge(c[64:128, 120:168]).mtf50 for c in rungs]) == KNOWN
    assert ranks([outside(c) for c in rungs]) == KNOWN
    assert ranks([ours(c) for c in rungs]) == KNOWN


@pytest.mark.parametrize("name", sorted(filter(found, (*EDGES, *WITHOUT_SHARP_EDGE))))
def test_photographs_are_ranked_alike_by_blur_effect_and_ours(name):
    light = photo(name)
    rungs = [code(blurred(light, disc_px)) for disc_px in DISCS_PX]

    assert ranks([outside(c) for c in rungs]) == KNOWN
    assert ranks([ours(c) for c in rungs]) == KNOWN


@pytest.mark.parametrize("name", sorted(filter(found, EDGES)))
def test_edges_in_photographs_are_ranked_as_the_whole_is(name):
    light = photo(name)
    y, x, h, w = EDGES[name]
    rungs = [code(blurred(light, disc_px)) for disc_px in DISCS_PX]

    assert ranks([slanted_edge(c[y : y + h, x : x + w]).mtf50 for c in rungs]) == KNOWN
    assert ranks([ours(c) for c in rungs]) == KNOWN


@pytest.fixture(scope="module", params=["butterfly_493.jpg", "heather_300.jpg"])
def ladder(request: pytest.FixtureRequest) -> list[np.ndarray]:
    light = photo(request.param)
    return [blurred(light, disc_px) for disc_px in DISCS_PX]


def against_clean(rungs: list[np.ndarray], changed: list[np.ndarray]) -> np.ndarray:
    """How far each rung's measure is off its undisturbed one, as a share of it."""
    pairs = zip(rungs, changed, strict=True)
    return np.array([ours(c) / ours(code(light)) - 1 for light, c in pairs])


@pytest.mark.parametrize("factor", [0.5, 0.75, 1.25, 1.5])
def test_exposure_changes_the_measure_by_less_than_five_per_cent(ladder, factor):
    changed = [code(light * factor) for light in ladder]

    assert np.abs(against_clean(ladder, changed)).max() < 0.05
    assert ranks([ours(c) for c in changed]) == KNOWN


@pytest.mark.parametrize(("at_white", "most"), [(0.02, 0.05), (0.05, 0.09), (0.1, 0.16)])
def test_noise_changes_the_measure_by_little(ladder, at_white, most):
    changed = [code(noisy(light, at_white, 3)) for light in ladder]

    assert np.abs(against_clean(ladder, changed)).max() < most
    assert ranks([ours(c) for c in changed]) == KNOWN


def test_noise_that_is_not_taken_off_would_change_it_much(ladder):
    changed = code(noisy(ladder[-1], 0.05, 3))
    raw = sharpness(changed, place(changed), noise=np.zeros((2, 256), np.float32))

    assert raw > 1.25 * ours(changed)


@pytest.mark.parametrize("quality", [60, 75, 85, 95])
def test_coding_changes_the_measure_by_less_than_two_and_a_half_per_cent(ladder, quality):
    changed = [as_jpeg(code(light), quality) for light in ladder]

    assert np.abs(against_clean(ladder, changed)).max() < 0.025
    assert ranks([ours(c) for c in changed]) == KNOWN


@pytest.mark.parametrize("quality", [60, 75, 85, 95])
def test_noise_that_went_through_coding_is_still_taken_off(ladder, quality):
    changed = [as_jpeg(code(noisy(light, 0.05, 3)), quality) for light in ladder]

    assert np.abs(against_clean(ladder, changed)).max() < 0.09
    assert ranks([ours(c) for c in changed]) == KNOWN


def test_contrast_drops_out(ladder):
    coded = code(ladder[2])

    assert ours(100 + 0.4 * coded) == pytest.approx(ours(coded), rel=0.005)


@pytest.mark.parametrize("sigma", [2.0, 4.0, 8.0])
def test_made_noise_is_told_to_a_tenth(sigma):
    drawn = np.random.default_rng(5).normal(120, sigma, (320, 320)).astype(np.float32)

    told = noise_variance(drawn)[:, 120]
    assert told == pytest.approx([sigma**2, sigma**2], rel=0.1)


@pytest.mark.parametrize("sigma", [7.0, 10.0])
def test_noise_that_coding_thinned_is_told_in_full_for_the_coarser_bands(sigma):
    drawn = np.random.default_rng(5).normal(120, sigma, (320, 320))
    told = noise_variance(as_jpeg(np.rint(drawn), 60))[:, 120] / sigma**2

    assert told[0] < 0.7
    assert told[1] == pytest.approx(1.1, abs=0.15)


def test_noise_is_told_for_dark_and_light_apart():
    rng = np.random.default_rng(6)
    level = np.where(np.arange(512) < 256, 40.0, 180.0)[None, :]
    drawn = rng.normal(level, np.where(level < 100, 2.0, 6.0), (512, 512)).astype(np.float32)

    told = noise_variance(drawn)
    assert told[0, 40] == pytest.approx(4.0, rel=0.2)
    assert told[0, 180] == pytest.approx(36.0, rel=0.2)


def test_noise_alone_shows_no_detail_to_speak_of():
    drawn = np.random.default_rng(8).normal(120, 6, (320, 320)).astype(np.float32)
    raw = band_energies(drawn).mean(axis=(1, 2))
    # white noise would look sharper than any picture
    assert np.sqrt((raw * band_frequencies() ** 2).sum() / raw.sum()) > 0.2

    assert ours(drawn) < 0.08


@pytest.mark.parametrize("k", range(NUMBERS.bands))
def test_waves_show_in_the_band_of_their_fineness(k):
    waves = np.sin(2 * np.pi * band_frequencies()[k] * np.arange(256))
    picture = np.tile(120 + 40 * waves, (256, 1)).astype(np.float32)

    inner = band_energies(picture)[:, 64:-64, 64:-64].mean(axis=(1, 2))
    assert int(np.argmax(inner)) == k


def test_white_noise_leaves_a_quarter_from_band_to_band():
    drawn = np.random.default_rng(9).normal(120, 6, (1024, 1024)).astype(np.float32)
    left = band_energies(drawn).mean(axis=(1, 2))

    assert left[:-1] / left[1:] == pytest.approx([4.8, 4.0, 4.0, 4.0], rel=0.12)


def test_the_measure_is_the_root_mean_square_fineness_of_the_place(ladder):
    coded = code(ladder[1])
    energy = band_energies(coded)[:, 80:150, 100:180].mean(axis=(1, 2))
    expected = np.sqrt((energy * band_frequencies() ** 2).sum() / energy.sum())

    none = np.zeros((2, 256), np.float32)
    assert sharpness(coded, (100, 80, 180, 150), noise=none) == pytest.approx(expected, rel=0.01)


def test_a_place_is_measured_as_in_the_picture_cut_about_it(ladder):
    coded = code(ladder[0])
    noise = noise_variance(coded)
    box = (100, 80, 180, 150)
    about = coded[80 - 50 : 150 + 50, 100 - 50 : 180 + 50]

    whole = sharpness(coded, box, noise=noise)
    assert sharpness(about, (50, 50, 130, 120), noise=noise) == pytest.approx(whole, rel=0.01)


def test_a_plain_place_has_no_sharpness():
    assert ours(np.full((200, 200), 90, np.float32)) == 0.0


@pytest.mark.parametrize(
    "box", [(-1, 0, 40, 40), (0, 0, 4, 40), (150, 150, 220, 190), (60, 60, 20, 20)]
)
def test_a_place_outside_the_picture_is_a_wrong_call(box):
    with pytest.raises(UsageError, match="place"):
        sharpness(np.zeros((200, 200), np.float32), box)


@pytest.mark.parametrize("absurd", [np.zeros((4, 4)), np.full((64, 64), np.nan), np.zeros(64)])
def test_what_is_no_grey_picture_is_a_wrong_call(absurd):
    with pytest.raises(UsageError, match="picture"):
        band_energies(absurd)


@pytest.mark.parametrize("bands", [0, -1, 9])
def test_absurd_bands_are_a_wrong_call(bands):
    with pytest.raises(UsageError, match="bands"):
        band_energies(np.zeros((64, 64), np.float32), bands=bands)
