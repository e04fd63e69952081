"""The command line: one file a verb.

Words and files come in, text for a person or JSON for a program goes out. Rooms that need
numpy are imported inside the verbs, so that `--help` answers at once.
"""

import os

# numpy reads it when it is loaded: its matrices here are small, and threads that wait for the
# next one take the other core from those that work (a third of the time that poses take)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from haltere.doors.cli.entry import main, run

__all__ = ["main", "run"]
