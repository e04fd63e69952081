"""Does a pushed sweep cover the animal? Random simulated sweeps against the truth about them.

usage: sweeps_random.py --out FOLDER [--first SEED --count N] [--views 28] [--threads 2]
                        [--render-only | --judge-only] [--keep-frames] [--answers] [--report]
                        [--ways given unknown] [--results FILE]

Each seed's sweep is drawn, rendered into FOLDER/SEED and solved twice: with the magnification
given, and with nothing known of the kit. One line a sweep and way is appended to
FOLDER/results.jsonl; a second start goes on where the first one stopped. The slow half can go
ahead in a process of its own (`--render-only`); `--judge-only` judges what lies there. Results
belong to a commit; with changes in src a hash of the sources is added to it. `--report` prints
tables of the newest commit's lines. `--answers` leaves each answer beside the frames as
WAY.json, in the form that `haltere gaps --json` prints.

Depth of field is the geometrical one. A true gap is a stretch of the animal's depth that no
usable frame has within half a depth of field; the outermost 0.3 % of its pixels at either end
need not be found. A said gap is right if at least half of it lies in true gaps of 1.25 depths of
field or more, counts neither way if half of it lies in those or in smaller ones from 0.5, and is
wrong otherwise. A true gap of 1.25 or more is found if said ones cover at least half of it.
Intervals are Wilson's (1927; from memory), 95 %.
"""

from __future__ import annotations

import argparse
import json
import shutil
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from keepers_bursts import commit, read, render_run, share
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from haltere.errors import HaltereError
from haltere.frames import Decoder, Frame, find_frames
from haltere.kit import capture
from haltere.scene.sweeping import plan_sweeping
from haltere.sweeps import Coverage, solve_sweep

MUST_FIND = 1.25  # depths of field
COUNTS = 0.5
TAIL = 0.003  # share of the animal's pixels at either end that need not be covered
WAYS = ("given", "unknown")
Row = dict[str, Any]
Array = NDArray[np.float64]


def render(seed: int, folder: Path, views: int, threads: int) -> None:
    """Render the sweep of a seed."""
    drawn = plan_sweeping(seed)
    told = {"sort": drawn.push.sort, "mean_step_dof": drawn.mean_step, "uneven": drawn.uneven}
    render_run(drawn.run, folder, told, views, threads)


def true_gaps(depths: Array, planes: Array, dof: float) -> list[Row]:
    """Stretches of the animal's depth that no plane covers, in depths of field."""
    d, p = np.sort(depths) / dof, np.sort(planes) / dof
    if not d.size:
        return []
    cut = int(TAIL * d.size)
    low, high = float(d[cut]), float(d[d.size - 1 - cut])
    begins = np.concatenate([[d[0]], p + 0.5])
    ends = np.concatenate([p - 0.5, [d[-1]]])
    out = []
    for k, edges in enumerate(zip(begins, ends, strict=True)):
        a, b = float(max(edges[0], d[0])), float(min(edges[1], d[-1]))
        if b - a < 1e-6 or np.searchsorted(d, b) == np.searchsorted(d, a):
            continue
        kind = "near-end" if k == 0 else "far-end" if k == len(p) else "inside"
        from_, to = float(np.clip(a, low, high)), float(np.clip(b, low, high))
        out.append({"kind": kind, "full": [a, b], "from": from_, "to": to,
                    "pixels": int(np.searchsorted(d, b) - np.searchsorted(d, a))})  # fmt: skip
    return out


