"""Draws what was found: the sheet of an outing, as a page and as one picture.

Results and a decoder come in, files go out. This room decides nothing: every word and mark
repeats what a room below has said. It must not know who asked, nor how a result came about.
"""

from haltere.show.filing import file_away
from haltere.show.make import Sheet, make_sheet
from haltere.show.outing import Outing, WorkedRun

__all__ = ["Outing", "Sheet", "WorkedRun", "file_away", "make_sheet"]
