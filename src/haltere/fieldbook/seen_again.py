"""Which original of the book a card's file is: the same file seen again, or none.

Equal content alone does not make two files one. Three sidecars of equal bytes belong to three
frames, and each of them must lie beside its own; two empty files are two files. So an original
stands for one file of a card at most, and a sidecar is known only beside the frame it is for.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import PurePosixPath

from haltere.fieldbook.book import Book
from haltere.fieldbook.card import CardFile, OriginalKind
from haltere.fieldbook.naming import Token, stem_of


class SeenAgain:
    """Recognises the files of one visit; holds their names, and what they turned out to be.

    Parameters
    ----------
    book : Book
        Open book, locked by the caller.
    visit_id : int
        The visit; what it recorded before a break is kept to.
    tokens : iterable of Token
        All files of the card.
    """

    def __init__(self, book: Book, visit_id: int, tokens: Iterable[Token]) -> None:
        self._book = book
        self._tokens = frozenset(tokens)
        rows = book.connection.execute(
            "SELECT original_id, path FROM card_file "
            "WHERE visit_id = ? AND original_id IS NOT NULL",
            (visit_id,),
        )
        self._claims: dict[int, str] = {int(row[0]): row[1] for row in rows}
        self._free: dict[str, dict[int, str]] = {}
        self._sidecars = frozenset[str]()
        self._beside: list[tuple[int, str]] = []

    def begin(self, group: Iterable[tuple[CardFile, OriginalKind]]) -> None:
        """Turn to the files of another exposure.

        Parameters
        ----------
        group : iterable of (CardFile, str)
            Its files, each with its kind; pictures are asked for before their sidecars.
        """
        files = list(group)
        framed = any(kind != "other" for _, kind in files)
        self._sidecars = frozenset(file.name for file, kind in files if framed and kind == "other")
        self._beside = []

    def original_of(self, file: CardFile, sha256: str) -> int | None:
        """Tell which original a file is, and claim it for this file.

        Parameters
        ----------
        file : CardFile
            On the card.
        sha256 : str
            What it holds.

        Returns
        -------
        int or None
            None when the book does not have this file yet.
        """
        found = self._same_path(file, sha256)
        if found is None and file.name in self._sidecars:
            found = self._beside_its_frame(file, sha256)
        elif found is None:
            found = self._anywhere(file, sha256)
        if found is None:
            return None
        self._claims[found] = file.name
        self._free.get(sha256, {}).pop(found, None)
        if file.name not in self._sidecars:
            row = self._book.connection.execute(
                "SELECT outing_id, path FROM original WHERE id = ?", (found,)
            ).fetchone()
            self._beside.append((int(row[0]), row[1]))
        return found

    def _open_to(self, original: int, file: CardFile) -> bool:
        return self._claims.get(original, file.name) == file.name

    def _same_path(self, file: CardFile, sha256: str) -> int | None:
        """Find what a file of this name on a card was before; a sidecar's time must agree too."""
        rows = self._book.connection.execute(
            "SELECT f.original_id, f.bytes, f.mtime_ns FROM card_file f "
            "JOIN original o ON o.id = f.original_id "
            "WHERE f.path = ? AND o.sha256 = ? ORDER BY f.original_id",
            (file.name, sha256),
        ).fetchall()
        rows = [row for row in rows if self._open_to(int(row[0]), file)]
        exact = [row for row in rows if (row[1], row[2]) == (file.size, file.mtime_ns)]
        mine = [row for row in rows if int(row[0]) in self._claims]
        if file.name in self._sidecars:
            rows = []  # cameras that count alike give the same name to sidecars of other frames
        for row in (*mine, *exact, *rows):
            return int(row[0])
        return None

    def _beside_its_frame(self, file: CardFile, sha256: str) -> int | None:
        suffix = file.name[len(stem_of(file.name)) :]
        for outing, path in self._beside:
            row = self._book.connection.execute(
                "SELECT id FROM original WHERE outing_id = ? AND path = ? AND sha256 = ?",
                (outing, stem_of(path) + suffix, sha256),
            ).fetchone()
            if row is not None and self._open_to(int(row[0]), file):
                return int(row[0])
        return None

    def _anywhere(self, file: CardFile, sha256: str) -> int | None:
        """Find an original that no file of this card is, best one of the same file name."""
        if sha256 not in self._free:
            # what this visit brings is kept for its own files, so one look is enough
            rows = self._book.connection.execute(
                "SELECT o.id, o.path FROM original o WHERE o.sha256 = ? ORDER BY o.id", (sha256,)
            ).fetchall()
            if not rows:
                return None
            self._free[sha256] = {
                int(row[0]): row[1]
                for row in rows
                if int(row[0]) not in self._claims and not self._kept_for_another(int(row[0]), file)
            }
        free = self._free[sha256]
        own = PurePosixPath(file.name).name
        same_name = (one for one, path in free.items() if PurePosixPath(path).name == own)
        return next(same_name, next(iter(free), None))

    def _kept_for_another(self, original: int, file: CardFile) -> bool:
        """Answer whether the file that it was before is on this card too, under another name."""
        rows = self._book.connection.execute(
            "SELECT path, bytes, mtime_ns FROM card_file WHERE original_id = ?", (original,)
        )
        return any((row[0], row[1], row[2]) in self._tokens for row in rows if row[0] != file.name)