def truth_row(folder: Path) -> Row:
    """Tell what is true of a set; positions in depths of field."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    dof = truth["depth_of_field_mm"]
    png = truth["depth_png"]
    counts = cv2.imread(str(folder / "depth.png"), cv2.IMREAD_UNCHANGED)
    mask = cv2.imread(str(folder / "mask.png"), cv2.IMREAD_UNCHANGED)
    its = (mask >= 2) & (counts != png["nothing"])
    depths = counts[its] * png["scale_mm"] + png["depth_min_mm"]
    told = truth["frames"]
    usable = [not f["faults"] for f in told]
    planes = np.array([f["position_mm"] for f in told])
    drawn = folder / "drawn.json"
    row: Row = {
        "magnification": truth["magnification"], "f_number": truth["f_number_marked"],
        "animal": truth["animal_style"], "dof_mm": dof, "frames": len(told),
        "mm_per_px": truth["sensor_width_mm"] / truth["width_px"] / truth["magnification"],
        "width_px": truth["width_px"], "reference": truth["reference"],
        "views": truth["samples_per_pixel"], "limb": "limb" in truth,
        "depth_dof": float(np.ptp(depths)) / dof,
        "truth": [
            {"file": f["file"], "at": f["position_mm"] / dof, "pass": f["pass"], "usable": u,
             "faults": f["faults"]}
            for f, u in zip(told, usable, strict=True)
        ],
        "true_gaps": true_gaps(depths, planes[np.array(usable)], dof),
        "focal_mm": truth["focal_length_mm"],
        "pixel_pitch_mm": truth["sensor_width_mm"] / truth["width_px"],
    }  # fmt: skip
    return row | (json.loads(drawn.read_text()) if drawn.exists() else {})


def solve(row: Row, frames: Sequence[Frame], decoder: Decoder, way: str) -> Coverage:
    """Solve a sweep as `haltere gaps` does; way "unknown" knows nothing of the kit."""
    size = (frames[0].width_px, frames[0].height_px)
    taken = capture(picture_px=size)
    if way == "given":
        taken = capture(
            magnification=row["magnification"], focal_mm=row["focal_mm"],
            f_number=row["f_number"], picture_px=size, pixel_pitch_mm=row["pixel_pitch_mm"],
        )  # fmt: skip
    sweep = solve_sweep(frames, decoder, taken)
    sweep.close()
    return sweep.coverage


def said_row(row: Row, said: Coverage) -> Row:
    """Note what was said, in true depths of field where millimetres are told."""
    dof = row["dof_mm"]
    by = {t["file"]: t for t in row["truth"]}
    zero = by[Path(said.reference).name]["at"]

    def told(mm: float | None, in_dof: float | None) -> float | None:
        return mm / dof if mm is not None else in_dof

    planes = {
        Path(p.frame).name: {
            "at": told(p.position_mm, p.position_dof),
            "sigma": told(p.uncertainty_mm, p.uncertainty_dof), "usable": p.usable,
            "faults": [f.kind for f in p.faults],
        }
        for p in said.planes
    }  # fmt: skip
    return {
        "reference": Path(said.reference).name, "zero": zero, "planes": planes,
        "in_mm": said.mm_per_px is not None,
        "passes": [
            {"direction": p.direction, "frames": [Path(f).name for f in p.frames]}
            for p in said.passes
        ],
        "gaps": [
            {"kind": g.kind, "from": told(g.from_mm, g.from_dof), "to": told(g.to_mm, g.to_dof)}
            for g in said.gaps
        ],
        "complete": said.complete, "reason": said.reason,
    }  # fmt: skip


# ------------------------------------------------------------------------------ figures
def line(x: Array, y: Array) -> tuple[float, float] | None:
    """Offset and slope of y over x, None where x does not vary."""
    if len(x) < 3 or np.ptp(x) < 1e-9:
        return None
    slope, offset = np.polyfit(x, y, 1)
    return float(offset), float(slope)


def plane_figures(row: Row) -> Row:
    """Errors of the planes of faultless frames, in depths of field."""
    said = row["said"]
    fine = [t for t in row["truth"] if t["usable"]]
    placed = [t for t in fine if (said["planes"].get(t["file"]) or {}).get("at") is not None]
    out: Row = {"placed": [t in placed for t in fine], "usable": [
        said["planes"].get(t["file"], {}).get("usable") == t["usable"] for t in row["truth"]
    ]}  # fmt: skip
    true = np.array([t["at"] for t in placed])
    told = np.array([said["planes"][t["file"]]["at"] for t in placed])
    fitted = line(told, true)
    slope = line(true, told)
    if fitted is None or slope is None:
        return out
    error = fitted[0] + fitted[1] * told - true
    sigma = np.array([said["planes"][t["file"]]["sigma"] or 0.0 for t in placed])
    other = np.array([t["file"] != said["reference"] for t in placed])
    raw = told + said["zero"] - true
    return out | {
        "error": error, "rms": float(np.sqrt(np.mean(error**2))), "slope": slope[1] - 1.0,
        "holds": list((np.abs(raw) <= sigma)[other]), "sigma": float(np.median(sigma)),
        "holds_fitted": list((np.abs(error) <= sigma)[other]),
    }  # fmt: skip


def direction(at: Sequence[float]) -> str:
    """Direction of a true pass."""
    if len(at) < 2:
        return "unknown"
    return "away" if np.polyfit(np.arange(len(at)), at, 1)[0] > 0 else "toward"


def passes_right(row: Row) -> bool:
    """Whether number and directions are right, and boundaries within one frame."""
    number = np.array([t["pass"] for t in row["truth"]])
    at = np.array([t["at"] for t in row["truth"]])
    index = {t["file"]: i for i, t in enumerate(row["truth"])}
    said = [
        (p["direction"], sorted(index[f] for f in p["frames"]))
        for p in row["said"]["passes"]
        if p["frames"]
    ]
    said.sort(key=lambda p: p[1][0])
    if len(said) != number.max() + 1:
        return False
    for k, (way, frames) in enumerate(said):
        if way != direction(list(at[number == k])):
            return False
        begins = int(np.flatnonzero(number == k)[0])
        # frames that are in no pass may lie on the boundary
        if k and not said[k - 1][1][-1] <= begins <= frames[0] + 1:
            return False
        if k and said[k - 1][1][-1] > frames[0]:
            return False
    return True


def passes_near(row: Row) -> bool:
    """Whether number and directions are right, and nine of ten frames are in the right pass."""
    number = np.array([t["pass"] for t in row["truth"]])
    at = np.array([t["at"] for t in row["truth"]])
    index = {t["file"]: i for i, t in enumerate(row["truth"])}
    said = [(p["direction"], {index[f] for f in p["frames"]}) for p in row["said"]["passes"]]
    true = [set(np.flatnonzero(number == k).tolist()) for k in range(number.max() + 1)]
    if len(said) != len(true):
        return False
    both = np.array([[len(t & s) for _, s in said] for t in true])
    a, b = linear_sum_assignment(-both)
    ways = all(direction([at[f] for f in sorted(true[i])]) == said[j][0]
               for i, j in zip(a, b, strict=True))  # fmt: skip
    return bool(ways and both[a, b].sum() >= 0.9 * len(number))


def overlap(a: float, b: float, c: float, d: float) -> float:
    """Length that two stretches share."""
    return max(0.0, min(b, d) - max(a, c))


def gap_figures(row: Row) -> Row:
    """Judge said gaps by true ones."""
    big = [g for g in row["true_gaps"] if g["to"] - g["from"] >= MUST_FIND]
    middle = [g for g in row["true_gaps"]
              if g not in big and g["full"][1] - g["full"][0] >= COUNTS]  # fmt: skip
    zero = row["said"]["zero"]
    said = [sorted((g["from"] + zero, g["to"] + zero)) for g in row["said"]["gaps"]]
    right, neither, wrong = [], [], []
    for a, b in said:
        on_big = sum(overlap(a, b, *g["full"]) for g in big)
        on_middle = sum(overlap(a, b, *g["full"]) for g in middle)
        half = 0.5 * (b - a)
        if b - a > 1e-9 and on_big >= half:
            right.append((a, b))
        elif b - a > 1e-9 and on_big + on_middle >= half:
            neither.append((a, b))
        else:
            wrong.append((a, b))
    found, edges = [], []
    for g in big:
        own = [s for s in said if overlap(*s, g["from"], g["to"]) > 0]
        covered, at = 0.0, g["from"]
        for a, b in sorted(own):
            covered += max(0.0, min(b, g["to"]) - max(a, at))
            at = max(at, min(b, g["to"]))
        found.append(covered >= 0.5 * (g["to"] - g["from"]))
        if found[-1]:
            edges += [min(a for a, _ in own) - g["from"], max(b for _, b in own) - g["to"]]
    want = False if big else None if middle else True
    complete = row["said"]["complete"]
    return {
        "right": [True] * len(right) + [False] * len(wrong), "found": found, "edges": edges,
        "neither": len(neither), "wrong": wrong, "want": want, "unsure": complete is None,
        "complete_right": None if want is None else complete is want,
        "missed": [g for g, f in zip(big, found, strict=True) if not f],
    }  # fmt: skip


def figures(row: Row) -> Row:
    """All figures of one sweep."""
    if row["said"] is None:
        return {"placed": [False] * sum(t["usable"] for t in row["truth"]), "failed": True,
                "passes": False, "passes_near": False, "unsure": True, "right": [],
                "found": [False for g in row["true_gaps"] if g["to"] - g["from"] >= MUST_FIND],
                "complete_right": False, "usable": []}  # fmt: skip
    said = {"failed": False, "passes": passes_right(row), "passes_near": passes_near(row)}
    return said | plane_figures(row) | gap_figures(row)


Count = Callable[[Row], Iterable[bool]]
LINES: tuple[tuple[str, str, Count], ...] = (
    ("sweeps refused", "0", lambda f: [f["failed"]]),
    ("faultless frames placed", ">= 95 %", lambda f: f["placed"]),
    ("planes' error <= 0.25 in a sweep", "", lambda f: [f["rms"] <= 0.25] if "rms" in f else []),
    ("scale within 5 %", "all",
     lambda f: [abs(f["slope"]) <= 0.05] if "slope" in f and f["in_mm"] else []),
    ("one-sigma intervals that hold, as given", "60-80 %", lambda f: f.get("holds", [])),
    ("the same after fitting offset and scale", "", lambda f: f.get("holds_fitted", [])),
    ("usable or not said rightly", "", lambda f: f["usable"]),
    ("passes right, boundaries within one frame", ">= 97 %", lambda f: [f["passes"]]),
    ("passes right, nine of ten frames", "", lambda f: [f["passes_near"]]),
    ("true gaps >= 1.25 found", ">= 95 %", lambda f: f["found"]),
    ("said gaps that are right", ">= 95 %", lambda f: f["right"]),
    ("'not sure' said", "<= 5 %", lambda f: [f["unsure"]]),
    ("complete or not said rightly", "",
     lambda f: [] if f["complete_right"] is None else [f["complete_right"]]),
)  # fmt: skip


def rms(values: Iterable[float]) -> str:
    """Root mean square in words, '-' of nothing."""
    v = np.array(list(values), float)
    return f"{np.sqrt(np.mean(v**2)):.2f}" if v.size else "-"


def conditions(row: Row) -> dict[str, str]:
    """Bins that a sweep falls into."""
    m, step, n = row["magnification"], row.get("mean_step_dof") or 0.0, row["frames"]
    passes = max(t["pass"] for t in row["truth"]) + 1
    big = any(g["to"] - g["from"] >= MUST_FIND for g in row["true_gaps"])
    some = any(g["full"][1] - g["full"][0] >= COUNTS for g in row["true_gaps"])
    return {
        "magnification": "1-1.5" if m < 1.5 else "1.5-2.5" if m < 2.5 else "2.5-3",
        "passes": str(passes),
        "mean step": "below 0.5" if step < 0.5 else "0.5-1" if step < 1 else "1 and more",
        "frames": "14-29" if n < 30 else "30-44" if n < 45 else "45-60",
        "ISO": f"{row.get('iso') or 0:4.0f}", "animal": row["animal"],
        "limb": "moves" if row["limb"] else "still",
        "gaps": "of 1.25 or more" if big else "smaller ones" if some else "none",
        "f-number at the sensor": _effective(row),
    }  # fmt: skip


def _effective(row: Row) -> str:
    n = row["f_number"] * (1 + row["magnification"])
    return "below 24" if n < 24 else "24-36" if n < 36 else "36-48"


COLUMNS: tuple[tuple[str, str], ...] = (
    ("placed", "faultless frames placed"),
    ("in one sigma", "one-sigma intervals that hold, as given"),
    ("passes", "passes right, boundaries within one frame"),
    ("gaps found", "true gaps >= 1.25 found"),
    ("said gaps right", "said gaps that are right"),
    ("not sure", "'not sure' said"),
    ("complete right", "complete or not said rightly"),
)


def all_of(count: Count, figs: Sequence[Row]) -> list[bool]:
    """Answers of all sweeps, in one row."""
    return [bool(flag) for f in figs for flag in count(f)]


def print_way(rows: Sequence[Row], way: str) -> None:
    """Print what is said of one way."""
    told = [(r, figures(r) | {"in_mm": bool(r["said"] and r["said"]["in_mm"])}) for r in rows]
    figs = [f for _, f in told]
    title = {"given": "The magnification given", "unknown": "Nothing known of the kit"}[way]
    print(f"\n### {title}\n\n| what | aim | found |\n| --- | --- | --- |")
    for name, aim, count in LINES:
        if got := all_of(count, figs):
            print(f"| {name} | {aim} | {share(got)} |")
    each = np.array([f["rms"] for f in figs if "rms" in f])
    everything = [e for f in figs for e in f.get("error", ())]
    slopes = 100 * np.array([abs(f["slope"]) for f in figs if "slope" in f])
    worst = f"; median of sweeps {np.median(each):.2f}, worst {each.max():.2f}" if each.size else ""
    print(
        f"| planes: root mean square error, depths of field | <= 0.25 | {rms(everything)}{worst} |"
    )
    if slopes.size:
        print(f"| scale: error | <= 5 % | median {np.median(slopes):.1f} %, nine of ten within "
              f"{np.percentile(slopes, 90):.1f} %, worst {slopes.max():.1f} % |")  # fmt: skip
    edges = [e for f in figs for e in f.get("edges", ())]
    print(f"| edges of found gaps: root mean square error | <= 0.5 | {rms(edges)} |")
    seconds = [r["seconds"] / r["frames"] for r in rows]
    print(f"| seconds a frame, decoding and all | | {np.mean(seconds):.2f} |")
    print_conditions(told)
    print_wrong(told)


def print_conditions(told: Sequence[tuple[Row, Row]]) -> None:
    """Print the chief lines by condition."""
    counts = {name: count for name, _, count in LINES}
    heads = ["condition", "sweeps", "planes rms", "scale", *(c for c, _ in COLUMNS), "edges rms"]
    print("\n| " + " | ".join(heads) + " |\n" + "| --- " * len(heads) + "|")
    for of in conditions(told[0][0]):
        for value in sorted({conditions(r)[of] for r, _ in told}):
            some = [f for r, f in told if conditions(r)[of] == value]
            errors = [e for f in some for e in f.get("error", ())]
            slopes = [100 * abs(f["slope"]) for f in some if "slope" in f]
            scale = f"{np.median(slopes):.1f} %" if slopes else "-"
            cells = [share(all_of(counts[key], some), short=True) for _, key in COLUMNS]
            edges = rms(e for f in some for e in f.get("edges", ()))
            print(f"| {of} {value.strip()} | {len(some)} | {rms(errors)} | {scale} | "
                  f"{' | '.join(cells)} | {edges} |")  # fmt: skip


def print_wrong(told: Sequence[tuple[Row, Row]]) -> None:
    """Name the seeds to look at."""

    def seeds(which: Callable[[Row], Any]) -> list[int]:
        return [r["seed"] for r, f in told if which(f)]

    print(f"\nRefused: {seeds(lambda f: f['failed'])}. "
          f"Planes worse than 0.25: {seeds(lambda f: f.get('rms', 0.0) > 0.25)}. "
          f"Scale off by over 5 %: {seeds(lambda f: abs(f.get('slope', 0.0)) > 0.05)}. "
          f"Passes wrong: {seeds(lambda f: not f['passes'])}. "
          f"Gaps missed: {seeds(lambda f: not all(f['found']))}. "
          f"Gaps wrong: {seeds(lambda f: f.get('wrong'))}. "
          f"Not sure: {seeds(lambda f: f['unsure'])}. "
          f"Complete said wrongly: {seeds(lambda f: f['complete_right'] is False)}.")  # fmt: skip


def report(rows: Sequence[Row]) -> None:
    """Print all tables of one commit's rows."""
    seeds = sorted({r["seed"] for r in rows})
    first = [r for r in rows if r["way"] == rows[0]["way"]]
    print(f"\n## {len(seeds)} sweeps, seeds {seeds[0]}-{seeds[-1]}, commit {rows[0]['commit']}, "
          f"{sum(r['frames'] for r in first)} frames, {rows[0]['width_px']} px wide")  # fmt: skip
    for way in WAYS:
        if some := sorted((r for r in rows if r["way"] == way), key=lambda r: int(r["seed"])):
            print_way(some, way)


