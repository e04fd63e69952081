"""A copy of a JPEG that holds its pixels and nothing else."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from haltere.frames.bare import bare_jpeg
from haltere.frames.icc import srgb_profile
from tests.frames.made import jpeg_bytes, texture, words


def pixels(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)))


def saved(**how: object) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(texture(60, 90)).save(buffer, "JPEG", **how)  # type: ignore[arg-type]
    return buffer.getvalue()


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"progressive": True},
        {"restart_marker_blocks": 2},
        {"quality": 100, "subsampling": 0, "optimize": True},
        {"icc_profile": srgb_profile()},
        {"dpi": (300, 300)},
    ],
)
def test_no_pixel_is_touched(how: dict[str, object]) -> None:
    data = saved(**how)
    bare = bare_jpeg(data)
    assert np.array_equal(pixels(bare), pixels(data))
    assert Image.open(io.BytesIO(bare)).info.get("icc_profile") == how.get("icc_profile")


def test_what_describes_it_is_left_behind() -> None:
    data = jpeg_bytes(texture(60, 90), exif={0x9003: words("secret")}, main={0x010E: words("lane")})
    comment = b"\xff\xfe\x00\x08secret"
    bare = bare_jpeg(data[:2] + comment + data[2:] + b"behind the end")
    for word in (b"secret", b"lane", b"behind"):
        assert word not in bare


def test_the_orientation_is_kept_and_the_owner_named() -> None:
    bare = bare_jpeg(saved(), 6, "Ana", "Ana, all rights reserved")
    exif = Image.open(io.BytesIO(bare)).getexif()
    assert (exif[0x0112], exif[0x013B], exif[0x8298]) == (6, "Ana", "Ana, all rights reserved")


@given(st.integers(0, 3000))
def test_a_picture_cut_short_is_refused(cut: int) -> None:
    data = saved()
    if cut < len(data) - 2:
        with pytest.raises(ValueError, match="JPEG"):
            bare_jpeg(data[:cut])
