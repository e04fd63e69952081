"""Addresses of planning: what the plan room says, number by number, while a handle is dragged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response

from haltere.doors.bench.outings import shelf_of
from haltere.doors.bench.page_words import on_page
from haltere.doors.bench.plan_said import (
    Desk,
    KeepKit,
    KeepPlan,
    KeptSaid,
    KeySaid,
    KitSaid,
    PlanSaid,
)
from haltere.doors.bench.said import ActSaid
from haltere.errors import UsageError
from haltere.fieldbook import (
    Book,
    KeptPlan,
    KitRow,
    forget_plan,
    keep_kit,
    keep_plan,
    kept_plans,
    kit_numbered,
    kits,
)
from haltere.kit import FORMATS, KEYS, Key, Kit, kit_from_text, kit_text
from haltere.plan import (
    COC_RULES,
    LIGHTS,
    WISH_KEYS,
    Plan,
    Why,
    Wishes,
    as_dict,
    drawn,
    make_plan,
    put_together,
)
from haltere.plan import why as why_of
from haltere.show.drawing import Drawing

MADE_UP = Kit(
    name="a made-up kit",
    sensor_width_mm=17.3,
    sensor_height_mm=13.0,
    width_px=5184,
    height_px=3888,
    focal_mm=60.0,
    f_number_min=2.8,
    f_number_max=22.0,
    magnification=1.5,
    magnification_max=2.0,
    working_distance_mm=62.0,
    guide_number_m=14.0,
    flash_distance_mm=90.0,
    diffuser_stops=2.0,
    diffuser_radius_mm=40.0,
    smallest_power=1 / 128,
    power_step_stops=1 / 3,
    t05_s=1 / 1000,
    recycle_s=2.0,
    sync_s=1 / 200,
    burst_fps=10.0,
    iso_min=200.0,
)
"""Nobody's: what is planned with until the book knows a kit; the page says that it is made up."""

WORDS = ("light", "coc_rule", "date", "time_zone", "flash_kind", "sensor_format")
NUMBERS: dict[str, Key] = {key.field: key for key in (*KEYS, *WISH_KEYS)}
LONGEST = 60
"""Characters of one word of an address; numbers are shorter."""

_SAID: dict[str, Any] = {
    "parameters": [
        {"name": name, "in": "query", "required": False, "schema": {"type": "string"}}
        for name in ("kit", *WORDS, *NUMBERS)
    ]
}

routes = APIRouter(prefix="/api", tags=["plan"])


class Pdf(Response):
    """A page to print."""

    media_type = "application/pdf"


@routes.get("/plan/desk")
def desk(request: Request) -> Desk:
    """Tell the kits of the book, what may be said of a plan, and the plans that were kept."""
    with shelf_of(request).book() as book:
        known = tuple(_kit_said(row) for row in kits(book))
        kept = tuple(_kept_said(one) for one in kept_plans(book))
    wished = {key.field for key in WISH_KEYS}
    own = (key for key in KEYS if key.field not in wished)  # what is in both belongs to the wish
    return Desk(
        kits=known,
        made_up=KitSaid(0, MADE_UP.name, "", numbers_of(MADE_UP)),
        keys=tuple(_key_said(key) for key in (*WISH_KEYS, *own)),
        lights=LIGHTS,
        formats=tuple(FORMATS),
        coc_rules=COC_RULES,
        kept=kept,
    )


@routes.get("/plan", openapi_extra=_SAID)
def plan(request: Request) -> PlanSaid:
    """Plan with a kit of the book and what the address says besides."""
    kit, wishes = _asked(request)
    answer = make_plan(kit, wishes)
    return PlanSaid(kit.name, numbers_of(kit), on_page(as_dict(answer)), drawn(answer))


@routes.get("/plan/why")
def why(request: Request, key: Annotated[str, Query(max_length=80)]) -> Why:
    """Explain one number of a plan."""
    kit, wishes = _asked(request)
    return why_of(kit, wishes, key)


@routes.get("/plan/curves")
def curves(request: Request) -> Drawing:
    """Draw how fine each f-number is, and how blur grows off the focus."""
    from haltere.show.curves import curves as drawn_curves

    return drawn_curves(_plan(request))


@routes.get("/plan/card")
def card(request: Request) -> Drawing:
    """Draw the field card."""
    from haltere.show.card import card_of
    from haltere.show.card_page import card_page

    return card_page(card_of(*_asked(request)))


@routes.get("/plan/card.pdf", response_class=Pdf)
def card_as_pdf(request: Request) -> Response:
    """Give the field card as a page to print."""
    from haltere.show.card import card_of
    from haltere.show.card_pdf import card_pdf

    named = {"content-disposition": 'inline; filename="field-card.pdf"'}
    return Pdf(card_pdf(card_of(*_asked(request))), headers=named)


