"""Pictures that go along with records: pixels only, under names that tell nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from haltere.errors import FrameError, HaltereError
from haltere.fieldbook.answers import newest_answers
from haltere.fieldbook.book import Book
from haltere.fieldbook.catalogue import frames_in, runs_in
from haltere.fieldbook.sightings import Evidence, SightingRow
from haltere.frames import Decoder, find_frames
from haltere.frames.bare import bare_jpeg
from haltere.frames.frame import Frame, Skipped

Size = Literal["none", "small", "full"]
SMALL_PX = 2048
"""Longest side of a small picture: shows what names an animal, and is no print (assumed)."""
_QUALITY = 90


@dataclass(frozen=True, slots=True)
class Shown:
    """One picture of a sighting.

    Attributes
    ----------
    name : str
        Name of the copy: the record's number and a count.
    frame : Frame
        The file it is made from.
    about : str
        How the picture came about, in words.
    """

    name: str
    frame: Frame
    about: str


def pictures_of(book: Book, row: SightingRow) -> tuple[tuple[Shown, ...], tuple[Skipped, ...]]:
    """Choose the pictures that show a sighting: one for each piece of evidence.

    Parameters
    ----------
    book : Book
        Open book.
    row : SightingRow
        The sighting.

    Returns
    -------
    shown : tuple of Shown
        A frame itself; of a run its merged picture, its best frame, or its middle one.
    skipped : tuple of Skipped
        What is no more, or can't be read.
    """
    shown: list[Shown] = []
    skipped: list[Skipped] = []
    used = set[Path]()
    for one in row.said.evidence:
        try:
            frame, about = _picture(book, one)
        except HaltereError as error:
            skipped.append(Skipped(one.name, str(error)))
            continue
        if frame.path not in used:
            used.add(frame.path)
            name = f"{row.occurrence.rpartition(':')[2]}-{len(shown) + 1}.jpg"
            shown.append(Shown(name, frame, about))
    return tuple(shown), tuple(skipped)


def _picture(book: Book, one: Evidence) -> tuple[Frame, str]:
    from haltere.keepers.verdict import Keepers
    from haltere.merge.merged import Merge

    frames = {frame.name: frame for frame in frames_in(book, one.outing)}
    if one.kind == "frame":
        if one.name not in frames:
            raise FrameError(f"{one.name}: is no longer in the book")
        return frames[one.name], "single exposure"
    for found in newest_answers(book, "merge", Merge, one.outing):
        if found.subject != one.name:
            continue
        picture = next(
            (path for path in found.made if path.name == found.result.picture_jpeg), None
        )
        if picture is not None and picture.is_file():
            number = len(found.result.frames_used)
            about = f"merged by depth from {number} exposures of one sweep"
            read = find_frames([picture])
            if not read.frames:
                raise FrameError(f"{one.name}: its merged picture is broken: {read.skipped[0].why}")
            return read.frames[0], about
        if one.kind == "merge":
            raise FrameError(
                f"{one.name}: its merged picture is gone; haltere merge makes it again"
            )
    run = next((run for run in runs_in(book, one.outing) if run.id == one.name), None)
    if run is None:
        raise FrameError(f"{one.name}: is no run any more; haltere sight --change names others")
    for judged in newest_answers(book, "keepers", Keepers, one.outing):
        best = judged.result.best if judged.subject == one.name else None
        if best is not None and best.frame in frames:
            return frames[best.frame], f"single exposure, the best of {len(run.frames)}"
    return frames[run.frames[len(run.frames) // 2]], "single exposure"


def copies(
    shown: Sequence[tuple[Shown, str, str]], size: Size
) -> Iterator[tuple[Shown, bytes | HaltereError]]:
    """Make the copies, one after the other; holds one picture at a time.

    Parameters
    ----------
    shown : sequence of Shown, str and str
        Pictures, each with its creator and rights.
    size : {"none", "small", "full"}
        A full JPEG is copied with its pixels untouched; everything else is made anew.

    Yields
    ------
    shown : Shown
        The picture.
    data : bytes or HaltereError
        A JPEG without place, names, comments or preview; or why there is none.
    """
    with Decoder(workers=1) as decoder:
        for one, creator, rights in shown:
            try:
                yield one, _copy(one.frame, decoder, size, creator, rights)
            except HaltereError as error:
                yield one, error


def _copy(frame: Frame, decoder: Decoder, size: Size, creator: str, rights: str) -> bytes:
    if size == "full" and frame.kind == "jpeg":
        try:
            return bare_jpeg(frame.path.read_bytes(), frame.orientation, creator, rights)
        except (OSError, ValueError) as error:
            raise FrameError(f"{frame.name}: can't be copied ({error})") from error
    import io

    import numpy as np
    from PIL import Image

    from haltere.frames import encode, to_linear

    longest = None if size == "full" else SMALL_PX
    pixels = decoder.rgb(frame, longest)
    array = pixels.array
    if pixels.linear:
        array = encode(to_linear(array, None, True), None, 8)
    elif array.dtype != np.uint8:
        array = (array >> 8).astype(np.uint8)
    buffer = io.BytesIO()
    picture = Image.fromarray(np.ascontiguousarray(array))
    if longest is not None:
        picture.thumbnail((longest, longest))
    icc = None if pixels.linear else pixels.icc
    picture.save(buffer, "JPEG", quality=_QUALITY, icc_profile=icc)
    return bare_jpeg(buffer.getvalue(), 1, creator, rights)
