"""Lists of hashes beside the originals, in a form that ordinary tools check.

Each outing is a bag in the form of BagIt (J. Kunze et al., RFC 8493, 2018; from memory), and
``sha256sum -c manifest-sha256.txt`` in its folder reads it. Names that the two would write
differently (with a percent sign, a backslash or a line break) do not occur: `naming.fit` replaces
them.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from haltere.fieldbook.durable import write_whole

DATA = "data"
MANIFEST = "manifest-sha256.txt"
_BAG = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def manifest_text(files: Iterable[tuple[str, str]]) -> str:
    """Write the list.

    Parameters
    ----------
    files : iterable of (str, str)
        Path in the bag, and SHA-256.

    Returns
    -------
    str
        One line a file, in order of path.
    """
    return "".join(f"{sha256}  {path}\n" for path, sha256 in sorted(files))


def write_bag(folder: Path, files: Iterable[tuple[str, str]], root: Path) -> bool:
    """Bring a bag's list up to date; what is right already is not written again.

    Two books may keep their second copies in one folder, and a bag of both: lines of files that
    lie there and are not among those given stay as they are.

    Parameters
    ----------
    folder : Path
        The outing's folder.
    files : iterable of (str, str)
        Path below the outing's folder, beginning with 'data/', and SHA-256.
    root : Path
        The place of originals.

    Returns
    -------
    bool
        Whether something was written.

    Raises
    ------
    WriteError
        When the disk refuses.
    """
    own = dict(files)
    others = {
        path: sha256
        for path, sha256 in _listed(folder / MANIFEST)
        if path not in own and (folder / path).is_file()
    }
    wrote = _write_other(folder / "bagit.txt", _BAG, root)
    text = manifest_text({**others, **own}.items())
    return _write_other(folder / MANIFEST, text.encode(), root) or wrote


def _listed(path: Path) -> Iterable[tuple[str, str]]:
    """Give path and hash of a list that is there; none of one that can't be read as such."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return
    for line in lines:
        sha256, gap, file = line.partition("  ")
        if gap and len(sha256) == 64 and file.startswith(f"{DATA}/"):
            yield file, sha256


def write_list(path: Path, files: Iterable[tuple[str, str]], root: Path) -> bool:
    """Bring the list of a folder that was adopted in place up to date, outside that folder.

    Parameters
    ----------
    path : Path
        Where the list stands, in the book.
    files : iterable of (str, str)
        Path below the folder, and SHA-256.
    root : Path
        The book's place of originals.

    Returns
    -------
    bool
        Whether something was written.

    Raises
    ------
    WriteError
        When the disk refuses.
    """
    return _write_other(path, manifest_text(_escaped(files)).encode("utf-8"), root)


def _escaped(files: Iterable[tuple[str, str]]) -> Iterable[tuple[str, str]]:
    """Leave out names that a line can't hold; the book has them all the same."""
    return ((path, digest) for path, digest in files if not set(path) & {"\n", "\r", "\\"})


def _write_other(path: Path, data: bytes, root: Path) -> bool:
    try:
        if path.read_bytes() == data:
            return False
    except OSError:
        pass
    write_whole(path, data, root)
    return True
