"""Writes down the addresses of the bench, from which the page's typed client is generated."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from haltere.doors.bench.app import make_app


def main() -> None:
    """Write openapi.json beside this file, or to the path that the first word names."""
    place = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("openapi.json")
    said = json.dumps(make_app(Path("book")).openapi(), indent=1, sort_keys=True)
    place.write_text(said + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
