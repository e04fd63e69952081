"""Everything that a finished picture was made with, as it is remembered and changed."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

from haltere.errors import UsageError
from haltere.finish.scale_bar import Corner
from haltere.finish.tone import Tone


@dataclass(frozen=True, slots=True)
class Settings:
    """What shall be done to a picture; as it stands here nothing.

    Attributes
    ----------
    sharpness, calm : float
        See `haltere.finish.restoring.Wanted`; 0 is off.
    dust : bool
        Whether dust on the sensor is looked for and healed.
    tone : Tone
        Light and colour.
    crop : str or None
        See `haltere.finish.crop.crop_box`.
    bar : {"none", "burnt", "overlay"}
        Whether a scale bar is drawn, and where to.
    bar_mm : float or None
        Its length; None chooses a round one.
    corner : str
        Where it stands.
    """

    sharpness: float = 0.0
    calm: float = 0.0
    dust: bool = False
    tone: Tone = field(default_factory=Tone)
    crop: str | None = None
    bar: str = "none"
    bar_mm: float | None = None
    corner: Corner = "bottom-right"

    def __post_init__(self) -> None:
        for name, value in (("--sharpness", self.sharpness), ("--calm", self.calm)):
            if not 0.0 <= value <= 1.0:
                raise UsageError(f"{name} lies between 0 and 1, got {value:g}")
        if self.bar not in ("none", "burnt", "overlay"):
            raise UsageError(f"--bar is none, burnt or overlay, got {self.bar}")
        if self.bar_mm is not None and not 0.0 < self.bar_mm < 1000.0:
            raise UsageError(f"--bar-length lies above 0 mm, got {self.bar_mm:g}")

    def changed(self, **new: Any) -> Settings:
        """Change what was said and leave the rest.

        Parameters
        ----------
        **new : object
            Fields of the settings and of the tone by name; None leaves one as it is.

        Returns
        -------
        Settings
            Checked anew.
        """
        said = {name: value for name, value in new.items() if value is not None}
        of_tone = {one.name for one in fields(Tone)}
        tone = replace(self.tone, **{n: v for n, v in said.items() if n in of_tone})
        return replace(self, tone=tone, **{n: v for n, v in said.items() if n not in of_tone})
