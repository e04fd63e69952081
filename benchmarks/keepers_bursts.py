"""How well is a rocking burst judged? Random simulated bursts against the truth about them.

usage: keepers_bursts.py --out FOLDER [--first SEED --count N] [--views 28] [--threads 2]
                         [--render-only | --judge-only] [--keep-frames] [--report]

Each seed's burst is drawn, rendered into FOLDER/SEED and judged twice: with the eye given in the
frame whose plane lies nearest (2 px off, as a click is), and with the eye proposed. One line a
burst is appended to FOLDER/results.jsonl; a second start goes on where the first one stopped. The
slow half can go ahead in a process of its own (`--render-only`); `--judge-only` judges what lies
there. Results belong to a commit; with changes in src a hash of the sources is added to it.
`--report` prints tables of the newest commit's lines.

A true keeper has its eye in the frame, exposed, unsmeared and within half a depth of field (the
limit). Intervals are Wilson's (1927; from memory), 95 %; frames of one burst resemble each other,
so those of frames are too narrow.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import shutil
import subprocess
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from eye_trial import long_axis

from haltere.errors import HaltereError
from haltere.frames import Decoder, Frame, find_frames
from haltere.keepers import judge_burst
from haltere.kit import capture
from haltere.scene.render import finish_run, start_run
from haltere.scene.rocking import plan_rocking
from haltere.scene.runs import Run
from haltere.scene.sensor import Sensor
from haltere.scene.sets import _naming

ROOT = Path(__file__).resolve().parent.parent
LIMIT = 0.5  # depths of field
BORDER = (0.8 * LIMIT, 1.25 * LIMIT)
Row = dict[str, Any]


def commit() -> str:
    """Short commit, with a hash of the package's sources when they differ from it."""

    def git(*words: str) -> str:
        return subprocess.run(
            ["git", *words], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout.strip()

    head = git("rev-parse", "--short", "HEAD")
    if not git("status", "--porcelain", "--", "src"):
        return head
    whole = hashlib.sha1(usedforsecurity=False)
    for path in sorted((ROOT / "src").rglob("*")):
        if path.is_file() and path.suffix in {".py", ".onnx"}:
            whole.update(path.read_bytes())
    return f"{head}+{whole.hexdigest()[:8]}"


def render(seed: int, folder: Path, views: int, threads: int) -> None:
    """Render the burst of a seed."""
    drawn = plan_rocking(seed)
    render_run(drawn.run, folder, {"axial_sd_mm": drawn.axial_sd_mm}, views, threads)


def render_run(run: Run, folder: Path, told: Row, views: int, threads: int) -> None:
    """Render a run and what is told of it; a killed rendering leaves nothing that looks whole."""
    part = folder.with_name(f"{folder.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    # the same light at higher ISO is fewer electrons
    sensor = Sensor(full_electrons=24000.0 * 200.0 / max(run.outfit.iso, 200))
    with ThreadPoolExecutor(threads) as pool:
        naming = _naming(run.seed, len(run.takes))
        finish_run(start_run(pool, run, part, part, naming, views=views, sensor=sensor), run.kind)
    (part / "drawn.json").write_text(json.dumps(told))
    part.rename(folder)


def truth_row(truth: Row, frames: Sequence[Frame]) -> Row:
    """Tell what is true of some frames of a set, in depths of field and pixels."""
    by = {Path(f["file"]).name: f for f in truth["frames"]}
    told = []
    for frame in frames:
        f = by[frame.name]
        blur = float(f.get("blur_px") or 3.0) if "motion_blur" in f["faults"] else 0.0
        told.append({
            "file": frame.name,
            "off": [o / truth["depth_of_field_mm"] for o in f["eye_depth_offset_mm"]],
            "px": f["eyes_px"], "seen": f["eye_visible"],
            "seen_share": f.get("eye_visible_fraction", f["eye_visible"]),
            "blur_px": blur, "dark": "misfire" in f["faults"],
        })  # fmt: skip
    row = {
        "magnification": truth["magnification"], "f_number": truth["f_number_marked"],
        "animal": truth["animal_style"], "width_px": truth["width_px"],
        "height_px": truth["height_px"], "frames": len(told), "truth": told,
    }  # fmt: skip
    # the nearer eye decides, unless no exposed frame shows it
    order = np.argsort([-o for o in told[0]["off"]])
    row["eye"] = next((int(e) for e in order if _fine(row, int(e)).any()), int(order[0]))
    return row


def _inside(row: Row, eye: int) -> np.ndarray:
    px = np.array([t["px"][eye] for t in row["truth"]], float)
    seen = np.array([t["seen"][eye] for t in row["truth"]], bool)
    size = np.array([row["width_px"], row["height_px"]])
    return seen & np.all((px >= 0) & (px < size), axis=1)


def _fine(row: Row, eye: int) -> np.ndarray:
    return _inside(row, eye) & ~np.array([t["dark"] for t in row["truth"]], bool)


def judge(row: Row, truth: Row, frames: Sequence[Frame], decoder: Decoder, seed: int) -> None:
    """Judge a burst with the eye given and proposed, and note in its row what is said."""
    taken = capture(
        magnification=truth["magnification"], focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"], picture_px=(row["width_px"], row["height_px"]),
        pixel_pitch_mm=truth["sensor_width_mm"] / truth["width_px"],
    )  # fmt: skip
    fine = np.flatnonzero(_fine(row, row["eye"]))
    point: dict[str, Any] = {}
    if fine.size:
        off = np.array([t["off"][row["eye"]] for t in row["truth"]])
        at = int(fine[np.abs(off[fine]).argmin()])
        clicked = np.array(row["truth"][at]["px"][row["eye"]])
        clicked = clicked + np.random.default_rng(seed).normal(0.0, 2.0, 2)
        x, y = np.clip(clicked, 0, [row["width_px"] - 1, row["height_px"] - 1])
        point = {"eye": (float(x), float(y)), "eye_frame": frames[at].name}
    for mode, eye in (("given", point), ("proposed", {})):
        row[mode] = _said(frames, decoder, taken, eye) if eye or mode == "proposed" else None


def _said(frames: Sequence[Frame], decoder: Decoder, taken: Any, eye: Any) -> Row:
    begun = time.perf_counter()
    try:
        said = judge_burst(frames, decoder, taken, **eye)
    except HaltereError as error:
        return {"verdict": "failed", "text": str(error), "eye": None, "frames": [], "seconds": 0.0}
    return {
        "seconds": round(time.perf_counter() - begun, 2),
        "verdict": said.verdict.code, "text": said.verdict.text,
        "eye": [said.eye.frame, said.eye.x_px, said.eye.y_px] if said.eye else None,
        "frames": [
            {
                "file": f.frame, "rank": f.rank, "px": f.eye_px, "off": f.eye_offset_dof,
                "sigma": f.uncertainty_dof, "keeper": f.keeper, "smear_px": f.smear_px,
                "faults": {q.kind: round(q.confidence, 3) for q in f.faults},
            }
            for f in said.frames
        ],
    }  # fmt: skip


def lengths(folder: Path) -> Row:
    """Body (long axis of the thick parts) and animal (longer side of its box) in mask.png, px."""
    if not (folder / "mask.png").exists():
        return {}
    mask = cv2.imread(str(folder / "mask.png"), cv2.IMREAD_GRAYSCALE)
    ys, xs = np.nonzero(mask >= 2)
    box = int(max(np.ptp(xs), np.ptp(ys))) if xs.size else 0
    try:
        body = long_axis(mask)
    except (ValueError, np.linalg.LinAlgError):  # nothing thick in the frame
        body = float(box)
    return {"body_px": min(body, float(box)), "animal_px": box}


@dataclass(slots=True)
class Judged:
    """One burst, what is true of it and what was said of it."""

    row: Row
    mode: str = "given"
    off: np.ndarray = field(init=False)
    said: list[Row] = field(init=False)

    def __post_init__(self) -> None:
        row, eye = self.row, self.row["eye"]
        said = row[self.mode] or {"frames": [], "verdict": "failed"}
        told = row["truth"]
        by = {f["file"]: f for f in said["frames"]}
        missing = {"rank": 99, "px": None, "off": None, "sigma": None, "keeper": False}
        self.said = [by.get(t["file"], missing | {"faults": {}}) for t in told]
        self.off = np.array([t["off"][eye] for t in told])
        self.code = said["verdict"]
        self.fine = _fine(row, eye)
        self.dark = np.array([t["dark"] for t in told], bool)
        self.blur = np.array([t["blur_px"] for t in told])
        sharp = self.fine & (self.blur < 2.0)
        self.keep = sharp & (np.abs(self.off) <= LIMIT)
        self.has = bool(self.keep.any())
        best = float(np.abs(self.off[sharp]).min()) if sharp.any() else 9.0
        self.border = BORDER[0] < best < BORDER[1]
        self.plain = not self.border
        ranks = [f["rank"] for f in self.said]
        self.first = bool(said["frames"]) and bool(self.keep[int(np.argmin(ranks))])

    code: str = field(init=False)
    fine: np.ndarray = field(init=False)
    dark: np.ndarray = field(init=False)
    blur: np.ndarray = field(init=False)
    keep: np.ndarray = field(init=False)
    has: bool = field(init=False)
    border: bool = field(init=False)
    plain: bool = field(init=False)
    first: bool = field(init=False)

    def named(self, kind: str, which: np.ndarray) -> list[bool]:
        """Whether a fault is said aloud, of each of some frames."""
        return [self.said[i]["faults"].get(kind, 0.0) >= 0.5 for i in np.flatnonzero(which)]

    def smeared(self, low: float = 0.0, high: float = 1e9) -> list[bool]:
        """Whether movement is named, of smeared frames with the plane so far away."""
        far = np.abs(self.off)
        return self.named("motion", self.fine & (self.blur >= 3) & (far >= low) & (far < high))

    def of_length(self, low: float, high: float) -> list[bool]:
        """Whether movement is named, of frames smeared over so many px."""
        return self.named("motion", self.fine & (self.blur >= low) & (self.blur < high))

    def defocused(self) -> list[bool]:
        """Whether defocus alone is named, of still frames twice the limit away or more."""
        which = self.fine & (self.blur == 0) & (np.abs(self.off) >= 2 * LIMIT)
        both = zip(self.named("motion", which), self.named("defocus", which), strict=True)
        return [defocus and not motion for motion, defocus in both]

    def tracked(self) -> list[bool]:
        """Whether the eye is found within 1 % of the width, within ten depths of field."""
        out = []
        for i in np.flatnonzero(self.fine & (np.abs(self.off) < 10)):
            at, true = self.said[i]["px"], self.row["truth"][i]["px"][self.row["eye"]]
            out.append(at is not None and bool(np.hypot(*np.subtract(at, true))
                                               <= 0.01 * self.row["width_px"]))  # fmt: skip
        return out

    def errors(self) -> list[tuple[float, float]]:
        """(said minus true, one sigma said) within five depths of field, without smear."""
        which = np.flatnonzero(self.fine & (self.blur == 0) & (np.abs(self.off) < 5))
        said = [(self.said[i], self.off[i]) for i in which]
        return [(f["off"] - o, f["sigma"] or 0.0) for f, o in said if f["off"] is not None]

    def placed(self) -> list[bool]:
        """Whether an offset is told, of the frames that `errors` speaks of."""
        which = self.fine & (self.blur == 0) & (np.abs(self.off) < 5)
        return [self.said[i]["off"] is not None for i in np.flatnonzero(which)]


Count = Callable[[Judged], Iterable[bool]]


def _when(which: Callable[[Judged], bool], what: Callable[[Judged], bool]) -> Count:
    return lambda b: [what(b)] if which(b) else []


def _has(b: Judged) -> bool:
    return b.has and b.plain


def _lacks(b: Judged) -> bool:
    return not b.has and b.plain


LINES: tuple[tuple[str, str, Count], ...] = (
    ("bursts refused", "0", lambda b: [b.code == "failed"]),
    ("with a keeper: a true one first", ">= 97 %", _when(_has, lambda b: b.first)),
    ("with a keeper: 'none' said", "<= 3 %", _when(_has, lambda b: b.code == "none")),
    ("with a keeper: 'unsure' said", "", _when(_has, lambda b: b.code == "unsure")),
    ("without: 'none' said", ">= 95 %", _when(_lacks, lambda b: b.code == "none")),
    ("without: 'unsure' said", "", _when(_lacks, lambda b: b.code == "unsure")),
    ("without: 'keeper' said", "", _when(_lacks, lambda b: b.code == "keeper")),
    ("border, with: a true one first", "", _when(lambda b: b.has and b.border, lambda b: b.first)),
    ("border, with: 'none' said", "",
     _when(lambda b: b.has and b.border, lambda b: b.code == "none")),
    ("border, without: 'none' said", "",
     _when(lambda b: not b.has and b.border, lambda b: b.code == "none")),
    ("border, without: 'keeper' said", "",
     _when(lambda b: not b.has and b.border, lambda b: b.code == "keeper")),
    ("border too: a true keeper first", ">= 97 %", _when(lambda b: b.has, lambda b: b.first)),
    ("border too: 'none' said though one is there", "<= 3 %",
     _when(lambda b: b.has, lambda b: b.code == "none")),
    ("frames called keepers that are", "",
     lambda b: [bool(k) for k, f in zip(b.keep, b.said, strict=True) if f["keeper"]]),
    ("keepers called so", "", lambda b: [b.said[i]["keeper"] for i in np.flatnonzero(b.keep)]),
    ("motion and defocus told apart", ">= 95 %", lambda b: [*b.smeared(), *b.defocused()]),
    ("- smeared 3 px or more: motion said", "", lambda b: b.smeared()),
    ("- - plane within 5 depths of field", "", lambda b: b.smeared(0, 5)),
    ("- - plane farther away", "", lambda b: b.smeared(5)),
    ("- - smear of 3 to 5 px", "", lambda b: b.of_length(3, 5)),
    ("- - smear of 5 to 8 px", "", lambda b: b.of_length(5, 8)),
    ("- - smear of 8 px or more", "", lambda b: b.of_length(8, 1e9)),
    ("- defocused twice the limit or more: defocus said, motion not", "",
     lambda b: b.defocused()),
    ("sharp frames (within 0.4): motion not said", "",
     lambda b: [not m for m in
                b.named("motion", b.fine & (b.blur == 0) & (np.abs(b.off) < BORDER[0]))]),
    ("misfires named", "", lambda b: b.named("dark", b.dark)),
    ("exposed frames not called dark", "", lambda b: [not d for d in b.named("dark", ~b.dark)]),
    ("eye tracked within 1 % of the width", ">= 98 %", lambda b: b.tracked()),
    ("offset told (within 5, no smear)", "", lambda b: b.placed()),
    ("one-sigma intervals that hold", "60-80 %",
     lambda b: [abs(e) <= s for e, s in b.errors()]),
)  # fmt: skip


def wilson(hits: int, of: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927; from memory)."""
    z = 1.96
    p, q = hits / of, z * z / of
    half = z * np.sqrt(p * (1 - p) / of + q / (4 * of))
    return float((p + q / 2 - half) / (1 + q)), float((p + q / 2 + half) / (1 + q))


def share(flags: Iterable[bool], *, short: bool = False) -> str:
    """Words for a share: '97.1 % (91.8-99.0), 101 of 104'."""
    flags = list(flags)
    hits, of = sum(map(bool, flags)), len(flags)
    if not of:
        return "-"
    if short:
        return f"{hits}/{of}"
    low, high = wilson(hits, of)
    return f"{100 * hits / of:.1f} % ({100 * low:.1f}-{100 * high:.1f}), {hits} of {of}"


def all_of(count: Count, bursts: Sequence[Judged]) -> list[bool]:
    """Answers of all bursts, in one row."""
    return [flag for b in bursts for flag in count(b)]


def print_lines(bursts: Sequence[Judged], title: str, *, proposed: bool = False) -> None:
    """Print a table of every line."""
    print(f"\n### {title}\n\n| what | aim | found |\n| --- | --- | --- |")
    for name, aim, count in LINES:
        if not (proposed and "tracked" in name) and (got := all_of(count, bursts)):
            print(f"| {name} | {aim} | {share(got)} |")
    if errors := [e for b in bursts for e, _ in b.errors()]:
        e = np.array(errors)
        print(
            f"| offset within 5 depths of field: root mean square error | <= 0.3 | "
            f"{np.sqrt(np.mean(e**2)):.2f}; median {np.median(np.abs(e)):.2f}, "
            f"nine of ten within {np.percentile(np.abs(e), 90):.2f}; {len(e)} frames |"
        )


def proposal(row: Row) -> Row:
    """Where the proposed eye lies: distances to the eyes that are seen in its frame, px."""
    said = row["proposed"]
    if not said or not said["eye"]:
        return {"seen": True, "away": 1e9, "nearer": False, "eye": row["eye"]}
    name, x, y = said["eye"]
    t = next(t for t in row["truth"] if t["file"] == name)
    away = np.hypot(*(np.array(t["px"], float) - [x, y]).T)
    seen = np.array(t["seen_share"], float) > 0.2
    away[~seen] = 1e9
    nearer = int(np.argmax(np.where(seen, t["off"], -1e9)))
    at = int(away.argmin())
    return {"seen": bool(seen.any()), "away": float(away.min()), "nearer": at == nearer, "eye": at}


def hits(rows: Sequence[Row], length: str = "body_px") -> list[bool]:
    """Whether the proposed eye lies within 15 % of a length of an eye, where one is seen."""
    told = [(proposal(r), r.get(length)) for r in rows]
    return [p["away"] <= 0.15 * size for p, size in told if size and p["seen"]]


def print_proposed(rows: Sequence[Row]) -> None:
    """Print what the proposed eye is worth."""
    both = [r for r in rows if r["given"] and r["proposed"]]
    on = [p for r in rows if r.get("body_px") and (p := proposal(r))["seen"]
          and p["away"] <= 0.15 * r["body_px"]]  # fmt: skip

    by_nearer = [b for r in both if (b := Judged(r, "proposed")).plain]
    by_its_own = [
        b for r in both if (b := Judged(r | {"eye": proposal(r)["eye"]}, "proposed")).plain
    ]

    def right(b: Judged) -> bool:
        return b.code == ("keeper" if b.has else "none")

    def top(said: Row) -> str | None:
        return min(said["frames"], key=lambda f: f["rank"])["file"] if said["frames"] else None

    print("\n### The eye proposed\n\n| what | aim | found |\n| --- | --- | --- |")
    for name, aim, flags in (
        ("on the head: within 15 % of the body's length (without legs and horns) of an eye",
         ">= 85 %", hits(rows)),
        ("the same against the longer side of the animal's box", "", hits(rows, "animal_px")),
        ("of those on the head: at the nearer eye", "", [p["nearer"] for p in on]),
        ("some eye is seen in the frame it is proposed in", "",
         [proposal(r)["seen"] for r in rows]),
        ("verdict right for the nearer eye, outside the border", "",
         [right(b) for b in by_nearer]),
        ("verdict right for the eye it lies at, outside the border", "",
         [right(b) for b in by_its_own]),
        ("same verdict as with the eye given", "",
         [r["given"]["verdict"] == r["proposed"]["verdict"] for r in both]),
        ("same first frame", "", [top(r["given"]) == top(r["proposed"]) for r in both]),
    ):  # fmt: skip
        if flags:
            print(f"| {name} | {aim} | {share(flags)} |")


def conditions(row: Row) -> dict[str, str]:
    """Bins that a burst falls into."""
    sd = row.get("axial_sd_mm") or 0.0
    off = np.array([t["off"][row["eye"]] for t in row["truth"] if not t["dark"]])
    n = row["frames"]
    return {
        "magnification": f"{row['magnification']:g}:1", "f-number": f"f/{row['f_number']:02.0f}",
        "ISO": f"{row.get('iso') or 0:4.0f}", "animal": row["animal"],
        "axial sd": "0.6-1 mm" if sd < 1 else "1-1.75 mm" if sd < 1.75 else "1.75-3 mm",
        "frames": "10-13" if n < 14 else "14-16" if n < 17 else "17-20",
        "planes": "both sides" if off.min() < 0 < off.max() else "one side of the eye",
    }  # fmt: skip


COLUMNS: tuple[tuple[str, str], ...] = (
    ("true keeper first", "with a keeper: a true one first"),
    ("'none' falsely", "with a keeper: 'none' said"),
    ("'none' rightly", "without: 'none' said"),
    ("smear named", "- smeared 3 px or more: motion said"),
    ("defocus named", "- defocused twice the limit or more: defocus said, motion not"),
    ("tracked", "eye tracked within 1 % of the width"),
    ("in one sigma", "one-sigma intervals that hold"),
)


def print_conditions(rows: Sequence[Row]) -> None:
    """Print the chief lines by condition."""
    counts = {name: count for name, _, count in LINES}
    heads = ["condition", "bursts", *(c for c, _ in COLUMNS), "offset rms", "proposed on the head"]
    print("\n### By condition, the eye given (hits/all)\n")
    print("| " + " | ".join(heads) + " |\n" + "| --- " * len(heads) + "|")
    for of in conditions(rows[0]):
        for value in sorted({conditions(r)[of] for r in rows}):
            some = [r for r in rows if conditions(r)[of] == value]
            bursts = [Judged(r) for r in some if r["given"]]
            e = np.array([e for b in bursts for e, _ in b.errors()])
            cells = [share(all_of(counts[key], bursts), short=True) for _, key in COLUMNS]
            rms = f"{np.sqrt(np.mean(e**2)):.2f}" if e.size else "-"
            name = f"{of} {value.strip()}" if of != "planes" else f"planes on {value}"
            print(f"| {name} | {len(some)} | {' | '.join(cells)} | {rms} | "
                  f"{share(hits(some), short=True)} |")  # fmt: skip


def print_wrong(rows: Sequence[Row]) -> None:
    """Name the seeds to look at."""
    bursts = [Judged(r) for r in rows if r["given"]]
    first = [b.row["seed"] for b in bursts if _has(b) and not b.first]
    verdict = [
        b.row["seed"] for b in bursts if b.plain and b.code != ("keeper" if b.has else "none")
    ]
    lost = [r["seed"] for r in rows if not r["given"]]
    failed = [b.row["seed"] for b in bursts if b.code == "failed"]
    print(f"\nFirst frame wrong: {first}. Verdict wrong or unsure: {verdict}. "
          f"Refused: {failed}. Eye seen in no frame: {lost}.")  # fmt: skip


def report(rows: Sequence[Row]) -> None:
    """Print all tables of one commit's rows."""
    seeds = sorted(r["seed"] for r in rows)
    took = [r[m]["seconds"] for r in rows for m in ("given", "proposed") if r[m]]
    print(
        f"\n## {len(rows)} bursts, seeds {seeds[0]}-{seeds[-1]}, commit {rows[0]['commit']}, "
        f"{sum(r['frames'] for r in rows)} frames, {np.mean(took):.1f} s a judgement"
    )
    print_lines([Judged(r) for r in rows if r["given"]], "The eye given")
    print_wrong(rows)
    print_proposed(rows)
    proposed = [Judged(r, "proposed") for r in rows if r["given"]]
    print_lines(proposed, "The eye proposed, judged by the nearer eye's truth", proposed=True)
    print_conditions(rows)


def read(path: Path) -> list[Row]:
    """Lines of earlier starts; one that a kill cut short is left out."""
    rows = []
    for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else []:
        try:
            rows.append(json.loads(line))
        except json.JSONDecodeError:
            continue
    return rows


def one(folder: Path, seed: int, decoder: Decoder, name: str) -> Row:
    """Judge one rendered burst."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    frames = find_frames([folder]).frames
    drawn = folder / "drawn.json"
    row: Row = {"commit": name, "seed": seed, "views": truth["samples_per_pixel"]}
    row |= json.loads(drawn.read_text()) if drawn.exists() else {}
    row |= {"iso": frames[0].shooting.iso} | truth_row(truth, frames) | lengths(folder)
    judge(row, truth, frames, decoder, seed)
    return row


def main() -> None:
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--first", type=int, default=0)
    ask.add_argument("--count", type=int, default=0)
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("--views", type=int, default=28)
    ask.add_argument("--threads", type=int, default=2)
    ask.add_argument("--render-only", action="store_true")
    ask.add_argument("--judge-only", action="store_true")
    ask.add_argument("--keep-frames", action="store_true")
    ask.add_argument("--report", action="store_true")
    said = ask.parse_args()
    said.out.mkdir(parents=True, exist_ok=True)
    path, name = said.out / "results.jsonl", commit()
    done = {r["seed"] for r in read(path) if r["commit"] == name}
    with Decoder() as decoder, path.open("a", encoding="utf-8") as lines:
        if lines.tell() and not path.read_bytes().endswith(b"\n"):
            lines.write("\n")
        for seed in range(said.first, said.first + said.count):
            folder = said.out / str(seed)
            if seed in done:
                continue
            begun = time.perf_counter()
            if not (folder / "truth.json").exists():
                if said.judge_only:
                    continue
                render(seed, folder, said.views, said.threads)
            if not said.render_only:
                row = one(folder, seed, decoder, name)
                lines.write(json.dumps(row) + "\n")
                lines.flush()
                if not said.keep_frames:
                    shutil.rmtree(folder)
            print(f"{seed} of commit {name}: {time.perf_counter() - begun:.1f} s", flush=True)
    if said.report and (rows := read(path)):
        report([r for r in rows if r["commit"] == rows[-1]["commit"]])


if __name__ == "__main__":
    main()