def one(folder: Path, seed: int, way: str, decoder: Decoder, name: str, *, keep: bool) -> Row:
    """Judge one rendered sweep in one way."""
    frames = find_frames([folder]).frames
    row: Row = {"commit": name, "seed": seed, "way": way, "iso": frames[0].shooting.iso}
    row |= truth_row(folder)
    begun = time.perf_counter()
    try:
        said = solve(row, frames, decoder, way)
        row["said"], row["failed"] = said_row(row, said), None
        if keep:
            text = json.dumps(asdict(said), default=lambda v: v.item())
            (folder / f"{way}.json").write_text(text, encoding="utf-8")
    except HaltereError as error:
        row["said"], row["failed"] = None, str(error)
    row["seconds"] = round(time.perf_counter() - begun, 2)
    return row


def _asked() -> argparse.Namespace:
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--first", type=int, default=0)
    ask.add_argument("--count", type=int, default=0)
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("--views", type=int, default=28)
    ask.add_argument("--threads", type=int, default=2)
    ask.add_argument("--ways", nargs="+", choices=WAYS, default=list(WAYS))
    ask.add_argument("--results", type=Path, help="in place of OUT/results.jsonl")
    for flag in ("--render-only", "--judge-only", "--keep-frames", "--answers", "--report"):
        ask.add_argument(flag, action="store_true")
    return ask.parse_args()


