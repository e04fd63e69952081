"""Delivered files open elsewhere, say what they are, and give no place away."""

from __future__ import annotations

import io
import json
import shutil
import struct
import subprocess
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from haltere.errors import HaltereError, UsageError
from haltere.finish.caption import Caption, Made, iptc_records
from haltere.finish.delivery import Delivery, Gamut, deliver, with_frames
from haltere.finish.files import Kind
from haltere.finish.naming import Named, check_template, file_name
from haltere.finish.source import sources_of
from haltere.frames import Decoder, to_linear, write_picture
from haltere.frames.profiles import converted, profile_to_xyz, wide_profile
from tests.frames.made import exif_bytes, long, octets, ratio, short, texture, words

KINDS: tuple[Kind, ...] = ("tiff", "jpeg", "png")
PLACE = (b"Reedham", b"reedham", b"54.3218", b"W\0\0\0\x01\0\0\0", "Reedham".encode("utf-16-le"))
LATITUDE = struct.pack("<II", 54321876, 1000000)
SAID = Caption("Hoverfly on yarrow", "A. Photographer", "All rights reserved", ("fly", "macro"))


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder(1) as one:
        yield one


def placed(folder: Path) -> Path:
    """A camera file that names its place everywhere it can: Exif, XMP, IPTC, preview, words."""
    small = io.BytesIO()
    Image.fromarray(texture(24, 32)).save(small, "JPEG", comment=b"Reedham")
    gps = {
        1: words("N"), 2: ratio((54321876, 1000000), (0, 1), (0, 1)),
        3: words("W"), 4: ratio((1234567, 1000000), (0, 1), (0, 1)), 28: octets(*b"Reedham"),
    }  # fmt: skip
    exif = {
        33434: ratio((1, 200)), 33437: ratio((8, 1)), 34855: short(200), 37386: ratio((60, 1)),
        36867: words("2031:05:20 06:10:00"), 37510: octets(*b"ASCII\0\0\0Reedham"),
        40962: long(160), 40963: long(120),
    }  # fmt: skip
    main = {271: words("Nobody"), 272: words("HL-3"), 270: words("near Reedham")}
    block = b"Exif\0\0" + exif_bytes(main, exif, gps)
    xmp = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:x='adobe:ns:meta/'>Reedham 54.3218"
    data = io.BytesIO()
    Image.fromarray(texture(120, 160)).save(data, "JPEG", quality=95, comment=b"Reedham")
    plain = data.getvalue()
    extra = b"".join(
        b"\xff" + mark + struct.pack(">H", len(body) + 2) + body
        for mark, body in (
            (b"\xe1", block), (b"\xe1", xmp + b"</x:xmpmeta>"),
            (b"\xed", b"Photoshop 3.0\0" + small.getvalue()),
        )
    )  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "M_0001.JPG"
    path.write_bytes(plain[:2] + extra + plain[2:])
    return path


def merge(folder: Path, frames: int = 24) -> Path:
    """A merge's folder as far as delivering reads it."""
    source = placed(folder.parent / "card")
    rng = np.random.default_rng(2)
    picture = (texture(120, 160).astype(np.uint16) * 257) ^ rng.integers(
        0, 255, (120, 160, 3), "u2"
    )
    folder.mkdir()
    write_picture(folder / "picture.tif", picture, None, source)
    used = [f"M_{n:04d}.JPG" for n in range(frames)]
    (folder / "result.json").write_text(json.dumps({"frames_used": used}))
    return folder


def given(path: Path, wish: Delivery, out: Path, decoder: Decoder, **how: Any) -> Path:
    handed = deliver(sources_of(path), wish, out, decoder, **how)
    assert handed.left_out == ()
    return out / handed.files[0].file


