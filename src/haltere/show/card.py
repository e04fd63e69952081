"""The field card: a kit's settings at five magnifications, on one page for the pocket."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from haltere.errors import UsageError
from haltere.show import card_words as words
from haltere.show.filing import file_away

if TYPE_CHECKING:
    from haltere.kit import Kit
    from haltere.plan.plan import At, Plan
    from haltere.plan.wishes import Wishes

MAGNIFICATIONS = (0.5, 1.0, 1.5, 2.0, 3.0)
_SPOKEN = 1.01  # 1.37:1 said for 1.368:1 is not out of reach

Part = Literal["frame", "shot", "sweep"]


@dataclass(frozen=True, slots=True)
class Cell:
    """One number of the card.

    Attributes
    ----------
    text : str
        As written, "-" where there is none.
    attention : str
        Key of the note that it asks for, or nothing.
    """

    text: str
    attention: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One kind of number.

    Attributes
    ----------
    part : {"frame", "shot", "sweep"}
        Where it stands.
    label : str
        What it is; names in braces are filled in.
    unit : str
        Its unit, or nothing.
    key : str
        Its explanation.
    cell : callable
        Takes it from a plan, and from the settings of its part.
    """

    part: Part
    label: str
    unit: str
    key: str
    cell: Callable[[Plan, At], Cell]


@dataclass(frozen=True, slots=True)
class Why:
    """How a number came about.

    Attributes
    ----------
    title, formula, filled : str
        What it answers, in symbols, and with these numbers.
    """

    title: str
    formula: str
    filled: str


@dataclass(frozen=True, slots=True)
class Column:
    """One magnification.

    Attributes
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    cells : tuple of Cell
        One for each of `ROWS`; none where the kit can't reach it.
    whys : tuple of Why
        One for each of `ROWS`; none likewise.
    reason : str
        Why it is out of reach and what would reach it, or nothing.
    """

    magnification: float
    cells: tuple[Cell, ...]
    whys: tuple[Why, ...]
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """Everything that is written on the card.

    Attributes
    ----------
    name : str
        Of the kit.
    settings : tuple of str
        What holds for all of it: format, ISO, shutter time, circle of confusion, the animal.
    labels : tuple of str
        One for each of `ROWS`.
    columns : tuple of Column
        By magnification.
    notes : tuple of str
        What the signs mean.
    """

    name: str
    settings: tuple[str, ...]
    labels: tuple[str, ...]
    columns: tuple[Column, ...]
    notes: tuple[str, ...]


def _room(plan: Plan, _at: At) -> Cell:
    lens = plan.given.lens
    about = lens.working_distance_source == "thin lens"
    if not about:
        return Cell(words.figures(lens.working_distance_mm))
    rounded = float(f"{lens.working_distance_mm:.2g}")  # more figures would feign knowledge
    return Cell(f"~{words.figures(rounded)}", "about")


def _field(plan: Plan, _at: At) -> Cell:
    from haltere import optics

    sides = (optics.field_mm(side, plan.given.lens.magnification) for side in plan.given.sensor_mm)
    return Cell("×".join(words.figures(side) for side in sides))


def _power(_plan: Plan, at: At) -> Cell:
    if at.flash is None:
        return Cell("–", "no flash")
    attention = "weak" if at.flash.short_stops > 0 else "strong" if at.flash.over_stops > 0 else ""
    return Cell(at.flash.power_name + (" *" if attention else ""), attention)


def _daylight(light: str) -> Callable[[Plan, At], Cell]:
    def cell(_plan: Plan, at: At) -> Cell:
        (row,) = (row for row in at.ambient.table if row.light == light)
        over = row.stops > 0
        return Cell(words.signed(row.stops) + (" !" if over else ""), "over" if over else "")

    return cell


def _shade(_plan: Plan, at: At) -> Cell:
    said = words.signed(at.ambient.shading_needed_stops).lstrip("+")
    return Cell(f"{said} !", "over") if at.ambient.overexposes else Cell(said)


def _passes(_plan: Plan, at: At) -> Cell:
    return Cell(">12" if at.sweep.passes is None else f"{at.sweep.passes}")


def _push(plan: Plan, at: At) -> Cell:
    crawls = any(
        warned.code == "sweep-too-slow" and warned.f_number == at.f_number
        for warned in plan.warnings
    )
    said = words.figures(at.sweep.push_mm_s)
    return Cell(f"{said} ‡", "crawl") if crawls else Cell(said)


def _rate(_plan: Plan, at: At) -> Cell:
    slow = at.sweep.rate_limit == "flash"
    return Cell(words.figures(at.sweep.rate_fps) + (" †" if slow else ""), "slow" if slow else "")


def _f(_plan: Plan, at: At) -> Cell:
    return Cell(f"{at.f_number:g}")


