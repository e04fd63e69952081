"""What the hand rested on, as the person says it, for an outing or one of its runs."""

from __future__ import annotations

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now

LONGEST = 40


def set_support(book: Book, outing_id: int, run: str, word: str) -> None:
    """Write down what the hand rested on; again replaces it, an empty word takes it away.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.
    run : str
        A run's id; empty for the whole outing.
    word : str
        In the person's words: "elbow", "stick".

    Raises
    ------
    UsageError
        When the word is none.
    """
    said = " ".join(word.split())
    if len(said) > LONGEST or not said.isprintable():
        raise UsageError(f"--support: a word or two, up to {LONGEST} letters")
    with book.writing() as rows:
        rows.execute("DELETE FROM support WHERE outing_id = ? AND run = ?", (outing_id, run))
        if said:
            rows.execute(
                "INSERT INTO support (outing_id, run, word, written) VALUES (?, ?, ?, ?)",
                (outing_id, run, said, now()),
            )


def supports(book: Book) -> dict[tuple[int, str], str]:
    """Give what the hand rested on.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    dict
        Outing and run to word; the run is empty for what holds of the whole outing.
    """
    rows = book.connection.execute("SELECT outing_id, run, word FROM support")
    return {(int(row[0]), row[1]): row[2] for row in rows}
