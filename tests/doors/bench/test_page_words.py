"""What the command line calls an option, the page calls by its field."""

from __future__ import annotations

from pathlib import Path

import pytest

from haltere.doors.bench.page_words import FIELDS, ON_UNLOAD, on_page

PAGES = Path(__file__).parents[3] / "web" / "src"


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("give it at ISO 100 (--guide-number).", "give it at ISO 100 (“guide number”)."),
        ("--iso: is too low", "“ISO”: is too low"),
        ("needs both --latitude and --longitude", "needs both “latitude” and “longitude”"),
        ("haltere sensitive keeps its place vague", "“Kept vague” keeps its place vague"),
        ("name a folder with --second.", "name a folder with “Second copy”."),
    ],
)
def test_an_option_is_called_by_its_field(said: str, shown: str) -> None:
    assert on_page(said) == shown


@pytest.mark.parametrize(
    "said",
    [
        "run-02: is not merged yet; haltere merge --run run-02 is for that",
        "open the bench with --places for another",
        "--lan: this computer has joined no network",
        "/media/me/--iso/a.jpg: is cut short",
        "a dash -- or two",
    ],
)
def test_a_call_to_be_typed_and_a_file_s_name_stand_as_they_are(said: str) -> None:
    assert on_page(said) == said


def test_a_whole_answer_is_said_in_the_page_s_words() -> None:
    answer = {"notes": ["see --depth", 3, None], "pair": ("--light", {"why": "--date"})}
    told = {"notes": ["see “depth”", 3, None], "pair": ("“Daylight”", {"why": "“Day”"})}
    assert on_page(answer) == told


def test_a_page_may_call_an_option_otherwise() -> None:
    assert on_page("--name is too long", ON_UNLOAD) == "“Outing's name” is too long"
    assert on_page("--name is too long") == "“What” is too long"


def test_every_name_of_a_field_stands_on_a_page() -> None:
    pages = "".join(path.read_text("utf-8") for path in PAGES.rglob("*.svelte"))
    said = {*FIELDS.values(), *ON_UNLOAD.values()}
    assert {one for one in said if f">{one}" not in pages} == set()
