"""A small worked book, and the bench on it as its own page would ask."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import simplejpeg
from starlette.testclient import TestClient

from haltere.doors.bench.app import make_app
from haltere.doors.bench.guard import Guard
from haltere.evening import file_merge
from haltere.fieldbook import (
    frame_ids,
    keep_frames,
    keep_runs,
    open_book,
    place_outing,
    record,
    step_key,
)
from haltere.frames import Decoder, find_frames
from haltere.frames.frame import Frame
from haltere.merge import merge_sweep
from haltere.runs.run import Pass, Run
from tests.frames.made import write_dng
from tests.merge.made import two_depths
from tests.standins import (
    cache,
    card,
    card_made,
    engine,
    made_coverage,
    made_keepers,
    made_merge,
)

__all__ = ["cache", "card", "card_made", "engine"]

PORT = 4711
TOKEN = "a-key-that-nobody-guesses"
HERE = f"http://127.0.0.1:{PORT}"


@dataclass
class MadeBook:
    """A book with one outing of a burst, a sweep and a single, all answered."""

    folder: Path
    outing: int
    frames: tuple[Frame, ...]


def fill(folder: Path, card: Path) -> MadeBook:
    """Write down an outing of ten frames as if it had been worked."""
    frames = find_frames([card]).frames
    names = tuple(frame.name for frame in frames)
    with open_book(folder) as book:
        outing = place_outing(book, card, "meadow", day="2031-06-14", in_place=True)
        keep_frames(book, outing, frames)
        sweep = Run("run-02", "sweep", names[4:9], (Pass("away", names[4:9]),), "")
        runs = (
            Run("run-01", "burst", names[:4], (), ""),
            sweep,
            Run("run-03", "single", names[9:], (), ""),
        )
        keep_runs(book, outing, runs)
        out = folder / "derived" / str(outing) / "run-02"
        merge = made_merge(frames[4:9], out)
        files = (
            merge.picture_jpeg,
            merge.picture,
            merge.origin_map,
            merge.depth_map,
            merge.confidence_map,
            merge.views,
        )
        for verb, run, some, answer, made in (
            ("keepers", "run-01", frames[:4], made_keepers(frames[:4]), ()),
            ("gaps", "run-02", frames[4:9], made_coverage(frames[4:9]), ()),
            ("merge", "run-02", frames[4:9], merge, tuple(out / name for name in files)),
        ):
            key = step_key(verb, some, {})
            record(book, outing, verb, run, key, {}, answer, made)
    return MadeBook(folder, outing, tuple(frames))


@dataclass
class MergedBook:
    """A book with one small sweep that was really merged."""

    folder: Path
    merge: Path
    numbers: dict[str, int]


def fill_merged(place: Path, pictures: str = "shot") -> MergedBook:
    """Merge a small sweep of seven frames into a book, its right half sharp in the sixth."""
    shot = place / pictures
    shot.mkdir(parents=True)
    made, _ = two_depths(shot)
    folder = place / "book"
    out = folder / "derived" / "1" / "run-01"
    with made.lumas, Decoder(1) as decoder:
        merge = merge_sweep(made, decoder, out)
    file_merge(merge, out, ())
    files = (
        merge.picture, merge.picture_jpeg, merge.origin_map, merge.depth_map,
        merge.confidence_map, merge.seen_map, merge.views,
    )  # fmt: skip
    with open_book(folder) as book:
        outing = place_outing(book, shot, "two depths", in_place=True)
        keep_frames(book, outing, made.frames)
        names = tuple(frame.name for frame in made.frames)
        keep_runs(book, outing, (Run("run-01", "sweep", names, (), ""),))
        key = step_key("merge", made.frames, {})
        record(book, outing, "merge", "run-01", key, {}, merge, [out / name for name in files])
        return MergedBook(folder, out, dict(frame_ids(book, outing)))


def fill_raw(place: Path) -> MadeBook:
    """Write a burst of three raw files down, each with a bluish preview half as large inside."""
    shot = place / "shot"
    shot.mkdir()
    ramp = np.rint(256 + 3000 * np.tile(np.arange(640) / 639, (480, 1))).astype(np.uint16)
    blue = np.full((240, 320, 3), (60, 90, 190), np.uint8)
    inside = simplejpeg.encode_jpeg(blue, 95)
    for second in range(3):
        when = f"2031:06:14 18:04:{second:02d}"
        write_dng(shot / f"R_{second}.DNG", ramp, inside, (320, 240), when=when)
    frames = find_frames([shot]).frames
    with open_book(place / "book") as book:
        outing = place_outing(book, shot, "raw", in_place=True)
        keep_frames(book, outing, frames)
        names = tuple(frame.name for frame in frames)
        keep_runs(book, outing, (Run("run-01", "burst", names, (), ""),))
    return MadeBook(place / "book", outing, tuple(frames))


@pytest.fixture
def worked(tmp_path: Path, card: Path) -> MadeBook:
    """Answer a book of its own for each test."""
    return fill(tmp_path / "book", card)


@pytest.fixture
def stranger(worked: MadeBook) -> Iterator[TestClient]:
    """Somebody without the key, who asks under the right address."""
    with TestClient(
        Guard(make_app(worked.folder), PORT, TOKEN),  # type: ignore[arg-type]
        base_url=HERE,
        raise_server_exceptions=False,
    ) as client:
        yield client


@pytest.fixture
def page(stranger: TestClient) -> TestClient:
    """The bench's own page, after it was entered with the key."""
    assert stranger.get("/enter", params={"t": TOKEN}).status_code == 200
    stranger.headers.update({"origin": HERE, "sec-fetch-site": "same-origin"})
    return stranger
