"""One sweep, burst or single with its truth, from nothing but a seed."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

from haltere.progress import Progress, silent
from haltere.scene import animal as animals
from haltere.scene.kits import Outfit, pick_outfit
from haltere.scene.render import Naming, render_run
from haltere.scene.runs import Run, plan_burst, plan_single, plan_sweep
from haltere.scene.truth import Truth

# Points of the pupil. In four much blurred places what lies above a blur of 1.5 px had a standard
# deviation of 0.6-1.5 grey levels with 32 points and 0.5-1.2 with 200 (frames without noise); a
# path tracer with 75 samples left 1.4-2.4 in three such places of its frames (with noise).
VIEWS = 32


def _naming(seed: int, count: int, raw: tuple[int, ...] = ()) -> Naming:
    zone = timezone(timedelta(hours=2))
    start = datetime(2026, 6, 1 + seed % 28, 6, 10, tzinfo=zone) + timedelta(
        seconds=(seed * 977) % 36000
    )
    return Naming(tuple(f"frame_{i:03d}.jpg" for i in range(count)), start, 1, raw)


def _write(run: Run, out: Path, views: int, progress: Progress, raw: tuple[int, ...] = ()) -> Truth:
    return render_run(
        run, out, out, _naming(run.seed, len(run.takes), raw), views=views, progress=progress
    )


def render_sweep(  # noqa: PLR0913
    seed: int,
    out: Path,
    *,
    frames: int = 24,
    passes: int = 1,
    gap: bool = False,
    width_px: int = 1600,
    height_px: int = 1200,
    plan: animals.Plan | None = None,
    outfit: Outfit | None = None,
    views: int = VIEWS,
    progress: Progress = silent,
) -> Truth:
    """Render a hand-pushed focus sweep into `out` with truth.json, sharp, depth and mask.

    Parameters
    ----------
    seed : int
        Animal, pose, hand and, unless `outfit` is given, kit.
    out : Path
        Folder; frames lie directly beside truth.json.
    frames : int
        Frames in all; the animal's depth is fitted to them.
    passes : {1, 2}
        2: away with a hole, then back, filling it.
    gap : bool
        True leaves a true gap of more than two and a half depths of field.
    width_px, height_px : int
        Frame size.
    plan : {"fly", "spider", "beetle", "wasp", "hopper"} or None
        Body plan; None lets the seed choose between fly and spider.
    outfit : Outfit or None
        Camera and settings.
    views : int
        Points of the pupil per frame.
    progress : Progress
        Told after each frame.
    """
    kit = outfit or pick_outfit(seed, width_px=width_px, height_px=height_px)
    run = plan_sweep(seed, kit, frames=frames, passes=passes, gap=gap, plan=plan)
    return _write(run, Path(out), views, progress)


def render_burst(  # noqa: PLR0913
    seed: int,
    out: Path,
    *,
    frames: int = 12,
    keeper: bool = True,
    misfires: tuple[int, ...] = (),
    smeared: tuple[int, ...] = (),
    width_px: int = 1600,
    height_px: int = 1200,
    plan: animals.Plan | None = None,
    outfit: Outfit | None = None,
    views: int = VIEWS,
    progress: Progress = silent,
) -> Truth:
    """Render a burst at the nearer eye into `out`, with truth as `render_sweep` writes it.

    Parameters
    ----------
    seed : int
        Animal, pose, hand and, unless `outfit` is given, kit.
    out : Path
        Folder; frames lie directly beside truth.json.
    frames : int
        Frames in all.
    keeper : bool
        False: no frame has an eye sharp.
    misfires, smeared : tuple of int
        Dark frames, motion-blurred frames.
    width_px, height_px : int
        Frame size; an `outfit` brings its own.
    plan : {"fly", "spider", "beetle", "wasp", "hopper"} or None
        Body plan; None lets the seed choose between fly and spider.
    outfit : Outfit or None
        Camera and settings; None lets the seed choose.
    views : int
        Points of the pupil per frame.
    progress : Progress
        Told after each frame.
    """
    kit = outfit or pick_outfit(seed, width_px=width_px, height_px=height_px)
    run = plan_burst(
        seed, kit, frames=frames, keeper=keeper, misfires=misfires, smeared=smeared, plan=plan
    )
    return _write(run, Path(out), views, progress)


def render_single(
    seed: int, out: Path, *, raw: bool = False, width_px: int = 1600, height_px: int = 1200,
    plan: animals.Plan | None = None, outfit: Outfit | None = None, views: int = VIEWS,
    progress: Progress = silent,
) -> Truth:  # fmt: skip
    """Render one frame with its nearer eye in focus; `raw` adds a DNG of the same exposure.

    Parameters
    ----------
    seed : int
        Animal, pose, hand and, unless `outfit` is given, kit.
    out : Path
        Folder; frames lie directly beside truth.json.
    raw : bool
        True writes frame_000.DNG beside frame_000.jpg.
    width_px, height_px : int
        Frame size; an `outfit` brings its own.
    plan : {"fly", "spider", "beetle", "wasp", "hopper"} or None
        Body plan; None lets the seed choose between fly and spider.
    outfit : Outfit or None
        Camera and settings; None lets the seed choose.
    views : int
        Points of the pupil per frame.
    progress : Progress
        Told after each frame.
    """
    kit = outfit or pick_outfit(seed, width_px=width_px, height_px=height_px)
    return _write(
        plan_single(seed, kit, plan=plan), Path(out), views, progress, (0,) if raw else ()
    )
