"""Rules photographed with known lenses, made once for all tests of this room."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from haltere.frames import find_frames
from haltere.frames.frame import Frame
from haltere.scene.camera import Lens
from haltere.scene.rule import Rule, RuleTruth, render_rule

# lenses whose entrance pupil lies elsewhere than the thin lens has it
LENSES = {
    "retrofocus": Lens(1.0, 60.0, 8.0, 17.3, 900, 600, 0.015, 1.5),
    "telephoto": Lens(0.6, 90.0, 5.6, 23.5, 900, 600, 0.015, 0.7),
    "close": Lens(2.4, 50.0, 8.0, 17.3, 900, 600, 0.015, 0.9),
}
TILTS = {"retrofocus": 45.0, "telephoto": 35.0, "close": 50.0}


@dataclass(frozen=True, slots=True)
class Set:
    """A sweep over a tilted rule and a picture of it lying flat."""

    folder: Path
    sweep: RuleTruth
    flat: RuleTruth

    @property
    def frames(self) -> tuple[Frame, ...]:
        return tuple(find_frames([self.folder / "sweep"]).frames)

    @property
    def flat_frame(self) -> Frame:
        return find_frames([self.folder / "flat"]).frames[0]


def make_set(name: str, folder: Path, *, frames: int = 9) -> Set:
    lens, tilt = LENSES[name], TILTS[name]
    pitch = 1.0 if lens.magnification < 1.4 else 0.5
    rule = Rule(pitch_mm=pitch, mark_mm=0.16 * pitch)
    field = lens.width_px / lens.px_per_mm
    sweep = render_rule(
        len(name), folder / "sweep", lens=lens, tilt_deg=tilt, turn_deg=4.0, frames=frames,
        advance_mm=0.5 * field * math.tan(math.radians(tilt)), rule=rule,
    )  # fmt: skip
    flat = render_rule(
        len(name) + 50, folder / "flat", lens=lens, tilt_deg=0.8, turn_deg=-6.0, rule=rule,
        too_near_mm=0.1 * lens.depth_of_field_mm,
    )  # fmt: skip
    return Set(folder, sweep, flat)
