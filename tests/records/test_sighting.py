"""One animal, one visit, one record."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from haltere.errors import FrameError, HaltereError, UsageError
from haltere.fieldbook import Book, OutingRow
from haltere.fieldbook.checklists import drop_checklist, keep_checklist
from haltere.fieldbook.sightings import (
    Evidence,
    Sighting,
    change_sighting,
    keep_sighting,
    restore_sighting,
    sighting_numbered,
    sightings,
    versions_of,
    withdraw_sighting,
)
from haltere.records import Asked, evidence_named, read_checklist, same_animal, sighting_from
from tests.records.meadow import CHECKLIST, LATITUDE, LONGITUDE, gpx, meadow

ZONE = timezone(timedelta(hours=1))


@pytest.fixture
def outing(book: Book, tmp_path: Path) -> OutingRow:
    return meadow(book, tmp_path / "lane")


def said(
    book: Book, outing: OutingRow, *names: str, asked: Asked | None = None, **words: Any
) -> Sighting:
    evidence = evidence_named(book, outing, names)
    words = {"name": "Inventa pratensis", "observer": "Ana", **words}
    return sighting_from(book, words, asked or Asked(zone=ZONE), evidence)


def test_the_time_is_that_of_the_first_picture_with_its_offset(
    book: Book, outing: OutingRow
) -> None:
    assert said(book, outing, "M_0003.JPG", "run-01").when == "2031-06-14T18:04:12+01:00"


def test_a_clock_that_was_off_is_put_right(book: Book, outing: OutingRow) -> None:
    moved = said(book, outing, "run-01", asked=Asked(zone=ZONE, clock_s=-3600.0))
    assert moved.when == "2031-06-14T17:04:12+01:00"


def test_the_camera_s_own_offset_counts_before_the_zone(book: Book, tmp_path: Path) -> None:
    row = meadow(book, tmp_path / "abroad", offset="-05:00")
    assert said(book, row, "M_0001.JPG").when == "2031-06-14T18:04:12-05:00"


def test_a_track_tells_the_place_by_the_time(book: Book, outing: OutingRow, tmp_path: Path) -> None:
    track = gpx(tmp_path / "w.gpx", [(-100, 38.0, -9.0), (0, 38.7, -9.1), (100, 39.0, -9.2)])
    where = said(book, outing, "run-01", asked=Asked(zone=ZONE, track=track)).where
    assert where is not None
    assert (where.latitude_deg, where.longitude_deg) == (38.7, -9.1)


def test_the_clock_s_shift_moves_along_the_track(
    book: Book, outing: OutingRow, tmp_path: Path
) -> None:
    track = gpx(tmp_path / "w.gpx", [(-100, 38.0, -9.0), (0, 38.7, -9.1), (100, 39.0, -9.2)])
    asked = Asked(zone=ZONE, track=track, clock_s=100.0)
    where = said(book, outing, "run-01", asked=asked).where
    assert where is not None
    assert where.latitude_deg == 39.0


def test_a_picture_s_own_place_is_taken_when_asked(book: Book, outing: OutingRow) -> None:
    assert said(book, outing, "run-01").where is None
    where = said(book, outing, "run-01", asked=Asked(zone=ZONE, exif=True)).where
    assert where is not None
    assert where.latitude_deg == pytest.approx(LATITUDE, abs=1e-6)
    assert where.longitude_deg == pytest.approx(LONGITUDE, abs=1e-6)
    assert where.uncertainty_m == 8.0


def test_a_picture_without_a_place_is_named_with_the_cure(book: Book, outing: OutingRow) -> None:
    with pytest.raises(FrameError, match="--gpx or --at"):
        said(book, outing, "M_0004.JPG", asked=Asked(zone=ZONE, exif=True))


def test_a_place_by_hand_keeps_its_datum_and_error(book: Book, outing: OutingRow) -> None:
    asked = Asked(zone=ZONE, at=(38.5, -9.5), within_m=50.0, datum="EPSG:4258")
    where = said(book, outing, "run-01", asked=asked).where
    assert where is not None
    assert (where.uncertainty_m, where.datum, where.source) == (50.0, "EPSG:4258", "hand")


def test_a_sighting_without_a_picture_needs_a_time(book: Book, outing: OutingRow) -> None:
    with pytest.raises(UsageError, match="--when"):
        said(book, outing)
    for day in ("2031-06-14", "20310614", "2031-W24-6"):
        assert said(book, outing, asked=Asked(when=day)).when == "2031-06-14"


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Asked(at=(91.0, 0.0)), {}),
        (Asked(at=(0.0, 181.0)), {}),
        (Asked(at=(0.0, 0.0), within_m=0.0), {}),
        (Asked(at=(0.0, 0.0), within_m=float("nan")), {}),
        (Asked(within_m=5.0), {}),
        (Asked(at=(0.0, 0.0), exif=True), {}),
        (Asked(when="yesterday"), {}),
        (Asked(when="1204-01-01T10:00"), {}),
        (Asked(when="1204-01-01"), {}),
        (Asked(), {"count": 0}),
        (Asked(), {"certainty": "surely"}),
        (Asked(), {"country": "Portugal"}),
        (Asked(), {"name": "  "}),
        (Asked(), {"note": "x" * 501}),
        (Asked(clock_s=1e14), {}),
        (Asked(at=(0.0, 0.0), datum="a\x07b"), {}),
        (Asked(at=(0.0, 0.0), datum="x" * 41), {}),
    ],
)
def test_what_can_not_be_is_refused(
    book: Book, outing: OutingRow, asked: Asked, words: dict[str, Any]
) -> None:
    with pytest.raises(HaltereError):
        said(book, outing, "run-01", asked=asked, **words)


def test_the_occurrence_id_is_minted_once_and_outlives_every_change(
    book: Book, outing: OutingRow
) -> None:
    first = keep_sighting(book, said(book, outing, "run-01"))
    other = keep_sighting(book, said(book, outing, "run-02"))
    assert first.occurrence != other.occurrence
    changed = change_sighting(book, first.id, replace(first.said, count=3))
    gone = withdraw_sighting(book, first.id, "twice the same animal")
    back = restore_sighting(book, first.id)
    ids = {row.occurrence for row in (first, changed, gone, back)}
    assert len(ids) == 1
    assert ids.pop().startswith("urn:uuid:")


def test_earlier_versions_are_kept(book: Book, outing: OutingRow) -> None:
    row = keep_sighting(book, said(book, outing, "run-01"))
    change_sighting(book, row.id, replace(row.said, sex="female"))
    change_sighting(book, row.id, replace(row.said, sex="male"))
    assert [one.said.sex for one in versions_of(book, row.id)] == ["", "female", "male"]
    assert sighting_numbered(book, row.id).version == 3


def test_the_same_words_again_make_no_version(book: Book, outing: OutingRow) -> None:
    row = keep_sighting(book, said(book, outing, "run-01"))
    assert change_sighting(book, row.id, row.said).version == 1


def test_a_withdrawn_sighting_is_listed_only_when_asked(book: Book, outing: OutingRow) -> None:
    row = keep_sighting(book, said(book, outing, "run-01"))
    withdraw_sighting(book, row.id, "a leaf")
    assert sightings(book) == ()
    assert [one.withdrawn for one in sightings(book, withdrawn=True)] == ["a leaf"]
    with pytest.raises(UsageError, match="--restore"):
        change_sighting(book, row.id, row.said)


def test_a_second_record_of_the_same_pictures_is_noticed(book: Book, outing: OutingRow) -> None:
    row = keep_sighting(book, said(book, outing, "run-01"))
    shared = same_animal(book, said(book, outing, "M_0002.JPG"))
    assert shared == (row, Evidence("run", outing.id, "run-01"))
    assert same_animal(book, said(book, outing, "run-02")) is None
    assert same_animal(book, row.said, row.id) is None


def test_a_change_leaves_what_was_not_named(book: Book, outing: OutingRow) -> None:
    row = keep_sighting(
        book, said(book, outing, "run-01", asked=Asked(zone=ZONE, exif=True), plant="thistle")
    )
    new = sighting_from(book, {"sex": "male"}, Asked(), None, row.said)
    assert new == replace(row.said, sex="male")


def test_the_checklist_s_word_stays_when_the_list_is_gone(
    book: Book, outing: OutingRow, tmp_path: Path
) -> None:
    path = tmp_path / "names.txt"
    path.write_text(CHECKLIST, encoding="utf-8")
    keep_checklist(book, "names", path.name, *read_checklist(path))
    row = keep_sighting(book, said(book, outing, "run-01", name="Inventa campestris"))
    assert row.said.named is not None
    assert row.said.named.accepted == "Inventa pratensis"
    drop_checklist(book, "names")
    kept = sighting_from(book, {"count": 2}, Asked(), None, row.said)
    assert kept.named == row.said.named
    renamed = sighting_from(book, {"name": "Alia"}, Asked(), None, row.said)
    assert renamed.named is None


@pytest.mark.parametrize("name", ["run-09", "M_0009.JPG", ""])
def test_a_picture_that_is_not_there_is_named(book: Book, outing: OutingRow, name: str) -> None:
    with pytest.raises(UsageError, match="no frame and no run"):
        evidence_named(book, outing, [name])


def test_a_merged_picture_must_have_been_made(book: Book, outing: OutingRow) -> None:
    with pytest.raises(UsageError, match="not merged yet"):
        evidence_named(book, outing, [], ["run-01"])


def test_who_saw_it_named_it_unless_said(book: Book, outing: OutingRow) -> None:
    told = said(book, outing, "run-01", observer=" Ana \n Lima ")
    assert (told.observer, told.determined_by) == ("Ana Lima", "Ana Lima")
    assert said(book, outing, "run-01", determined_by="Ben").determined_by == "Ben"