def unpacked(path: Path) -> bytes:
    """All bytes of a file, and again what is compressed in it."""
    data = path.read_bytes()
    if data[:4] == b"\x89PNG":
        at = 8
        while at < len(data):
            (size,) = struct.unpack(">I", data[at : at + 4])
            if data[at + 4 : at + 8] == b"iCCP":
                data += zlib.decompress(data[at + 17 : at + 8 + size])
            at += 12 + size
    return data


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("merged", [True, False])
def test_no_byte_tells_the_place_unless_asked(
    tmp_path: Path, decoder: Decoder, kind: Kind, merged: bool
) -> None:
    source = merge(tmp_path / "Reedham") if merged else placed(tmp_path / "Reedham")
    wish = Delivery(kind, caption=SAID)
    handed = deliver(sources_of(source), wish, tmp_path / "out", decoder, sheet=True)
    assert not handed.files[0].place
    assert len(handed.sheets) == 1
    for path in (tmp_path / "out").iterdir():
        assert "reedham" not in path.name.lower()
        for secret in (*PLACE, LATITUDE):
            assert secret not in unpacked(path), (path.name, secret)


@pytest.mark.parametrize("kind", KINDS)
def test_the_place_goes_along_when_it_was_asked_for(
    tmp_path: Path, decoder: Decoder, kind: Kind
) -> None:
    path = given(placed(tmp_path / "c"), Delivery(kind, with_place=True), tmp_path / "o", decoder)
    assert LATITUDE in path.read_bytes()
    if kind != "tiff":
        with Image.open(path) as seen:
            latitude = seen.getexif().get_ifd(34853)[2]
        assert float(latitude[0]) == pytest.approx(54.321876)


@pytest.mark.parametrize("kind", ["tiff", "png"])
def test_sixteen_bits_leave_as_they_came(tmp_path: Path, decoder: Decoder, kind: Kind) -> None:
    folder = merge(tmp_path / "m")
    path = given(folder, Delivery(kind, gamut="own"), tmp_path / "o", decoder)
    if kind == "tiff":
        seen = tifffile.imread(path)
    else:
        import cv2

        seen = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., ::-1]
    np.testing.assert_array_equal(seen, tifffile.imread(folder / "picture.tif"))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("gamut", "says"), [("srgb", "sRGB"), ("wide", "Wide screen")])
def test_an_outside_reader_finds_the_profile(
    tmp_path: Path, decoder: Decoder, kind: Kind, gamut: Any, says: str
) -> None:
    path = given(merge(tmp_path / "m"), Delivery(kind, gamut=gamut), tmp_path / "o", decoder)
    if kind == "tiff":
        with tifffile.TiffFile(path) as tiff:
            icc = tiff.pages[0].iccprofile  # type: ignore[union-attr]
    else:
        with Image.open(path) as seen:
            icc = seen.info["icc_profile"]
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    assert says in ImageCms.getProfileDescription(profile)


def test_colours_look_the_same_to_another_colour_engine(tmp_path: Path, decoder: Decoder) -> None:
    """The same picture in both gamuts, turned to Lab by littleCMS, differs by rounding only."""
    folder = merge(tmp_path / "m")
    labs = []
    for gamut in ("srgb", "wide"):
        wish = Delivery("jpeg", "print", gamut=gamut, quality=95)  # type: ignore[arg-type]
        with Image.open(given(folder, wish, tmp_path / gamut, decoder)) as seen:
            own = ImageCms.ImageCmsProfile(io.BytesIO(seen.info["icc_profile"]))
            lab = ImageCms.createProfile("LAB")
            turned = ImageCms.profileToProfile(seen, own, lab, outputMode="LAB")
        assert turned is not None
        labs.append(np.asarray(turned).astype(np.int16))
    wrapped = (labs[0] - labs[1] + 128) % 256 - 128
    assert np.abs(wrapped).mean() < 1.0


def test_the_wide_profile_holds_red_that_srgb_does_not() -> None:
    red = np.array([[[1.0, 0.0, 0.0]]], np.float32)
    out = converted(red, wide_profile(), None)
    assert out is not None
    assert out[0, 0, 0] > 1.1
    assert out[0, 0, 1] < 0.0


