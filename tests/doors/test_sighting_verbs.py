"""Sightings from the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from haltere.doors.cli import run
from haltere.fieldbook import open_book
from tests.doors.test_answers import check
from tests.records.meadow import CHECKLIST, gpx, meadow


@pytest.fixture
def lane(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book with one outing of four frames, found by the environment."""
    with open_book(tmp_path / "book") as book:
        meadow(book, tmp_path / "lane")
    monkeypatch.setenv("HALTERE_BOOK", str(tmp_path / "book"))
    return tmp_path


def said(capsys: Any, *words: object) -> str:
    assert run([str(word) for word in words]) == 0, capsys.readouterr().err
    printed: str = capsys.readouterr().out
    return printed


def seen(capsys: Any, *words: object) -> Any:
    base = ("sight", "run-01", "--name", "Inventa pratensis", "--observer", "Ana")
    return json.loads(said(capsys, *base, "--time-zone", "+01:00", *words, "--json"))


def test_a_sighting_is_written_listed_changed_and_withdrawn(capsys: Any, lane: Path) -> None:
    first = seen(capsys, "--gpx", gpx(lane / "w.gpx", [(-5, 38.7, -9.1), (5, 38.7, -9.1)]))
    check("sight", first)
    assert first["where"]["latitude_deg"] == 38.7
    said(capsys, "sight", "--change", "1", "--sex", "female")
    shown = said(capsys, "sightings", "--show", "1")
    assert "female" in shown
    assert "Earlier, version 1" in shown
    listed = json.loads(said(capsys, "sightings", "--json"))
    check("sightings", listed)
    assert [one["occurrence_id"] for one in listed["sightings"]] == [first["occurrence_id"]]
    said(capsys, "sight", "--withdraw", "1", "--why", "a seed")
    assert said(capsys, "sightings") == "No sighting yet.\n"
    assert "a seed" in said(capsys, "sightings", "--withdrawn")
    said(capsys, "sight", "--restore", "1")
    assert "Inventa" in said(capsys, "sightings", "--find", "INVENTA")
    assert said(capsys, "sightings", "--find", "nowhere") == "Nothing found.\n"


def test_a_caution_stands_beside_each_sighting(capsys: Any, lane: Path) -> None:
    told = said(capsys, "sight", "run-01", "--name", "Inventa", "--time-zone", "Europe/Lisbon")
    for words in ("Leave the animal as you found it", "protected", "law", "licensed"):
        assert words in " ".join(told.split())
    assert "protected" in seen(capsys, "--another")["caution"]


def test_the_same_animal_twice_is_one_record(capsys: Any, lane: Path) -> None:
    seen(capsys)
    assert run(["sight", "M_0002.JPG", "--name", "Inventa"]) == 2
    assert "--change 1" in capsys.readouterr().err
    said(capsys, "sight", "M_0002.JPG", "--name", "Ficta", "--another")


def test_names_are_completed_from_the_loaded_list(capsys: Any, lane: Path) -> None:
    (lane / "names.tsv").write_text(CHECKLIST, encoding="utf-8")
    assert "names: 3 names" in said(capsys, "checklist", lane / "names.tsv")
    found = json.loads(said(capsys, "checklist", "--complete", "inv cam", "--json"))
    check("checklist", found)
    assert [one["accepted"] for one in found["names"]] == ["Inventa pratensis"]
    assert "Inventa campestris  -> Inventa pratensis" in said(
        capsys, "checklist", "--complete", "inv"
    )
    said(capsys, "checklist", "--forget", "names")
    assert "No checklist" in said(capsys, "checklist", "--complete", "inv")


def test_what_is_sensitive_is_listed_and_dropped(capsys: Any, lane: Path) -> None:
    said(capsys, "sensitive", "--species", "Inventa", "--why", "rare")
    listed = json.loads(said(capsys, "sensitive", "--place", "38.7,-9.1", "--json"))
    check("sensitive", listed)
    assert [one["radius_m"] for one in listed["sensitive"]] == [None, 1000.0]
    assert "rare" not in said(capsys, "sensitive", "--drop", "1")