def main() -> None:
    """Render, judge and report as asked."""
    said = _asked()
    said.out.mkdir(parents=True, exist_ok=True)
    path, name = said.results or said.out / "results.jsonl", commit()
    done = {(r["seed"], r["way"]) for r in read(path) if r["commit"] == name}
    with Decoder() as decoder, path.open("a", encoding="utf-8") as lines:
        if lines.tell() and not path.read_bytes().endswith(b"\n"):
            lines.write("\n")
        for seed in range(said.first, said.first + said.count):
            folder = said.out / str(seed)
            ways = [] if said.render_only else [w for w in said.ways if (seed, w) not in done]
            if not ways and not said.render_only:
                continue
            begun = time.perf_counter()
            if not (folder / "truth.json").exists():
                if said.judge_only:
                    continue
                render(seed, folder, said.views, said.threads)
            for way in ways:
                row = one(folder, seed, way, decoder, name, keep=said.answers)
                lines.write(json.dumps(row, default=lambda v: v.item()) + "\n")
                lines.flush()
            if ways and not said.keep_frames:
                shutil.rmtree(folder)
            print(f"{seed} of commit {name}: {time.perf_counter() - begun:.1f} s", flush=True)
    if said.report and (rows := read(path)):
        report([r for r in rows if r["commit"] == rows[-1]["commit"]])


if __name__ == "__main__":
    main()
