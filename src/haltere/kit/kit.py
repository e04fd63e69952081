"""What the photographer owns, as a small text file says it."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path

from haltere.errors import UsageError, WriteError
from haltere.kit.limits import DEFAULTS, FORMATS


@dataclass(frozen=True, slots=True)
class Kit:
    """A camera and lens as set for the animal.

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
    f_number : float or None
        Marked f-number.
    magnification : float or None
        Size on the sensor over size on the animal.
    pupil_magnification : float
        Exit pupil over entrance pupil.
    pupil_distance_mm : float or None
        Plane of focus to entrance pupil.
    coc_mm : float or None
        Circle of confusion on the sensor; None leaves the default.
    """

    name: str = "kit"
    sensor_width_mm: float | None = None
    sensor_height_mm: float | None = None
    width_px: int | None = None
    height_px: int | None = None
    focal_mm: float | None = None
    f_number: float | None = None
    magnification: float | None = None
    pupil_magnification: float = DEFAULTS.pupil_magnification
    pupil_distance_mm: float | None = None
    coc_mm: float | None = None


@dataclass(frozen=True, slots=True)
class _Field:
    """One number of the file: where it goes and what it may be."""

    low: float
    high: float
    whole: bool
    says: str


_FIELDS: dict[tuple[str, str], tuple[str, _Field]] = {
    ("sensor", "width_mm"): ("sensor_width_mm", _Field(2, 100, False, "its long side in mm")),
    ("sensor", "height_mm"): ("sensor_height_mm", _Field(2, 100, False, "its short side in mm")),
    ("sensor", "width_px"): ("width_px", _Field(16, 40000, True, "whole pixels")),
    ("sensor", "height_px"): ("height_px", _Field(16, 40000, True, "whole pixels")),
    ("lens", "focal_mm"): ("focal_mm", _Field(1, 2000, False, "focal length in mm")),
    ("lens", "f_number"): ("f_number", _Field(0.7, 128, False, "the marked f-number")),
    ("lens", "magnification"): (
        "magnification",
        _Field(0.01, DEFAULTS.max_magnification, False, "1 for 1:1, 2 for 2:1"),
    ),
    ("lens", "pupil_magnification"): (
        "pupil_magnification",
        _Field(0.1, 10, False, "exit over entrance pupil, 1 if unknown"),
    ),
    ("lens", "pupil_distance_mm"): (
        "pupil_distance_mm",
        _Field(1, 5000, False, "plane of focus to entrance pupil in mm"),
    ),
    ("", "coc_mm"): ("coc_mm", _Field(0.0005, 0.5, False, "circle of confusion in mm")),
}


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
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path}: is not valid TOML: {error}") from None
    return _kit(path, document)


def _kit(path: Path, document: dict[str, object]) -> Kit:
    found: dict[str, object] = {}
    for key, value in document.items():
        if key in ("sensor", "lens"):
            if not isinstance(value, dict):
                raise UsageError(f"{path}: {key} must be a section, written [{key}]")
            for inner, inner_value in value.items():
                _take(path, key, inner, inner_value, found)
        else:
            _take(path, "", key, value, found)
    _check_sensor(path, found)
    return Kit(**found)  # type: ignore[arg-type]


def _take(path: Path, section: str, key: str, value: object, found: dict[str, object]) -> None:
    shown = f"{section}.{key}" if section else key
    if shown == "name":
        if not isinstance(value, str) or not value.strip():
            raise UsageError(f"{path}: name: expected a word or two in quotes, got {value!r}")
        found["name"] = value.strip()
        return
    if shown == "sensor.format":
        _take_format(path, value, found)
        return
    entry = _FIELDS.get((section, key))
    if entry is None:
        raise UsageError(f"{path}: {shown}: is not a key of a kit{_nearest(shown)}")
    name, field = entry
    if (
        isinstance(value, bool)
        or not isinstance(value, (int, float))
        or (field.whole and value != int(value if abs(value) < 1e9 else 0))
        or not field.low <= value <= field.high
    ):
        raise UsageError(
            f"{path}: {shown}: expected a number from {field.low:g} to {field.high:g} "
            f"({field.says}), got {value!r}"
        )
    found[name] = int(value) if field.whole else float(value)


def _take_format(path: Path, value: object, found: dict[str, object]) -> None:
    text = str(value).lower().replace(" ", "").replace("×", "x").removesuffix("mm")
    if text not in FORMATS:
        known = ", ".join(FORMATS)
        raise UsageError(f"{path}: sensor.format: expected one of {known}, got {value!r}")
    width, height = FORMATS[text]
    found.setdefault("sensor_width_mm", width)
    found.setdefault("sensor_height_mm", height)


def _nearest(shown: str) -> str:
    known = ["name", "sensor.format", *(f"{s}.{k}" if s else k for s, k in _FIELDS)]
    close = difflib.get_close_matches(shown, known, n=1, cutoff=0.5)
    if not close:
        ends = [name for name in known if name.rsplit(".", 1)[-1] == shown.rsplit(".", 1)[-1]]
        close = ends[:1]
    return f"; did you mean {close[0]}?" if close else f"; keys are {', '.join(known)}"


def _check_sensor(path: Path, found: dict[str, object]) -> None:
    """Turn sides and ask that sensor and picture have the same shape."""
    for long, short in (("sensor_width_mm", "sensor_height_mm"), ("width_px", "height_px")):
        a, b = found.get(long), found.get(short)
        if isinstance(a, (int, float)) and isinstance(b, (int, float)) and a < b:
            found[long], found[short] = b, a
    sides = [found.get(k) for k in ("sensor_width_mm", "sensor_height_mm", "width_px", "height_px")]
    if all(isinstance(side, (int, float)) for side in sides):
        w_mm, h_mm, w_px, h_px = (float(str(side)) for side in sides)
        if abs((w_mm / h_mm) / (w_px / h_px) - 1) > 0.05:
            raise UsageError(
                f"{path}: sensor: {w_mm:g} x {h_mm:g} mm and {w_px:g} x {h_px:g} px have different "
                "shapes; give the size of an uncropped picture"
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
    lines = [f"name = {_quoted(kit.name)}"]
    for section in ("", "sensor", "lens"):
        rows = [
            f"{key} = {value!r}"
            for (where, key), (name, _) in _FIELDS.items()
            if where == section and (value := getattr(kit, name)) is not None
        ]
        if rows and section:
            lines += ["", f"[{section}]"]
        lines += rows
    try:
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    except OSError as error:
        raise WriteError(
            f"{path}: can't be written ({error.strerror}); choose another folder"
        ) from error


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
