"""How near to the truth does a merge come? Simulated sweeps, merged, beside three rivals.

usage: merge_quality.py --out FOLDER [--first SEED --count N] [--sets SET...] [--views 28]
                        [--threads 2] [--render-only | --merge-only | --rivals-only]
                        [--keep-frames] [--results FILE] [--keep-merges] [--report]

Each seed's sweep is drawn as `sweeps_random.py` draws it, rendered into FOLDER/SEED, merged with
the kit given and seen from the truth's reference frame. SET names folders with truth.json that lie
there already. Rivals: the plain recipe of `plain_recipe.py`, the best single frame and the merges
that know poses and depth, of `merge_rivals.py`. One line a set and way is appended to
FOLDER/results.jsonl; a second start goes on where the first one stopped: merges belong to a commit
(with changes in src a hash of the sources is added), rivals are worked out once a set. `--report`
prints tables of the newest commit's merges.

PSNR, SSIM and gradient (mean magnitude over the truth's) are of luma over the animal that a usable
frame has within half a depth of field; edge: RMS error of that within 12 px of a jump of depth of
more than two; halo: RMS of the backdrop 2 to 12 px beside the animal against the backdrop farther
off. Both in 8-bit levels. Gradient kept: slope of the picture's gradient on the truth's, which
noise does not raise. Where a limb moved, each picture, the rivals' too, is held against the truth
with the limb in the position that fits it best: which of them a merge shows is its own choice.
Merges are kept however little of the reference frame is left; the report says which ones would be
refused.
"""

from __future__ import annotations

import argparse
import json
import shutil
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile
from keepers_bursts import commit, read
from merge_figures import Regions, depth_figures, picture_figures, regions
from merge_places import positions
from merge_rivals import best_single, knowing
from plain_recipe import merge_plainly
from sweeps_random import render
from truth_view import Floats, TruthView, read_rgb

from haltere.errors import HaltereError
from haltere.frames import Decoder, Frame, find_frames
from haltere.kit import capture
from haltere.merge import Merge, merge_sweep
from haltere.sweeps import solve_sweep

RIVALS = ("plain", "single", "nearest", "soft")
MOVES_LEVELS, AROUND_PX = 4.0, 6
KEEPS = 0.85  # share of the reference frame below which a merge asks first
Row = dict[str, Any]


def frames_of(folder: Path, view: TruthView) -> tuple[Frame, ...]:
    """Frames of a set in the truth's order."""
    by = {frame.name: frame for frame in find_frames([folder]).frames}
    return tuple(by[f["file"]] for f in view.raw["frames"])


def conditions(folder: Path, view: TruthView, frames: Sequence[Frame]) -> Row:
    """Tell what a set is like."""
    raw = view.raw
    drawn = folder / "drawn.json"
    row: Row = {
        "seed": raw["seed"], "set": folder.name, "frames": len(frames), "width_px": raw["width_px"],
        "animal": raw.get("animal_style", "?"), "magnification": raw["magnification"],
        "f_effective": raw["f_number_effective"], "iso": frames[0].shooting.iso,
        "limb": "limb" in raw, "passes": 1 + max(f.get("pass", 0) for f in raw["frames"]),
    }  # fmt: skip
    return row | (json.loads(drawn.read_text()) if drawn.exists() else {})


def as_meant(view: TruthView, drawn: Sequence[Floats], rgb: Floats) -> TruthView:
    """Truth whose limb stands, part by part, where it fits a picture best."""
    if len(drawn) < 2:
        return view
    moves = np.max([np.abs(one - drawn[0]).max(2) for one in drawn], axis=0) > MOVES_LEVELS / 255
    side = 2 * AROUND_PX + 1
    count, parts = cv2.connectedComponents(
        cv2.dilate(moves.astype(np.uint8), np.ones((side, side), np.uint8))
    )
    sharp = view.sharp.copy()
    for part in range(1, count):
        its = parts == part
        best = min(drawn, key=lambda one: float(np.mean((one[its] - rgb[its]) ** 2)))
        sharp[its] = best[its]
    return replace(view, sharp=sharp)


