"""The way of a record: from the card to an archive that somebody else opens."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from haltere.doors.cli import run
from tests.records.meadow import CHECKLIST, START, gpx, photo

SPOT = (38.713942, -9.140617)


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A card with five pictures, each with its place."""
    folder = tmp_path / "card" / "DCIM" / "100MEADO"
    folder.mkdir(parents=True)
    for number in range(5):
        photo(folder / f"M_{number + 1:04}.JPG", START + timedelta(seconds=3 * number))
    return tmp_path / "card"


def said(capsys: Any, *words: object) -> str:
    assert run([str(word) for word in words]) == 0, capsys.readouterr().err
    printed: str = capsys.readouterr().out
    return printed


def test_from_the_card_to_an_archive_and_next_year(
    capsys: Any, card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dwca.read import DwCAReader

    monkeypatch.setenv("HALTERE_BOOK", str(tmp_path / "book"))
    said(capsys, "unload", card, "--name", "hollow lane")
    (tmp_path / "names.tsv").write_text(CHECKLIST, encoding="utf-8")
    said(capsys, "checklist", tmp_path / "names.tsv", "--title", "names")
    track = gpx(tmp_path / "walk.gpx", [(-60, *SPOT), (60, *SPOT)], dop=1.0)
    seen = json.loads(
        said(
            capsys, "sight", "M_0002.JPG", "M_0004.JPG", "--name", "Inventa campestris",
            "--observer", "Ana", "--gpx", track, "--time-zone", "+01:00", "--plant", "thistle",
            "--locality", "hollow lane", "--country", "pt", "--json",
        )
    )  # fmt: skip
    assert seen["evidence"][0]["name"].endswith("DCIM/100MEADO/M_0002.JPG")
    said(capsys, "sensitive", "--species", "Inventa pratensis")
    said(
        capsys, "export", "--out", tmp_path / "out", "--licence", "cc-by", "--places", "exact",
        "--pictures", "full",
    )  # fmt: skip
    with DwCAReader(str(tmp_path / "out" / "sightings.zip")) as archive:
        (row,) = list(archive)
        dwc = "http://rs.tdwg.org/dwc/terms/"
        assert row.data[dwc + "occurrenceID"] == seen["occurrence_id"]
        assert row.data[dwc + "acceptedNameUsage"] == "Inventa pratensis"
        assert row.data[dwc + "decimalLatitude"] == "38.75"  # the accepted name is sensitive
        assert row.data[dwc + "locality"] == ""
        assert len(row.extensions) == 2
    coming = json.loads(said(capsys, "season", "--day", "2032-06-12", "--json"))["coming"]
    assert [(one["name"], one["plants"]) for one in coming] == [("Inventa pratensis", ["thistle"])]
    originals = sorted((tmp_path / "book" / "originals").rglob("*.JPG"))
    assert [path.read_bytes() for path in originals] == [
        path.read_bytes() for path in sorted(card.rglob("*.JPG"))
    ]
