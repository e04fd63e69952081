"""A made-up card, and what must hold of a book whatever happened to the unloading."""

from __future__ import annotations

import hashlib
import os
import random
import sqlite3
from collections import Counter
from pathlib import Path
from typing import Any

from tests.frames.made import jpeg_bytes, texture, words

Tree = dict[str, tuple[str, int]]


def photo(stamp: str, seed: int, serial: str = "0012345") -> bytes:
    """A tiny JPEG with a time and a body's serial number."""
    return jpeg_bytes(texture(24, 32, seed), exif={0x9003: words(stamp), 0xA431: words(serial)})


def make_card(root: Path, files: int, *, big_bytes: int = 120_000, seed: int = 1) -> Path:
    """A card of two folders whose numbers roll over, with pairs, sidecars, twins, strangers."""
    rng = random.Random(seed)
    made = 0

    def put(path: Path, data: bytes) -> None:
        nonlocal made
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        moment = (1_923_000_000 + made * 7) * 10**9  # June 2030
        os.utime(path, ns=(moment, moment))
        made += 1

    put(root / ".index", b"the camera's own list")
    put(root / "MISC" / "order.mrk", b"")
    number = 9980
    while made < files:
        folder = root / "DCIM" / ("100ABCDE" if number <= 9999 else "101ABCDE")
        name = f"M_{(number - 1) % 9999 + 1:04d}"
        day = 14 + made * 2 // files
        stamp = f"2031:06:{day} 18:{made // 60 % 60:02d}:{made % 60:02d}"
        put(folder / f"{name}.JPG", photo(stamp, number) + rng.randbytes(rng.randrange(4000)))
        if number % 3 == 0 and made < files:
            put(folder / f"{name}.RAW", rng.randbytes(rng.randrange(1, big_bytes)))
        if number % 7 == 0 and made < files:
            put(folder / f"{name}.XMP", b"<x:xmpmeta/>")  # many of the same content
        number += 1
    return root


def tree(root: Path) -> Tree:
    """Hash and time of every file below a folder."""
    return {
        path.relative_to(root).as_posix(): (_sha(path), path.stat().st_mtime_ns)
        for path in sorted(root.rglob("*"))
        if path.is_file() and not path.is_symlink()
    }


def _sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def payload(root: Path) -> dict[str, str]:
    """Hash of every file that has its final name."""
    return {
        path.relative_to(root).as_posix(): _sha(path)
        for bag in sorted(root.glob("*/data"))
        for path in sorted(bag.rglob("*"))
        if path.is_file()
    }


def manifests(root: Path) -> dict[str, str]:
    """What the lists of hashes say."""
    said = {}
    for place in root.glob("*/manifest-sha256.txt"):
        for line in place.read_text("utf-8").splitlines():
            digest, _, path = line.partition("  ")
            said[f"{place.parent.name}/{path}"] = digest
    return said


def rows(book: Path, query: str) -> list[tuple[Any, ...]]:
    connection = sqlite3.connect(book / "fieldbook.sqlite")
    try:
        return connection.execute(query).fetchall()
    finally:
        connection.close()


def check_always(book: Path, card: Path, before: Tree, second: Path | None = None) -> None:
    """What must hold at every instant, also right after a kill."""
    assert tree(card) == before, "the card was touched"
    assert rows(book, "PRAGMA integrity_check") == [("ok",)]
    assert rows(book, "PRAGMA foreign_key_check") == []
    on_card = Counter(digest for digest, _ in before.values())
    for root in [book / "originals", *([second] if second else [])]:
        finals = payload(root)
        assert set(finals.values()) <= set(on_card), "a half or foreign file has a final name"
        assert Counter(finals.values()) <= on_card, "a file is there twice"
        listed = manifests(root)
        assert {path: finals.get(path) for path in listed} == listed, "a list without its file"
    if not rows(book, "SELECT 1 FROM sqlite_master WHERE name = 'copy'"):
        return
    alone = "SELECT id FROM original WHERE id NOT IN (SELECT original_id FROM copy c JOIN place p "
    assert rows(book, alone + "ON p.id = c.place_id WHERE p.role = 'first')") == []
    for root, path, digest in rows(
        book,
        "SELECT p.root, c.path, o.sha256 FROM copy c JOIN original o ON o.id = c.original_id "
        "JOIN place p ON p.id = c.place_id",
    ):
        assert _sha(book / root / path) == digest, "a record without its file"


def check_finished(book: Path, card: Path, before: Tree, second: Path | None = None) -> None:
    """What must hold when an unloading ended well."""
    check_always(book, card, before, second)
    on_card = Counter(digest for digest, _ in before.values())
    for root in [book / "originals", *([second] if second else [])]:
        finals = payload(root)
        assert Counter(finals.values()) == on_card, "a file was lost"
        assert manifests(root) == finals
        assert not list(root.rglob("*.part"))
    known = rows(book, "SELECT path, original_id, trouble FROM card_file")
    assert {row[0] for row in known} == set(before)
    assert all(row[1] is not None and row[2] == "" for row in known)


def state(book: Path, second: Path | None = None) -> dict[str, Any]:
    """All that two finished books must share, however they came about."""
    return {
        "first": payload(book / "originals"),
        "second": payload(second) if second else {},
        "times": sorted(
            (path.relative_to(book).as_posix(), path.stat().st_mtime_ns)
            for path in (book / "originals").glob("*/data/**/*")
            if path.is_file()
        ),
        "outing": rows(book, "SELECT day, name FROM outing ORDER BY day"),
        "original": rows(
            book,
            "SELECT o.sha256, o.bytes, o.path, o.kind, t.day FROM original o "
            "JOIN outing t ON t.id = o.outing_id ORDER BY o.sha256, o.path",
        ),
        "copy": rows(
            book,
            "SELECT o.sha256, p.role, c.path, c.state FROM copy c JOIN place p "
            "ON p.id = c.place_id JOIN original o ON o.id = c.original_id ORDER BY 1, 2, 3",
        ),
        "visit": rows(book, "SELECT DISTINCT name, ended IS NOT NULL FROM visit"),
        "card": rows(
            book,
            # killed between its last record and its end, a visit is followed by one more
            "SELECT DISTINCT f.path, f.bytes, f.mtime_ns, o.sha256, o.path, f.trouble "
            "FROM card_file f "
            "LEFT JOIN original o ON o.id = f.original_id ORDER BY f.path",
        ),
    }
