"""The verbs unload, verify and clock, as a photographer meets them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from haltere.doors.cli.clock import clock
from haltere.doors.cli.unload import unload
from haltere.doors.cli.verify import verify
from haltere.doors.schemas import schema
from haltere.errors import UsageError
from tests.fieldbook.kept import make_card, payload

VERBS = {"unload": unload, "verify": verify, "clock": clock}
REGISTRY: Registry[object] = Registry().with_resources(
    [(f"haltere:{verb}", Resource.from_contents(schema(verb))) for verb in ("unload", "verify")]
)


@pytest.fixture
def small_card(tmp_path: Path) -> Path:
    return make_card(tmp_path / "card", 8, big_bytes=5000)


def call(verb: str, *words: object, book: Path, code: int = 0) -> Result:
    told = [str(word) for word in words] + ["--book", str(book)]
    result = CliRunner().invoke(VERBS[verb], told, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    assert (result.return_value or 0) == code
    return result


def test_unload_says_first_what_came_and_last_what_may_be_done(
    small_card: Path, tmp_path: Path
) -> None:
    said = call("unload", small_card, "--name", "meadow", book=tmp_path / "book").output
    assert said.splitlines()[0].startswith("8 files on the card")
    assert "2031-06-14 meadow" in said
    assert said.splitlines()[-1].startswith("One verified copy")
    assert "keep the card" in said.splitlines()[-1]


@pytest.mark.parametrize("verb", ["unload", "verify"])
def test_each_prints_what_its_schema_says(small_card: Path, tmp_path: Path, verb: str) -> None:
    book = tmp_path / "book"
    said = call("unload", small_card, "--second", tmp_path / "second", "--json", book=book).output
    if verb == "verify":
        lost = next(iter(payload(book / "originals")))
        (book / "originals" / lost).unlink()
        said = call("verify", "--json", book=book, code=1).output
    Draft202012Validator.check_schema(schema(verb))
    Draft202012Validator(schema(verb), registry=REGISTRY).validate(json.loads(said))


def test_verify_repairs_and_ends_well(small_card: Path, tmp_path: Path) -> None:
    book = tmp_path / "book"
    call("unload", small_card, "--second", tmp_path / "second", book=book)
    assert call("verify", book=book).output.startswith("All is well: 16 copies")
    lost = next(iter(payload(book / "originals")))
    (book / "originals" / lost).unlink()
    assert "haltere verify --from-second brings it back" in call("verify", book=book, code=1).output
    assert (
        f"repaired: {book / 'originals' / lost}"
        in call("verify", "--from-second", book=book).output
    )
    assert call("verify", book=book).output.startswith("All is well")


def test_unloaded_frames_are_in_the_catalogue(small_card: Path, tmp_path: Path) -> None:
    from haltere.fieldbook import frames_in, open_book, outings

    call("unload", small_card, book=tmp_path / "book")
    with open_book(tmp_path / "book") as book:
        names = [frame.name for one in outings(book) for frame in frames_in(book, one.id)]
    assert names
    assert all(name.startswith("DCIM/") for name in names)


def test_a_file_that_is_not_in_the_book_ends_with_exit_code_1(
    small_card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from haltere.fieldbook import copying

    def refusing(stream: object) -> str:
        if str(getattr(stream, "name", "")).endswith(".mrk"):
            raise OSError(5, "Input/output error")
        return "cache"

    monkeypatch.setattr(copying, "drop_cache", refusing)
    said = call("unload", small_card, book=tmp_path / "book", code=1).output
    assert "Keep the card" in said
    told = call("unload", small_card, "--json", book=tmp_path / "book", code=1).output
    assert json.loads(told)["verdict"]["code"] == "keep"


@pytest.mark.parametrize(
    ("source", "words", "book"),
    [
        ("card", [], "card/bk"),
        ("card/DCIM", [], "card/bk"),
        ("card/DCIM", ["--second", "card/y"], "bk"),
        ("card", ["--name", "a\nb"], "bk"),
        ("card", ["--second", "no/such"], "bk"),
    ],
)
def test_a_refused_unload_leaves_nothing_behind(
    small_card: Path, tmp_path: Path, source: str, words: list[str], book: str
) -> None:
    before = set(tmp_path.rglob("*"))
    words = [str(tmp_path / word) if "/" in word else word for word in words]
    with pytest.raises(UsageError):
        call("unload", tmp_path / source, *words, book=tmp_path / book)
    assert set(tmp_path.rglob("*")) == before


def test_a_folder_taken_in_place_is_no_card(small_card: Path, tmp_path: Path) -> None:
    said = call("unload", small_card, "--in-place", book=tmp_path / "book").output
    assert said.splitlines()[0].startswith("8 files in the folder")
    assert "the card" not in said


def test_verify_says_what_is_wrong_in_a_whole_sentence(small_card: Path, tmp_path: Path) -> None:
    call("unload", small_card, book=tmp_path / "book")
    lost = next(iter(payload(tmp_path / "book" / "originals")))
    (tmp_path / "book" / "originals" / lost).unlink()
    said = call("verify", book=tmp_path / "book", code=1).output
    assert said.startswith("1 of 8 copies is not what it was")


def test_a_serial_number_that_no_frame_has_is_said(small_card: Path, tmp_path: Path) -> None:
    call("unload", small_card, book=tmp_path / "book")
    said = call("clock", "--camera", "nope", "--shift", "1:00:00", book=tmp_path / "book").output
    assert "No frame in the book is of this camera" in said
    assert "nope: 1:00:00" in call("clock", book=tmp_path / "book").output
    said = call("clock", "--camera", "0012345", "--shift", "1:00:00", book=tmp_path / "book").output
    assert "No frame" not in said


def test_clock_tells_sets_and_undoes(tmp_path: Path) -> None:
    book = tmp_path / "book"
    assert "no camera yet" in call("clock", book=book).output
    said = call("clock", "--camera", "0012345", "--shift", "-1:00:30", book=book).output
    assert "-1:00:30 is added" in said
    assert "0:00:00" in said  # what it was before, to set it back
    assert "-1:00:30" in call("clock", book=book).output
    call("clock", "--camera", "0012345", "--shift", "0:00:00", book=book)
    assert "trusted" in call("clock", book=book).output


@pytest.mark.parametrize(
    ("verb", "words"),
    [
        ("clock", ["--camera", "1"]),
        ("clock", ["--shift", "1:00:00"]),
        ("clock", ["--camera", "1", "--shift", "an hour"]),
        ("clock", ["--camera", " ", "--shift", "1:00:00"]),
        ("verify", ["--from-first", "--from-second"]),
    ],
)
def test_calls_that_make_no_sense_are_refused(tmp_path: Path, verb: str, words: list[str]) -> None:
    with pytest.raises(UsageError, match="--"):
        call(verb, *words, book=tmp_path / "book")