def test_an_export_says_what_leaves_and_cautions(capsys: Any, lane: Path) -> None:
    seen(capsys, "--exif-place")
    out = ("export", "--out", lane / "out", "--licence", "cc0")
    told = said(capsys, *out)
    assert "No place leaves with it" in told
    for words in ("draws feet and collectors", "protected species", "law", "permits"):
        assert words in " ".join(told.split())
    exact = json.loads(said(capsys, *out, "--places", "exact", "--format", "csv", "--json"))
    check("export", exact)
    assert (exact["exact"], exact["withheld"]) == (1, 0)
    assert "collectors" in exact["caution"]
    assert "38.713942" in (lane / "out" / "sightings.csv").read_text(encoding="utf-8")


def test_a_vague_record_beside_an_exact_one_is_pointed_at(capsys: Any, lane: Path) -> None:
    seen(capsys, "--exif-place")
    seen(capsys, "--exif-place", "--another", "--sensitive")
    told = said(
        capsys, "export", "--out", lane / "out", "--licence", "cc0", "--places", "exact",
        "--pictures", "none",
    )  # fmt: skip
    assert "1 with the exact place, 1 with a place on a grid" in told
    assert "1 vague: an exact record" in told


def test_an_export_stays_out_of_the_originals(capsys: Any, lane: Path) -> None:
    seen(capsys)
    assert run(["export", "--out", str(lane / "lane" / "x"), "--licence", "cc0"]) == 2
    assert not (lane / "lane" / "x").exists()


def test_a_season_is_told_drawn_and_printed(capsys: Any, lane: Path) -> None:
    assert "No sighting yet" in said(capsys, "season")
    seen(capsys, "--exif-place", "--plant", "thistle")
    week = ("--day", "2032-06-10", "--page", lane / "s.html")
    told = said(capsys, "season", *week)
    assert "Inventa pratensis: 1 of 1 years; on thistle" in told
    printed = json.loads(said(capsys, "season", *week, "--json"))
    check("season", printed)
    assert printed["spots"] == []
    printed = json.loads(said(capsys, "season", "--places", "grid", "--json"))
    assert printed["spots"][0]["latitude_deg"] == 38.75
    assert "<svg" in (lane / "s.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "words",
    [
        ["sight", "run-01"],
        ["sight", "run-01", "--name", "x", "--at", "north"],
        ["sight", "run-01", "--name", "x", "--at", "nan,1"],
        ["sight", "run-01", "--name", "x", "--time-zone", "Moon/Crater"],
        ["sight", "run-01", "--name", "x", "--time-zone", ""],
        ["sight", "run-01", "--name", "x", "--time-zone", ":30"],
        ["sight", "run-01", "--name", "x", "--time-zone", "+99:00"],
        ["sight", "run-01", "--name", "x", "--clock", "soon"],
        ["sight", "--change", "9", "--sex", "male"],
        ["sight", "--change", "1", "--withdraw", "1"],
        ["sight", "--why", "x"],
        ["sightings", "--show", "7"],
        ["checklist", "--forget", "none"],
        ["sensitive", "--radius", "5"],
        ["sensitive", "--species", "x", "--grid", "0"],
        ["sensitive", "--drop", "3"],
        ["export", "--out", "x", "--licence", "mine", "--creator", "Ana"],
        ["export", "--out", "x", "--licence", "cc0"],
        ["season", "--day", "spring"],
        ["season", "--day", "0001-01-01"],
        ["season", "--places", "all"],
        ["season", "--grid", "0"],
        ["season", "--page", "x.pdf"],
    ],
)
def test_a_wrong_call_is_refused_in_one_sentence(capsys: Any, lane: Path, words: list[str]) -> None:
    assert run(words) == 2
    assert capsys.readouterr().err.count("\n") == 1