def drawn_of(folder: Path, view: TruthView) -> list[Floats]:
    """Sharp truth for every position of a limb that moved."""
    return [one / 255.0 for one in positions(folder)] if "limb" in view.raw else [view.sharp]


def rivals(
    folder: Path, view: TruthView, decoder: Decoder, drawn: Sequence[Floats]
) -> dict[str, Row]:
    """Figures of the plain recipe, the best single frame and the two merges that know."""
    where, frames = regions(view), frames_of(folder, view)
    index = view.raw["reference_index"]
    reference = read_rgb(folder / view.raw["reference"])
    everywhere = np.ones(view.mask.shape, bool)
    with tempfile.TemporaryDirectory() as tmp:
        made = merge_plainly(frames, decoder, Path(tmp), index)
        plain = view.laid(read_rgb(Path(tmp, made.picture)), index)
    nearest, soft = knowing(folder, view)
    laid = {
        "plain": plain, "single": best_single(folder, view), "nearest": (nearest, everywhere),
        "soft": (soft, everywhere),
    }  # fmt: skip
    found = {
        name: picture_figures(as_meant(view, drawn, one[0]), where, *one, reference)
        for name, one in laid.items()
    }
    found["plain"]["seconds"] = made.seconds
    return found


def merged(folder: Path, view: TruthView, decoder: Decoder, out: Path) -> tuple[Merge, Row]:
    """Solve and merge a set; and what it cost."""
    raw, frames = view.raw, frames_of(folder, view)
    size = (frames[0].width_px, frames[0].height_px)
    taken = capture(
        magnification=raw["magnification"], focal_mm=raw.get("focal_length_mm"),
        f_number=raw["f_number_marked"], picture_px=size,
        pupil_distance_mm=raw["entrance_pupil_to_plane_mm"],
        pixel_pitch_mm=raw["sensor_width_mm"] / raw["width_px"],
    )  # fmt: skip
    begun = time.monotonic()
    sweep = solve_sweep(frames, decoder, taken, reference=raw["reference"])
    with sweep.lumas:
        solved = time.monotonic()
        merge = merge_sweep(sweep, decoder, out, keep_share=0.0)
    return merge, {"solve_s": solved - begun, "merge_s": time.monotonic() - solved}


def merge_row(
    folder: Path, view: TruthView, decoder: Decoder, out: Path, drawn: Sequence[Floats]
) -> Row:
    """Merge a set and hold the picture and its depth map against the truth."""
    try:
        merge, row = merged(folder, view, decoder, out)
    except HaltereError as error:
        return {"failed": str(error)}
    where: Regions = regions(view)
    index, corner = view.raw["reference_index"], (merge.crop_px[0], merge.crop_px[1])
    picture, valid = view.laid(read_rgb(out / merge.picture), index, corner)
    reference = read_rgb(folder / view.raw["reference"])
    row |= {"failed": None, "crop_px": merge.crop_px, "left_out": len(merge.left_out)}
    row["kept"] = merge.kept_share
    depth, sure = (tifffile.imread(out / name) for name in (merge.depth_map, merge.confidence_map))
    x0, y0, x1, y1 = merge.crop_px
    whole: list[Floats] = []
    for part, fill in ((depth, np.nan), (sure, 0.0)):
        whole.append(np.full(view.mask.shape, fill))
        whole[-1][y0:y1, x0:x1] = part
    half = view.raw["depth_of_field_mm"] / 2
    sharp = np.abs(whole[0] - view.depth_mm) <= half
    meant = as_meant(view, drawn, picture)
    row |= picture_figures(meant, where, picture, valid, reference, sharp)
    return row | depth_figures(view, where, whole[0], whole[1], valid)


