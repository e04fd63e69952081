"""What an unloading is refused for before anything is made, opened or written."""

from __future__ import annotations

from pathlib import Path

from haltere.errors import UsageError
from haltere.fieldbook.book import FILE
from haltere.fieldbook.card_root import card_root, lies_on
from haltere.fieldbook.naming import refuse_name


def check_unload(
    book_folder: Path,
    source: Path,
    *,
    name: str = "",
    second: Path | None = None,
    in_place: bool = False,
) -> None:
    """Refuse an unloading that makes no sense, before anything is made or opened.

    Parameters
    ----------
    book_folder : Path
        The book's folder; it need not be there yet.
    source : Path
        The card's folder.
    name : str, optional
        What the outing is to be called.
    second : Path, optional
        Folder for a second copy.
    in_place : bool, optional
        Whether the files are to stay where they are.

    Raises
    ------
    UsageError
        When the card is none, or book or second copy would lie on it or with each other.
    """
    refuse_name(name)
    root = source.resolve()
    if not root.is_dir():
        raise UsageError(f"{source}: is no folder; name the card's folder")
    own = book_folder.resolve()
    if root == own or own in root.parents:
        raise UsageError(f"{source}: belongs to the field book; name the card's folder")
    if (root / FILE).exists():
        raise UsageError(
            f"{source}: is another field book; open it with --book, or name a card's folder"
        )
    card = card_root(root)
    if root in own.parents or lies_on(own, card):
        raise UsageError(
            f"{source}: the field book {own} would lie on it, and nothing is written there; "
            "keep the book elsewhere with --book"
        )
    if second is None:
        return
    other = second.resolve()
    if other == own or own in other.parents or other in own.parents:
        raise UsageError(f"--second {second}: lies with the field book; name a folder elsewhere")
    if (
        other == root
        or root in other.parents
        or lies_on(other, card)
        or (in_place and other in root.parents)
    ):
        raise UsageError(f"--second {second}: lies with the files to copy; name a folder elsewhere")
    if not other.parent.is_dir():
        raise UsageError(
            f"--second {second}: its disk or folder is not there; plug it in, or make the folder"
        )
