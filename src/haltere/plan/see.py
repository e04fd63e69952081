"""What a life-size animal looks like at the planned settings: one shot beside a merged sweep."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from haltere.plan.see_animal import drawn_animal
from haltere.plan.see_numbers import ANIMAL, SEEING, Seeing
from haltere.plan.see_view import Easel, Look, View, trimmed
from haltere.progress import Progress, silent

if TYPE_CHECKING:
    from haltere.frames import Decoder
    from haltere.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class Imagined:
    """A made-up animal at the planned settings.

    Attributes
    ----------
    whole : Look
        The whole frame, made smaller.
    detail : Look
        A small part of it at full size: one pixel of the sensor a pixel.
    detail_part : tuple of float
        Where the detail lies on `whole`, left, top, right, bottom, as parts of its sides.
    planned_frames : int
        Frames of the planned sweep.
    animal : str
        "fly" or "spider".
    animal_mm : tuple of float
        Width, height and depth of the animal.
    field_mm : tuple of float
        Width and height of what the frame holds.
    um_per_px : float
        Micrometres on the animal a pixel of the detail.
    """

    whole: Look
    detail: Look
    detail_part: tuple[float, float, float, float]
    planned_frames: int
    animal: str
    animal_mm: tuple[float, float, float]
    field_mm: tuple[float, float]
    um_per_px: float


def imagine(
    plan: Plan,
    decoder: Decoder,
    folder: Path,
    progress: Progress = silent,
    *,
    seed: int = ANIMAL,
    seeing: Seeing = SEEING,
) -> Imagined:
    """Draw an animal of the wished depth as the planned settings show it.

    Its size follows from its depth, so that it fills what a living one of that depth would. Blur,
    diffraction, pixels and noise are those of the plan; hand and animal are still, and the steps
    even. The sweep is merged as a real one is.

    Parameters
    ----------
    plan : Plan
        Kit, wishes and settings.
    decoder : Decoder
        Open decoder, for the merge.
    folder : Path
        Where frames and merged pictures may lie meanwhile.
    progress : Progress, optional
        Told of every frame; may raise to cancel.
    seed : int, optional
        Another one makes another animal.
    seeing : Seeing, optional
        How large and how fine.

    Returns
    -------
    Imagined
        The whole frame and a detail, each as one shot and as a sweep.

    Raises
    ------
    UsageError
        When the animal is so deep that the lens would touch it, or too small to be seen.
    """
    from haltere.scene.render import quick_gain

    progress("growing an animal", 0, 1)
    given = plan.given
    widest = min(plan.single.f_number, plan.sweep.f_number)
    drawn = drawn_animal(given, widest, seed, seeing)
    sensor, pitch, m = given.sensor_mm, given.pitch_mm, given.lens.magnification
    easel = Easel(plan, quick_gain(drawn.stage, drawn.stage.lens), seed, seeing, decoder)
    size = (seeing.whole_px, round(seeing.whole_px * sensor[1] / sensor[0]))
    frame = View(drawn.seen_from(drawn.aim, given), size, sensor[0] / seeing.whole_px)
    around = frame.stage
    share = min(1.0, max(seeing.around * drawn.size_mm[k] * m / sensor[k] for k in (0, 1)))
    share = 1.0 if share > seeing.nearly_all else share
    wide = max(min(round(sensor[0] * share / pitch), seeing.merged_px), 64)
    view = View(around, (wide, round(wide * sensor[1] / sensor[0])), sensor[0] * share / wide)
    near = easel.look(view, folder / "whole", "drawing the animal", progress)
    whole = easel.framed(near, view, frame)
    at_eye = drawn.seen_from(drawn.face, given)
    cut = [min(seeing.detail_px[k], given.picture_px[k]) for k in (0, 1)]
    view = View(at_eye, (cut[0] + 2 * seeing.spare_px, cut[1] + 2 * seeing.spare_px), pitch)
    detail = easel.look(view, folder / "detail", "drawing the detail", progress, small=True)
    detail = replace(
        detail,
        single=trimmed(detail.single, seeing.spare_px),
        swept=trimmed(detail.swept, seeing.spare_px),
    )
    middle = [0.5 + (drawn.face[k] - drawn.aim[k]) * m / sensor[k] for k in (0, 1)]
    half = [0.5 * cut[k] * pitch / sensor[k] for k in (0, 1)]
    return Imagined(
        whole=whole,
        detail=detail,
        detail_part=(
            middle[0] - half[0], middle[1] - half[1], middle[0] + half[0], middle[1] + half[1],
        ),
        planned_frames=plan.sweep.sweep.frames,
        animal=drawn.kind,
        animal_mm=drawn.size_mm,
        field_mm=(sensor[0] / m, sensor[1] / m),
        um_per_px=1000.0 * pitch / m,
    )  # fmt: skip