def test_white_stays_white_between_profiles() -> None:
    white = np.ones((1, 1, 3), np.float32)
    out = converted(white, wide_profile(), None)
    assert out is not None
    np.testing.assert_allclose(out, 1.0, atol=2e-3)
    matrix = profile_to_xyz(wide_profile())
    assert matrix is not None
    np.testing.assert_allclose(matrix.sum(axis=1), [0.9642, 1.0, 0.8249], atol=1e-3)


def xmp_of(path: Path, kind: Kind) -> bytes:
    if kind == "tiff":
        with tifffile.TiffFile(path) as tiff:
            return bytes(tiff.pages[0].tags[700].value)  # type: ignore[union-attr]
    with Image.open(path) as seen:
        found = seen.info["xmp"]
        return found if isinstance(found, bytes) else found.encode()


@pytest.mark.parametrize("kind", KINDS)
def test_words_and_disclosure_stand_in_the_standard_fields(
    tmp_path: Path, decoder: Decoder, kind: Kind
) -> None:
    path = given(merge(tmp_path / "m"), Delivery(kind, caption=SAID), tmp_path / "o", decoder)
    packet = xmp_of(path, kind).decode()
    for part in (
        "Hoverfly on yarrow", "A. Photographer", "All rights reserved", ">fly<", ">macro<",
        "Merged from 24 photographs", "digitalsourcetype/computationalCapture",
    ):  # fmt: skip
        assert part in packet, part


def test_a_metadata_library_reads_all_fields(tmp_path: Path, decoder: Decoder) -> None:
    pyexiv2 = pytest.importorskip("pyexiv2")
    folder = merge(tmp_path / "m")
    for kind in KINDS:
        path = given(folder, Delivery(kind, caption=SAID), tmp_path / kind, decoder)
        with pyexiv2.Image(str(path)) as seen:
            exif, xmp, iptc = seen.read_exif(), seen.read_xmp(), seen.read_iptc()
        assert exif["Exif.Photo.FNumber"] == "8/1"
        assert exif["Exif.Image.Model"] == "HL-3"
        assert exif["Exif.Image.Artist"] == "A. Photographer"
        assert exif["Exif.Image.Copyright"] == "All rights reserved"
        assert exif["Exif.Image.ImageDescription"].startswith("Hoverfly on yarrow. Merged from 24")
        assert not any("GPS" in key for key in exif)
        assert xmp["Xmp.dc.subject"] == ["fly", "macro"]
        assert xmp["Xmp.dc.creator"] == ["A. Photographer"]
        assert "Merged from 24" in str(xmp["Xmp.dc.description"])
        if kind == "png":
            continue  # no such records in PNG
        assert iptc["Iptc.Application2.Keywords"] == ["fly", "macro"]
        assert iptc["Iptc.Application2.Byline"] == ["A. Photographer"]
        assert "Merged from 24" in iptc["Iptc.Application2.Caption"]


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed")
@pytest.mark.parametrize("kind", KINDS)
def test_exiftool_reads_all_fields_and_no_place(
    tmp_path: Path, decoder: Decoder, kind: Kind
) -> None:
    path = given(merge(tmp_path / "m"), Delivery(kind, caption=SAID), tmp_path / "o", decoder)
    said = subprocess.run(
        ["exiftool", "-j", "-G1", str(path)],
        capture_output=True, check=True,
    )  # fmt: skip
    (tags,) = json.loads(said.stdout)
    assert tags["XMP-dc:Creator"] == "A. Photographer"
    assert tags["XMP-dc:Rights"] == "All rights reserved"
    assert tags["XMP-dc:Subject"] == ["fly", "macro"]
    assert "Merged from 24" in tags["XMP-dc:Description"]
    assert tags["XMP-iptcExt:DigitalSourceType"].endswith("/computationalCapture")
    assert tags["ExifIFD:FNumber"] == 8
    assert not any("GPS" in key or key.endswith(":Error") for key in tags)


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed")
@pytest.mark.parametrize("gamut", ["srgb", "wide"])
@pytest.mark.parametrize("kind", KINDS)
def test_exiftool_finds_nothing_amiss_in_a_delivered_file(
    tmp_path: Path, decoder: Decoder, kind: Kind, gamut: Gamut
) -> None:
    wish = Delivery(kind, gamut=gamut, caption=SAID)
    path = given(merge(tmp_path / "m"), wish, tmp_path / "o", decoder)
    said = subprocess.run(
        ["exiftool", "-validate", "-warning", "-a", "-s3", str(path)],
        capture_output=True, check=True, text=True,
    )  # fmt: skip
    warnings = [one for one in said.stdout.splitlines() if one and "OK" not in one]
    # it knows the packings of TIFF 6.0 (1992), and not yet the one of Adobe's note of 2002
    known = {"1 Warning", "Invalid value for IFD0 tag 0x0103 Compression"}
    assert [one for one in warnings if kind != "tiff" or one not in known] == []


