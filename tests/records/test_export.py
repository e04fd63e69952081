"""What leaves: readable by others, true to the standard, and no place more than was asked for."""

from __future__ import annotations

import csv
import io
import json
import struct
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from haltere.errors import NothingToDoError, UsageError, WriteError
from haltere.fieldbook import Book, OutingRow, frames_in, keep_frames, place_outing
from haltere.fieldbook.sensitive import keep_sensitive
from haltere.fieldbook.sightings import (
    Evidence,
    Named,
    Sighting,
    Where,
    change_sighting,
    keep_sighting,
    sightings,
    withdraw_sighting,
)
from haltere.fieldbook.steps import record
from haltere.frames import find_frames, write_picture
from haltere.frames.shooting import read_tags
from haltere.keepers.verdict import JudgedFrame, Keepers, Verdict
from haltere.records import Titles, Wanted, export
from haltere.records.leaks import free_words, hidden_in, refuse_leaks
from haltere.records.pictures import pictures_of
from haltere.records.terms import MEDIA, OCCURRENCE
from haltere.records.vague import place_of
from tests.frames.made import texture
from tests.records.meadow import LATITUDE, LONGITUDE, START, meadow, photo
from tests.standins import made_merge

TRUTH = Path(__file__).parents[1] / "truth"
TITLES = Titles("Walks & flies <2031>", "Ana", "cc-by")
WHERE = Where(LATITUDE, LONGITUDE, 12.0, "WGS84", "hand", "by hand")
RARE = Sighting(
    "Inventa pratensis", "likely", "Ana", "Ana", "2031-06-14T18:04:12+01:00",
    Named("names", "1", "Inventa pratensis", "Inventa pratensis", "meadow inventa",
          {"taxonRank": "species", "kingdom": "Animalia", "family": "Inventidae"}),
    "adult", "female", 2, "feeding", "thistle", WHERE, "hollow lane", "PT", "at the third gate",
)  # fmt: skip
EVERYTHING = Wanted("exact", formats=("archive", "csv", "geojson"))


@pytest.fixture
def outing(book: Book, tmp_path: Path) -> OutingRow:
    return meadow(book, tmp_path / "lane")


@pytest.fixture
def kept(book: Book, outing: OutingRow) -> Book:
    """One sighting shown by a burst and a frame, one without pictures or place."""
    shown = (Evidence("run", outing.id, "run-01"), Evidence("frame", outing.id, "M_0001.JPG"))
    keep_sighting(book, replace(RARE, evidence=shown))
    keep_sighting(book, Sighting("Ficta", "certain", "Ben", "Ben", "2031-06-15"))
    return book


def files_in(out: Path) -> dict[str, bytes]:
    """All files of an export, those inside the archive too, unpacked."""
    found = {path.name: path.read_bytes() for path in out.iterdir() if path.suffix != ".zip"}
    if (out / "sightings.zip").exists():
        with zipfile.ZipFile(out / "sightings.zip") as archive:
            found |= {name: archive.read(name) for name in archive.namelist()}
    return found


