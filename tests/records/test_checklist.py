"""Names of animals from a list that the person loaded."""

from __future__ import annotations

import contextlib
import random
import zipfile
from pathlib import Path

import pytest

from haltere.errors import HaltereError, UsageError
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


META = """<archive xmlns="http://rs.tdwg.org/dwc/text/">
<core encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy=""
 ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Taxon">
<files><location>taxon.txt</location></files><id index="0"/>
<field index="1" term="http://rs.tdwg.org/dwc/terms/scientificName"/>
<field index="3" term="http://rs.tdwg.org/dwc/terms/acceptedNameUsageID"/>
<field index="2" term="http://rs.tdwg.org/dwc/terms/family"/>
<field default="Animalia" term="http://rs.tdwg.org/dwc/terms/kingdom"/></core>
<extension rowType="http://rs.gbif.org/terms/1.0/VernacularName">
<files><location>names.csv</location></files><coreid index="0"/>
<field index="1" term="http://rs.tdwg.org/dwc/terms/vernacularName"/></extension></archive>"""


def zipped(path: Path, files: dict[str, str]) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return path


def test_an_archive_is_read_as_its_meta_file_says(book: Book, tmp_path: Path) -> None:
    core = (
        'key\tname\tfam\tof\n7\tInventa 5" pratensis\tInventidae\t\n'
        "9\tFicta arvensis Maker, 1900\t\t7\n"
    )
    common = '7,"meadow inventa, large"\n7,another\n'
    path = zipped(tmp_path / "list.zip", {"meta.xml": META, "taxon.txt": core, "names.csv": common})
    sha256, taxa = read_checklist(path)
    assert len(sha256) == 64
    first, second = taxa
    assert (first.key, first.vernacular, first.rest["kingdom"]) == (
        "7", "meadow inventa, large", "Animalia",
    )  # fmt: skip
    assert (second.name, second.accepted_key) == ("Ficta arvensis", "7")


def test_our_own_reader_agrees_with_another(tmp_path: Path) -> None:
    from dwca.read import DwCAReader

    core = "h\n" + "".join(f"{n}\tInventa species{'a' * (n % 7)}\tF\t\n" for n in range(50))
    path = zipped(tmp_path / "list.zip", {"meta.xml": META, "taxon.txt": core, "names.csv": ""})
    _, taxa = read_checklist(path)
    with DwCAReader(str(path)) as archive:
        rows = list(archive)
    dwc = "http://rs.tdwg.org/dwc/terms/"
    assert [(one.key, one.name) for one in taxa] == [
        (row.id, row.data[dwc + "scientificName"]) for row in rows
    ]


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({"other.txt": ""}, "no meta.xml"),
        ({"meta.xml": "<archive"}, "broken"),
        ({"meta.xml": META.replace("terms/Taxon", "terms/Occurrence")}, "something else"),
        ({"meta.xml": META, "names.csv": ""}, "missing"),
        ({"meta.xml": META, "taxon.txt": "h\n", "names.csv": ""}, "holds no name"),
        (
            {"meta.xml": META.replace("UTF-8", "klingon"), "taxon.txt": "h", "names.csv": ""},
            "broken",
        ),
    ],
)
def test_an_archive_of_something_else_is_refused(
    tmp_path: Path, files: dict[str, str], says: str
) -> None:
    with pytest.raises(UsageError, match=says):
        read_checklist(zipped(tmp_path / "list.zip", files))


def test_a_cut_archive_is_refused(tmp_path: Path) -> None:
    path = zipped(tmp_path / "list.zip", {"meta.xml": META})
    path.write_bytes(path.read_bytes()[:-30])
    with pytest.raises(UsageError, match="broken archive"):
        read_checklist(path)


@pytest.mark.parametrize("seed", range(40))
def test_a_spoilt_archive_is_read_or_refused_in_words(tmp_path: Path, seed: int) -> None:
    draw = random.Random(seed)
    path = zipped(
        tmp_path / "list.zip", {"meta.xml": META, "taxon.txt": "h\n7\tA b\n", "names.csv": ""}
    )
    data = bytearray(path.read_bytes())
    for _ in range(3):
        data[draw.randrange(len(data))] = draw.randrange(256)
    path.write_bytes(data)
    with contextlib.suppress(HaltereError):
        read_checklist(path)