@pytest.mark.parametrize(("gamut", "space"), [("srgb", "1"), ("wide", "65535")])
def test_the_colour_space_is_that_of_the_profile(
    tmp_path: Path, decoder: Decoder, gamut: Gamut, space: str
) -> None:
    import pyexiv2

    wish = Delivery("jpeg", gamut=gamut)
    path = given(merge(tmp_path / "m"), wish, tmp_path / "o", decoder)
    with pyexiv2.Image(str(path)) as seen:
        exif = seen.read_exif()
    assert exif["Exif.Photo.ColorSpace"] == space
    assert exif["Exif.Image.XResolution"] == "96000/1000"
    with Image.open(path) as picture:
        size = (exif["Exif.Photo.PixelXDimension"], exif["Exif.Photo.PixelYDimension"])
        assert size == tuple(str(side) for side in picture.size)


def test_a_single_photograph_is_not_called_merged(tmp_path: Path, decoder: Decoder) -> None:
    path = given(placed(tmp_path / "c"), Delivery("jpeg"), tmp_path / "o", decoder)
    packet = xmp_of(path, "jpeg").decode()
    assert "Merged" not in packet
    assert "digitalsourcetype/digitalCapture" in packet


def test_the_number_of_frames_can_be_said_for_a_lone_file(tmp_path: Path) -> None:
    (source,) = sources_of(placed(tmp_path))
    assert "31 photographs" in with_frames(source, 31).made.disclosure()
    with pytest.raises(UsageError):
        with_frames(source, 0)


def test_the_kind_of_source_follows_what_was_done() -> None:
    kinds = [
        made.source_type.rpartition("/")[2]
        for made in (Made(), Made(1, 16.0), Made(9), Made(9, 16.0), Made(9, repaired=True))
    ]
    assert kinds == [
        "digitalCapture", "algorithmicallyEnhanced", "computationalCapture",
        "computationalCapture", "compositeCapture",
    ]  # fmt: skip


def test_all_that_was_done_is_disclosed() -> None:
    said = Made(12, 22.4, 2, True).disclosure()
    for part in ("12 photographs", "by hand", "f/22 was restored", "2 spots"):
        assert part in said
    assert Made().disclosure() == ""


def test_a_picture_for_the_web_is_made_smaller_and_none_is_made_larger(
    tmp_path: Path, decoder: Decoder
) -> None:
    folder = merge(tmp_path / "m")
    small = given(folder, Delivery(longest_px=80), tmp_path / "a", decoder)
    same = given(folder, Delivery(longest_px=4000), tmp_path / "b", decoder)
    with Image.open(small) as one, Image.open(same) as other:
        assert (one.size, other.size) == ((80, 60), (160, 120))


def test_making_smaller_keeps_the_light(tmp_path: Path, decoder: Decoder) -> None:
    checks = np.zeros((64, 64, 3), np.uint16)
    checks[::2, ::2] = checks[1::2, 1::2] = 65535
    write_picture(tmp_path / "c.tif", checks, None)
    path = given(tmp_path / "c.tif", Delivery("tiff", longest_px=32), tmp_path / "o", decoder)
    light = to_linear(tifffile.imread(path), None, False)
    np.testing.assert_allclose(light, 0.5, atol=1e-3)


