"""One file that remembers every original, every step and every decision.

Files and answers come in and are kept, each step whole or not at all. This is the only room that
opens the database; it must not know how an answer was found, nor how it is shown.
"""

from haltere.fieldbook.book import Book, open_book

__all__ = ["Book", "open_book"]
