"""Unloading a card: what arrives, under which name, and what is said of it."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from haltere.errors import UsageError, WriteError
from haltere.fieldbook import Book, open_book
from haltere.fieldbook.clock import set_clock
from haltere.fieldbook.originals import originals_of
from haltere.fieldbook.refusals import check_unload
from haltere.fieldbook.unload import unload
from tests.fieldbook.kept import check_finished, make_card, payload, photo, tree


def finals(book: Book) -> set[str]:
    return set(payload(book.originals))


def put(path: Path, data: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    os.utime(path, ns=(1_923_000_000 * 10**9,) * 2)  # 8 December 2030
    return path


def test_every_file_of_a_card_arrives_twice_and_the_card_is_not_touched(
    book: Book, card: Path, disks: Path
) -> None:
    before = tree(card)
    said = unload(book, card, second=disks / "two" / "copies")
    check_finished(book.folder, card, before, disks / "two" / "copies")
    assert said.files == len(before)
    assert said.copied + said.known == said.files
    assert said.troubles == ()


def test_files_go_to_the_day_of_their_exposure_and_keep_their_place_on_the_card(
    book: Book, disks: Path
) -> None:
    card = disks / "card"
    put(card / "DCIM" / "100ABCDE" / "M_0001.JPG", photo("2031:06:14 23:59:59", 1))
    put(card / "DCIM" / "100ABCDE" / "M_0002.JPG", photo("2031:06:15 00:00:01", 2))
    put(card / "DCIM" / "100ABCDE" / "M_0002.XMP", b"with its frame")
    put(card / "MISC" / "notes.txt", b"by its own time")
    said = unload(book, card, name="meadow")
    assert finals(book) == {
        "2031-06-14 meadow/data/DCIM/100ABCDE/M_0001.JPG",
        "2031-06-15 meadow/data/DCIM/100ABCDE/M_0002.JPG",
        "2031-06-15 meadow/data/DCIM/100ABCDE/M_0002.XMP",
        "2030-12-08 meadow/data/MISC/notes.txt",
    }
    assert [(one.day, one.name, one.files) for one in said.outings] == [
        ("2030-12-08", "meadow", 1),
        ("2031-06-14", "meadow", 1),
        ("2031-06-15", "meadow", 2),
    ]
    assert [one.path for one in originals_of(book, said.outings[2].id)] == [
        "DCIM/100ABCDE/M_0002.JPG",
        "DCIM/100ABCDE/M_0002.XMP",
    ]


def test_a_clock_that_was_put_right_moves_frames_to_the_right_day(book: Book, disks: Path) -> None:
    put(disks / "card" / "DCIM" / "100ABCDE" / "M_0001.JPG", photo("2031:06:15 00:30:00", 1))
    set_clock(book, "0012345", -3600.0)
    assert [one.day for one in unload(book, disks / "card").outings] == ["2031-06-14"]


def test_a_card_s_pictures_folder_alone_gives_the_same_names(
    book: Book, card: Path, disks: Path
) -> None:
    unload(book, card / "DCIM")
    alone = finals(book)
    with open_book(disks / "one" / "other") as other:
        unload(other, card)
        assert alone == {name for name in finals(other) if "/DCIM/" in name}


def test_a_frame_that_is_there_is_recognised_whatever_its_name(
    book: Book, card: Path, disks: Path
) -> None:
    unload(book, card)
    before = finals(book)
    other = disks / "other"
    for number, path in enumerate(sorted(p for p in card.rglob("*") if p.is_file())):
        put(other / f"renamed-{number}", path.read_bytes())
    said = unload(book, other)
    assert (said.copied, said.known) == (0, said.files)
    assert finals(book) == before


def test_files_of_equal_content_on_one_card_are_each_kept(book: Book, disks: Path) -> None:
    card, place = disks / "card", Path("DCIM", "100ABCDE")
    for number in (1, 2, 3):
        put(card / place / f"M_000{number}.JPG", photo("2031:06:14 10:00:00", number))
        put(card / place / f"M_000{number}.XMP", b"<x:xmpmeta/>")
        put(card / "MISC" / f"empty-{number}", b"")
        put(card / "SOUND" / f"S_{number}.WAV", b"RIFF" * 99)
    before = tree(card)
    said = unload(book, card)
    assert (said.copied, said.known) == (12, 0)
    check_finished(book.folder, card, before)
    assert sum(one.files for one in said.outings) == len(finals(book)) == 12
    for one in said.outings:
        assert one.files == sum(1 for p in Path(one.folder, "data").rglob("*") if p.is_file())
    again = unload(book, card)
    assert (again.copied, again.known) == (0, 12)
    assert len(finals(book)) == 12


def test_files_of_equal_content_keep_to_their_own_original(book: Book, disks: Path) -> None:
    card = disks / "card"
    put(card / "B.WAV", b"sound")
    unload(book, card)
    put(card / "A.WAV", b"sound")  # comes first, and must not take the place of the other
    said = unload(book, card)
    assert (said.copied, said.known) == (1, 1)
    assert {Path(name).name for name in finals(book)} == {"A.WAV", "B.WAV"}
    own = book.connection.execute(
        "SELECT DISTINCT f.path, o.path FROM card_file f JOIN original o ON o.id = f.original_id"
    ).fetchall()
    assert {tuple(row) for row in own} == {("A.WAV", "A.WAV"), ("B.WAV", "B.WAV")}


def test_the_sidecar_of_another_frame_is_not_taken_for_one_of_equal_bytes(
    book: Book, disks: Path
) -> None:
    place = Path("DCIM", "100ABCDE")
    for camera, seed in (("a", 1), ("b", 2)):
        put(disks / camera / place / "M_0001.JPG", photo("2031:06:14 10:00:00", seed))
        sidecar = put(disks / camera / place / "M_0001.AAE", b"all the same")
        os.utime(sidecar, (seed, seed))
        said = unload(book, disks / camera)
        assert said.copied == 2
    assert {Path(name).name for name in finals(book)} == {
        "M_0001.JPG", "M_0001.AAE", "M_0001-2.JPG", "M_0001-2.AAE",
    }  # fmt: skip


def test_a_frame_s_sidecar_is_recognised_though_its_time_changed(book: Book, disks: Path) -> None:
    place = disks / "card" / "DCIM" / "100ABCDE"
    put(place / "M_0001.JPG", photo("2031:06:14 10:00:00", 1))
    sidecar = put(place / "M_0001.AAE", b"all the same")
    unload(book, disks / "card")
    os.utime(sidecar, (1, 1))
    assert unload(book, disks / "card").copied == 0


def test_another_file_of_the_same_name_never_overwrites(book: Book, disks: Path) -> None:
    place = Path("DCIM", "100ABCDE")
    for camera, seed in (("a", 1), ("b", 2)):
        put(disks / camera / place / "M_0001.JPG", photo("2031:06:14 10:00:00", seed))
        unload(book, disks / camera)
    assert {Path(name).name for name in finals(book)} == {"M_0001.JPG", "M_0001-2.JPG"}
    kept = book.originals / "2031-06-14" / "data" / place
    assert (kept / "M_0001.JPG").read_bytes() == photo("2031:06:14 10:00:00", 1)
    assert (kept / "M_0001-2.JPG").read_bytes() == photo("2031:06:14 10:00:00", 2)


def test_a_file_put_among_the_originals_by_hand_is_neither_overwritten_nor_believed(
    book: Book, disks: Path
) -> None:
    place = Path("DCIM", "100ABCDE", "M_0001.JPG")
    mine = put(book.originals / "2031-06-14" / "data" / place, b"mine")
    put(disks / "card" / place, photo("2031:06:14 10:00:00", 1))
    unload(book, disks / "card")
    assert mine.read_bytes() == b"mine"
    assert (mine.parent / "M_0001-2.JPG").read_bytes() == photo("2031:06:14 10:00:00", 1)


def test_another_card_at_the_same_door_is_another_visit(
    book: Book, disks: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(step: str, done: int, total: int, /) -> None:
        if (book.originals / "2031-06-14" / "data").exists():
            raise KeyboardInterrupt

    card = make_card(disks / "card", 90, big_bytes=3000)
    with pytest.raises(KeyboardInterrupt):
        unload(book, card, progress=stop)
    shutil.rmtree(card)
    make_card(card, 10, seed=5)
    before = tree(card)
    assert unload(book, card).files == len(before)
    visits = book.connection.execute(
        "SELECT visit_id, count(*) FROM card_file GROUP BY 1 ORDER BY 1"
    ).fetchall()
    assert visits[-1][1] == len(before)
    assert len(visits) == 2


def test_a_pair_of_two_cameras_that_count_alike_stays_a_pair(book: Book, disks: Path) -> None:
    place = Path("DCIM", "100ABCDE")
    put(disks / "a" / place / "M_0001.RAW", b"II*\0 raw of the first camera")
    put(disks / "a" / place / "M_0001.XMP", photo("2031:06:14 10:00:00", 9))
    put(disks / "b" / place / "M_0001.JPG", photo("2031:06:14 10:00:00", 2))
    put(disks / "b" / place / "M_0001.RAW", b"II*\0 raw of the second camera")
    unload(book, disks / "a")
    unload(book, disks / "b")
    assert {Path(name).name for name in finals(book)} == {
        "M_0001.RAW", "M_0001.XMP", "M_0001-2.JPG", "M_0001-2.RAW",
    }  # fmt: skip


def test_names_that_differ_in_case_or_accents_only_are_kept_apart(book: Book, disks: Path) -> None:
    folder = disks / "card" / "DCIM" / "100ABCDE"
    names = ["M_0001.JPG", "m_0001.jpg", "caf\u00e9.txt", "cafe\u0301.txt"]
    for name in names:
        put(folder / name, name.encode())
    unload(book, disks / "card")
    kept = {Path(name).name for name in finals(book)}
    assert len({name.casefold() for name in kept}) == 4


def test_names_as_long_as_a_disk_allows_and_of_any_signs_arrive(book: Book, disks: Path) -> None:
    folder = disks / "card" / "DCIM" / "100ABCDE"
    long = "\u00e4" * 125 + ".jpg"
    odd = os.fsdecode(b"bad-\xff.jpg")
    for where, name, data in (
        (folder, long, b"1"), (folder, odd, b"2"), (folder, "50% a\\b\n.jpg", b"3"),
        (folder, "CON", b"4"), (folder, " .", b"5"), (folder.with_name("101ABCDE"), long, b"6"),
    ):  # fmt: skip
        put(where / name, data)
    put(disks / "again" / "DCIM" / "100ABCDE" / long, b"7")
    said = unload(book, disks / "card")
    unload(book, disks / "again")
    assert said.troubles == ()
    kept = {Path(name).name for name in finals(book)}
    assert len(finals(book)) == 7
    assert {"bad-_.jpg", "50_ a_b_.jpg", "_CON", " _", long} < kept
    assert max(len(name.encode()) for name in kept) <= 255


def test_a_folder_where_another_card_has_a_file_takes_another_name(book: Book, disks: Path) -> None:
    put(disks / "a" / "DCIM" / "100ABCDE", b"a file")
    put(disks / "b" / "DCIM" / "100ABCDE" / "M_0001.JPG", b"in a folder")
    unload(book, disks / "a")
    assert unload(book, disks / "b").troubles == ()
    assert len(finals(book)) == 2


def test_links_are_named_and_not_followed(book: Book, card: Path, disks: Path) -> None:
    outside = put(disks / "secret" / "diary.txt", b"not on the card")
    (card / "DCIM" / "out.txt").symlink_to(outside)
    (card / "DCIM" / "folder").symlink_to(outside.parent)
    (card / "DCIM" / "round").symlink_to(card)
    os.mkfifo(card / "pipe")
    said = unload(book, card)
    assert {one.file for one in said.left_out} == {
        "DCIM/out.txt", "DCIM/folder", "DCIM/round", "pipe",
    }  # fmt: skip
    assert not any("diary" in name or "out.txt" in name for name in finals(book))


def test_a_file_that_can_t_be_read_keeps_the_card_from_being_safe(
    book: Book, card: Path, disks: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from haltere.fieldbook import copying

    def refusing(stream: object) -> str:
        if str(getattr(stream, "name", "")).endswith("M_9990.JPG"):
            raise OSError(5, "Input/output error")
        return "disk"

    monkeypatch.setattr(copying, "drop_cache", refusing)
    said = unload(book, card, second=disks / "two" / "copies")
    assert said.verdict.code == "keep"
    assert [Path(one.file).name for one in said.troubles] == ["M_9990.JPG"]
    monkeypatch.setattr(copying, "drop_cache", lambda stream: "disk")
    assert unload(book, card, second=disks / "two" / "copies").verdict.code == "safe-to-format"


def test_safe_to_format_needs_two_disks(book: Book, card: Path, disks: Path) -> None:
    said = unload(book, card)
    assert said.verdict.code == "one-copy"
    assert "keep the card" in said.verdict.text
    same = unload(book, card, second=disks / "one" / "beside")
    assert same.verdict.code == "one-copy"
    assert same.verdict.text.startswith("Two copies on the same disk, keep the card")
    assert "One verified copy" not in same.verdict.text
    safe = unload(book, card, second=disks / "two" / "copies")
    assert safe.verdict.code == "safe-to-format"
    assert safe.verdict.text.startswith("Safe to format")


def test_a_card_s_own_disk_is_never_called_safe_to_format(book: Book, disks: Path) -> None:
    card = make_card(disks / "two" / "card", 6)
    said = unload(book, card, second=disks / "two" / "copies")
    assert said.verdict.code == "safe-to-empty"
    assert "never format" in said.verdict.text


def test_what_was_only_read_from_memory_is_not_called_safe(
    book: Book, card: Path, disks: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("haltere.fieldbook.durable.drop_cache", lambda stream: "cache")
    said = unload(book, card, second=disks / "two" / "copies")
    assert said.verified_from == "cache"
    assert said.verdict.code == "two-copies"
    assert "verified from cache" in said.verdict.text


def test_a_copy_that_broke_since_is_made_again_from_the_card(
    book: Book, card: Path, disks: Path
) -> None:
    before = tree(card)
    second = disks / "two" / "copies"
    unload(book, card, second=second)
    first_gone, second_changed = sorted(payload(book.originals))[3:5]
    (book.originals / first_gone).unlink()
    (second / second_changed).write_bytes(b"rot")
    said = unload(book, card, second=second)
    assert said.mended == 2
    assert said.verdict.code == "safe-to-format"
    check_finished(book.folder, card, before, second)
    assert (second / "set-aside" / second_changed).read_bytes() == b"rot"


def test_a_second_copy_can_be_had_later(book: Book, card: Path, disks: Path) -> None:
    before = tree(card)
    unload(book, card)
    said = unload(book, card, second=disks / "two" / "copies")
    assert said.copied == 0
    check_finished(book.folder, card, before, disks / "two" / "copies")


def test_a_folder_is_adopted_where_it_stands_and_nothing_is_written_there(
    book: Book, card: Path, disks: Path
) -> None:
    before = tree(card)
    said = unload(book, card, in_place=True, second=disks / "two" / "copies")
    assert tree(card) == before
    assert finals(book) == set()
    (outing,) = said.outings
    assert (outing.name, outing.folder) == ("card", str(card.resolve()))
    assert said.verdict.code == "two-copies"
    assert set(payload(disks / "two" / "copies").values()) == {one for one, _ in before.values()}
    assert unload(book, card, in_place=True).copied == 0


def test_an_adopted_folder_alone_is_one_copy(book: Book, card: Path) -> None:
    verdict = unload(book, card, in_place=True).verdict
    assert verdict.code == "one-copy"
    assert "card" not in verdict.text


def test_folders_that_make_no_sense_together_are_refused(
    book: Book, card: Path, disks: Path
) -> None:
    for source, second in (
        (book.folder, None),
        (book.originals, None),
        (disks / "one", None),
        (card, card / "copies"),
        (card, card),
        (card, book.folder / "copies"),
        (card, disks / "no" / "such" / "disk"),
        (disks / "nowhere", None),
    ):
        book.originals.mkdir(exist_ok=True)
        with pytest.raises(UsageError):
            unload(book, source, second=second)
    assert finals(book) == set()


def test_nothing_is_made_on_a_card_of_which_only_a_folder_is_unloaded(
    book: Book, card: Path, disks: Path
) -> None:
    before = set(disks.rglob("*"))
    for source in (card / "DCIM", card / "DCIM" / "100ABCDE", card / "MISC"):
        with pytest.raises(UsageError, match="lies with the files"):
            unload(book, source, second=card / "copies")
        with pytest.raises(UsageError, match="nothing is written there"):
            check_unload(card / "bk", source)
    assert set(disks.rglob("*")) == before


def test_another_field_book_is_no_card(book: Book, disks: Path) -> None:
    with open_book(disks / "other"):
        pass
    with pytest.raises(UsageError, match="another field book"):
        unload(book, disks / "other")


def test_an_adopted_folder_is_never_made_a_second_one_nor_the_reverse(
    book: Book, card: Path, disks: Path
) -> None:
    second = disks / "two" / "copies"
    unload(book, card, second=second)
    before = tree(second)
    with pytest.raises(UsageError, match="second copies"):
        unload(book, second, in_place=True)
    assert tree(second) == before
    mine = make_card(disks / "mine", 4, seed=3)
    unload(book, mine, in_place=True)
    with pytest.raises(UsageError, match="never written to"):
        unload(book, card, second=mine)


@pytest.mark.parametrize("name", ["...", "x" * 300, "\\\\", "a\nb", "a\x07b", "a\u2028b"])
def test_a_name_that_can_be_no_folder_is_refused(book: Book, card: Path, name: str) -> None:
    with pytest.raises(UsageError, match="--name"):
        unload(book, card, name=name)


def test_a_disk_without_room_is_refused_before_the_first_copy(
    book: Book, card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = shutil.disk_usage(book.folder)._replace(free=1000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: room)
    with pytest.raises(WriteError, match="Nothing was copied"):
        unload(book, card)
    assert finals(book) == set()


def test_progress_is_told_and_reaches_the_end(book: Book, card: Path) -> None:
    heard: list[tuple[int, int]] = []
    unload(book, card, progress=lambda step, done, total: heard.append((done, total)))
    assert heard[0][0] == 0
    assert [done for done, _ in heard] == sorted(done for done, _ in heard)
