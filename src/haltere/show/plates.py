"""Gathers the small pictures of an outing, one run after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from PIL import Image

from haltere.frames import Decoder
from haltere.keepers.verdict import JudgedFrame
from haltere.progress import Progress, silent
from haltere.show.outing import Outing, WorkedRun
from haltere.show.pictures import SIZES, Seen, Shading, merged_look, origin_shading, seen_frames
from haltere.show.rail import hung


@dataclass(frozen=True, slots=True)
class SweepPlates:
    """Pictures of one sweep; None where a file could not be read."""

    picture: Image.Image | None
    shading: Shading | None


@dataclass(frozen=True, slots=True)
class Plates:
    """Pictures of one run: what is seen of frames, by name, and of a merged sweep."""

    seen: Mapping[str, Seen] = field(default_factory=dict)
    sweep: SweepPlates | None = None


def gather(
    outing: Outing, decoder: Decoder, folder: Path, progress: Progress = silent
) -> dict[str, Plates]:
    """Fetch the pictures that the sheet shows.

    Holds a few frames at full size while they are cut, and all the small pictures.

    Parameters
    ----------
    outing : Outing
        What is shown.
    decoder : Decoder
        Open decoder.
    folder : Path
        Folder that merged files are named against.
    progress : Progress
        Told of each run.
    """
    plates: dict[str, Plates] = {}
    for number, worked in enumerate(outing.runs):
        progress("drawing the sheet", number, len(outing.runs))
        plates[worked.run.id] = _of_run(worked, outing, decoder, folder)
    progress("drawing the sheet", len(outing.runs), len(outing.runs))
    return plates


def shown(judged: Sequence[JudgedFrame], most: int = SIZES.strip) -> list[str]:
    """Name the frames whose pictures are wanted: the best, then others whose eye was found.

    Parameters
    ----------
    judged : sequence of JudgedFrame
        In rank order.
    most : int, optional
        How many at most.
    """
    names = [one.frame for one in judged if one.eye_px is not None][:most]
    if judged and judged[0].frame not in names:
        names.insert(0, judged[0].frame)
    return names


def _of_run(worked: WorkedRun, outing: Outing, decoder: Decoder, folder: Path) -> Plates:
    if worked.keepers is not None:
        judged = sorted(worked.keepers.frames, key=lambda frame: frame.rank)
        frames = [outing.frames[name] for name in shown(judged) if name in outing.frames]
        # a single is all there is: its only crop is a large one
        large = {one.frame for one in (*hung(worked.keepers, SIZES.hung), *judged[:1])}
        return Plates(dict(seen_frames(judged, frames, decoder, large=large)))
    if worked.gaps is not None and worked.merge is not None:
        try:
            picture = merged_look(folder / worked.merge.picture_jpeg)
        except (OSError, ValueError):
            picture = None
        try:
            shading = origin_shading(worked.merge, worked.gaps, folder)
        except (OSError, ValueError):
            shading = None
        return Plates(sweep=SweepPlates(picture, shading))
    return Plates()
