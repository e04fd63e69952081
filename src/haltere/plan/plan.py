"""The plan: one answer for this kit, this magnification, an animal this deep, this light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from haltere.plan.ambient import Ambient
    from haltere.plan.aperture import Aperture
    from haltere.plan.burst import Burst
    from haltere.plan.crop import Crop
    from haltere.plan.flash import Flash
    from haltere.plan.given import Given
    from haltere.plan.hours import Hours
    from haltere.plan.motion import Motion
    from haltere.plan.sharpness import Sharpness
    from haltere.plan.sweep import Sweep


@dataclass(frozen=True, slots=True)
class Warned:
    """Something the photographer should know before going out.

    Attributes
    ----------
    code : str
        For programs: "sync-speed", ...
    text : str
        One or two sentences with the cure.
    f_number : float or None
        The f-number that it is about; None when it is about all.
    """

    code: str
    text: str
    f_number: float | None = None


@dataclass(frozen=True, slots=True)
class At:
    """Everything that depends on the f-number.

    Attributes
    ----------
    f_number : float
        As marked.
    reason : str
        Why this one.
    sharpness : Sharpness
        Depth of field and diffraction.
    flash : Flash or None
        None when the kit has no guide number.
    ambient : Ambient
        Daylight beside the flash.
    motion : Motion
        Blur by hand and animal.
    sweep : Sweep
        A pushed series at this f-number.
    burst : Burst
        The chance of a sharp frame at this f-number.
    """

    f_number: float
    reason: str
    sharpness: Sharpness
    flash: Flash | None
    ambient: Ambient
    motion: Motion
    sweep: Sweep
    burst: Burst


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole answer.

    Attributes
    ----------
    given : Given
        What it starts from.
    aperture : Aperture
        Curve and choice of f-number.
    chosen : At
        At the f-number asked for, the kit's, or else the sweep's.
    single : At
        Recommended for one shot.
    sweep : At
        Recommended for a sweep.
    crop : Crop
        Crop and print.
    hours : Hours or None
        None when no place was given.
    warnings : tuple of Warned
        Most urgent first.
    assumed : tuple of str
        What nobody said, the flash's numbers among it.
    """

    given: Given
    aperture: Aperture
    chosen: At
    single: At
    sweep: At
    crop: Crop
    hours: Hours | None
    warnings: tuple[Warned, ...]
    assumed: tuple[str, ...]