def rows_in(out: Path) -> list[dict[str, str]]:
    text = (out / "sightings.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def test_an_outside_reader_opens_the_archive(kept: Book, tmp_path: Path) -> None:
    from dwca.read import DwCAReader

    export(kept, EVERYTHING, TITLES, tmp_path / "out")
    with DwCAReader(str(tmp_path / "out" / "sightings.zip")) as archive:
        assert archive.descriptor is not None
        assert archive.descriptor.core.type == "http://rs.tdwg.org/dwc/terms/Occurrence"
        assert archive.metadata.find("dataset/title").text == TITLES.title
        first, second = list(archive)
        dwc = "http://rs.tdwg.org/dwc/terms/"
        assert first.data[dwc + "scientificName"] == "Inventa pratensis"
        assert first.data[dwc + "decimalLatitude"] == "38.713942"
        assert first.data[dwc + "basisOfRecord"] == "HumanObservation"
        assert second.data[dwc + "eventDate"] == "2031-06-15"
        assert first.id == first.data[dwc + "occurrenceID"]
        media = [row.data for row in first.extensions]
        assert len(media) == 2
        for one in media:
            name = one["http://purl.org/dc/terms/identifier"]
            assert (Path(archive.absolute_temporary_path(name))).read_bytes()[:2] == b"\xff\xd8"
        assert list(second.extensions) == []


def test_every_column_is_a_term_of_the_standard() -> None:
    with (TRUTH / "darwin_core_terms.csv").open(encoding="utf-8") as stream:
        known = {row["iri"]: row for row in csv.DictReader(stream)}
    for name, iri in OCCURRENCE:
        assert known[iri]["term"] == name
        assert known[iri]["kind"] == "Property"
        assert known[iri]["simple_dwc"] == "yes"


def test_every_column_of_the_pictures_is_a_term_of_the_extension() -> None:
    with (TRUTH / "simple_multimedia_terms.csv").open(encoding="utf-8") as stream:
        known = {(row["term"], row["iri"]) for row in csv.DictReader(stream)}
    assert set(MEDIA) <= known


def test_the_fields_say_what_was_seen(kept: Book, tmp_path: Path) -> None:
    export(kept, EVERYTHING, TITLES, tmp_path / "out")
    first, second = rows_in(tmp_path / "out")
    said = {
        "eventDate": "2031-06-14T18:04:12+01:00", "individualCount": "2", "sex": "female",
        "lifeStage": "adult", "behavior": "feeding", "associatedTaxa": '"on":"thistle"',
        "occurrenceRemarks": "at the third gate", "identificationQualifier": "cf.",
        "family": "Inventidae", "taxonRank": "species", "vernacularName": "meadow inventa",
        "geodeticDatum": "WGS84", "coordinateUncertaintyInMeters": "12", "locality": "hollow lane",
        "countryCode": "PT", "recordedBy": "Ana", "informationWithheld": "",
        "license": "https://creativecommons.org/licenses/by/4.0/legalcode",
    }  # fmt: skip
    assert {name: first[name] for name in said} == said
    assert second["decimalLatitude"] == second["coordinateUncertaintyInMeters"] == ""


def test_points_of_the_map_are_longitude_first(kept: Book, tmp_path: Path) -> None:
    export(kept, EVERYTHING, TITLES, tmp_path / "out")
    said = json.loads((tmp_path / "out" / "sightings.geojson").read_text(encoding="utf-8"))
    first, second = said["features"]
    assert first["geometry"] == {"type": "Point", "coordinates": [LONGITUDE, LATITUDE]}
    assert second["geometry"] is None


def test_the_same_records_give_the_same_bytes_and_ids(kept: Book, tmp_path: Path) -> None:
    export(kept, EVERYTHING, TITLES, tmp_path / "a")
    export(kept, EVERYTHING, TITLES, tmp_path / "b")
    assert (tmp_path / "a" / "sightings.zip").read_bytes() == (
        tmp_path / "b" / "sightings.zip"
    ).read_bytes()
    ids = [row["occurrenceID"] for row in rows_in(tmp_path / "a")]
    change_sighting(kept, 1, replace(RARE, count=5))
    export(kept, EVERYTHING, TITLES, tmp_path / "c")
    assert [row["occurrenceID"] for row in rows_in(tmp_path / "c")] == ids


def test_a_withdrawn_sighting_does_not_leave(kept: Book, tmp_path: Path) -> None:
    withdraw_sighting(kept, 1, "")
    assert export(kept, EVERYTHING, TITLES, tmp_path / "out").records == 1


# every way in which the place is written, by cameras, programs and people
RATIONALS = [struct.pack(f"{order}4I", 38, 1, 42, 1) for order in "<>"]
SPELLED = [
    b"38.71394", b"38,71394", b"-9.14061", b"9.14061", b"9,14061", b"38\xc2\xb042'",
    b"9\xc2\xb008'",
    b"hollow lane", b"Hollow Lane", b"third gate", *RATIONALS, b"GPSLatitude",
    b"GPSLongitude", "hollow lane".encode("utf-16-le"), "38.71394".encode("utf-16-le"),
]  # fmt: skip


def spoil(path: Path) -> None:
    """Put the place into every corner of a picture where programs put one."""
    import pyexiv2

    with pyexiv2.Image(str(path)) as image:
        image.modify_exif({"Exif.Image.ImageDescription": "hollow lane, 38.713942"})
        image.modify_exif({"Exif.Photo.UserComment": "38.713942 -9.140617"})
        image.modify_xmp(
            {
                "Xmp.exif.GPSLatitude": "38,42.836520N",
                "Xmp.dc.description": "Hollow Lane 38,71394",
                "Xmp.Iptc4xmpCore.Location": "hollow lane",
            }
        )
        image.modify_iptc({"Iptc.Application2.SubLocation": "hollow lane"})
        image.modify_comment("hollow lane 9.140617")
    path.write_bytes(path.read_bytes() + b"preview with 38.713942 and hollow lane behind the end")


@pytest.mark.parametrize("pictures", ["small", "full"])
@pytest.mark.parametrize("places", ["none", "grid", "exact"])
def test_a_sensitive_place_is_in_no_byte_of_the_export(
    kept: Book, tmp_path: Path, places: Any, pictures: Any
) -> None:
    for path in (tmp_path / "lane").glob("*.JPG"):
        spoil(path)
    keep_sensitive(kept, 0.5, name="Inventa")
    change_sighting(
        kept, 1, replace(RARE, behaviour="feeding at 38.713942", plant="thistle, Hollow lane",
                         evidence=(Evidence("run", 1, "run-01"),))
    )  # fmt: skip
    wanted = replace(EVERYTHING, places=places, pictures=pictures)
    done = export(kept, wanted, TITLES, tmp_path / "out")
    assert done.pictures == 1
    found = files_in(tmp_path / "out")
    assert {"meta.xml", "eml.xml", "occurrence.txt", "multimedia.txt"} < set(found)
    for name, data in found.items():
        for way in SPELLED:
            assert way not in data, (name, way)
            assert way not in name.encode()
    first = rows_in(tmp_path / "out")[0]
    assert first["decimalLatitude"] == ("" if places == "none" else "38.75")
    assert first["eventDate"] == "2031-06-14"
    for word in ("locality", "hour", "note", "behaviour", "plant"):
        assert word in first["informationWithheld"]
    assert ("grid cell of 0.5 degrees" in first["dataGeneralizations"]) == (places != "none")


def test_what_is_searched_for_would_be_found(kept: Book, tmp_path: Path) -> None:
    """The search above can fail: with everything asked, the place is found."""
    for path in (tmp_path / "lane").glob("*.JPG"):
        spoil(path)
    spoiled = (tmp_path / "lane" / "M_0001.JPG").read_bytes()
    for way in (b"38.71394", b"38,71394", b"hollow lane", b"Hollow Lane", b"GPSLatitude"):
        assert way in spoiled, way
    assert any(way in spoiled for way in RATIONALS)
    export(kept, EVERYTHING, TITLES, tmp_path / "out")
    assert b"38.71394" in files_in(tmp_path / "out")["occurrence.txt"]


def test_no_place_leaves_unless_asked_this_time(kept: Book, tmp_path: Path) -> None:
    export(kept, EVERYTHING, TITLES, tmp_path / "exact")
    export(kept, Wanted(formats=("archive", "csv")), TITLES, tmp_path / "none")
    first = rows_in(tmp_path / "none")[0]
    for column in ("decimalLatitude", "locality", "countryCode", "coordinateUncertaintyInMeters"):
        assert first[column] == ""
    assert first["eventDate"].endswith("+01:00")  # an hour is no place


@pytest.mark.parametrize("pictures", ["small", "full"])
def test_pictures_hold_no_place_even_where_it_is_told(
    kept: Book, tmp_path: Path, pictures: Any
) -> None:
    export(kept, replace(EVERYTHING, pictures=pictures), TITLES, tmp_path / "out")
    shown = [n for n in files_in(tmp_path / "out") if n.startswith("pictures/")]
    assert len(shown) == 2
    for name in shown:
        (tmp_path / "one.jpg").write_bytes(files_in(tmp_path / "out")[name])
        tags = read_tags(tmp_path / "one.jpg")
        assert not [tag for tag in tags if "GPS" in tag]
        assert "by/4.0" in str(tags["Image Copyright"])


@pytest.mark.parametrize("field", ["name", "observer", "determined_by"])
def test_a_place_in_a_name_stops_the_export(kept: Book, tmp_path: Path, field: str) -> None:
    spoken = replace(RARE, sensitive=True, named=None, **{field: "from 38.713942 west"})
    change_sighting(kept, 1, spoken)
    with pytest.raises(WriteError, match="sighting 1 would leave in occurrence"):
        export(kept, Wanted("exact"), TITLES, tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "words",
    ["N 38.714", "38° 42' 50\"", "38°42.8365", "29SMC8796586213", "38,7139 / 9,1406",
     "Hollow  LANE", "38 deg 42"],
)  # fmt: skip
def test_free_words_that_look_like_a_place_are_withheld(book: Book, words: str) -> None:
    row = keep_sighting(book, replace(RARE, behaviour=f"seen {words} there", sensitive=True))
    kept, told = free_words(row, place_of(row.said, "grid", 0.1, ()))
    assert kept["behaviour"] == ""
    assert kept["plant"] == "thistle"
    assert "behaviour" in told.withheld


def test_a_spot_that_another_record_tells_rightly_is_no_leak(kept: Book, tmp_path: Path) -> None:
    keep_sighting(kept, replace(RARE, name="Ficta", named=None, sensitive=False))
    change_sighting(kept, 1, replace(RARE, sensitive=True))
    done = export(kept, EVERYTHING, TITLES, tmp_path / "out")
    assert (done.exact, done.vague, done.near) == (1, 1, 1)


def test_the_last_search_knows_minutes_and_other_alphabets(book: Book) -> None:
    row = keep_sighting(book, replace(RARE, sensitive=True))
    hidden = hidden_in([(row, place_of(row.said, "exact", 0.1, ()))])
    for text in ("38°42'50.2", "38.71394", "38.713942", "9,14062", "HOLLOW LANE"):
        with pytest.raises(WriteError):
            refuse_leaks("x.txt", f"so {text} it is".encode(), hidden)
        with pytest.raises(WriteError):
            refuse_leaks("x.jpg", f"so {text} it is".encode("utf-16-le"), hidden)
        with pytest.raises(WriteError):
            refuse_leaks(f"{text}.jpg", b"", hidden)
    refuse_leaks("x.txt", b"38.75 -9.15 38.7 meadow", hidden)


def test_a_picture_that_is_gone_is_named_and_the_rest_leaves(kept: Book, tmp_path: Path) -> None:
    (tmp_path / "lane" / "M_0002.JPG").unlink()
    done = export(kept, Wanted(pictures="full"), TITLES, tmp_path / "out")
    assert (done.pictures, len(done.skipped)) == (1, 1)


@pytest.mark.parametrize(
    ("wanted", "titles"),
    [
        (Wanted("everywhere"), TITLES),  # type: ignore[arg-type]
        (Wanted(grid_deg=0.0), TITLES),
        (Wanted(formats=("xls",)), TITLES),
        (Wanted(pictures="huge"), TITLES),  # type: ignore[arg-type]
        (Wanted(since="spring"), TITLES),
        (Wanted(), replace(TITLES, licence="mine")),
    ],
)
def test_what_makes_no_sense_is_refused(
    kept: Book, tmp_path: Path, wanted: Wanted, titles: Titles
) -> None:
    with pytest.raises(UsageError):
        export(kept, wanted, titles, tmp_path / "out")


def test_only_the_days_asked_for_leave(kept: Book, tmp_path: Path) -> None:
    assert export(kept, Wanted(since="2031-06-15"), TITLES, tmp_path / "a").records == 1
    assert export(kept, Wanted(until="2031-06-14"), TITLES, tmp_path / "b").records == 1
    assert export(kept, Wanted(outing=1), TITLES, tmp_path / "c").records == 1
    with pytest.raises(NothingToDoError):
        export(kept, Wanted(since="2032-01-01"), TITLES, tmp_path / "d")


def test_a_run_is_shown_by_its_merge_its_best_frame_or_its_middle(
    kept: Book, tmp_path: Path
) -> None:
    def about() -> list[tuple[str, str]]:
        shown, _ = pictures_of(kept, sightings(kept)[0])
        return [(one.frame.path.name, one.about) for one in shown[:1]]

    assert about() == [("M_0002.JPG", "single exposure")]
    frames = tuple(
        JudgedFrame(name, rank, None, 1.0, None, None, None, (), rank == 1)
        for rank, name in enumerate(("M_0003.JPG", "M_0001.JPG", "M_0002.JPG"), 1)
    )
    record(kept, 1, "keepers", "run-01", "k", {}, Keepers(None, frames, Verdict("keeper", "")))
    assert about() == [("M_0003.JPG", "single exposure, the best of 3")]
    merged = tmp_path / "run-01" / "merged.jpg"
    merged.parent.mkdir()
    photo(merged, START)
    names = ("M_0001.JPG", "M_0002.JPG")
    whole = replace(
        made_merge([frame for frame in frames_in(kept, 1) if frame.name in names], tmp_path / "m"),
        picture_jpeg="merged.jpg",
    )
    record(kept, 1, "merge", "run-01", "m", {}, whole, [merged])
    assert about() == [("merged.jpg", "merged by depth from 2 exposures of one sweep")]
    done = export(kept, replace(EVERYTHING, pictures="full"), TITLES, tmp_path / "out")
    assert done.pictures == 2
    assert b"merged by depth" in files_in(tmp_path / "out")["multimedia.txt"]
    merged.unlink()
    assert about() == [("M_0003.JPG", "single exposure, the best of 3")]


@pytest.mark.parametrize("pictures", ["small", "full"])
def test_a_picture_that_is_no_jpeg_leaves_as_one(book: Book, tmp_path: Path, pictures: Any) -> None:
    (tmp_path / "scans").mkdir()
    rgb = (texture(90, 120).astype(np.uint16)) * 257
    write_picture(tmp_path / "scans" / "S_1.TIF", rgb, None)
    number = place_outing(book, tmp_path / "scans", "scans", in_place=True)
    keep_frames(book, number, find_frames([tmp_path / "scans"]).frames)
    keep_sighting(book, replace(RARE, evidence=(Evidence("frame", number, "S_1.TIF"),)))
    assert export(book, Wanted(pictures=pictures), TITLES, tmp_path / "out").pictures == 1
    (name,) = (n for n in files_in(tmp_path / "out") if n.startswith("pictures/"))
    picture = Image.open(io.BytesIO(files_in(tmp_path / "out")[name]))
    assert picture.size == (120, 90)
    difference = np.abs(np.asarray(picture, float) - texture(90, 120))
    assert difference.mean() < 3


def test_an_animal_named_after_its_place_may_leave(book: Book, tmp_path: Path) -> None:
    named = Named("names", "1", "Inventa pratensis", "Inventa pratensis", "meadow inventa", {})
    keep_sighting(book, replace(RARE, named=named, locality="Meadow", sensitive=True))
    assert export(book, Wanted("grid"), TITLES, tmp_path / "out").records == 1


@pytest.mark.parametrize("pictures", ["small", "full"])
def test_an_outside_reader_finds_nothing_but_the_owner_in_a_picture(
    kept: Book, tmp_path: Path, pictures: Any
) -> None:
    import pyexiv2

    for path in (tmp_path / "lane").glob("*.JPG"):
        spoil(path)
    export(kept, replace(EVERYTHING, pictures=pictures), TITLES, tmp_path / "out")
    for name, data in files_in(tmp_path / "out").items():
        if not name.startswith("pictures/"):
            continue
        with pyexiv2.ImageData(data) as image:
            assert set(image.read_exif()) == {
                "Exif.Image.Orientation",
                "Exif.Image.Artist",
                "Exif.Image.Copyright",
            }
            assert (image.read_xmp(), image.read_iptc(), image.read_comment()) == ({}, {}, "")
            assert image.read_thumbnail() == b""


def test_days_the_wrong_way_round_are_refused(kept: Book, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="swap them"):
        export(kept, Wanted(since="2031-12-01", until="2031-01-01"), TITLES, tmp_path / "out")
