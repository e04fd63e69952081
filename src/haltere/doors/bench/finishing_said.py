"""What the bench says and hears of a picture's crop, its scale, lengths on it, and its delivery."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from haltere.evening.ruled import KeptLine, Line
from haltere.finish.crop import CropBudget
from haltere.finish.measuring import Measured
from haltere.finish.scale import Scale
from haltere.finish.scale_bar import Bar
from haltere.finish.settings import Settings

Words = Annotated[str, Field(max_length=500)]
Coordinate = Annotated[float, Field(strict=True, ge=-100_000, le=100_000, allow_inf_nan=False)]
Point = tuple[Coordinate, Coordinate]
Millimetres = Annotated[float, Field(strict=True, gt=0, le=100_000, allow_inf_nan=False)]
Corner = Literal["bottom-right", "bottom-left", "top-right", "top-left"]


@dataclass(frozen=True, slots=True)
class CarriedSaid:
    """What a crop carries, and the scale bar that would stand in it.

    Attributes
    ----------
    budget : CropBudget
        With its warnings.
    bar : Bar or None
        None where the size of a pixel is unknown, or no bar fits.
    no_bar : str
        Why there is none; empty otherwise.
    """

    budget: CropBudget
    bar: Bar | None
    no_bar: str


@dataclass(frozen=True, slots=True)
class FinishSaid:
    """What stands of a picture's finishing.

    Attributes
    ----------
    size_px : tuple of int
        Width and height of the whole picture.
    settings : Settings
        Those that stand.
    carried : CarriedSaid
        What the standing crop carries.
    scale : Scale or None
        Size of a pixel on the animal.
    in_depth : bool
        Whether lengths can be measured in depth.
    can_undo : bool
        Whether settings can be taken back.
    lines : tuple of KeptLine
        Measured lines that were written down, oldest first.
    """

    size_px: tuple[int, int]
    settings: Settings
    carried: CarriedSaid
    scale: Scale | None
    in_depth: bool
    can_undo: bool
    lines: tuple[KeptLine, ...]


@dataclass(frozen=True, slots=True)
class FinishAsked:
    """New settings; None leaves one as it is.

    Attributes
    ----------
    crop : str or None
        "X,Y,W,H" in pixels, a shape like "3:2", or "whole".
    bar, bar_mm, corner : str or float or None
        The scale bar.
    """

    crop: Annotated[str, Field(max_length=60)] | None = None
    bar: Literal["none", "burnt", "overlay"] | None = None
    bar_mm: Millimetres | None = None
    corner: Corner | None = None


@dataclass(frozen=True, slots=True)
class LineAsked:
    """A line with corners to be measured, pixels of the picture.

    Attributes
    ----------
    points_px : tuple of (float, float)
        Its corners.
    click_px : float
        How well they were pointed at, one sigma.
    flat : bool
        Leave depth out.
    known_mm, known_error_mm, along_px : float or tuple or None
        Something of known length in the picture, one sigma of it, and its two ends.
    """

    points_px: Annotated[tuple[Point, ...], Field(min_length=2, max_length=200)]
    click_px: Annotated[float, Field(strict=True, gt=0, le=1000, allow_inf_nan=False)] = 1.0
    flat: bool = False
    known_mm: Millimetres | None = None
    known_error_mm: Annotated[float, Field(strict=True, ge=0, le=100_000, allow_inf_nan=False)] = (
        0.0
    )
    along_px: tuple[Point, Point] | None = None

    def as_line(self) -> Line:
        """Give it as the evening's room takes it."""
        return Line(
            self.points_px, self.click_px, self.flat, self.known_mm, self.known_error_mm,
            self.along_px,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class LineKept(LineAsked):
    """A line to be written down, and what it measures."""

    name: Annotated[str, Field(max_length=60)] = ""


@dataclass(frozen=True, slots=True)
class LineSaid:
    """What a line measures, with the keys of the command line, and the scale behind it."""

    measured: Measured
    scale: Scale
    scale_words: str


@dataclass(frozen=True, slots=True)
class DeliverAsked:
    """How the finished picture shall leave; never with the place."""

    kind: Literal["jpeg", "tiff", "png"] = "jpeg"
    purpose: Literal["web", "print"] = "web"
    caption: Words = ""
    creator: Words = ""
    rights: Words = ""


@dataclass(frozen=True, slots=True)
class DeliveredSaid:
    """The file that is ready to leave."""

    file: str
    width_px: int
    height_px: int
    disclosure: str
    folder: str
