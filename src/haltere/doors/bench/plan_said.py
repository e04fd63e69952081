"""What the bench says of a plan, one shape an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

from haltere.plan import Drawn

Word = Annotated[str, Field(max_length=60)]


@dataclass(frozen=True, slots=True)
class KeySaid:
    """One number that may be said of kit or wish.

    Attributes
    ----------
    field : str
        Its name in addresses and answers.
    section : str
        "wish", or the part of the kit that it belongs to.
    label, unit, says : str
        What to call it, in what it counts, what it is.
    low, high : float
        What it may be.
    """

    field: str
    section: str
    label: str
    unit: str
    says: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class KitSaid:
    """One kit of the book; `numbers` are those that its file says."""

    id: int
    name: str
    added: str
    numbers: dict[str, float | str]


@dataclass(frozen=True, slots=True)
class KeptSaid:
    """One plan that was kept, with what was asked and what it said in short."""

    id: int
    name: str
    kept: str
    kit: str
    said: dict[str, str]
    head: str


@dataclass(frozen=True, slots=True)
class Desk:
    """What a plan can be made of: kits, numbers, words, and plans that were kept."""

    kits: tuple[KitSaid, ...]
    made_up: KitSaid
    keys: tuple[KeySaid, ...]
    lights: tuple[str, ...]
    formats: tuple[str, ...]
    coc_rules: tuple[str, ...]
    kept: tuple[KeptSaid, ...]


@dataclass(frozen=True, slots=True)
class PlanSaid:
    """One plan.

    Attributes
    ----------
    kit : str
        Name of the kit.
    numbers : dict
        Of the kit, with what was said of it in the address.
    answer : dict
        As `haltere plan --json` prints it, options called as the page calls their fields.
    drawn : Drawn
        Where everything stands.
    """

    kit: str
    numbers: dict[str, float | str]
    answer: dict[str, Any]
    drawn: Drawn


@dataclass(frozen=True, slots=True)
class KeepPlan:
    """A plan to be kept: its name, and the words of its address."""

    name: Annotated[str, Field(max_length=120)]
    said: Annotated[dict[Word, Word], Field(max_length=120)]


@dataclass(frozen=True, slots=True)
class KeepKit:
    """A kit to be kept: its name, and the words of the address that it is planned with."""

    name: Annotated[str, Field(max_length=120)]
    said: Annotated[dict[Word, Word], Field(max_length=120)]
