"""What the bench says of a merged picture: its patches, the planes under one, its depth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from haltere.doors.bench.said import Layer

Along = Annotated[float, Field(ge=-100_000, le=100_000, allow_inf_nan=False)]
Corner = tuple[Along, Along]
Corners = Annotated[tuple[Corner, ...], Field(min_length=3, max_length=200)]


@dataclass(frozen=True, slots=True)
class PatchSaid:
    """One patch that stands.

    Attributes
    ----------
    number : int
        Its number in the book.
    frame : str
        Frame that the region is taken from.
    around : tuple of (x, y), or None
        Corners, pixels of the merged picture; None where it was given as a picture.
    box_px : tuple of 4 ints
        Part of the picture that it can change.
    """

    number: int
    frame: str
    around: tuple[tuple[float, float], ...] | None
    box_px: tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class PatchesSaid:
    """The patches of a merged picture.

    Attributes
    ----------
    standing : tuple of PatchSaid
        Oldest first.
    again : bool
        Whether one that was taken back can stand again.
    written : int
        How many of the first ones the written picture shows.
    current : bool
        Whether what is written shows all of them and no other.
    layer : Layer or None
        The written picture, where it shows some.
    place : str
        Where the written picture lies, or will.
    """

    standing: tuple[PatchSaid, ...]
    again: bool
    written: int
    current: bool
    layer: Layer | None
    place: str


@dataclass(frozen=True, slots=True)
class PlaneSaid:
    """One merged frame under a region; its depth in the unit of the depth map."""

    frame: str
    number: int
    depth: float
    sees: bool
    share: float


@dataclass(frozen=True, slots=True)
class UnderSaid:
    """What lies under a region; see `haltere.evening.under_patch.Under`."""

    box_px: tuple[int, int, int, int]
    picture_share: float
    unit: Literal["mm", "dof"]
    depth: float | None
    nearest: int
    planes: tuple[PlaneSaid, ...]


@dataclass(frozen=True, slots=True)
class PlaceSaid:
    """What is known of one pixel; see `haltere.evening.under_patch.Place`."""

    unit: Literal["mm", "dof"]
    frame: str | None
    depth: float | None
    confidence: float
    patched: bool


@dataclass(frozen=True, slots=True)
class SharpestSaid:
    """Which frame is sharpest in a region.

    Attributes
    ----------
    frame : int
        Its number in the book.
    fineness : dict of str to float
        Each frame that was compared, cycles per pixel, finest first.
    """

    frame: int
    fineness: dict[str, float]


@dataclass(frozen=True, slots=True)
class PatchAsked:
    """A region of the merged picture and the frame that it is to be taken from."""

    around: Corners
    frame: Annotated[int, Field(ge=1, le=2**53)]


@dataclass(frozen=True, slots=True)
class AroundAsked:
    """A region of the merged picture, pixels of it."""

    around: Corners


@dataclass(frozen=True, slots=True)
class DepthSaid:
    """What there is of a merged picture in depth.

    Attributes
    ----------
    rev : str or None
        Changes with it; None where nothing was made yet.
    current : bool
        Whether it shows the picture as it is written now.
    sides : int
        How many views from side to side.
    size_px : tuple of 2 ints
        Of each of them.
    swing_deg : float
        Between the first and the last.
    angle_sure : bool
        Whether the scale is known; else angles are only about so.
    guessed_share, unknown_share, end_share : float
        See `haltere relief`.
    text : str
        How to look at the pair.
    """

    rev: str | None
    current: bool
    sides: int
    size_px: tuple[int, int]
    swing_deg: float
    angle_sure: bool
    guessed_share: float
    unknown_share: float
    end_share: float
    text: str