# fmt: off
ROWS: tuple[Row, ...] = (
    Row("frame", "room to the animal", "mm", "working_distance_mm", _room),
    Row("frame", "in the frame", "mm", "field_mm", _field),
    Row("shot", "One shot", "f/", "best_f_number", _f),
    Row("shot", "sharp depth", "mm", "depth_of_field_mm.geometric",
        lambda _, at: Cell(words.figures(at.sharpness.geometric_mm))),
    Row("shot", "flash power", "", "flash.power_step", _power),
    Row("shot", "daylight: sun", "stops", "ambient.table", _daylight("sun")),
    Row("shot", "daylight: shade", "stops", "ambient.table", _daylight("shade")),
    Row("shot", "in sun, shade by", "stops", "ambient.shading_needed_stops", _shade),
    Row("shot", "sharp eye in {burst}", "", "burst.burst_chance",
        lambda _, at: Cell(words.share(at.burst.burst_chance))),
    Row("sweep", "Sweep", "f/", "sweep_f_number", _f),
    Row("sweep", "step", "mm", "step_mm", lambda _, at: Cell(words.figures(at.sweep.step_mm))),
    Row("sweep", "push", "mm/s", "push_mm_s", _push),
    Row("sweep", "frames a second", "", "sweep.rate_fps", _rate),
    Row("sweep", "frames for {depth} mm", "", "frames", lambda _, at: Cell(f"{at.sweep.frames}")),
    Row("sweep", "passes for {certainty}", "", "sweep.passes", _passes),
    Row("sweep", "flash power", "", "flash.power_step", _power),
    Row("sweep", "in sun, shade by", "stops", "ambient.shading_needed_stops", _shade),
)
# fmt: on
"""What stands on the card, from top to bottom."""


def make_card(kit: Kit, wishes: Wishes, path: Path) -> Path:
    """Make a one-page field card of a kit's settings at 0.5, 1, 1.5, 2 and 3 : 1.

    Parameters
    ----------
    kit : Kit
        What the photographer owns.
    wishes : Wishes
        What is to be photographed; the magnification is left out, and the light is the sun.
    path : Path
        File to write; its suffix chooses PDF (A6, to print) or HTML (for the phone, prints on A6).

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    UsageError
        When the suffix is another one, or the kit lacks a number that nothing can stand in for.
    WriteError
        When the file can't be written.
    """
    suffix = path.suffix.lower()
    if suffix not in (".pdf", ".html"):
        raise UsageError(f"{path}: a field card is a .pdf or .html file; name the file so")
    card = card_of(kit, wishes)
    if suffix == ".pdf":
        from haltere.show.card_pdf import card_pdf

        return file_away(path, card_pdf(card))
    from haltere.show.card_html import card_html

    return file_away(path, card_html(card).encode())


def card_of(kit: Kit, wishes: Wishes) -> Card:
    """Put together what the card says.

    Parameters
    ----------
    kit : Kit
        What the photographer owns.
    wishes : Wishes
        What is to be photographed.

    Returns
    -------
    Card
        Every number as `make_plan` gives it at that magnification.

    Raises
    ------
    UsageError
        When the kit lacks a number that nothing can stand in for.
    """
    from haltere.kit import reach
    from haltere.plan.burst import USUAL_FRAMES
    from haltere.plan.given import given

    low, high = reach(kit)
    asked = replace(wishes, light="sun", shading_stops=0.0)
    columns = tuple(_column(kit, replace(asked, magnification=m), low) for m in MAGNIFICATIONS)
    start = given(kit, replace(asked, magnification=max(low, 1.0)))
    wide, tall = start.sensor_mm
    filled = {
        "depth": f"{wishes.depth_mm:g}",
        "certainty": words.share(wishes.certainty),
        "burst": f"{USUAL_FRAMES}",
    }
    return Card(
        name=kit.name,
        settings=(
            f"{wide:g} × {tall:g} mm",
            f"ISO {start.iso:g}",
            words.shutter(start.shutter_s),
            f"circle of confusion {start.coc_mm:.2g} mm",
            f"animal {wishes.depth_mm:g} mm deep",
        ),
        labels=tuple(row.label.format(**filled) for row in ROWS),
        columns=columns,
        notes=_notes(columns, high),
    )


def _column(kit: Kit, wishes: Wishes, low: float) -> Column:
    from haltere.plan.make import make_plan
    from haltere.plan.why import explanations

    m = wishes.magnification or 1.0
    if m < low / _SPOKEN:
        return Column(m, (), (), words.begins_above(kit, low))
    plan = make_plan(kit, wishes)
    for warned in plan.warnings:
        if warned.code == "magnification-not-reachable":
            return Column(m, (), (), _short(warned.text))
    known = explanations()
    cells, whys = [], []
    for row in ROWS:
        at = plan.sweep if row.part == "sweep" else plan.single
        cells.append(row.cell(plan, at))
        one = known[row.key]
        whys.append(Why(one.title, one.formula, one.filled(replace(plan, chosen=at))))
    return Column(m, tuple(cells), tuple(whys))


def _short(text: str) -> str:
    """Leave out that it is out of reach, which the card says, and the numbers it doesn't show."""
    said = text.split(";", maxsplit=1)[0].split(": ", 1)[-1].rstrip(".")
    return f"{said[:1].upper()}{said[1:]}."


def _notes(columns: tuple[Column, ...], high: float) -> tuple[str, ...]:
    from haltere.plan.ambient import GHOST

    asked = {cell.attention for column in columns for cell in column.cells}
    notes = [note for key, note in words.ATTENTION.items() if key in asked]
    if "about" in asked:
        notes.append(words.ESTIMATED)
    if "no flash" in asked:
        notes.append(words.NO_FLASH)
    if high == float("inf"):
        notes.append(words.NO_END)
    if any(column.cells for column in columns):
        unseen = words.signed(math.log2(GHOST.unseen_share))
        notes.append(words.DAYLIGHT.format(unseen=unseen, body=GHOST.body_stops))
    return tuple(notes)
