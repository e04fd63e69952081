"""Rules that the whole repository keeps."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

import haltere

ROOT = Path(__file__).resolve().parent.parent
SOURCES = sorted((ROOT / "src" / "haltere").rglob("*.py"))
LONGEST = 500
TEXT = {
    ".py",
    ".md",
    ".toml",
    ".yaml",
    ".yml",
    ".json",
    ".txt",
    ".sh",
    ".css",
    ".js",
    ".ts",
    ".html",
    "",
}
# spelled in pieces, so that this file does not hold what it forbids
WORKPLACE = re.compile(
    "|".join(("/" + "work/", "/" + "tmp/plan", r"\.lib" + "rary", "pypi" + r"\.org"))
)


def _texts() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    names = [ROOT / name for name in listed.stdout.decode().split("\0") if name]
    return [
        path
        for path in names
        if path.suffix in TEXT and path.is_file() and "tests/data" not in path.as_posix()
    ]


def test_no_source_file_is_longer_than_a_person_reads_or_empty() -> None:
    lengths = {
        p.relative_to(ROOT).as_posix(): len(p.read_text("utf-8").splitlines()) for p in SOURCES
    }
    assert lengths
    assert {name: n for name, n in lengths.items() if not 0 < n <= LONGEST} == {}


def test_no_file_speaks_of_the_place_where_it_was_written() -> None:
    found = {
        path.relative_to(ROOT).as_posix(): hits
        for path in _texts()
        if (hits := sorted(set(WORKPLACE.findall(path.read_text("utf-8", "replace")))))
    }
    assert found == {}


def test_no_room_is_a_drawer_for_everything() -> None:
    drawers = {"utils", "helpers", "common", "core", "manager", "misc", "util"}
    assert [p.as_posix() for p in SOURCES if drawers & {p.stem, p.parent.name}] == []


def test_what_a_file_keeps_to_itself_is_not_taken_by_another() -> None:
    taken = [
        f"{path.relative_to(ROOT).as_posix()}: {name.name}"
        for path in SOURCES
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ImportFrom)
        for name in node.names
        if name.name.startswith("_") and not name.name.startswith("__")
    ]
    assert taken == []


def test_the_version_is_said_once() -> None:
    said = re.search(r'^version = "(.+)"$', (ROOT / "pyproject.toml").read_text("utf-8"), re.M)
    assert said is not None
    assert said[1] == haltere.__version__
