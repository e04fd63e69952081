"""The command line: one file a verb.

Words and files come in, text for a person or JSON for a program goes out. Rooms that need
numpy are imported inside the verbs, so that `--help` answers at once.
"""

from haltere.doors.cli.entry import main, run

__all__ = ["main", "run"]
