"""Shows a made-up animal at the planned settings: one shot beside a merged sweep."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image

from haltere.errors import UsageError
from haltere.progress import Progress, silent
from haltere.show.colours import NIGHT
from haltere.show.drawing import Box, Line, Text
from haltere.show.filing import file_away
from haltere.show.paint import Canvas

if TYPE_CHECKING:
    from haltere.plan.plan import Plan
    from haltere.plan.see import Imagined
    from haltere.plan.see_view import Look

EDGE, GAP = 36.0, 20.0
TITLE, HEAD, SAID, NOTE = 30.0, 21.0, 15.0, 14.0
"""Sizes of letters, pixels."""

SMALL_SHARE = 0.2
"""An animal that fills less of the frame's width is said to be small in it."""

BARS_MM = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


def see_plan(plan: Plan, path: Path, progress: Progress = silent) -> Path:
    """Draw what a life-size animal looks like at the planned settings.

    Parameters
    ----------
    plan : Plan
        Kit, wishes and settings.
    path : Path
        PNG file to write.
    progress : Progress, optional
        Told of every frame; may raise to cancel.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    UsageError
        When the file's name ends in something other than .png.
    WriteError
        When it can't be written.
    """
    from haltere.frames import Decoder
    from haltere.plan.see import imagine

    if path.suffix.lower() != ".png":
        raise UsageError(f"--see {path.name}: the picture is a PNG; let its name end in .png")
    with tempfile.TemporaryDirectory(prefix="haltere-see-") as folder, Decoder() as decoder:
        seen = imagine(plan, decoder, Path(folder), progress)
    return file_away(path, seen_png(plan, seen))


def seen_png(plan: Plan, seen: Imagined) -> bytes:
    """Compose whole views above details, one shot on the left, the sweep on the right.

    Parameters
    ----------
    plan : Plan
        What was planned.
    seen : Imagined
        What was drawn.

    Returns
    -------
    bytes
        A PNG file whose details are not resampled.
    """
    wide = float(max(seen.whole.single.shape[1], seen.detail.single.shape[1]))
    inside = 2 * wide + GAP
    room = seen.whole.single.shape[0] + seen.detail.single.shape[0] + 700
    canvas = Canvas(inside + 2 * EDGE, room, NIGHT, 1)
    columns = (EDGE, EDGE + wide + GAP)
    y = canvas.paragraph(title(plan, seen), EDGE, EDGE - 6, inside, TITLE, "ink")
    y = canvas.paragraph(size_line(plan, seen), EDGE, y + 2, inside, SAID, "soft") + 16
    said = (single_words(plan), sweep_words(plan, seen))
    y = max(
        canvas.paragraph(head, x, y, wide, HEAD, "ink", bold=True)
        for x, (head, _) in zip(columns, said, strict=True)
    )
    y = 10 + max(
        canvas.paragraph(text, x, y, wide, SAID, "soft")
        for x, (_, text) in zip(columns, said, strict=True)
    )
    y = _pair(canvas, seen.whole, columns, y, seen.field_mm[0] / seen.whole.single.shape[1])
    _frame_detail(canvas, seen, columns, y - seen.whole.single.shape[0])
    y = canvas.paragraph(detail_line(seen), EDGE, y + 12, inside, SAID, "soft") + 8
    y = _pair(canvas, seen.detail, columns, y, seen.um_per_px / 1000.0) + 12
    for note in notes(plan, seen):
        y = canvas.paragraph(note, EDGE, y, inside, NOTE, "soft") + 2
    cut = canvas.image.crop((0, 0, canvas.image.width, round(min(y + EDGE - 8, room))))
    buffer = io.BytesIO()
    cut.save(buffer, "PNG", compress_level=6)
    return buffer.getvalue()


def title(plan: Plan, seen: Imagined) -> str:
    """Say what the picture shows.

    Parameters
    ----------
    plan : Plan
        What was planned.
    seen : Imagined
        What was drawn.

    Returns
    -------
    str
        One line.
    """
    m, depth = plan.given.lens.magnification, plan.given.wishes.depth_mm
    return f"A made-up {seen.animal}, {depth:g} mm deep, at {m:.3g}:1 - drawn, not photographed"


def size_line(plan: Plan, seen: Imagined) -> str:
    """Say how large animal and frame are.

    Parameters
    ----------
    plan : Plan
        What was planned.
    seen : Imagined
        What was drawn.

    Returns
    -------
    str
        One or two sentences.
    """
    share = seen.animal_mm[0] / seen.field_mm[0]
    width, height = seen.field_mm
    line = (
        f"Life-size: the animal is {seen.animal_mm[0]:.2g} mm long as you see it, "
        f"the frame holds {width:.3g} x {height:.3g} mm. "
    )
    if share < SMALL_SHARE:
        return line + f"It fills {100 * share:.0f} % of the frame's width: go closer, or crop."
    if share > 1.0:
        return line + "It is larger than the frame."
    return line + f"It fills {100 * share:.0f} % of the frame's width."


def single_words(plan: Plan) -> tuple[str, str]:
    """Give heading and settings of the one shot.

    Parameters
    ----------
    plan : Plan
        What was planned.

    Returns
    -------
    head, text : str
        In plain words.
    """
    n = plan.single.f_number
    return f"One shot at f/{n:g}", (
        f"Focused on the middle of the animal's depth. {_light(plan, n)}"
    )


