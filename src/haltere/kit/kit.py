"""What the photographer owns, as a small text file says it."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from haltere.errors import UsageError, WriteError
from haltere.kit.keys import KEYS
from haltere.kit.limits import DEFAULTS, FORMATS

FlashKind = Literal["cut", "voltage"]


@dataclass(frozen=True, slots=True)
class Kit:
    """A camera, a lens with what is screwed to it, and a flash.

    None means that the photographer said nothing; `keys.KEYS` gives units and ranges.

    Attributes
    ----------
    name : str
        What the photographer calls it.
    sensor_width_mm, sensor_height_mm : float or None
        Long and short side of the sensor.
    width_px, height_px : int or None
        Full picture size, long side first.
    focal_mm : float or None
        Focal length at the close focus setting, not the engraved one if they differ.
    engraved_focal_mm : float or None
        Focal length at infinity of a lens that gets shorter when it comes close.
    f_number : float or None
        Marked f-number, as set.
    f_number_min, f_number_max : float or None
        Marked f-numbers of the widest and the smallest opening.
    magnification : float or None
        Size on the sensor over size on the animal, with everything attached.
    magnification_max : float or None
        Largest magnification of the lens alone.
    pupil_magnification : float
        Exit pupil over entrance pupil.
    pupil_distance_mm : float or None
        Plane of focus to entrance pupil at `magnification`.
    working_distance_mm : float or None
        Animal to front glass of the lens alone at `magnification_max`.
    close_up_dpt, close_up_separation_mm : float or None
        Close-up lens: power, and its distance to the lens's front principal point (may be
        negative).
    tube_mm, converter : float or None
        Length of tubes; factor of a teleconverter, which stands next to the camera.
    guide_number_m, flash_zoom_mm, flash_distance_mm : float or None
        Flash: guide number at ISO 100 and the zoom it holds for; diffuser's front to the animal.
    diffuser_stops, diffuser_radius_mm : float or None
        Light lost in the diffuser; half its width.
    smallest_power, power_step_stops : float or None
        Smallest share of full power; step of the dial.
    t05_s, t01_s : float or None
        Time above half and above a tenth of the peak, at full power.
    flash_kind : {"cut", "voltage"}
        Less power by cutting the flash off (shorter) or by less voltage (not shorter).
    recycle_s : float or None
        After full power.
    sync_s : float or None
        Shortest shutter time with flash.
    burst_fps, silent_fps : float or None
        Frames a second with the mechanical and with the electronic shutter.
    buffer_frames : int or None
        Frames before a burst slows down.
    stabilisation_stops : float or None
        As the maker states.
    iso_min : float or None
        Lowest ISO speed.
    coc_mm : float or None
        Circle of confusion on the sensor; None leaves the default.
    magnification_sigma, pupil_distance_sigma_mm : float or None
        One sigma of values that were measured.
    measured_effective_f_number, measured_effective_f_number_sigma : float or None
        Measured at `f_number` and `magnification`.
    push_mm_s, push_unevenness : float or None
        How the photographer pushes: speed, and spread of the steps over their mean.
    """

    name: str = "kit"
    sensor_width_mm: float | None = None
    sensor_height_mm: float | None = None
    width_px: int | None = None
    height_px: int | None = None
    focal_mm: float | None = None
    engraved_focal_mm: float | None = None
    f_number: float | None = None
    f_number_min: float | None = None
    f_number_max: float | None = None
    magnification: float | None = None
    magnification_max: float | None = None
    pupil_magnification: float = DEFAULTS.pupil_magnification
    pupil_distance_mm: float | None = None
    working_distance_mm: float | None = None
    close_up_dpt: float | None = None
    close_up_separation_mm: float | None = None
    tube_mm: float | None = None
    converter: float | None = None
    guide_number_m: float | None = None
    flash_zoom_mm: float | None = None
    flash_distance_mm: float | None = None
    diffuser_stops: float | None = None
    diffuser_radius_mm: float | None = None
    smallest_power: float | None = None
    power_step_stops: float | None = None
    t05_s: float | None = None
    t01_s: float | None = None
    flash_kind: FlashKind = "cut"
    recycle_s: float | None = None
    sync_s: float | None = None
    burst_fps: float | None = None
    silent_fps: float | None = None
    buffer_frames: int | None = None
    stabilisation_stops: float | None = None
    iso_min: float | None = None
    coc_mm: float | None = None
    magnification_sigma: float | None = None
    pupil_distance_sigma_mm: float | None = None
    measured_effective_f_number: float | None = None
    measured_effective_f_number_sigma: float | None = None
    push_mm_s: float | None = None
    push_unevenness: float | None = None


_SECTIONS = tuple(dict.fromkeys(key.section for key in KEYS if key.section))
_BY_PLACE = {(key.section, key.key): key for key in KEYS}
_WORDS = ("name", "sensor.format", "flash.kind")
_FLASH_KINDS: tuple[FlashKind, ...] = ("cut", "voltage")


def read_kit(path: Path) -> Kit:
    """Read a kit file.

    Parameters
    ----------
    path : Path
        TOML file; docs/guide shows one.

    Returns
    -------
    Kit
        What it says.

    Raises
    ------
    UsageError
        When the file is missing or says something that can't be; names file, key and what was
        expected.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise UsageError(f"{path}: there is no such kit file; check the spelling") from None
    except UnicodeDecodeError:
        raise UsageError(f"{path}: is not a text file; a kit is TOML text in UTF-8") from None
    except OSError as error:
        raise UsageError(f"{path}: can't be read ({error.strerror}); check its name") from None
    return kit_from_text(text, str(path))


