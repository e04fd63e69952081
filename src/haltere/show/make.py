"""Makes the sheet of an outing and files it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from haltere.frames import Decoder
from haltere.progress import Progress, silent
from haltere.show.filing import file_away
from haltere.show.outing import Outing
from haltere.show.overview import overview_png
from haltere.show.plates import gather
from haltere.show.sheet import page


@dataclass(frozen=True, slots=True)
class Sheet:
    """Where the sheet lies: the page, and the overview picture."""

    html: Path
    overview: Path


def make_sheet(
    outing: Outing, decoder: Decoder, out: Path, *, progress: Progress = silent
) -> Sheet:
    """Draw an outing as one page and as one picture.

    Parameters
    ----------
    outing : Outing
        What is shown; merged files are named relative to `out`.
    decoder : Decoder
        Open decoder.
    out : Path
        Folder for `sheet.html` and `sheet.png`.
    progress : Progress
        Told of each run.

    Raises
    ------
    WriteError
        When a file can't be written.
    """
    plates = gather(outing, decoder, out, progress)
    html = file_away(out / "sheet.html", page(outing, plates).encode())
    return Sheet(html, file_away(out / "sheet.png", overview_png(outing, plates)))
