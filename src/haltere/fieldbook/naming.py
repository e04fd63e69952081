"""Names of originals: the card's own, made fit for every disk, and never one for two files."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import PurePosixPath

from haltere.errors import UsageError
from haltere.fieldbook.limits import LIMITS

_REFUSED = set('<>:"|?*\\%')  # by exFAT and Windows; \ and % also bend lines of checksum lists
_DEVICES = {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))}
_SIDECARS = {".xmp"}

Token = tuple[str, int, int]
"""Name, bytes and time of a file on a card: what tells a file seen before without reading it."""


def told(name: str) -> str:
    """Write a name of any bytes as text that can be stored and shown.

    Parameters
    ----------
    name : str
        As the system gave it; bytes that are no UTF-8 are lone surrogates.

    Returns
    -------
    str
        Such bytes as a backslash and two digits.
    """
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def fit_path(path: PurePosixPath) -> str:
    """Make every part of a path one that any disk and any list takes.

    Parameters
    ----------
    path : PurePosixPath
        Relative, as on the card.

    Returns
    -------
    str
        The same wherever it was fit already.
    """
    return "/".join(fit(part) for part in path.parts)


def fit(part: str) -> str:
    """Make one name fit: signs that some disks refuse become '_'.

    Parameters
    ----------
    part : str
        A file's or folder's name.

    Returns
    -------
    str
        The same wherever it was fit already.
    """
    clean = "".join(
        "_" if c in _REFUSED or ord(c) < 32 or ord(c) == 127 or 0xD800 <= ord(c) < 0xE000 else c
        for c in part
    )
    if clean[-1:] in (" ", "."):
        clean = clean[:-1] + "_"
    if clean.partition(".")[0].casefold() in _DEVICES:
        clean = f"_{clean}"
    return clean


def same_place(path: str) -> str:
    """Give what two paths share where a disk would take them for one.

    Parameters
    ----------
    path : str
        Relative path.

    Returns
    -------
    str
        Without case and without ways to write an accent.
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def stem_of(path: str) -> str:
    """Give the part of a path that a frame's files share: M_0001.JPG, M_0001.JPG.xmp.

    Parameters
    ----------
    path : str
        Relative path.

    Returns
    -------
    str
        Folder and name without suffix.
    """
    name = PurePosixPath(path)
    stem = PurePosixPath(name.stem)
    inner = stem.stem if name.suffix.lower() in _SIDECARS and stem.suffix else stem.name
    return (name.parent / inner).as_posix()


def numbered(path: str, number: int) -> str:
    """Give the name that a file takes when others have its own: M_0001-2.JPG.

    Parameters
    ----------
    path : str
        Relative path.
    number : int
        1 for the name itself, 2 for the next.

    Returns
    -------
    str
        No longer than a disk allows.
    """
    if number == 1:
        return path
    name = PurePosixPath(path)
    stem = PurePosixPath(stem_of(path)).name
    rest = f"-{number}{name.name[len(stem) :]}"
    while stem and len((stem + rest).encode()) > LIMITS.name_bytes:
        stem = stem[:-1]
    if not stem:  # nearly all of the name is its suffix
        rest = f"-{number}"
        stem = name.name
        while len((stem + rest).encode()) > LIMITS.name_bytes:
            stem = stem[:-1]
    return (name.parent / (stem + rest)).as_posix()


def refuse_name(name: str) -> None:
    """Refuse a name that no outing can have.

    Parameters
    ----------
    name : str
        As the photographer gave it, or empty.

    Raises
    ------
    UsageError
        When it has line breaks or other signs that can't be seen, or can't be a folder's.
    """
    if any(unicodedata.category(sign) in ("Cc", "Zl", "Zp") for sign in name):
        raise UsageError(
            f"--name {name!r} has line breaks or signs that can't be seen; give it in one line"
        )
    outing_folder("2000-01-01", name)


def outing_folder(day: str, name: str) -> str:
    """Name an outing's folder: its day, and what it is called.

    Parameters
    ----------
    day : str
        ISO 8601; empty when no file tells it.
    name : str
        As the photographer calls it, or empty.

    Returns
    -------
    str
        Such as '2031-06-14 meadow'.

    Raises
    ------
    UsageError
        When the name can't be a folder's.
    """
    clean = fit(" ".join(name.replace("/", "-").split()))
    if name and not clean.strip("._- "):
        raise UsageError(f"--name {name!r} has no letters; call the outing by a word")
    folder = f"{day or 'undated'} {clean}".strip()
    if len(folder.encode()) > LIMITS.name_bytes - 20:
        raise UsageError("--name is too long for a folder; call the outing by a few words")
    return folder


class Names:
    """Names that are taken in one outing.

    Files of one exposure move on to a new number together, so that a raw file and its JPEG stay
    a pair when two cameras count alike.

    Parameters
    ----------
    taken : iterable of (str, Token or None)
        Paths in the outing, each with the card's file it came from, if known.
    """

    def __init__(self, taken: Iterable[tuple[str, Token | None]]) -> None:
        self._paths = set[str]()
        self._folders = set[str]()
        self._stems: dict[str, set[Token]] = {}
        for path, token in taken:
            self.take(path, token)

    def take(self, path: str, token: Token | None) -> None:
        """Mark a name as taken.

        Parameters
        ----------
        path : str
            Relative path in the outing.
        token : Token or None
            The card's file that has it.
        """
        self._paths.add(same_place(path))
        for folder in PurePosixPath(path).parents:
            self._folders.add(same_place(folder.as_posix()))
        tokens = self._stems.setdefault(same_place(stem_of(path)), set())
        if token is not None:
            tokens.add(token)

    def free_for(self, path: str, group: frozenset[Token]) -> Iterator[str]:
        """Give names that a file may take, best first.

        Parameters
        ----------
        path : str
            Its own name, fit for disks.
        group : frozenset of Token
            All files of its exposure on the card.

        Yields
        ------
        str
            Names that no file of the book has, without end.
        """
        path = self._beside_files(path)
        number = 0
        while True:
            number += 1
            name = numbered(path, number)
            place = same_place(name)
            owners = self._stems.get(same_place(stem_of(name)))
            ours = owners is None or bool(owners & group)
            if ours and place not in self._paths and place not in self._folders:
                yield name

    def _beside_files(self, path: str) -> str:
        """Rename folders that would stand where a file stands."""
        done = PurePosixPath()
        for part in PurePosixPath(path).parts[:-1]:
            number = 1
            while same_place((done / numbered(part, number)).as_posix()) in self._paths:
                number += 1
            done = done / numbered(part, number)
        return (done / PurePosixPath(path).name).as_posix()
