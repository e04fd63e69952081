"""Which field book a verb works on."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from haltere.fieldbook import Book

Verb = TypeVar("Verb", bound=Callable[..., Any])

VARIABLE = "HALTERE_BOOK"

book_option = click.option(
    "--book",
    "book_folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help=f"Your field book; without it {VARIABLE}, else one in your user data folder.",
)

outing_option = click.option(
    "--outing",
    metavar="NAME",
    help="An outing of the book by number, name or day; the newest unless you say.",
)


def book_at(folder: Path | None) -> Path:
    """Name the folder of the field book: as said, as the environment says, or the usual one."""
    if folder is not None:
        return folder
    told = os.environ.get(VARIABLE)
    if told:
        return Path(told)
    from platformdirs import user_data_path

    return user_data_path("haltere")


def opened(folder: Path | None) -> Book:
    """Open the field book.

    Raises
    ------
    BookError
        When it can't be.
    """
    from haltere.fieldbook import open_book

    return open_book(book_at(folder))


def run_options(verb: Verb) -> Verb:
    """Add --book, --outing and --run: the frames come from the book instead of a folder."""
    for option in (
        click.option(
            "--run", "run_id", metavar="ID", help="A run of the book's outing, as run-03."
        ),
        outing_option,
        book_option,
    ):
        verb = option(verb)
    return verb
