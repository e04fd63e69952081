"""An outing that was unloaded, one adopted in place, and another program that edits sidecars."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from haltere.fieldbook import Book, OutingRow, keep_frames, open_book, outings, place_outing
from haltere.fieldbook.unload import unload
from haltere.frames.frame import Frame, Shooting

LATER_S = 4_000_000_000
"""A time after every other in these tests."""


@dataclass(frozen=True)
class Walk:
    """One outing of a book."""

    book: Book
    row: OutingRow
    frames: tuple[Frame, ...]

    def sidecar(self, number: int) -> Path:
        return self.frames[number].path.with_suffix(".xmp")


def frame_at(path: Path, name: str, raw: Path | None = None) -> Frame:
    return Frame(
        path, name, "jpeg", 640, 480, 1, Shooting(), raw, None if raw is None else raw.name
    )


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book(tmp_path / "book") as opened:
        yield opened


@pytest.fixture
def unloaded(book: Book, tmp_path: Path) -> Walk:
    """Four frames; the first has a raw file beside it."""
    card = tmp_path / "card"
    card.mkdir()
    for number in range(1, 5):
        (card / f"M_{number:04}.JPG").write_bytes(b"picture %d" % number)
    (card / "M_0001.RAW").write_bytes(b"raw 1")
    unload(book, card, name="pond")
    return adopt(book, card)


def adopt(book: Book, card: Path) -> Walk:
    row = outings(book)[0]
    names = [path.name for path in sorted(card.glob("*.JPG"))]
    frames = []
    for name in names:
        raw = row.originals / Path(name).with_suffix(".RAW")
        frames.append(frame_at(row.originals / name, name, raw if raw.exists() else None))
    keep_frames(book, row.id, frames)
    return Walk(book, row, tuple(frames))


@pytest.fixture
def in_place(book: Book, tmp_path: Path) -> Walk:
    folder = tmp_path / "mine"
    folder.mkdir()
    frames = []
    for number in range(1, 4):
        path = folder / f"M_{number:04}.JPG"
        path.write_bytes(b"picture %d" % number)
        frames.append(frame_at(path, path.name))
    place_outing(book, folder, "mine", in_place=True)
    row = outings(book)[0]
    keep_frames(book, row.id, frames)
    return Walk(book, row, tuple(frames))


Editor = Callable[..., None]


@pytest.fixture
def other_program() -> Editor:
    """Edit a sidecar as another program would, at a time after all decisions unless told."""
    import pyexiv2

    def edit(
        path: Path,
        *,
        rating: int | None = None,
        words: Sequence[str] | None = None,
        at_s: float = LATER_S,
    ) -> None:
        if not path.exists():
            path.write_text(
                '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF '
                'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"/></x:xmpmeta>'
            )
        changes: dict[str, object] = {}
        if rating is not None:
            changes["Xmp.xmp.Rating"] = str(rating)
        if words is not None:
            changes["Xmp.dc.subject"] = list(words)
        with pyexiv2.Image(str(path)) as image:
            image.modify_xmp(changes)
        os.utime(path, (at_s, at_s))

    return edit
