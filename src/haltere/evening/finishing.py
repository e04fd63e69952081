"""A picture finished: settings written into the field book first, then rendered beside it."""

from __future__ import annotations

import io
import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from haltere.errors import UsageError
from haltere.evening.book_of_merge import book_of
from haltere.evening.capture import Told, capture_of
from haltere.evening.dust_of_merge import DustFound, without_dust
from haltere.evening.noise_of_merge import averaged_of
from haltere.evening.settled import budget_of, settings_of, smear_of, views_of
from haltere.fieldbook.finishing import keep_finishing, undo_finishing
from haltere.finish.crop import CropBudget
from haltere.finish.finished import before_and_after, render
from haltere.finish.scale_bar import overlay
from haltere.finish.settings import Settings
from haltere.finish.source import FINISHED, Source, read_linear, sources_of
from haltere.finish.tone import balance_of
from haltere.frames import (
    Decoder,
    encode,
    make_folder,
    write_bytes,
    write_jpeg,
    write_picture,
)
from haltere.kit import Capture
from haltere.merge.views import Views
from haltere.optics import READING_MM
from haltere.progress import Progress, silent

MADE = "finished"
PICTURE, JPEG, COMPARE, BAR = "picture.tif", "picture.jpg", "before-after.png", "scale-bar.png"


@dataclass(frozen=True, slots=True)
class Asked:
    """What a call wants of a picture beside its settings.

    Attributes
    ----------
    out : Path or None
        Folder for the results; `finished` beside a merge unless said.
    grey_px : tuple of int or None
        (x0, y0, x1, y1) of something grey, for the white balance.
    viewing_mm : float
        From where the print is looked at.
    print_mm : float or None
        Longer side of the print that is wanted.
    smear_px : float or None
        Length of the smear of what moved; None takes what judging the burst measured.
    """

    out: Path | None = None
    grey_px: tuple[int, int, int, int] | None = None
    viewing_mm: float = READING_MM
    print_mm: float | None = None
    smear_px: float | None = None


@dataclass(frozen=True, slots=True)
class FinishedPicture:
    """A finished picture, as it is told.

    Attributes
    ----------
    out : str
        Folder of the files.
    picture, picture_jpeg, before_after : str or None
        16-bit TIFF, JPEG, and both states side by side; None while no settings stand.
    scale_bar : str or None
        The bar to be laid over, where it was asked for.
    settings : Settings
        Those that stand.
    made : dict
        How the picture came about: frames, restored_at, healed, repaired.
    crop : CropBudget
        What it carries.
    noise_share : float or None
        One sigma of the noise over a light of 0.2.
    taken_back : int or None
        Number of the settings that were taken back just now.
    dust : str or None
        What was found of dust, in a sentence; None where it was not looked for.
    """

    out: str
    picture: str | None
    picture_jpeg: str | None
    before_after: str | None
    scale_bar: str | None
    settings: Settings
    made: dict[str, Any]
    crop: CropBudget
    noise_share: float | None
    taken_back: int | None = None
    dust: str | None = None


def one_source(given: Path) -> Source:
    """Give the one picture that was meant.

    Parameters
    ----------
    given : Path
        A picture, or the folder of a merge.

    Returns
    -------
    Source
        The merge itself where its finished picture was named.

    Raises
    ------
    UsageError
        When it holds several.
    """
    if given.is_dir() and given.name == MADE and (given / FINISHED).is_file():
        given = given.parent
    found = sources_of(given)
    if len(found) > 1:
        raise UsageError(f"{given}: holds {len(found)} pictures; name one of them, or a merge")
    return found[0]


