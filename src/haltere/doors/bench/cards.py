"""Addresses of unloading: what is plugged in, what lies on it, copying it, reading it all again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Request
from pydantic import Field

from haltere.doors.bench.outings import shelf_of
from haltere.doors.bench.page_words import on_page
from haltere.doors.bench.said import JobSaid
from haltere.doors.bench.volumes import Volume, allowed, volumes
from haltere.doors.bench.work import said_job
from haltere.fieldbook import CardHere, Visit, ask, card_here, visits
from haltere.fieldbook.refusals import check_unload
from haltere.fieldbook.verdict import CardVerdict

Typed = Annotated[str, Field(max_length=2000)]

routes = APIRouter(prefix="/api", tags=["cards"])


@dataclass(frozen=True, slots=True)
class Cards:
    """What is plugged in, and what was unloaded before."""

    book: str
    volumes: tuple[Volume, ...]
    visits: tuple[Visit, ...]


@dataclass(frozen=True, slots=True)
class CardAsked:
    """A folder that the person chose or typed."""

    source: Typed


@dataclass(frozen=True, slots=True)
class UnloadAsked:
    """A card to be unloaded; `second` empty makes no second copy."""

    source: Typed
    second: Typed = ""
    name: Annotated[str, Field(max_length=200)] = ""


@routes.get("/cards")
def cards(request: Request) -> Cards:
    """Tell what is plugged in, and the cards that were unloaded."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        seen = tuple(replace(one, verdict=_said(one.verdict)) for one in visits(book))
    return Cards(str(shelf.folder), volumes(_places(request)), seen)


@routes.post("/cards/look")
def look(request: Request, asked: CardAsked) -> CardHere:
    """Tell what lies on a card, and whether the book holds it; no file is read."""
    source = allowed(asked.source, _places(request), "the card")
    shelf = shelf_of(request)
    check_unload(shelf.folder, source, name="", second=None)
    with shelf.book() as book:
        card = card_here(book, source)
    return card if card.verdict is None else replace(card, verdict=_said(card.verdict))


@routes.post("/cards/unload")
def unload(request: Request, asked: UnloadAsked) -> JobSaid:
    """Ask for a card to be copied into the book, each file read back."""
    places = _places(request)
    source = allowed(asked.source, places, "the card")
    second = None
    if asked.second.strip():
        second = allowed(asked.second, places, "the second copy")
    shelf = shelf_of(request)
    name = asked.name.strip()
    check_unload(shelf.folder, source, name=name, second=second)
    with shelf.book() as book:
        params = {"name": name, "second": "" if second is None else str(second)}
        return said_job(ask(book, "unload", None, str(source), params))


@routes.post("/verify")
def verify(request: Request) -> JobSaid:
    """Ask for every original of the book to be read again."""
    with shelf_of(request).book() as book:
        return said_job(ask(book, "verify"))


def _places(request: Request) -> tuple[Path, ...]:
    places: tuple[Path, ...] = request.app.state.places
    return places


def _said(verdict: CardVerdict) -> CardVerdict:
    return replace(verdict, text=on_page(verdict.text))
