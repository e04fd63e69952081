"""A whole outing on a memory card: bursts, sweeps, singles, misfires, a raw pair, and the truth."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np

from haltere.progress import Progress, silent
from haltere.scene import animal as animals
from haltere.scene.kits import Outfit, pick_outfit
from haltere.scene.render import Naming, Rendering, finish_run, start_run
from haltere.scene.runs import Run, plan_burst, plan_single, plan_sweep
from haltere.scene.sets import VIEWS
from haltere.scene.truth import Truth

FRAMES = 119  # on the card; a test holds it


@dataclass(frozen=True, slots=True)
class CardRun:
    """One run on the card.

    Attributes
    ----------
    id : str
        Name of its truth folder.
    kind : str
        "sweep", "burst" or "single".
    note : str
        What it is there for.
    files : tuple of str
        JPEG names in order.
    raw_files : tuple of str
        Raw partners.
    keeper : bool or None
        Whether a keeper exists; None for sweeps.
    keepers : tuple of str
        Files with the nearer eye within half a depth of field and without fault.
    misfired, smeared : tuple of str
        Dark and motion-blurred files.
    truth : Truth
        All of it.
    """

    id: str
    kind: str
    note: str
    files: tuple[str, ...]
    raw_files: tuple[str, ...]
    keeper: bool | None
    keepers: tuple[str, ...]
    misfired: tuple[str, ...]
    smeared: tuple[str, ...]
    truth: Truth


@dataclass(frozen=True, slots=True)
class Card:
    """A whole outing.

    Attributes
    ----------
    frames_folder, truth_folder : Path
        Camera files only; truth per run and card.json.
    outfit : Outfit
        The one kit.
    runs : tuple of CardRun
        In order of time.
    """

    frames_folder: Path
    truth_folder: Path
    outfit: Outfit
    runs: tuple[CardRun, ...]


@dataclass(frozen=True, slots=True)
class _Stop:
    """One thing that happens on the outing."""

    id: str
    note: str
    animal: int
    plan: animals.Plan
    pause_s: float
    make: Callable[[int, Outfit, animals.Plan], Run]
    raw: tuple[int, ...] = ()


def _itinerary(seed: int) -> list[_Stop]:
    rng = np.random.default_rng([seed, 83])
    first: animals.Plan = "fly" if rng.random() < 0.5 else "spider"
    other: animals.Plan = "spider" if first == "fly" else "fly"

    def sweep(
        frames: int, passes: int = 1, gap: bool = False
    ) -> Callable[[int, Outfit, animals.Plan], Run]:
        return lambda s, o, p: plan_sweep(s, o, frames=frames, passes=passes, gap=gap, plan=p)

    def burst(
        frames: int,
        keeper: bool = True,
        misfires: tuple[int, ...] = (),
        smeared: tuple[int, ...] = (),
    ) -> Callable[[int, Outfit, animals.Plan], Run]:
        return lambda s, o, p: plan_burst(
            s, o, frames=frames, keeper=keeper, misfires=misfires, smeared=smeared, plan=p
        )

    def single(s: int, o: Outfit, p: animals.Plan) -> Run:
        return plan_single(s, o, plan=p)

    def pause() -> float:
        return float(rng.uniform(24.0, 140.0))

    return [
        _Stop("single-1", "a first look", 0, first, 0.0, single),
        _Stop(
            "burst-1",
            "keepers among them; one misfire",
            0,
            first,
            pause(),
            burst(12, misfires=(7,)),
        ),
        _Stop("sweep-1", "clean sweep", 1, first, pause(), sweep(24)),
        _Stop("single-2", "raw and JPEG", 2, other, pause(), single, (0,)),
        _Stop("burst-2", "no frame has an eye sharp", 3, other, pause(), burst(11, keeper=False)),
        _Stop(
            "sweep-2",
            "two passes; the second fills the hole of the first",
            4,
            other,
            pause(),
            sweep(34, passes=2),
        ),
        _Stop("single-3", "another animal", 5, first, pause(), single),
        _Stop(
            "burst-3",
            "keepers among them; one misfire, one smeared",
            6,
            other,
            pause(),
            burst(13, misfires=(3,), smeared=(9,)),
        ),
        _Stop(
            "sweep-3", "a true gap in the animal's middle", 7, first, pause(), sweep(20, gap=True)
        ),
        _Stop("single-4", "the same animal again", 7, first, pause(), single),
        _Stop("single-5", "a last look", 8, other, pause(), single),
    ]


def make_card(
    out: Path, *, seed: int = 1, width_px: int = 1600, height_px: int = 1200, views: int = VIEWS,
    threads: int = 2, progress: Progress = silent,
) -> Card:  # fmt: skip
    """Make one outing: ``out/frames`` holds camera files only, ``out/truth`` what is true of them.

    Parameters
    ----------
    out : Path
        Folder, made when missing.
    seed : int
        Kit, animals and hand.
    width_px, height_px : int
        Frame size.
    views : int
        Points of the pupil per frame.
    threads : int
        Frames rendered at the same time.
    progress : Progress
        Told after each frame as ("outing", done, total).

    Returns
    -------
    Card
        Runs in order of time with all their truth.
    """
    out = Path(out)
    frames_folder, truth_folder = out / "frames", out / "truth"
    outfit = pick_outfit(seed, width_px=width_px, height_px=height_px)
    rng = np.random.default_rng([seed, 89])
    clock = datetime(2026, 6, 3 + seed % 26, 6, 41, 12, tzinfo=timezone(timedelta(hours=2)))
    clock += timedelta(milliseconds=int(rng.integers(0, 1000)))
    number = 1
    stops = _itinerary(seed)
    runs: list[CardRun] = []
    done = 0

    def plan(k: int) -> Run:
        return stops[k].make(seed * 100 + stops[k].animal, outfit, stops[k].plan)

    # the next animal grows while the last one is photographed, so that no core waits
    with ThreadPoolExecutor(max_workers=max(1, threads)) as pool:
        planned = [pool.submit(plan, 0)]
        jobs: list[Rendering] = []
        for k, stop in enumerate(stops):
            run = planned[k].result()
            if k + 1 < len(stops):
                planned.append(pool.submit(plan, k + 1))
            clock += timedelta(seconds=stop.pause_s)
            names = tuple(f"HL01{number + i:04d}.JPG" for i in range(len(run.takes)))
            naming = Naming(names, clock, number, stop.raw)
            jobs.append(
                start_run(pool, run, frames_folder, truth_folder / stop.id, naming, views=views)
            )
            clock += timedelta(seconds=run.takes[-1].time_s)
            number += len(names)
            if k > 0:
                done = _finish(stops[k - 1], jobs[k - 1], runs, done, progress)
        _finish(stops[-1], jobs[-1], runs, done, progress)
    card = Card(frames_folder, truth_folder, outfit, tuple(runs))
    _write_card(card, seed)
    return card


def _finish(stop: _Stop, job: Rendering, runs: list[CardRun], done: int, progress: Progress) -> int:
    """Wait for one run, add it to the card, and say how many frames are done."""
    truth = finish_run(job, "outing", progress, done, FRAMES)
    runs.append(_entry(stop, job.run, truth))
    return done + len(truth.frames)


def _entry(stop: _Stop, run: Run, truth: Truth) -> CardRun:
    dof = run.outfit.lens.depth_of_field_mm
    near = int(np.argmin(truth.eye_points_mm[:, 2]))
    files = tuple(f.file for f in truth.frames)
    keepers = tuple(
        f.file
        for f in truth.frames
        if not f.faults and abs(f.eye_depth_offset_mm[near]) <= 0.5 * dof
    )
    return CardRun(
        stop.id, run.kind, stop.note, files, tuple(Path(files[i]).stem + ".DNG" for i in stop.raw),
        None if run.kind == "sweep" else bool(keepers), keepers if run.kind != "sweep" else (),
        tuple(f.file for f in truth.frames if "misfire" in f.faults),
        tuple(f.file for f in truth.frames if "motion_blur" in f.faults), truth,
    )  # fmt: skip


def _write_card(card: Card, seed: int) -> None:
    lens = card.outfit.lens
    data = {
        "seed": seed,
        "magnification": lens.magnification,
        "focal_length_mm": lens.focal_mm,
        "f_number_marked": lens.f_number,
        "sensor_width_mm": lens.sensor_width_mm,
        "pupil_magnification": lens.pupil_magnification,
        "coc_mm": lens.coc_mm,
        "depth_of_field_mm": lens.depth_of_field_mm,
        "width_px": lens.width_px,
        "height_px": lens.height_px,
        "serial": card.outfit.serial,
        "frames_per_s": card.outfit.frames_per_s,
        "runs": [
            {
                "id": r.id,
                "kind": r.kind,
                "note": r.note,
                "files": list(r.files),
                "raw_files": list(r.raw_files),
                "keeper": r.keeper,
                "keepers": list(r.keepers),
                "misfired": list(r.misfired),
                "motion_blurred": list(r.smeared),
                "passes": 1 + max(f.pass_number for f in r.truth.frames),
                "gaps": [{"from_mm": g.from_mm, "to_mm": g.to_mm} for g in r.truth.gaps],
            }
            for r in card.runs
        ],
    }
    card.truth_folder.mkdir(parents=True, exist_ok=True)
    (card.truth_folder / "card.json").write_text(json.dumps(data, indent=1), encoding="utf-8")
