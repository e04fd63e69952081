"""The documentation keeps its promises: examples, words, links, cautions."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from haltere.doors.schemas import VERBS, schema
from haltere.kit import read_kit
from haltere.kit.kit import Kit

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").rglob("*.md"))]
GUIDE = ROOT / "docs" / "guide"
REGISTRY: Any = Registry().with_resources(
    [(f"haltere:{verb}", Resource.from_contents(schema(verb))) for verb in VERBS]
)


def text(name: str) -> str:
    return (GUIDE / name).read_text(encoding="utf-8")


def chapter(verb: str) -> str:
    return text("json.md").split(f"\n## {verb}\n")[1].split("\n## ")[0]


def keys(part: Any) -> set[str]:
    """Every key that a schema names, its own and its inner ones."""
    if isinstance(part, dict):
        own = set(part.get("properties", {}))
        return own.union(*(keys(inner) for inner in part.values()))
    return set().union(*(keys(inner) for inner in part)) if isinstance(part, list) else set()


@pytest.mark.parametrize("verb", VERBS)
def test_the_example_of_each_answer_is_a_valid_one(verb: str) -> None:
    (example,) = re.findall(r"```json\n(.*?)```", chapter(verb), re.DOTALL)
    Draft202012Validator(schema(verb), registry=REGISTRY).validate(json.loads(example))


@pytest.mark.parametrize("verb", VERBS)
def test_each_key_of_an_answer_is_explained(verb: str) -> None:
    page = text("json.md")
    assert {key for key in keys(schema(verb)) if f"`{key}`" not in page} == set()


def test_the_kit_shown_in_the_guide_is_read(tmp_path: Path) -> None:
    (shown,) = re.findall(r"```toml\n(.*?)```", text("kit-file.md"), re.DOTALL)
    (tmp_path / "kit.toml").write_text(shown, encoding="utf-8")
    kit = read_kit(tmp_path / "kit.toml")
    assert (kit.magnification, kit.sensor_width_mm) == (2.0, 17.3)
    assert tomllib.loads(shown)["name"] == kit.name


def test_each_field_of_a_kit_is_explained() -> None:
    page = text("kit-file.md")
    for field in fields(Kit):
        name = field.name.removeprefix("sensor_")
        assert f"{name}`" in page, field.name


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_to_files_that_are_there(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        if target != "docs/pictures/sheet.png":
            assert (page.parent / target).exists(), target


@pytest.mark.parametrize(
    ("heading", "must_say"),
    [
        ("The animal's welfare", ["Leave it where it is", "Stop when it stops", "moulting"]),
        ("Protected species and places", ["permit", "remove the position", "reserves"]),
        ("Ticks", ["in the evening", "doctor"]),
        ("Stings and bites", ["allergic"]),
        ("Water's edge", ["where your feet", "drown"]),
        ("Sun on the lens", ["optical finder", "burn"]),
        ("Flash near eyes", ["eyes of people", "least power"]),
    ],
)
def test_each_caution_is_there(heading: str, must_say: list[str]) -> None:
    part = text("cautions.md").split(f"\n## {heading}\n")[1].split("\n## ")[0]
    for words in must_say:
        assert words in part


def test_cautions_defer_to_law_and_licence() -> None:
    opening = text("cautions.md").split("\n## ")[0]
    assert "law" in opening
    assert "licence" in opening


@pytest.mark.parametrize(
    "page",
    [
        "a-burst.md",
        "a-sweep.md",
        "planning.md",
        "watching.md",
        "sightings.md",
        "delivering.md",
        "finishing.md",
    ],
)
def test_cautions_are_named_where_the_danger_is(page: str) -> None:
    assert "(cautions.md)" in text(page)
    assert "(docs/guide/cautions.md)" in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "word",
    [
        "burst", "sweep", "pass", "plane", "depth of field", "circle of confusion",
        "effective f-number", "pupil magnification", "entrance pupil", "keeper", "gap",
        "reference frame", "origin map", "magnification", "run", "single", "frame",
    ],
)  # fmt: skip
def test_each_word_of_the_trade_is_explained(word: str) -> None:
    rows = (ROOT / "docs" / "words.md").read_text(encoding="utf-8").splitlines()
    assert any(re.match(rf"\| (\w+, )*{re.escape(word)}(, [^|]+)? \|", row) for row in rows)


def test_words_are_sorted_and_told_once() -> None:
    rows = (ROOT / "docs" / "words.md").read_text(encoding="utf-8").splitlines()
    words = [row.split("|")[1].strip() for row in rows if row.startswith("| ")][2:]
    assert words == sorted(set(words))


def test_the_commands_of_the_readme_stand_below_their_marks() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for mark, last in (("demo", "haltere demo"), ("test", "pytest -q -n 2 --dist loadfile")):
        (line,) = re.findall(rf"<!-- {mark} line -->\n```\n(.*?)\n```", readme)
        assert line.startswith("python3 -m venv .venv && ")
        assert line.endswith(last)
