"""The whole way from a copied card to a sheet.

In comes a folder or files, out comes an `Evening`: every run with its answer, and the sheet.
This room is the only one that knows the order of the steps; it must not know how a step
is done, nor who asked for it.
"""

from haltere.evening.answer import answer, as_json, with_skipped
from haltere.evening.capture import Told, capture_of
from haltere.evening.given import folder_of, frames_given
from haltere.evening.repairs import Repaired, repair
from haltere.evening.walk import Evening, file_merge, outing_name, walk, work_run
from haltere.evening.work import Work, at_work

__all__ = [
    "Evening",
    "Repaired",
    "Told",
    "Work",
    "answer",
    "as_json",
    "at_work",
    "capture_of",
    "file_merge",
    "folder_of",
    "frames_given",
    "outing_name",
    "repair",
    "walk",
    "with_skipped",
    "work_run",
]
