"""From a card into the field book, and on to verdicts that other programs read."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from haltere.doors.schemas import VERBS, schema
from tests.standins import write_photo

REGISTRY: Any = Registry().with_resources(
    [(f"haltere:{verb}", Resource.from_contents(schema(verb))) for verb in VERBS]
)


def haltere(*words: object) -> str:
    call = [sys.executable, "-m", "haltere", *(str(word) for word in words)]
    done = subprocess.run(call, capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def said(verb: str, *words: object) -> Any:
    answer = json.loads(haltere(verb, *words, "--json"))
    if verb in VERBS:
        Draft202012Validator(schema(verb), registry=REGISTRY).validate(answer)
    return answer


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A card as a camera leaves it: two folders, the same name in both, a film, a hidden file."""
    from datetime import datetime, timedelta

    root = tmp_path_factory.mktemp("card")
    start = datetime(2031, 5, 20, 5, 40)
    for folder, first in (("100ABCDE", 9998), ("101ABCDE", 1)):
        place = root / "DCIM" / folder
        place.mkdir(parents=True)
        for number in range(2):
            moment = start + timedelta(seconds=0.2 * (number + (2 if first == 1 else 0)))
            write_photo(place / f"M_{first + number:04}.JPG", moment, number + first)
    write_photo(root / "DCIM" / "101ABCDE" / "M_9998.JPG", start + timedelta(hours=2), 77)
    (root / "DCIM" / "101ABCDE" / "M_0003.MOV").write_bytes(b"a film that haltere can't read" * 99)
    (root / "DCIM" / ".index").write_bytes(b"the camera's own")
    return root


def test_a_card_comes_home_and_its_verdicts_go_out_and_come_back(
    card: Path, tmp_path: Path
) -> None:
    before = {path: path.read_bytes() for path in card.rglob("*") if path.is_file()}
    book = ("--book", tmp_path / "book")

    unloaded = said("unload", card, "--name", "pond", *book)
    assert unloaded["files"] == unloaded["copied"] == 7
    assert unloaded["verdict"]["code"] in ("one-copy", "keep")  # never safe with one copy

    runs = said("runs", "--outing", "pond", *book)["runs"]
    names = [name for run in runs for name in run["frames"]]
    assert len(names) == 5
    assert sum(name.endswith("M_9998.JPG") for name in names) == 2

    haltere("decide", "drop", "DCIM/101ABCDE/M_9998.JPG", *book)
    haltere("decide", "keep", "M_0001.JPG", *book)
    written = said("sidecars", *book)["written"]
    assert {one["verdict"] for one in written} == {"drop", "keep"}

    (dropped,) = (Path(one["file"]) for one in written if one["verdict"] == "drop")
    text = dropped.read_text(encoding="utf-8")
    dropped.write_text(text.replace("-1", "3"), encoding="utf-8")
    (read,) = said("sidecars", *book)["read"]
    assert (read["frame"], read["verdict"]) == ("DCIM/101ABCDE/M_9998.JPG", "keep")

    verified = said("verify", *book)
    assert verified["good"] == verified["copies"] == 7
    assert verified["strays"] == []
    assert said("unload", card, "--name", "pond", *book)["copied"] == 0
    assert {path: path.read_bytes() for path in card.rglob("*") if path.is_file()} == before
