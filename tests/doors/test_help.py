"""Help and documentation keep up with the verbs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import click
import pytest

from haltere.doors.cli import run
from haltere.doors.cli.entry import haltere as group

DOCS = Path(__file__).parents[2]
VERBS = sorted(group.commands)
HEAVY = ("numpy", "cv2", "scipy", "numba", "PIL", "rawpy", "tifffile", "fastapi", "uvicorn")


def options(verb: str) -> list[click.Option]:
    command = group.commands[verb]
    found = command.get_params(click.Context(command))
    return [o for o in found if isinstance(o, click.Option) and "--help" not in o.opts]


def guide() -> str:
    pages = [DOCS / "README.md", *sorted((DOCS / "docs").rglob("*.md"))]
    return "\n".join(page.read_text(encoding="utf-8") for page in pages)


@pytest.mark.parametrize("verb", VERBS)
def test_each_verb_has_help_with_an_example(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([verb, "--help"]) == 0
    shown = capsys.readouterr().out
    assert f"Example: haltere {verb} " in shown


@pytest.mark.parametrize("verb", VERBS)
def test_each_option_says_what_it_does(verb: str) -> None:
    for option in options(verb):
        assert option.help


@pytest.mark.parametrize("verb", VERBS)
def test_the_guide_knows_each_verb_and_option(verb: str) -> None:
    text = guide()
    assert f"haltere {verb}" in text
    for option in options(verb):
        assert f"`{option.opts[0]}" in text, option.opts[0]


@pytest.mark.parametrize("verb", VERBS)
def test_examples_in_the_help_are_valid_words(verb: str) -> None:
    command = group.commands[verb]
    example = (command.epilog or "").removeprefix("Example: haltere ").split()[1:]
    known = {name for option in options(verb) for name in option.opts}
    assert {word for word in example if word.startswith("--")} <= known


def test_help_is_answered_without_loading_heavy_libraries() -> None:
    code = (
        "import sys; from haltere.doors.cli import run; run(['--help']);"
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_version_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--version"]) == 0
    assert capsys.readouterr().out.startswith("haltere ")