def passed(by: dict[str, Row]) -> dict[str, bool]:
    """Bars that a merge is held to."""
    m, plain, near = by["merge"], by["plain"], by["nearest"]
    ahead = 2 if m["limb"] else 5
    return {
        "5 dB above plain, 2 with a moved limb": m["psnr"] >= plain["psnr"] + ahead,
        "half the lead in SSIM": m["ssim"] >= 0.5 * (plain["ssim"] + near["ssim"]),
        "gradient": near["gradient"] - 0.02 <= m["gradient"] <= 1.05,
        "edges <= 0.6 plain": m["edge_rms"] <= 0.6 * plain["edge_rms"],
        "halo <= 1.5 knowing": m["halo"] <= 1.5 * near["halo"],
        "colour within 0.5 %": max(abs(c) for c in m["colour"]) <= 0.5,
        "channels' ratios within 0.5 %": float(np.ptp(m["colour"])) <= 0.5,
        "above plain and single": m["psnr"] >= max(plain["psnr"], by["single"]["psnr"]),
        "depth: median <= 0.25": m["depth_median"] <= 0.25,
        "depth: 95 % of sure within 1": m["sure_within"] >= 0.95,
    }


def report(rows: Sequence[Row], name: str) -> None:
    """Print the table of one commit's merges beside their rivals."""
    sets: dict[str, dict[str, Row]] = {}
    for row in rows:
        if row["way"] in RIVALS or row["commit"] == name:
            sets.setdefault(row["set"], {})[row["way"]] = row
    whole = {k: v for k, v in sets.items() if {"merge", *RIVALS} <= v.keys()}
    refused = [k for k, v in whole.items() if v["merge"]["failed"]]
    whole = {k: v for k, v in whole.items() if not v["merge"]["failed"]}
    if not whole:
        return
    small = [k for k, v in whole.items() if v["merge"]["kept"] < KEEPS]
    print(f"\n## {len(whole)} sweeps, commit {name}; refused: {refused or 'none'}; ", end="")
    print(f"less than {KEEPS:.0%} of the reference frame kept: {small or 'none'}\n")
    heads = ("set", "animal", "m", "frames", "limb", "dB: merge", "plain", "single", "nearest",
             "soft", "SSIM: merge", "plain", "nearest", "gradient: merge", "nearest",
             "kept", "edge: merge",
             "plain", "halo: merge", "nearest", "colour %", "depth median", "sure", "within 1",
             "s", "missed")  # fmt: skip
    print("| " + " | ".join(heads) + " |\n" + "| --- " * len(heads) + "|")
    for key in sorted(whole):
        by = whole[key]
        m, plain, single, near, soft = (by[w] for w in ("merge", *RIVALS))
        told = (
            key, m["animal"], f"{m['magnification']:g}", m["frames"],
            "moves" if m["limb"] else "",
            *(f"{one['psnr']:.2f}" for one in (m, plain, single, near, soft)),
            *(f"{one['ssim']:.3f}" for one in (m, plain, near)),
            *(f"{one['gradient']:.3f}" for one in (m, near)),
            f"{m['gradient_kept']:.3f}",
            *(f"{one['edge_rms']:.2f}" for one in (m, plain)),
            *(f"{one['halo']:.2f}" for one in (m, near)),
            "/".join(f"{c:+.2f}" for c in m["colour"]), f"{m['depth_median']:.2f}",
            f"{m['sure']:.2f}", f"{m['sure_within']:.3f}", f"{m['merge_s']:.1f}",
            ", ".join(name for name, good in passed(by).items() if not good),
        )  # fmt: skip
        print("| " + " | ".join(map(str, told)) + " |")
    print("\n| what | sweeps |\n| --- | --- |")
    for bar in passed(next(iter(whole.values()))):
        print(f"| {bar} | {sum(passed(by)[bar] for by in whole.values())} of {len(whole)} |")
    leads: dict[str, Callable[[dict[str, Row]], float]] = {
        "dB above the plain recipe": lambda by: by["merge"]["psnr"] - by["plain"]["psnr"],
        "dB above the nearest known plane": lambda by: by["merge"]["psnr"] - by["nearest"]["psnr"],
        "dB above the known average": lambda by: by["merge"]["psnr"] - by["soft"]["psnr"],
        "share of the lead in SSIM": lambda by: (
            (by["merge"]["ssim"] - by["plain"]["ssim"])
            / (by["nearest"]["ssim"] - by["plain"]["ssim"])
        ),
        "gradient less the known one's": lambda by: (
            by["merge"]["gradient"] - by["nearest"]["gradient"]
        ),
        "gradient kept": lambda by: by["merge"]["gradient_kept"],
        "edge error over plain": lambda by: by["merge"]["edge_rms"] / by["plain"]["edge_rms"],
        "halo over the known one's": lambda by: by["merge"]["halo"] / by["nearest"]["halo"],
        "depth: median error": lambda by: by["merge"]["depth_median"],
        "depth: sure within 1": lambda by: by["merge"]["sure_within"],
    }
    print("\n| what | median | least | most |\n| --- | --- | --- | --- |")
    for what, figure in leads.items():
        all_of = [figure(by) for by in whole.values()]
        print(f"| {what} | {np.median(all_of):.3f} | {min(all_of):.3f} | {max(all_of):.3f} |")


