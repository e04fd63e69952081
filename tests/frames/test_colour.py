"""Between code values and linear light, by the file's own tone curve."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.frames import encode, srgb_profile, to_linear
from haltere.frames.icc import SRGB, tone_curves

ALL_CODES = np.arange(65536, dtype=np.uint16).reshape(256, 256)


def profile(curve: bytes, *others: bytes) -> bytes:
    """A matrix profile that holds nothing but tone curves."""
    curves = [curve, *(others or (curve, curve))]
    head = bytes(36) + b"acsp" + bytes(88)
    at = 128 + 4 + 12 * 3
    table, body = struct.pack(">I", 3), b""
    for name, data in zip((b"rTRC", b"gTRC", b"bTRC"), curves, strict=True):
        table += struct.pack(">4sII", name, at + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    return head + table + body


def gamma(value: float) -> bytes:
    return b"curv" + bytes(4) + struct.pack(">IH", 1, round(value * 256))


def table(*values: int) -> bytes:
    return b"curv" + bytes(4) + struct.pack(f">I{len(values)}H", len(values), *values)


def parametric(form: int, *values: float) -> bytes:
    fixed = [round(v * 65536) for v in values]
    return b"para" + bytes(4) + struct.pack(f">HH{len(fixed)}i", form, 0, *fixed)


SRGB_NUMBERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
PROFILES = {
    "untagged": None,
    "identity": profile(b"curv" + bytes(8)),
    "gamma 1.8": profile(gamma(1.8)),
    "gamma 2.2": profile(gamma(2.2)),
    "table": profile(table(*(round(65535 * (i / 1023) ** 2.0) for i in range(1024)))),
    "form 0": profile(parametric(0, 2.2)),
    "form 1": profile(parametric(1, 2.4, 0.95, 0.05)),
    "form 2": profile(parametric(2, 2.0, 0.9, 0.05, 0.0)),
    "form 3": profile(parametric(3, *SRGB_NUMBERS)),
    "form 4": profile(parametric(4, 2.0, 0.75, 0.25, 0.484375, 0.25, -0.0625, 0.0078125)),
    "three curves": profile(gamma(1.8), gamma(2.0), gamma(2.2)),
}


@pytest.mark.parametrize("name", sorted(set(PROFILES) - {"form 1", "form 2"}))
def test_every_16_bit_code_survives_the_round_trip(name: str) -> None:
    icc = PROFILES[name]
    colour = np.repeat(ALL_CODES[:, :, None], 3, axis=2)
    back = encode(to_linear(colour, icc, False), icc, 16)
    first = 600 if name == "table" else 0  # its own 16-bit light values coincide near black
    assert np.array_equal(back.reshape(-1, 3)[first:], colour.reshape(-1, 3)[first:])


@pytest.mark.parametrize("name", ["form 1", "form 2"])
def test_curves_that_clip_at_black_survive_above_it(name: str) -> None:
    icc = PROFILES[name]
    light = to_linear(ALL_CODES, icc, False)
    inside = (light > light.min()) & (light < 1.0)
    assert inside.sum() > 60000
    assert np.abs(encode(light, icc, 16).astype(int) - ALL_CODES)[inside].max() == 0


@pytest.mark.parametrize("name", sorted(set(PROFILES) - {"form 1", "form 2"}))
def test_every_8_bit_code_survives_the_round_trip(name: str) -> None:
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    icc = PROFILES[name]
    assert np.array_equal(encode(to_linear(codes, icc, False), icc, 8), codes)


def test_real_profiles_survive_the_round_trip(open_data: Path) -> None:
    for name in ("AdobeRGB1998.icc", "SwappedRedAndGreen.icc"):
        icc = (open_data / "icc" / name).read_bytes()
        assert np.array_equal(encode(to_linear(ALL_CODES, icc, False), icc, 16), ALL_CODES)


@pytest.mark.parametrize(("code", "light"), [(0.04045, 0.0031308), (0.5, 0.21404), (0.46136, 0.18)])
def test_untagged_is_srgb(code: float, light: float) -> None:
    # IEC 61966-2-1, values of the colour entries in tests/truth
    codes = np.full((1, 1), round(code * 65535), np.uint16)
    assert to_linear(codes, None, False)[0, 0] == pytest.approx(light, abs=2e-5)


def test_the_profile_for_tagging_states_the_srgb_curve() -> None:
    difference = to_linear(ALL_CODES, srgb_profile(), False) - to_linear(ALL_CODES, None, False)
    assert np.abs(difference).max() < 2e-5


def test_the_profile_for_tagging_never_changes() -> None:
    before = srgb_profile()
    srgb_profile.cache_clear()
    assert srgb_profile() == before
    assert before[36:40] == b"acsp"


def test_gamma_is_read_from_the_profile() -> None:
    codes = np.full((1, 1), 32768, np.uint16)
    light = to_linear(codes, PROFILES["gamma 1.8"], False)[0, 0]
    assert light == pytest.approx((32768 / 65535) ** (round(1.8 * 256) / 256), rel=1e-6)


def test_the_general_parametric_form_is_read_from_the_profile() -> None:
    codes = np.array([[0, 8192, 32768]], np.uint16)
    dark, straight, bent = to_linear(codes, PROFILES["form 4"], False)[0]
    assert dark == pytest.approx(0.0078125)
    assert straight == pytest.approx(0.484375 * 8192 / 65535 + 0.0078125)
    assert bent == pytest.approx((0.75 * 32768 / 65535 + 0.25) ** 2 - 0.0625)


def test_encoding_is_within_a_quarter_code_of_exact() -> None:
    light = np.linspace(0.4, 1.0, 300_001, dtype=np.float32).reshape(-1, 1)
    exact = 65535 * (1.055 * light.astype(np.float64) ** (1 / 2.4) - 0.055)
    assert np.abs(encode(light, None, 16) - exact).max() < 0.5 + 0.25


def test_each_channel_has_its_own_curve() -> None:
    codes = np.full((1, 1, 3), 20000, np.uint16)
    red, green, blue = to_linear(codes, PROFILES["three curves"], False)[0, 0]
    assert red > green > blue


def test_linear_values_are_only_scaled() -> None:
    light = to_linear(ALL_CODES, None, True)
    assert np.allclose(light, ALL_CODES / 65535, atol=1e-7)


@pytest.mark.parametrize("junk", [b"", b"acsp", bytes(200), bytes(36) + b"acsp" + b"\xff" * 200])
def test_a_damaged_profile_counts_as_srgb(junk: bytes) -> None:
    assert tone_curves(junk) == tone_curves(None)


@given(st.floats(-2, 3, width=32))
def test_light_outside_0_to_1_becomes_black_or_white(value: float) -> None:
    code = int(encode(np.full((1, 1), value, np.float32), None, 16)[0, 0])
    clipped = min(max(value, 0.0), 1.0)
    exact = 12.92 * clipped if clipped <= 0.0031308 else 1.055 * clipped ** (1 / 2.4) - 0.055
    assert abs(code - 65535 * exact) <= 0.8


def test_encoding_rises_with_light() -> None:
    light = np.geomspace(1e-9, 1, 100_000, dtype=np.float32).reshape(100, 1000)
    assert (np.diff(encode(light, None, 16).ravel().astype(int)) >= 0).all()


def test_large_pictures_equal_their_parts() -> None:
    codes = np.random.default_rng(5).integers(0, 65536, (1100, 40, 3), dtype=np.uint16)
    whole = to_linear(codes, None, False)
    assert np.array_equal(whole[700:710], to_linear(codes[700:710], None, False))
    assert np.array_equal(encode(whole, None, 16), codes)


@pytest.mark.parametrize("bits", [8, 16])
def test_codes_are_those_of_the_curve_at_the_middle_of_each_step(bits: Literal[8, 16]) -> None:
    light = (2.0 ** np.random.default_rng(0).uniform(-40, 0, (64, 4096))).astype(np.float32)
    # values are told apart by their 16 leading bits after the first
    middles = (light.view(np.int32) & ~127 | 64).view(np.float32)
    expected = np.rint(SRGB.code(middles.astype(np.float64)) * ((1 << bits) - 1))
    np.testing.assert_array_equal(encode(light, None, bits), expected)
