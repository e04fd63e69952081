"""Puts what was measured into a kit, and says which lines of its file that changes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from haltere.calibration.flat import RuleScale
from haltere.calibration.push import push_doubt
from haltere.calibration.sweep import SweepScale
from haltere.errors import UsageError
from haltere.kit import Kit, write_kit
from haltere.kit.keys import KEYS


def as_kit(
    kit: Kit,
    rule: RuleScale | None = None,
    sweep: SweepScale | None = None,
    f_number: float | None = None,
) -> Kit:
    """Give a kit that knows what was measured.

    A sweep that used a flat picture has its magnification in it already, so the sweep's wins.  A
    push that is hardly known is left out, see `push_doubt`.

    Parameters
    ----------
    kit : Kit
        What was known before.
    rule : RuleScale, optional
        From a flat picture.
    sweep : SweepScale, optional
        From a sweep over a tilted rule.
    f_number : float, optional
        Marked f-number of the sweep's pictures; without it the kit's counts.
    """
    new = kit
    if rule is not None:
        new = replace(
            new,
            magnification=_short(rule.magnification),
            magnification_sigma=_short(rule.magnification_sigma, 2),
        )
    if sweep is None:
        return new
    new = replace(
        new,
        magnification=_short(sweep.magnification),
        magnification_sigma=_short(sweep.magnification_sigma, 2),
        pupil_distance_mm=_short(sweep.pupil_distance_mm),
        pupil_distance_sigma_mm=_short(sweep.pupil_distance_sigma_mm, 2),
        measured_effective_f_number=_short(sweep.effective_f_number),
        measured_effective_f_number_sigma=_short(sweep.effective_f_number_sigma, 2),
        f_number=kit.f_number if f_number is None else f_number,
    )
    if sweep.push.mm_s is not None and push_doubt(sweep.push, len(sweep.frames) - 1) is None:
        new = replace(
            new,
            push_mm_s=_short(sweep.push.mm_s, 3),
            push_unevenness=round(sweep.push.unevenness, 3),
        )
    return new


def kit_lines(before: Kit, after: Kit) -> str:
    """Lines to write into the kit file, section by section; empty when nothing changed.

    Parameters
    ----------
    before, after : Kit
        Without and with what was measured.
    """
    lines: list[str] = []
    section = ""
    for key in KEYS:
        value = getattr(after, key.field)
        if value is None or value == getattr(before, key.field):
            continue
        if key.section != section:
            section = key.section
            lines += ["", f"[{section}]"]
        lines.append(f"{key.key} = {value!r}")
    return "\n".join(lines).strip("\n") + ("\n" if lines else "")


def write_new_kit(path: Path, kit: Kit) -> None:
    """Write a kit file where there is none yet.

    Parameters
    ----------
    path : Path
        Where.
    kit : Kit
        What.

    Raises
    ------
    UsageError
        When something is there already: a kit file holds notes that no program should lose.
    WriteError
        When it can't be written.
    """
    check_new(path)
    write_kit(path, kit)


def check_new(path: Path) -> None:
    """Refuse a name that is taken.

    Parameters
    ----------
    path : Path
        Where a kit shall be written.

    Raises
    ------
    UsageError
        When something is there already.
    """
    if path.exists():
        raise UsageError(
            f"--out-kit {path}: there is such a file already, and it is not overwritten; "
            "choose another name"
        )


def _short(value: float, digits: int = 5) -> float:
    """Keep as many digits as mean something."""
    return float(f"{value:.{digits}g}")
