"""Tell how often the proposed eye lies on the head, on pictures that nobody tuned with.

usage: eye_trial.py SET ... [--each N]

A SET is a folder that `eye_training.py` filled (pictures.npz), or one with truth.json and frames.
A hit lies within 15 % of the body's length of an eye that is seen. The length is that of the body
without legs and horns, at its true size, also where it is foreshortened. For a folder with
truth.json it is taken from mask.png (long axis of the parts thicker than a sixteenth of the
picture's width, along which the picture foreshortens it), else from `--length PX`. Also told: how
often the proposal lies in an eye, in the nearer one, and what came true of the chances said; and of
a folder that `eye_training.py` filled, how often another animal is noticed: well apart is one that
covers a hundredth of the picture or more, three hundredths of the width or more from the main one.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from eye_training import beside_of

from haltere.frames import Pixels
from haltere.keepers import eye as finder

SEEN = 0.2


@dataclass(frozen=True, slots=True)
class Case:
    """One picture with its truth."""

    name: str
    rgb: np.ndarray
    eyes: np.ndarray  # rows x, y, radius (NaN = not known), share seen, depth
    defocus: float
    body_px: float
    plan: str
    beside: tuple[float, float] | None = None  # another animal's share, and its distance


def drawn(folder: Path) -> list[Case]:
    """Cases of a folder that eye_training.py filled."""
    d = np.load(folder / "pictures.npz")
    out = []
    for k, t in enumerate(d["truth"]):
        bgr = cv2.imdecode(d["jpeg"][d["jpeg_at"][k] : d["jpeg_at"][k + 1]], cv2.IMREAD_COLOR)
        rgb = np.ascontiguousarray(bgr[..., ::-1])
        defocus, body_px, seed = t[-3:]
        eyes = t[:10].reshape(2, 5)  # the main animal's
        png = d["parts"][d["parts_at"][k] : d["parts_at"][k + 1]]
        beside = beside_of(np.asarray(cv2.imdecode(png, cv2.IMREAD_GRAYSCALE), np.uint8))
        plan = str(d["plan"][k])
        out.append(Case(f"{int(seed)}-{k}", rgb, eyes, defocus, body_px, plan, beside))
    return out


def long_axis(mask: np.ndarray) -> float:
    """Length of the thick parts of an animal in a mask, px."""
    thick = max(3, mask.shape[1] // 16)  # legs and horns are thinner
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (thick, thick))
    body = cv2.morphologyEx((mask >= 2).astype(np.uint8), cv2.MORPH_OPEN, disc)
    ys, xs = np.nonzero(body)
    p = np.stack([xs, ys], 1) - [xs.mean(), ys.mean()]
    axis = np.linalg.svd(p.T @ p)[0][:, 0]
    return float(np.ptp(p @ axis))


def shot(folder: Path, length: float | None, each: int) -> list[Case]:
    """Cases of a folder with truth.json."""
    t = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    if length is None:
        length = long_axis(cv2.imread(str(folder / "mask.png"), cv2.IMREAD_GRAYSCALE))
    out = []
    for f in t["frames"][::each]:
        if "misfire" in f["faults"]:
            continue
        bgr = cv2.imread(str(folder / f["file"]), cv2.IMREAD_COLOR)
        small = cv2.resize(bgr, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
        eyes = np.full((2, 5), np.nan)
        eyes[:, :2] = np.array(f["eyes_px"]) * 0.6
        eyes[:, 3] = f["eye_visible"]
        off = np.array(f["eye_depth_offset_mm"])
        eyes[:, 4] = -off
        nearer = float(off[np.argmax(off)]) / t["depth_of_field_mm"]
        rgb = np.ascontiguousarray(small[..., ::-1])
        out.append(Case(f["file"], rgb, eyes, nearer, length * 0.6, t["animal_style"]))
    return out


def told(cases: list[Case], name: str) -> None:
    rows, spent, others = [], [], []
    for c in cases:
        seen = c.eyes[:, 3] > SEEN
        start = time.perf_counter()
        sight = finder.look_for(Pixels(c.rgb, 1.0, False, None))
        spent.append(time.perf_counter() - start)
        spots = sight.spots
        others.append(sight.others)
        if not seen.any():
            rows.append((False, 0.0, False, False, sum(s.chance for s in spots), 0.0))
            continue
        if not spots:
            rows.append((True, 9.0, False, False, 0.0, 0.0))
            continue
        d = np.hypot(c.eyes[:, 0] - spots[0].x_px, c.eyes[:, 1] - spots[0].y_px)
        nearer = int(np.where(seen, c.eyes[:, 4], 1e9).argmin())
        inside = bool((d < c.eyes[:, 2])[seen].any())
        rows.append((
            True, float(d[seen].min()) / c.body_px, inside, bool(d[nearer] < c.eyes[nearer, 2]),
            spots[0].chance, float(sum(s.chance for s in spots)),
        ))  # fmt: skip
    a = np.array(rows, float)
    has = a[:, 0] > 0
    hit = has & (a[:, 1] < 0.15)
    plan = np.array([c.plan for c in cases])
    off = np.abs([c.defocus for c in cases])

    def share(v: np.ndarray, of: np.ndarray) -> str:
        return f"{100 * float(v[of].mean()):.1f} % of {int(of.sum())}" if of.any() else "none"

    say = {
        "set": name, "hit": share(hit, has), "in an eye": share(a[:, 2] > 0, has),
        "in the nearer eye": share(a[:, 3] > 0, has),
        "no eye to be seen": int((~has).sum()),
        "of these still proposed with chance 0.5": int(((a[:, 4] > 0.5) & ~has).sum()),
        "by plan": {str(p): share(hit, has & (plan == p)) for p in np.unique(plan)},
        "by defocus": {
            f"{lo}-{up}": share(hit, has & (off >= lo) & (off < up))
            for lo, up in ((0, 1), (1, 3), (3, 6), (6, 99))
        },
        "chance said, came true (nearer eye)": [
            f"{a[k, 4].mean():.2f} {a[k, 3].mean():.2f} of {int(k.sum())}"
            for lo in (0.0, 0.2, 0.4, 0.6, 0.8)
            for k in [(a[:, 4] >= lo) & (a[:, 4] < lo + 0.2 + (lo == 0.8)) & has]
            if k.any()
        ],
        "ms a picture (median)": round(1000 * float(np.median(spent)), 1),
        "missed": [c.name for c, h, e in zip(cases, hit, has, strict=True) if e and not h][:12],
    }  # fmt: skip
    print(json.dumps(say | noticed(cases, np.array(others) > 0), indent=1))


def noticed(cases: list[Case], said: np.ndarray) -> dict[str, str]:
    """How often another animal is noticed where there is one, and where there is none."""
    if cases[0].beside is None:
        return {}
    cover, gap = np.array([c.beside for c in cases]).T
    there = cover >= 0.01
    apart = there & (gap >= 0.03) & np.isfinite(gap)

    def count(of: np.ndarray) -> str:
        return f"{int(said[of].sum())} of {int(of.sum())}"

    return {
        "another animal noticed, well apart": count(apart),
        "nearer or touching": count(there & ~apart),
        "smaller": count((cover > 0) & ~there),
        "falsely, none there": count(cover == 0),
    }


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("sets", type=Path, nargs="+")
    ask.add_argument("--each", type=int, default=1, help="take every so many-th frame")
    ask.add_argument("--length", type=float, help="body length, px, where there is no mask")
    said = ask.parse_args()
    for folder in said.sets:
        if (folder / "pictures.npz").exists():
            told(drawn(folder), folder.name)
        else:
            told(shot(folder, said.length, said.each), folder.name)


if __name__ == "__main__":
    main()
