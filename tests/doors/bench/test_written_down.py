"""What the pages were built to ask for is what the server answers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from haltere.doors.bench.app import make_app

WEB = Path(__file__).parents[3] / "web"


def shape(said: dict[str, Any]) -> tuple[set[tuple[str, str]], dict[str, set[str]]]:
    """Addresses with their methods, and each shape's keys; wording and order don't count."""
    addresses = {(path, method) for path, methods in said["paths"].items() for method in methods}
    keys = {
        name: set(one.get("properties", {})) for name, one in said["components"]["schemas"].items()
    }
    return addresses, keys


def test_the_addresses_that_the_pages_know_are_those_of_the_server(tmp_path: Path) -> None:
    written = json.loads((WEB / "openapi.json").read_text("utf-8"))
    assert shape(written) == shape(make_app(tmp_path).openapi())


def test_the_pages_types_are_generated_from_the_addresses() -> None:
    written = json.loads((WEB / "openapi.json").read_text("utf-8"))
    types = (WEB / "src" / "lib" / "schema.d.ts").read_text("utf-8")
    assert [path for path in written["paths"] if f'"{path}"' not in types] == []


def test_the_pages_wear_the_inks_of_the_sheet() -> None:
    from haltere.show.colours import DAY, NIGHT

    style = (WEB / "src" / "style.css").read_text("utf-8")
    for name, day in DAY.items():
        assert f"--{name}: light-dark({day}, {NIGHT[name]});" in style


def test_the_lock_of_the_pages_libraries_names_no_place_to_fetch_them_from() -> None:
    lock = json.loads((WEB / "package-lock.json").read_text("utf-8"))
    assert [name for name, one in lock["packages"].items() if "resolved" in one] == []
    for system in ("win32", "darwin", "linux"):  # pages are built on each of them
        assert any(f"rolldown/binding-{system}" in name for name in lock["packages"])
