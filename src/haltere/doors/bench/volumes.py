"""Cards and disks that are plugged in, and which folders the page may name."""

from __future__ import annotations

import os
import re
import shutil
import string
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from haltere.errors import UsageError

MOUNTED = re.compile(r"/(media/[^/]+(/[^/]+)?|run/media/[^/]+/[^/]+|mnt/[^/]+)")
"""Where systems of this kind hang cards and sticks (Filesystem Hierarchy Standard 3.0, and
common practice)."""


@dataclass(frozen=True, slots=True)
class Volume:
    """One card, stick or disk that is plugged in.

    Attributes
    ----------
    path : str
        Its folder.
    name : str
        As it is called.
    camera : bool
        Whether it holds a camera's folder DCIM.
    free_bytes, total_bytes : int
        Its room; 0 where it does not say.
    """

    path: str
    name: str
    camera: bool
    free_bytes: int
    total_bytes: int


def volumes(places: Sequence[Path] = ()) -> tuple[Volume, ...]:
    """List what is plugged in, cards of a camera first.

    Parameters
    ----------
    places : sequence of Path, optional
        Further folders; each folder in them counts as plugged in.

    Returns
    -------
    tuple of Volume
        What can't be looked at is left out.
    """
    found = dict.fromkeys((*_mounted(), *_within(places)))
    seen = [one for root in found if (one := _volume(root)) is not None]
    return tuple(sorted(seen, key=lambda one: (not one.camera, one.name, one.path)))


def allowed(typed: str, places: Sequence[Path], what: str) -> Path:
    """Refuse a folder that no card and no second copy can be in.

    A page in a browser may ask for this, so it reaches no further than what is plugged in, the
    person's own visible folders, and what was named when the bench was opened.

    Parameters
    ----------
    typed : str
        As the person typed it.
    places : sequence of Path
        Folders that were named when the bench was opened.
    what : str
        What the folder is for: "the card".

    Returns
    -------
    Path
        Links followed.

    Raises
    ------
    UsageError
        When it lies elsewhere.
    """
    try:
        path = Path(typed.strip()).expanduser()
        real = path.resolve() if path.is_absolute() else None
    except (OSError, RuntimeError, ValueError):
        real = None
    if real is None:
        raise UsageError(f"Name the whole way to {what}, from the top: /media/me/CARD.")
    if any(real == root or root in real.parents for root in (*_mounted(), *places)):
        return real
    home = _home()
    if home is not None and home in real.parents:
        within = real.relative_to(home).parts
        if not any(part.startswith(".") for part in within):
            return real
    raise UsageError(
        f"{typed[:200]}: is no card, no disk that is plugged in, and no folder of yours; open the "
        "bench with --places for another"
    )


def _volume(root: Path) -> Volume | None:
    try:
        camera = (root / "DCIM").is_dir()
        usage = shutil.disk_usage(root)
    except OSError:
        return None
    return Volume(str(root), root.name or str(root), camera, usage.free, usage.total)


def _within(places: Sequence[Path]) -> list[Path]:
    found: list[Path] = []
    for place in places:
        try:
            found += sorted(
                one for one in place.iterdir() if one.is_dir() and not one.name.startswith(".")
            )
        except OSError:
            continue
    return found


def _mounted() -> list[Path]:
    if sys.platform == "win32":  # not tried on a computer of this kind
        own = os.environ.get("SYSTEMDRIVE", "C:").upper()
        drives = (f"{letter}:" for letter in string.ascii_uppercase[3:])
        return [Path(f"{drive}\\") for drive in drives if drive != own and Path(drive).exists()]
    if sys.platform == "darwin":  # not tried on a computer of this kind
        return [one for one in _within([Path("/Volumes")]) if os.path.ismount(one)]
    try:
        lines = Path("/proc/self/mounts").read_text("utf-8", "replace").splitlines()
    except OSError:
        return []
    roots = [_unescaped(line.split(" ")[1]) for line in lines if line.count(" ") >= 2]
    return [Path(root) for root in roots if MOUNTED.fullmatch(root)]


def _unescaped(text: str) -> str:
    """Undo how the list of mounts writes blanks and the like (proc(5), fstab(5))."""
    for code, sign in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        text = text.replace(code, sign)
    return text


def _home() -> Path | None:
    try:
        return Path.home().resolve()
    except (OSError, RuntimeError):
        return None
