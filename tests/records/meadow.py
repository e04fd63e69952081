"""An invented meadow: small pictures with times and a place, a track, a checklist."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from haltere.fieldbook import Book, OutingRow, keep_frames, keep_runs, outings, place_outing
from haltere.frames import find_frames
from haltere.runs.run import Run

START = datetime(2031, 6, 14, 18, 4, 12)
LATITUDE, LONGITUDE = 38.713942, -9.140617

CHECKLIST = """taxonID\tscientificName\tscientificNameAuthorship\ttaxonRank\ttaxonomicStatus\tacceptedNameUsageID\tkingdom\tfamily\tgenus\tvernacularName
1\tInventa pratensis Maker, 1901\tMaker, 1901\tspecies\taccepted\t\tAnimalia\tInventidae\tInventa\tmeadow inventa
2\tInventa campestris (Other, 1850)\t(Other, 1850)\tspecies\tsynonym\t1\tAnimalia\t\tInventa\t
3\tFicta arvensis Maker\tMaker\tspecies\taccepted\t\tAnimalia\tFictidae\tFicta\tÉpeire feinte
"""  # noqa: E501


def photo(
    path: Path, time: datetime, *, place: bool = True, offset: str = "", note: str = ""
) -> None:
    """Write a small JPEG with a time, and the place where asked."""
    rng = np.random.default_rng(time.second)
    noise = rng.integers(40, 200, (6, 8, 3), dtype=np.uint8)
    picture = Image.fromarray(noise).resize((160, 120), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    inner = exif.get_ifd(0x8769)
    inner[0x9003] = time.strftime("%Y:%m:%d %H:%M:%S")
    if offset:
        inner[0x9011] = offset
    if note:
        exif[0x010E] = note
    if place:
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2] = "N", (38.0, 42.0, 50.1912)
        gps[3], gps[4] = "W", (9.0, 8.0, 26.2212)
        gps[0x1F] = 8.0
    picture.save(path, "JPEG", quality=90, exif=exif)


def meadow(book: Book, folder: Path, *, offset: str = "") -> OutingRow:
    """Adopt a folder of four frames: a burst of three, and one without a place."""
    folder.mkdir()
    for number in range(4):
        photo(
            folder / f"M_{number + 1:04}.JPG",
            START + timedelta(seconds=2 * number),
            place=number < 3,
            offset=offset,
        )
    number = place_outing(book, folder, "hollow lane", day="2031-06-14", in_place=True)
    keep_frames(book, number, find_frames([folder]).frames)
    names = tuple(f"M_{n:04}.JPG" for n in (1, 2, 3))
    keep_runs(
        book,
        number,
        [Run("run-01", "burst", names, (), ""), Run("run-02", "single", ("M_0004.JPG",), (), "")],
    )
    return outings(book)[0]


def gpx(path: Path, points: list[tuple[float, float, float]], *, dop: float | None = None) -> Path:
    """Write a track: seconds after the first picture (in UTC+1), latitude, longitude."""
    begin = START.replace(tzinfo=UTC) - timedelta(hours=1)
    made = "".join(
        f'<trkpt lat="{lat}" lon="{lon}"><time>{begin + timedelta(seconds=s):%Y-%m-%dT%H:%M:%SZ}'
        f"</time>{'' if dop is None else f'<hdop>{dop}</hdop>'}</trkpt>"
        for s, lat, lon in points
    )
    path.write_text(
        '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        f"{made}</trkseg></trk></gpx>",
        encoding="utf-8",
    )
    return path