def kit_from_text(text: str, where: str = "kit") -> Kit:
    """Read a kit from the text of its file, as a field book keeps it.

    Parameters
    ----------
    text : str
        TOML.
    where : str, optional
        What the text is called in messages.

    Returns
    -------
    Kit
        What it says.

    Raises
    ------
    UsageError
        When it says something that can't be; names key and what was expected.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{where}: is not valid TOML: {error}") from None
    found: dict[str, object] = {}
    for key, value in document.items():
        if key in _SECTIONS:
            if not isinstance(value, dict):
                raise UsageError(f"{where}: {key} must be a section, written [{key}]")
            for inner, inner_value in value.items():
                _take(where, key, inner, inner_value, found)
        else:
            _take(where, "", key, value, found)
    return _agreed(f"{where}: ", Kit(), found)


def with_numbers(kit: Kit, said: Mapping[str, object]) -> Kit:
    """Give a kit with some of its numbers replaced, as options of a call do.

    Parameters
    ----------
    kit : Kit
        What is known so far.
    said : mapping
        Attribute of `Kit` to what was written; None leaves what the kit says.

    Returns
    -------
    Kit
        The kit of this call.

    Raises
    ------
    UsageError
        When a number is out of its range, or two contradict each other.
    """
    found: dict[str, object] = {}
    options = {key.field: key for key in KEYS}
    for field, value in said.items():
        if value is None:
            continue
        if field == "sensor_format":
            _take_format("--sensor", value, found)
        elif field == "flash_kind":
            _take_flash_kind("--flash-kind", value, found)
        else:
            key = options[field]
            found[field] = key.take(value, f"--{key.option}")
    return _agreed("", kit, found)


def _take(where: str, section: str, key: str, value: object, found: dict[str, object]) -> None:
    shown = f"{section}.{key}" if section else key
    if shown == "name":
        if not isinstance(value, str) or not value.strip():
            raise UsageError(f"{where}: name: expected a word or two in quotes, got {value!r}")
        found["name"] = value.strip()
    elif shown == "sensor.format":
        _take_format(f"{where}: {shown}", value, found)
    elif shown == "flash.kind":
        _take_flash_kind(f"{where}: {shown}", value, found)
    elif (known := _BY_PLACE.get((section, key))) is not None:
        found[known.field] = known.take(value, f"{where}: {shown}")
    else:
        raise UsageError(f"{where}: {shown}: is not a key of a kit{_nearest(shown)}")


def _take_format(shown: str, value: object, found: dict[str, object]) -> None:
    text = str(value).lower().replace(" ", "").replace("×", "x").removesuffix("mm")
    if text not in FORMATS:
        known = ", ".join(FORMATS)
        raise UsageError(f"{shown}: expected one of {known}, got {value!r}")
    width, height = FORMATS[text]
    found.setdefault("sensor_width_mm", width)
    found.setdefault("sensor_height_mm", height)


def _take_flash_kind(shown: str, value: object, found: dict[str, object]) -> None:
    if value not in _FLASH_KINDS:
        raise UsageError(
            f'{shown}: expected "cut" (a battery flash, shorter at less power) or "voltage" '
            f"(a mains flash, not shorter), got {value!r}"
        )
    found["flash_kind"] = value


def _nearest(shown: str) -> str:
    known = [*_WORDS, *(key.shown for key in KEYS)]
    close = difflib.get_close_matches(shown, known, n=1, cutoff=0.5)
    if not close:
        ends = [name for name in known if name.rsplit(".", 1)[-1] == shown.rsplit(".", 1)[-1]]
        close = ends[:1]
    return f"; did you mean {close[0]}?" if close else f"; keys are {', '.join(known)}"


def _agreed(where: str, kit: Kit, found: dict[str, object]) -> Kit:
    """Turn sides long first, and refuse numbers that contradict each other."""
    for long, short in (("sensor_width_mm", "sensor_height_mm"), ("width_px", "height_px")):
        a, b = found.get(long), found.get(short)
        if isinstance(a, (int, float)) and isinstance(b, (int, float)) and a < b:
            found[long], found[short] = b, a
    new = replace(kit, **found)  # type: ignore[arg-type]
    w_mm, h_mm, w_px, h_px = (
        new.sensor_width_mm,
        new.sensor_height_mm,
        new.width_px,
        new.height_px,
    )
    if w_mm and h_mm and w_px and h_px and abs((w_mm / h_mm) / (w_px / h_px) - 1) > 0.05:
        raise UsageError(
            f"{where}sensor: {w_mm:g} x {h_mm:g} mm and {w_px:g} x {h_px:g} px have different "
            "shapes; give the size of an uncropped picture"
        )
    if new.f_number_min and new.f_number_max and new.f_number_min > new.f_number_max:
        raise UsageError(
            f"{where}lens: the widest opening f/{new.f_number_min:g} is smaller than the smallest "
            f"f/{new.f_number_max:g}; swap f_number_min and f_number_max"
        )
    if new.t05_s and new.t01_s and new.t01_s <= new.t05_s:
        raise UsageError(
            f"{where}flash: t01_s ({new.t01_s:g}) must be longer than t05_s ({new.t05_s:g}): "
            "a flash stays above a tenth of its peak for longer than above half"
        )
    _refuse_brighter_than_marked(where, new)
    return new


def _refuse_brighter_than_marked(where: str, kit: Kit) -> None:
    """Refuse a measured effective f-number that lets in more light than the mark does."""
    measured, marked = kit.measured_effective_f_number, kit.f_number
    if measured is None or marked is None:
        return
    least = marked * (kit.converter or 1.0)
    most = measured + 2.0 * (kit.measured_effective_f_number_sigma or 0.0)
    # with a close-up lens the lens itself may stand at infinity, and then nothing is lost
    if most > least or (kit.close_up_dpt is not None and most == least):
        return
    told = f"f/{marked:g}" + (f" with a converter of {kit.converter:g}" if kit.converter else "")
    raise UsageError(
        f"{where}calibration: an effective f-number of {measured:g} is impossible at {told}: in "
        f"close-up it lies above {least:g}; measure again, or take effective_f_number out"
    )


def write_kit(path: Path, kit: Kit) -> None:
    """Write a kit file that `read_kit` reads back unchanged.

    Parameters
    ----------
    path : Path
        Where.
    kit : Kit
        What.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    try:
        path.write_text(kit_text(kit), encoding="utf-8")
    except OSError as error:
        raise WriteError(
            f"{path}: can't be written ({error.strerror}); choose another folder"
        ) from error


def kit_text(kit: Kit) -> str:
    """Give the text of a kit file.

    Parameters
    ----------
    kit : Kit
        What.

    Returns
    -------
    str
        TOML that `read_kit` reads back unchanged.
    """
    lines = [f"name = {_quoted(kit.name)}"]
    for section in ("", *_SECTIONS):
        rows = [
            f"{key.key} = {value!r}"
            for key in KEYS
            if key.section == section and (value := getattr(kit, key.field)) is not None
        ]
        if section == "flash" and (rows or kit.flash_kind != "cut"):
            rows.append(f"kind = {_quoted(kit.flash_kind)}")
        if rows and section:
            lines += ["", f"[{section}]"]
        lines += rows
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