@routes.post("/plan/kept")
def keep(request: Request, asked: KeepPlan) -> KeptSaid:
    """Write a plan into the book, with its answer as it is now."""
    with shelf_of(request).book() as book:
        kit, wishes = asked_for(book, asked.said)
        answer = as_dict(make_plan(kit, wishes))
        return _kept_said(keep_plan(book, asked.name, kit_text(kit), asked.said, answer))


@routes.post("/plan/kept/{number}/forget")
def forget(request: Request, number: Annotated[int, Path(ge=1, le=2**53)]) -> ActSaid:
    """Take a kept plan off the list."""
    with shelf_of(request).book() as book:
        forget_plan(book, number)
    return ActSaid("plan forgotten")


@routes.post("/plan/kept/{number}/restore")
def restore(request: Request, number: Annotated[int, Path(ge=1, le=2**53)]) -> ActSaid:
    """Put a forgotten plan back on the list."""
    with shelf_of(request).book() as book:
        forget_plan(book, number, forgotten=False)
    return ActSaid("plan kept again")


@routes.post("/kits")
def keep_this_kit(request: Request, asked: KeepKit) -> KitSaid:
    """Write a kit into the book, with what the address says of it."""
    from dataclasses import replace

    name = " ".join(asked.name.split())
    if not name:
        raise UsageError("A kit needs a name by which you find it again.")
    with shelf_of(request).book() as book:
        kit, _ = _read(book, asked.said)  # a kit need not be whole to be kept
        made = replace(kit, name=name)
        keep_kit(book, made)
        text = kit_text(made)
        return next(_kit_said(row) for row in kits(book) if row.text == text)


def asked_for(book: Book, said: Mapping[str, str]) -> tuple[Kit, Wishes]:
    """Read the words of an address.

    Parameters
    ----------
    book : Book
        Open book; its kits go by their numbers.
    said : mapping
        `kit`, and attributes of `Kit` and `Wishes`, as text.

    Returns
    -------
    Kit, Wishes
        Checked.

    Raises
    ------
    UsageError
        When a word is unknown, a number can't be, or something that nothing stands in for is
        missing.
    """
    kit, wishes = _read(book, said)
    _refuse_missing(kit, wishes)
    return kit, wishes


def _read(book: Book, said: Mapping[str, str]) -> tuple[Kit, Wishes]:
    words = dict(said)
    number = words.pop("kit", "")
    if number and not (number.isascii() and number.isdigit() and len(number) < 16):
        raise UsageError("A kit goes by its number; load the page anew.")
    kit = MADE_UP
    if number and int(number):
        kit = kit_from_text(kit_numbered(book, int(number)).text)
    for name, value in words.items():
        if (name not in NUMBERS and name not in WORDS) or len(value) > LONGEST:
            raise UsageError(f"{name[:LONGEST]}: is no number of a plan; load the page anew")
    return put_together(kit, words)


def _refuse_missing(kit: Kit, wishes: Wishes) -> None:
    """Say in the page's words what nothing can stand in for."""
    sides = kit.sensor_height_mm or (kit.width_px and kit.height_px)
    missing = [
        name
        for name, there in (
            ("the sensor's size", kit.sensor_width_mm and sides),
            ("the picture's size in pixels", kit.width_px),
            ("the focal length", kit.focal_mm),
            ("the magnification", wishes.magnification or kit.magnification),
        )
        if not there
    ]
    if missing:
        raise UsageError(f"The kit does not say {' and '.join(missing)}; put it in under The kit.")


def _asked(request: Request) -> tuple[Kit, Wishes]:
    said = {name: value for name, value in request.query_params.items() if name != "key"}
    with shelf_of(request).book() as book:
        return asked_for(book, said)


def _plan(request: Request) -> Plan:
    return make_plan(*_asked(request))


def numbers_of(kit: Kit) -> dict[str, float | str]:
    """Give what a kit says, by attribute.

    Parameters
    ----------
    kit : Kit
        The kit.

    Returns
    -------
    dict
        Without what it leaves open.
    """
    found: dict[str, float | str] = {
        key.field: float(value) for key in KEYS if (value := getattr(kit, key.field)) is not None
    }
    return {**found, "flash_kind": kit.flash_kind}


def _kit_said(row: KitRow) -> KitSaid:
    return KitSaid(row.id, row.name, row.added, numbers_of(kit_from_text(row.text)))


def _kept_said(one: KeptPlan) -> KeptSaid:
    of = one.answer
    head = (
        f"{of['magnification']:g}:1, one shot f/{of['best_f_number']:g}, sweep "
        f"f/{of['sweep_f_number']:g}"
    )
    return KeptSaid(one.id, one.name, one.kept, kit_from_text(one.kit).name, one.said, head)


def _key_said(key: Key) -> KeySaid:
    label = key.option.replace("-", " ")
    return KeySaid(key.field, key.section, label, key.unit, key.says, key.low, key.high)
