"""Names that fit every disk, and files that are seen on it."""

from __future__ import annotations

from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import FrameError, WriteError
from haltere.fieldbook.card import CardFile
from haltere.fieldbook.copying import NotTheSameError, pour, settle
from haltere.fieldbook.durable import fresh_part, read_back
from haltere.fieldbook.naming import Names, Token, fit_path, numbered, same_place

PARTS = st.text(
    st.characters(exclude_characters="/\0", exclude_categories=()), min_size=1, max_size=60
).filter(lambda part: part not in (".", ".."))
PATHS = st.lists(PARTS, min_size=1, max_size=3).map("/".join)


@given(st.lists(PATHS, max_size=12))
def test_no_two_files_ever_share_a_name_on_any_disk(paths: list[str]) -> None:
    names = Names([])
    given_out: list[str] = []
    for number, path in enumerate(paths):
        token: Token = (path, number, 0)
        name = next(iter(names.free_for(fit_path(PurePosixPath(path)), frozenset([token]))))
        names.take(name, token)
        given_out.append(name)
    assert len({same_place(name) for name in given_out}) == len(given_out)
    folders = {
        same_place(folder.as_posix()) for n in given_out for folder in PurePosixPath(n).parents
    }
    assert not folders & {same_place(name) for name in given_out}


@given(PARTS)
def test_a_name_made_fit_is_fit(part: str) -> None:
    once = fit_path(PurePosixPath(part))
    assert fit_path(PurePosixPath(once)) == once
    assert not set(once) & set('<>:"|?*\\%\n\r\0')
    once.encode("utf-8")


@given(st.text(st.characters(exclude_characters="/\0", codec="utf-8"), min_size=1, max_size=255))
def test_a_numbered_name_is_no_longer_than_a_disk_allows(name: str) -> None:
    name = fit_path(PurePosixPath(name)) or "x"
    assert len(PurePosixPath(numbered(name, 12)).name.encode()) <= 255


def on_card(path: Path, data: bytes, size: int | None = None) -> CardFile:
    path.write_bytes(data)
    inside = PurePosixPath(path.name)
    return CardFile(path, inside, path.name, len(data) if size is None else size, 10**18)


def test_a_file_is_poured_and_settled_with_its_time(tmp_path: Path) -> None:
    data = bytes(range(256)) * 9000
    file = on_card(tmp_path / "a", data)
    part = fresh_part(tmp_path)
    sha256 = pour(file, [part], lambda count: None)
    settle(part, tmp_path / "deep" / "b", sha256)
    assert (tmp_path / "deep" / "b").read_bytes() == data
    assert (tmp_path / "deep" / "b").stat().st_mtime_ns == 10**18
    assert not part.exists()


def test_a_file_that_changed_under_way_gets_no_name(tmp_path: Path) -> None:
    part = fresh_part(tmp_path)
    sha256 = pour(on_card(tmp_path / "a", b"abc"), [part], lambda count: None)
    part.write_bytes(b"abd")
    with pytest.raises(NotTheSameError, match="distrust"):
        settle(part, tmp_path / "b", sha256)
    assert not (tmp_path / "b").exists()
    assert not part.exists()


def test_a_name_that_was_taken_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    part = fresh_part(tmp_path)
    sha256 = pour(on_card(tmp_path / "a", b"abc"), [part], lambda count: None)
    (tmp_path / "b").write_bytes(b"somebody else's")
    with pytest.raises(WriteError, match="took this name"):
        settle(part, tmp_path / "b", sha256)
    assert (tmp_path / "b").read_bytes() == b"somebody else's"


def test_a_file_shorter_than_announced_is_refused(tmp_path: Path) -> None:
    part = fresh_part(tmp_path)
    with pytest.raises(FrameError, match="announced"):
        pour(on_card(tmp_path / "a", b"abc", size=4), [part], lambda count: None)
    assert not part.exists()


def test_a_disk_that_can_t_hold_a_name_says_so_in_words(tmp_path: Path) -> None:
    part = fresh_part(tmp_path)
    sha256 = pour(on_card(tmp_path / "a", b"abc"), [part], lambda count: None)
    with pytest.raises(WriteError, match="name is too long"):
        settle(part, tmp_path / ("x" * 300), sha256)


def test_a_file_is_read_back_whole(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    back = read_back(tmp_path / "a")
    assert back.size == 3
    assert back.sha256.startswith("ba7816bf")  # FIPS 180-4, example 'abc'
