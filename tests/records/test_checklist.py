"""Names of animals from a list that the person loaded."""

from __future__ import annotations

from pathlib import Path

import pytest

from haltere.errors import UsageError
from haltere.fieldbook import Book
from haltere.fieldbook.checklists import (
    checklists,
    complete,
    drop_checklist,
    keep_checklist,
    look_up,
)
from haltere.records import read_checklist
from tests.records.meadow import CHECKLIST


@pytest.fixture
def loaded(book: Book, tmp_path: Path) -> Book:
    return load(book, tmp_path, CHECKLIST)


def load(book: Book, folder: Path, text: str) -> Book:
    path = folder / "names.txt"
    path.write_text(text, encoding="utf-8")
    sha256, taxa = read_checklist(path)
    keep_checklist(book, "names", path.name, sha256, taxa)
    return book


def found(book: Book, text: str) -> list[str]:
    return [one.name for one in complete(book, text)]


def test_the_beginnings_of_words_find_a_name(loaded: Book) -> None:
    assert found(loaded, "inv pra") == ["Inventa pratensis"]
    assert found(loaded, "INV") == ["Inventa campestris", "Inventa pratensis"]
    assert found(loaded, "arv") == ["Ficta arvensis"]
    assert found(loaded, "pra inv") == []


def test_common_names_and_accents_find_a_name(loaded: Book) -> None:
    assert found(loaded, "epeire") == found(loaded, "Épe") == ["Ficta arvensis"]
    assert found(loaded, "meadow") == ["Inventa campestris", "Inventa pratensis"][1:]


@pytest.mark.parametrize("text", ["", " ", "%", "_", "!", "inv%"])
def test_signs_are_no_wild_cards(loaded: Book, text: str) -> None:
    assert found(loaded, text) == []


def test_a_synonym_leads_to_the_accepted_name_and_its_family(loaded: Book) -> None:
    named = look_up(loaded, "inventa CAMPESTRIS")
    assert named is not None
    assert (named.name, named.accepted) == ("Inventa campestris", "Inventa pratensis")
    assert named.rest["family"] == "Inventidae"
    assert named.rest["taxonomicStatus"] == "synonym"
    assert named.vernacular == "meadow inventa"


def test_a_simple_table_is_read_too(book: Book, tmp_path: Path) -> None:
    load(
        book,
        tmp_path,
        "name;author;family;synonym of;common name\n"
        "Ficta arvensis;Maker;Fictidae;;false weaver\n"
        'Ficta agrestis;"(Other, 1850)";;Ficta arvensis;\n',
    )
    named = look_up(book, "Ficta agrestis")
    assert named is not None
    assert (named.accepted, named.rest["family"]) == ("Ficta arvensis", "Fictidae")


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("Inventa pratensis Maker, 1901", "Inventa pratensis"),
        ("Inventa pratensis (Maker)", "Inventa pratensis"),
        ("Inventa (Ficta) pratensis maior Maker", "Inventa (Ficta) pratensis maior"),
        ("Inventa pratensis de Maker", "Inventa pratensis"),
        ("Inventidae Maker", "Inventidae"),
        ("Inventa (Maker)", "Inventa"),
        ("Inventa nova-terrae", "Inventa nova-terrae"),
    ],
)
def test_authors_are_told_from_names(book: Book, tmp_path: Path, written: str, plain: str) -> None:
    load(book, tmp_path, f'scientificName,rank\n"{written}",species\n')
    assert look_up(book, plain) is not None


def test_the_same_title_again_replaces_the_list(loaded: Book, tmp_path: Path) -> None:
    load(loaded, tmp_path, "name\nAlia nova\n")
    assert [(one.title, one.names) for one in checklists(loaded)] == [("names", 1)]
    assert found(loaded, "inv") == []
    drop_checklist(loaded, "names")
    assert (checklists(loaded), found(loaded, "ali")) == ((), [])


@pytest.mark.parametrize(
    ("text", "says"),
    [("", "names no column"), ("a,b\n1,2\n", "names no column"), ("name\n\n", "holds no name")],
)
def test_what_is_no_checklist_is_refused(book: Book, tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        load(book, tmp_path, text)
