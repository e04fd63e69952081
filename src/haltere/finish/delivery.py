"""Pictures made ready to leave: size, colours, words, name; and no place in them unless asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.errors import HaltereError, UsageError, WriteError
from haltere.finish.caption import Caption, Made, iptc_records, xmp_packet
from haltere.finish.contact import Small, contact_pages, room_px
from haltere.finish.files import SUFFIX, Along, Kind, write_file
from haltere.finish.limits import DELIVERY
from haltere.finish.naming import TEMPLATE, Named, check_template, file_name, names_in
from haltere.finish.source import Source, read_linear
from haltere.frames import Decoder, encode, make_folder, srgb_profile, write_bytes
from haltere.frames.exif import carried_from, with_words
from haltere.frames.profiles import converted, wide_profile
from haltere.frames.writing import software
from haltere.progress import Progress, silent

Light = NDArray[np.float32]
Purpose = Literal["web", "print"]
Gamut = Literal["srgb", "wide", "own"]


@dataclass(frozen=True, slots=True)
class Delivery:
    """How pictures shall leave.

    Attributes
    ----------
    kind : {"tiff", "jpeg", "png"}
        File type; TIFF and PNG have 16 bits.
    purpose : {"web", "print"}
        Decides quality, and for the web the size.
    gamut : {"srgb", "wide", "own"}
        Colours: sRGB, a wide screen's, or those of the source.
    longest_px : int or None
        Longest side; None leaves the size (2048 px for the web).
    quality : int or None
        Of a JPEG, 1 to 95; None by purpose.
    name : str
        Template.
    caption : Caption
        Words.
    with_place : bool
        Take the position along that the source holds.
    """

    kind: Kind = "jpeg"
    purpose: Purpose = "web"
    gamut: Gamut = "srgb"
    longest_px: int | None = None
    quality: int | None = None
    name: str = TEMPLATE
    caption: Caption = field(default_factory=Caption)
    with_place: bool = False

    def __post_init__(self) -> None:
        check_template(self.name)
        if self.longest_px is not None and not 16 <= self.longest_px <= 100_000:
            raise UsageError(f"--longest lies between 16 and 100000 px, got {self.longest_px}")
        if self.quality is not None and not 1 <= self.quality <= 95:
            raise UsageError(f"--quality lies between 1 and 95, got {self.quality}")


@dataclass(frozen=True, slots=True)
class Delivered:
    """One file that is ready to leave.

    Attributes
    ----------
    file : str
        Its name in the folder.
    source : str
        What it was made from.
    width_px, height_px : int
        Its size.
    place : bool
        Whether it says where it was taken.
    disclosure : str
        What it says of how it was made.
    """

    file: str
    source: str
    width_px: int
    height_px: int
    place: bool
    disclosure: str


@dataclass(frozen=True, slots=True)
class NotDelivered:
    """A picture that could not be delivered, and why."""

    source: str
    why: str


@dataclass(frozen=True, slots=True)
class Handed:
    """What a delivery came to: the files, what was left out, and the contact sheets."""

    files: tuple[Delivered, ...]
    left_out: tuple[NotDelivered, ...]
    sheets: tuple[str, ...] = ()


def deliver(
    sources: Sequence[Source],
    wish: Delivery,
    out: Path,
    decoder: Decoder,
    *,
    sheet: bool = False,
    progress: Progress = silent,
) -> Handed:
    """Make pictures ready to leave, one after the other.

    No file in the folder is overwritten. One picture is held at a time: 24 bytes a pixel.

    Parameters
    ----------
    sources : sequence of Source
        What shall leave.
    wish : Delivery
        How.
    out : Path
        Folder; made when missing.
    decoder : Decoder
        For their pixels.
    sheet : bool, optional
        Draw a contact sheet too; it holds half a megabyte a picture.
    progress : Progress, optional
        Told after each; it may raise to cancel.

    Returns
    -------
    Handed
        A picture that can't be read is named and stops none of the others.

    Raises
    ------
    WriteError
        When the folder can't be written to.
    """
    make_folder(out)
    in_use = names_in(out)
    done: list[Delivered] = []
    failed: list[NotDelivered] = []
    small: list[Small] = []
    for number, source in enumerate(sources, 1):
        named = Named(number, source.stem, source.taken, "merged" if source.merged else "single")
        name = file_name(wish.name, named, SUFFIX[wish.kind], in_use)
        try:
            linear, own = read_linear(source, decoder)
            done.append(_one(source, (linear, own), wish, out / name))
            if sheet:
                small.append(Small(name, _thumbnail(linear, own, source.frame.name)))
        except WriteError:
            raise  # a full disk is no fault of one picture
        except HaltereError as error:
            failed.append(NotDelivered(source.frame.name, str(error)))
        else:
            in_use.add(name.lower())
        progress("delivering", number, len(sources))
    pages = []
    for number, page in enumerate(contact_pages(small), 1):
        name = file_name(f"contact-sheet-{number}", _NOTHING, ".jpg", in_use)
        in_use.add(name.lower())
        write_bytes(out / name, page)
        pages.append(name)
    return Handed(tuple(done), tuple(failed), tuple(pages))


_NOTHING = Named(1, "", None, "")


def _thumbnail(linear: Light, own: bytes | None, name: str) -> NDArray[np.uint8]:
    room = room_px()
    share = min(room[0] / linear.shape[1], room[1] / linear.shape[0], 1.0)
    less = resized(linear, max(1, int(share * max(linear.shape[:2]))))
    try:
        less, _ = in_gamut(less, own, "srgb", name)
    except UsageError:
        return encode(less, own, 8)  # without primaries the colours are only near
    return encode(less, None, 8)


def _one(
    source: Source, pixels: tuple[Light, bytes | None], wish: Delivery, path: Path
) -> Delivered:
    linear, own = pixels
    longest = wish.longest_px or (DELIVERY.web_px if wish.purpose == "web" else None)
    linear = resized(linear, longest)
    linear, icc = in_gamut(linear, own, wish.gamut, source.frame.name)
    codes = encode(linear, icc, 8) if wish.kind == "jpeg" else encode(linear, icc, 16)
    high, wide = codes.shape[:2]
    made, words = source.made, wish.caption
    carried = carried_from(source.frame.path, (wide, high), keep_gps=wish.with_place)
    full = words.full_text(made)
    carried = with_words(carried, caption=full, creator=words.creator, rights=words.rights)
    taken = source.taken
    along = Along(
        icc or srgb_profile(),
        carried,
        xmp_packet(words, made, taken, software()),
        iptc_records(words, made, taken),
        DELIVERY.web_dpi if wish.purpose == "web" else DELIVERY.print_dpi,
        icc in (None, srgb_profile()),
    )
    usual = DELIVERY.web_quality if wish.purpose == "web" else DELIVERY.print_quality
    write_file(path, wish.kind, codes, along, wish.quality or usual)
    return Delivered(path.name, source.frame.name, wide, high, bool(carried.gps), made.disclosure())


def resized(linear: Light, longest_px: int | None) -> Light:
    """Make a picture smaller, in linear light; a smaller one stays as it is.

    Parameters
    ----------
    linear : ndarray of float32, shape (H, W, 3)
        Linear light.
    longest_px : int or None
        Longest side wanted.

    Returns
    -------
    ndarray of float32
        Each pixel the mean of those it covers.
    """
    import cv2

    high, wide = linear.shape[:2]
    if longest_px is None or max(high, wide) <= longest_px:
        return linear
    share = longest_px / max(high, wide)
    size = (max(1, round(wide * share)), max(1, round(high * share)))
    return np.asarray(cv2.resize(linear, size, interpolation=cv2.INTER_AREA), np.float32)


def in_gamut(
    linear: Light, own: bytes | None, gamut: Gamut, name: str
) -> tuple[Light, bytes | None]:
    """Carry a picture into the colours that were asked for.

    Parameters
    ----------
    linear : ndarray of float32, shape (H, W, 3)
        Linear light in the source's primaries.
    own : bytes or None
        Its profile; None for sRGB.
    gamut : {"srgb", "wide", "own"}
        What was asked for.
    name : str
        Of the source, for what is said.

    Returns
    -------
    linear : ndarray of float32
        In the primaries asked for.
    icc : bytes or None
        Their profile.

    Raises
    ------
    UsageError
        When the source's profile has no three primaries.
    """
    if gamut == "own":
        return linear, own
    target = None if gamut == "srgb" else wide_profile()
    carried = converted(linear, own, target)
    if carried is None:
        raise UsageError(
            f"{name}: its colour profile can't be turned into another; deliver it with --gamut own"
        )
    return carried, target


def with_frames(source: Source, frames: int | None) -> Source:
    """Say of how many photographs a picture was made, where no file beside it does.

    Parameters
    ----------
    source : Source
        The picture.
    frames : int or None
        How many; None leaves what is known.

    Returns
    -------
    Source
        With that number.

    Raises
    ------
    UsageError
        When the number makes no sense.
    """
    if frames is None:
        return source
    if not 1 <= frames <= 100_000:
        raise UsageError(f"--frames counts photographs, from 1; got {frames}")
    made: Made = replace(source.made, frames=frames)
    return replace(source, made=made, merged=frames > 1)