def _asked() -> argparse.Namespace:
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--first", type=int, default=0)
    ask.add_argument("--count", type=int, default=0)
    ask.add_argument("--sets", nargs="*", type=Path, default=[])
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("--views", type=int, default=28)
    ask.add_argument("--threads", type=int, default=2)
    ask.add_argument("--results", type=Path, help="in place of OUT/results.jsonl")
    for flag in ("--render-only", "--merge-only", "--rivals-only", "--keep-frames",
                 "--keep-merges", "--report"):  # fmt: skip
        ask.add_argument(flag, action="store_true")
    return ask.parse_args()


def main() -> None:
    """Render, merge and report as asked."""
    cv2.setNumThreads(2)
    said = _asked()
    said.out.mkdir(parents=True, exist_ok=True)
    path, name = said.results or said.out / "results.jsonl", commit()
    done = {(r["set"], r["way"]) for r in read(path) if r["way"] in RIVALS or r["commit"] == name}
    seeds = [said.out / str(said.first + k) for k in range(said.count)]
    with Decoder() as decoder, path.open("a", encoding="utf-8") as lines:
        for folder in [*said.sets, *seeds]:
            wanted = RIVALS if said.rivals_only else ("merge", *RIVALS)
            ways = [w for w in wanted if (folder.name, w) not in done]
            if not (folder / "truth.json").exists() and (ways or said.render_only):
                if said.merge_only or folder in said.sets:
                    continue
                render(int(folder.name), folder, said.views, said.threads)
            if said.render_only or not ways:
                continue
            begun = time.monotonic()
            view = TruthView.read(folder)
            told = {"commit": name} | conditions(folder, view, frames_of(folder, view))
            drawn = drawn_of(folder, view)
            found = rivals(folder, view, decoder, drawn) if set(ways) & set(RIVALS) else {}
            with tempfile.TemporaryDirectory() as tmp:
                out = said.out / f"{folder.name}-{name}" if said.keep_merges else Path(tmp)
                if "merge" in ways:
                    found["merge"] = merge_row(folder, view, decoder, out, drawn)
            for way in ways:
                row = told | {"way": way} | found[way]
                lines.write(json.dumps(row, default=lambda v: v.item()) + "\n")
                lines.flush()
            if not (said.keep_frames or folder in said.sets):
                shutil.rmtree(folder)
            print(f"{folder.name} of commit {name}: {time.monotonic() - begun:.1f} s", flush=True)
    if said.report and (rows := read(path)):
        merges = [r for r in rows if r["way"] == "merge"]
        report(rows, merges[-1]["commit"] if merges else name)


if __name__ == "__main__":
    main()
