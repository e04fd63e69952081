"""Disks of this room's tests: every folder beside the card is one of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from haltere.fieldbook import Book, open_book
from tests.fieldbook.kept import make_card


@pytest.fixture
def disks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder whose sub-folders count as disks, and whose files are read from them."""

    def disk_of(path: Path) -> str:
        return path.resolve().relative_to(tmp_path.resolve()).parts[0]

    for module in ("originals", "card", "verify"):
        monkeypatch.setattr(f"haltere.fieldbook.{module}.disk_of", disk_of)
    for module in ("durable", "copying"):
        monkeypatch.setattr(f"haltere.fieldbook.{module}.drop_cache", lambda stream: "disk")
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    return tmp_path


@pytest.fixture
def card(disks: Path) -> Path:
    """A small card on a disk of its own."""
    return make_card(disks / "card", 24, big_bytes=9000)


@pytest.fixture
def book(disks: Path) -> Iterator[Book]:
    """A book on the first disk."""
    with open_book(disks / "one" / "book") as opened:
        yield opened
