"""Picture files spoilt in ways that cards, cables and other programs spoil them; seeded."""

from __future__ import annotations

import io
import random
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

from haltere.errors import HaltereError
from haltere.frames import Decoder, find_frames
from tests.frames.made import write_dng

DATA = Path(__file__).parents[1] / "data" / "open"


def sound_files(folder: Path) -> list[bytes]:
    """Whole files of every kind: free test pictures, and small ones made here."""
    found = [
        path.read_bytes()
        for path in sorted(DATA.rglob("*"))
        if path.suffix.lower() in (".jpg", ".jpeg", ".tif", ".tiff") and path.stat().st_size < 60000
    ]
    rng = np.random.default_rng(5)
    grey = rng.integers(0, 255, (48, 64), dtype=np.uint8)
    colour = np.repeat(np.repeat(rng.integers(0, 255, (12, 16, 3), dtype=np.uint8), 4, 0), 4, 1)
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "made up", 6
    exif.get_ifd(0x8769)[0x9003] = "2031:05:20 06:00:00"
    for picture, options in (
        (colour, {"quality": 90, "exif": exif}),
        (colour, {"quality": 80, "progressive": True}),
        (grey, {"quality": 70}),
    ):
        held = io.BytesIO()
        Image.fromarray(picture).save(held, "JPEG", **options)
        found.append(held.getvalue())
    for name, array, compression in (
        ("a.tif", colour, None),
        ("b.tif", colour.astype(np.uint16) * 257, None),
        ("c.tif", grey, "deflate"),
    ):
        tifffile.imwrite(folder / name, array, compression=compression)
        found.append((folder / name).read_bytes())
    mosaic = rng.integers(256, 4095, (48, 64)).astype(np.uint16)
    write_dng(folder / "d.dng", mosaic)
    found.append((folder / "d.dng").read_bytes())
    return found


def spoilt(sound: list[bytes], seed: int, count: int) -> Iterator[bytes]:
    """Files cut short, with bits turned, stretches lost or doubled, and sizes lied about."""
    draw = random.Random(seed)
    for _ in range(count):
        data = bytearray(draw.choice(sound))
        for _ in range(draw.choice((1, 1, 1, 2, 4))):
            _spoil(data, draw)
        yield bytes(data)


def _spoil(data: bytearray, draw: random.Random) -> None:
    size = max(len(data), 1)
    # headers matter most, so that half of the damage falls into the first kilobyte
    place = draw.randrange(min(size, 1024) if draw.random() < 0.5 else size)
    length = draw.choice((1, 2, 4, 16, 256))
    kind = draw.randrange(7)
    if kind == 0:
        del data[place:]
    elif kind == 1:
        for _ in range(draw.choice((1, 3, 20))):
            at = draw.randrange(size)
            if at < len(data):
                data[at] ^= 1 << draw.randrange(8)
    elif kind == 2:
        data[place : place + length] = bytes(len(data[place : place + length]))
    elif kind == 3:
        data[place : place + length] = b"\xff" * len(data[place : place + length])
    elif kind == 4:
        data[place:place] = data[place : place + length]
    elif kind == 5:
        del data[place : place + length]
    else:
        number = draw.choice((0, 1, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, draw.getrandbits(32)))
        packed = struct.pack(draw.choice(("<I", ">I")), number)
        if draw.random() < 0.5:
            packed = packed[:2]
        data[place : place + len(packed)] = packed[: len(data[place : place + len(packed)])]


def read_all(folder: Path, files: Iterator[bytes]) -> tuple[int, int, list[str]]:
    """Read spoilt files as the tool does: headers and shooting data of all, pixels of the rest.

    Returns
    -------
    read, refused, strange : int, int, list of str
        Files that gave pixels; files refused in words; anything else that happened.
    """
    for number, data in enumerate(files):
        (folder / f"s{number:05}.jpg").write_bytes(data)
    found = find_frames([folder])
    strange = [one.why for one in found.skipped if len(one.why) < 8 or "Traceback" in one.why]
    read = 0
    refused = len(found.skipped)
    with Decoder() as decoder:
        jobs = [decoder.submit_luma(frame, 64) for frame in found.frames]
        for job in jobs:
            try:
                pixels = job.result(timeout=90)
                read += pixels.array.size > 0
            except HaltereError as error:
                refused += 1
                if len(str(error)) < 8 or "Traceback" in str(error):
                    strange.append(str(error))
            except Exception as error:
                strange.append(repr(error))
    return read, refused, strange