def sweep_words(plan: Plan, seen: Imagined) -> tuple[str, str]:
    """Give heading and settings of the sweep.

    Parameters
    ----------
    plan : Plan
        What was planned.
    seen : Imagined
        What was drawn.

    Returns
    -------
    head, text : str
        In plain words.
    """
    n, frames = plan.sweep.f_number, seen.planned_frames
    if frames == 1:
        return f"A single frame at f/{n:g}, the f-number for sweeps", (
            "One frame holds the whole depth at this f-number, so there is nothing to merge. "
            + _light(plan, n)
        )
    head = f"A sweep of {frames} frames at f/{n:g}"
    if seen.whole.merged:
        head += ", merged"
    return head, f"A frame every {plan.sweep.sweep.step_mm:.2g} mm. {_light(plan, n)}"


def detail_line(seen: Imagined) -> str:
    """Say what the lower pictures are.

    Parameters
    ----------
    seen : Imagined
        What was drawn.

    Returns
    -------
    str
        One or two sentences.
    """
    return (
        "The framed part at full size, one pixel of your sensor a pixel here "
        f"({seen.um_per_px:.2g} thousandths of a millimetre on the animal): look at it at 100 %. "
        "Softness all over is diffraction; softness that grows toward one side is defocus."
    )


def notes(plan: Plan, seen: Imagined) -> tuple[str, ...]:
    """Say what was left out, and what was done to be quick.

    Parameters
    ----------
    plan : Plan
        What was planned.
    seen : Imagined
        What was drawn.

    Returns
    -------
    tuple of str
        Sentences, most important first.
    """
    drawn = (
        "Drawn by a simulator: an invented animal before a thin lens. Blur, diffraction, pixels "
        f"and the noise of a usual sensor at ISO {plan.given.iso:g} are in it; your hand is "
        "still, the steps are even, and every frame lies where it should. Real sweeps are harder."
    )
    said = [drawn]
    whole, planned = seen.whole, seen.planned_frames
    if whole.every > 1:
        which = {2: "every other plane", 3: "every third plane"}.get(
            whole.every, f"every {whole.every}th plane"
        )
        said.append(
            f"To be quick, only {which} was drawn for the whole view ({whole.planes} of "
            f"{planned}), which is too small to show it; the detail keeps the planned step."
            if seen.detail.every == 1
            else f"To be quick, only {which} was drawn ({whole.planes} of {planned})."
        )
    if whole.merged:
        said.append(
            "The sweep covers the animal only: what it sits on reaches farther, stays soft there, "
            "and may show scraps of the merge at its edges."
        )
    depth = plan.given.wishes.depth_mm
    if planned > 1 and whole.covered_mm < 0.9 * depth:
        said.append(
            f"The planes drawn cover {whole.covered_mm:.2g} mm around the middle of the animal's "
            f"{depth:g} mm; what lies before and behind would be sharp in the whole sweep."
        )
    if planned > 1 and not (whole.merged and seen.detail.merged):
        said.append(
            "Where fewer than three planes were to be merged, or the merge failed, the frame in "
            "the middle is shown instead."
        )
    return tuple(said)


def _light(plan: Plan, f_number: float) -> str:
    effective = plan.given.effective(f_number)
    shown = f"{effective:.0f}" if effective >= 10 else f"{effective:.1f}"
    shutter = plan.given.shutter_s
    time = f"1/{1 / shutter:.0f} s" if shutter < 0.4 else f"{shutter:g} s"
    return f"ISO {plan.given.iso:g}, {time}; at the sensor it works as f/{shown}."


def _pair(
    canvas: Canvas, look: Look, columns: tuple[float, float], y: float, mm_per_px: float
) -> float:
    """Hang one shot and sweep beside each other with a rule of so many mm; answer the bottom."""
    for x, picture in zip(columns, (look.single, look.swept), strict=True):
        canvas.paste(Image.fromarray(picture), x, y, picture.shape[1])
        height, width = picture.shape[:2]
        bar = max((b for b in BARS_MM if b <= 0.25 * width * mm_per_px), default=BARS_MM[0])
        long, left, low = bar / mm_per_px, x + 16.0, y + height - 16.0
        canvas.mark(Box(left - 8, low - 26, left + max(long, 52) + 8, low + 8, fill="paper"))
        canvas.mark(Line(left, low, left + long, low, "ink", 3))
        canvas.mark(Text(left, low - 8, f"{bar:g} mm", NOTE, "ink"))
    return y + float(look.single.shape[0])


def _frame_detail(canvas: Canvas, seen: Imagined, columns: tuple[float, float], top: float) -> None:
    """Frame the detail on both whole views, in light and dark so that it shows on anything."""
    height, width = seen.whole.single.shape[:2]
    left, up, right, down = (min(max(part, 0.0), 1.0) for part in seen.detail_part)
    for x in columns:
        x0, y0 = x + left * width, top + up * height
        x1, y1 = x + right * width, top + down * height
        canvas.mark(Box(x0 - 1, y0 - 1, x1 + 1, y1 + 1, outline="paper", width=1))
        canvas.mark(Box(x0, y0, x1, y1, outline="ink", width=1))
