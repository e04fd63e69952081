"""How far a card reaches: where nothing may be written, though only a part of it is unloaded."""

from __future__ import annotations

import os
from pathlib import Path


def card_root(source: Path) -> Path:
    """Tell the top folder of the card that a folder lies on.

    Parameters
    ----------
    source : Path
        What is unloaded; it need not be plugged in.

    Returns
    -------
    Path
        The folder that holds the card's DCIM folder, or the source itself where there is none;
        never a person's home or what holds it, though a DCIM folder may lie there.
    """
    root = source.resolve()
    home = _home()
    above_home = {home, *home.parents, Path(root.anchor)}
    top = root
    for folder in (root, *root.parents):
        holder = folder.parent if folder.name.upper() == "DCIM" else folder
        if holder in above_home:
            if holder != folder:
                top = folder
            break
        if holder != folder or (folder / "DCIM").is_dir():
            top = holder
    return top


def lies_on(folder: Path, card: Path) -> bool:
    """Answer whether a folder lies on a card, or would when it is made.

    Parameters
    ----------
    folder : Path
        A folder that need not be there.
    card : Path
        From `card_root`.

    Returns
    -------
    bool
        True also where the card is mounted a second time.
    """
    place = folder.resolve()
    if place == card or card in place.parents:
        return True
    if not os.path.ismount(card) or _device(card) in (_device(Path(card.anchor)), _device(_home())):
        return False
    return _device(standing(place)) == _device(card)


def standing(folder: Path) -> Path:
    """Give the nearest folder on the way to one that is there.

    Parameters
    ----------
    folder : Path
        A folder that may be gone.

    Returns
    -------
    Path
        Itself, or one above it.
    """
    return next((one for one in (folder, *folder.parents) if one.is_dir()), folder)


def _home() -> Path:
    try:
        return Path.home().resolve()
    except RuntimeError:
        return Path(os.sep).resolve()


def _device(folder: Path) -> int:
    try:
        return folder.stat().st_dev
    except OSError:
        return -1