def test_the_file_that_was_repaired_is_the_one_that_leaves(
    tmp_path: Path, decoder: Decoder
) -> None:
    folder = merge(tmp_path / "m")
    (folder / "repaired").mkdir()
    write_picture(folder / "repaired" / "picture.tif", np.full((9, 9, 3), 777, np.uint16), None)
    path = given(folder, Delivery("tiff", gamut="own"), tmp_path / "o", decoder)
    assert (tifffile.imread(path) == 777).all()
    assert "by hand" in xmp_of(path, "tiff").decode()


def test_nothing_in_the_folder_is_overwritten(tmp_path: Path, decoder: Decoder) -> None:
    folder = merge(tmp_path / "m")
    names = {given(folder, Delivery(), tmp_path / "o", decoder).name for _ in range(3)}
    assert names == {"2031-05-20-01.jpg", "2031-05-20-01-2.jpg", "2031-05-20-01-3.jpg"}


def test_one_bad_picture_stops_none_of_the_others(tmp_path: Path, decoder: Decoder) -> None:
    good = sources_of(placed(tmp_path / "a"))[0]
    gone = sources_of(placed(tmp_path / "b"))[0]
    gone.frame.path.unlink()
    handed = deliver([gone, good], Delivery(), tmp_path / "o", decoder, sheet=True)
    assert len(handed.files) == len(handed.left_out) == 1


def test_the_same_delivery_is_the_same_bytes(tmp_path: Path, decoder: Decoder) -> None:
    folder = merge(tmp_path / "m")
    for kind in KINDS:
        one, two = (
            given(folder, Delivery(kind, caption=SAID), tmp_path / f"{kind}{n}", decoder)
            for n in (1, 2)
        )
        assert one.read_bytes() == two.read_bytes()


def test_records_keep_to_the_lengths_of_the_standard() -> None:
    data = iptc_records(Caption("x" * 5000, "ä" * 40, "c", ("k" * 100,)), Made(3), None)
    at, sizes = 0, {}
    while at < len(data):
        _, _, number, size = struct.unpack(">BBBH", data[at : at + 5])
        data[at + 5 : at + 5 + size].decode("utf-8", "strict" if number != 0 else "ignore")
        sizes[number] = size
        at += 5 + size
    assert sizes[120] == 2000
    assert sizes[80] <= 32
    assert sizes[25] == 64


@pytest.mark.parametrize("template", ["", "{place}", "{dat}", "{", "{0}", "{date"])
def test_templates_that_make_no_names_are_refused(template: str) -> None:
    with pytest.raises(UsageError, match="--name"):
        check_template(template)


@pytest.mark.parametrize(
    ("stem", "name"),
    [
        ("a/b\\c:d", "a_b_c_d.jpg"),
        ("con", "_con.jpg"),
        (" . ", "picture.jpg"),
        ("Käfer", "Käfer.jpg"),
    ],
)
def test_names_are_such_that_every_system_takes_them(stem: str, name: str) -> None:
    assert file_name("{name}", Named(1, stem, None, "single"), ".jpg", ()) == name


@pytest.mark.parametrize("wrong", [{"longest_px": 3}, {"quality": 0}, {"quality": 96}])
def test_absurd_wishes_are_refused(wrong: dict[str, int]) -> None:
    with pytest.raises(UsageError):
        Delivery(**wrong)  # type: ignore[arg-type]


def test_what_is_no_picture_is_said(tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(b"nothing")
    for path in (tmp_path, tmp_path / "x.jpg"):
        with pytest.raises(HaltereError):
            sources_of(path)


def test_words_that_no_field_holds_are_refused_before_anything_is_written() -> None:
    assert Caption("x" * 10_000).text
    with pytest.raises(UsageError, match="say it shorter"):
        Caption("x" * 9_000, keywords=("y" * 1_001,))