def finish(
    given: Path,
    told: Told,
    changes: dict[str, Any],
    asked: Asked,
    decoder: Decoder,
    *,
    undo: bool = False,
    book_folder: Path | None = None,
    taken: Capture | None = None,
    progress: Progress = silent,
) -> FinishedPicture:
    """Change the settings of a picture, or take the last change back, and render it.

    Parameters
    ----------
    given : Path
        A picture, or the folder of a merge.
    told : Told
        What the photographer said of kit and magnification.
    changes : dict
        New values of settings by name; None leaves one as it is.
    asked : Asked
        What else is wanted.
    decoder : Decoder
        Open decoder.
    undo : bool, optional
        Take back the last change.
    book_folder : Path, optional
        Folder of the field book; told by the merge when left out.
    taken : Capture, optional
        How it was taken, where the field book knows; else it is put together anew.
    progress : Progress, optional
        Told of the tiles; may raise to cancel.

    Returns
    -------
    FinishedPicture
        With what it carries.

    Raises
    ------
    UsageError
        When a setting makes no sense, or something that is needed is not known.
    BookError, FrameError, WriteError
        When a file can't be read or written.
    """
    source = one_source(given)
    out = _out(source, asked.out)
    subject = source.folder or source.frame.path
    light, icc = read_linear(source, decoder)
    if asked.grey_px is not None:
        changes = {**changes, "balance": balance_of(light, asked.grey_px)}
    capture = taken or capture_of([source.frame], told)
    views = views_of(source)
    back = None
    spots: DustFound | None = None
    place = source.folder or out
    if source.folder is None:
        make_folder(out)
    with book_of(place, book_folder) as book:
        if undo:
            undone = undo_finishing(book, subject)
            back = None if undone is None else undone.id
        settings = settings_of(book, source)
        if not undo:
            settings = settings.changed(**changes)
        if settings.dust:
            spots = without_dust(source, views, light, icc, decoder, progress)
            light = spots.light
        rendered = render(
            light,
            settings,
            capture,
            _mm_per_px(told, capture, views),
            averaged_of(source),
            progress=progress,
        )
        smear_px = smear_of(book, source) if asked.smear_px is None else asked.smear_px
        if not undo and any(value is not None for value in changes.values()):
            keep_finishing(book, subject, asdict(settings))
    budget = budget_of(
        source, rendered.box_px, capture, viewing_mm=asked.viewing_mm, print_mm=asked.print_mm,
        smear_px=smear_px,
    )  # fmt: skip
    healed = 0 if spots is None else spots.healed
    made = {**asdict(source.made), "restored_at": rendered.restored_at, "healed": healed}
    nothing = settings == Settings()
    said = FinishedPicture(
        str(out),
        None if nothing else PICTURE,
        None if nothing else JPEG,
        None if nothing else COMPARE,
        BAR if settings.bar == "overlay" else None,
        settings,
        made,
        budget,
        rendered.noise_share,
        back,
        None if spots is None else spots.text,
    )
    if nothing:
        _clear(out)
        return said
    make_folder(out)
    codes = encode(rendered.picture, icc, 16)
    write_jpeg(out / JPEG, encode(rendered.picture, icc, 8), icc, source.frame.path)
    write_bytes(out / COMPARE, _png(encode(before_and_after(rendered), icc, 8), icc))
    if rendered.bar is not None and settings.bar == "overlay":
        size = (codes.shape[1], codes.shape[0])
        write_bytes(out / BAR, overlay(size, rendered.bar, settings.corner))
    write_picture(out / PICTURE, codes, icc, source.frame.path)
    write_bytes(out / FINISHED, (json.dumps(finished_answer(said), indent=2) + "\n").encode())
    return said


def finished_answer(done: FinishedPicture) -> dict[str, Any]:
    """Turn a finished picture into plain lists and dictionaries, the keys of the JSON.

    Parameters
    ----------
    done : FinishedPicture
        From `finish`.
    """
    return asdict(done)


def _out(source: Source, out: Path | None) -> Path:
    if out is not None:
        if out.resolve() == source.frame.path.resolve().parent:
            raise UsageError(f"--out {out}: the picture itself lies there; name another folder")
        return out
    if source.folder is None:
        raise UsageError("where to? A single picture is finished into the folder of --out DIR")
    return source.folder / MADE


def _mm_per_px(told: Told, capture: Any, views: Views | None) -> float | None:
    from haltere.kit import mm_per_px

    size = mm_per_px(capture)
    if size is not None or views is None:
        return size
    return views.mm_per_px


def _png(codes: Any, icc: bytes | None) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(codes).save(buffer, "PNG", icc_profile=icc)
    return buffer.getvalue()


def _clear(out: Path) -> None:
    """Remove what was rendered when the last settings were taken back."""
    for name in (FINISHED, PICTURE, JPEG, COMPARE, BAR):
        (out / name).unlink(missing_ok=True)
