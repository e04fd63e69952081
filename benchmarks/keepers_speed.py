"""How long a card of bursts is sorted and judged for, against decoding it and no more.

    python benchmarks/keepers_speed.py CARD [--frames 200] [--seed 1] [--profile]

Makes, once, a card of 20-megapixel JPEGs in the folder CARD: three rendered bursts and a few
singles, enlarged four times, each frame with its own sensor noise, repeated with other names and
times until there are enough.  Seven frames of ten belong to bursts.  Then measures, in turns of one
run and with two decoding processes:

- decoding alone: every frame once at quarter size, frames of bursts once more at full size (luma);
- the evening's own work: splitting the card and judging every burst and single, with a fresh book.

Prints the seconds of both, their ratio (at most 2.0 is wanted), frames per second, processor time,
and the peak memory of haltere's process and of its decoding processes.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import os
import pstats
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from haltere.evening.capture import Told, capture_of
from haltere.evening.work import at_work
from haltere.frames import Decoder, Frame, find_frames
from haltere.runs.run import Run
from haltere.scene.exif import Shot, exif_bytes
from haltere.scene.exposure import expose
from haltere.scene.render import quick_gain
from haltere.scene.rocking import Rocking, plan_rocking
from haltere.scene.sensor import Sensor, add_noise, tone

SMALL = (1368, 912)
TIMES = 4
BURSTS, SINGLES = 3, 7
AFTER_BURST = 5
"""Singles between two bursts: with bursts of some twelve frames, three frames of ten."""

HABITS = Rocking(magnifications=(1.0,), frames=(11, 12), iso=(200,))
VIEWS = 24
QUALITY = 97
NOISE = Sensor(full_electrons=5000.0)
"""So that a file has some 6 MB, as a 20-megapixel camera's finest JPEGs do."""


def render(folder: Path, seed: int) -> None:
    """Render the frames that the card repeats, without shooting data."""
    folder.mkdir(parents=True, exist_ok=True)
    told = {}
    for number in range(BURSTS + SINGLES):
        planned = plan_rocking(seed + number, width_px=SMALL[0], height_px=SMALL[1], habits=HABITS)
        run = planned.run
        gain = quick_gain(run.stage, run.outfit.lens)
        takes = run.takes if number < BURSTS else run.takes[run.reference_index :][:1]
        lens = run.outfit.lens
        told[str(number)] = {
            "frames": len(takes), "f_number": lens.f_number, "focal_mm": lens.focal_mm,
            "sensor_mm": lens.sensor_width_mm, "times_s": [t.time_s for t in takes],
        }  # fmt: skip
        for k, take in enumerate(takes):
            path = folder / f"{number}-{k:02d}.jpg"
            if not path.exists():
                light = expose(
                    run.stage, lens, take.camera, views=VIEWS, seed=1000 * number + k,
                    smear=take.smear,
                )  # fmt: skip
                _enlarged(path, light * np.float32(gain * take.gain), 7919 * number + k)
    (folder / "told.json").write_text(json.dumps(told))


def _enlarged(path: Path, light: np.ndarray, seed: int) -> None:
    """Write light as a camera's JPEG, four times as wide, with noise of its own."""
    from PIL import Image

    size = (SMALL[0] * TIMES, SMALL[1] * TIMES)
    large = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_CUBIC), np.float32)
    noisy = add_noise(large, NOISE, seed)
    picture = Image.fromarray(tone(noisy))
    partial = path.with_suffix(".part")
    picture.save(partial, "JPEG", quality=QUALITY, subsampling="4:2:2")
    partial.rename(path)


def lay_out(card: Path, frames: int) -> None:
    """Fill the card with copies of what was rendered, each with its own time and number."""
    base, shown = card / "rendered", card / "card" / "DCIM" / "100HLTRE"
    told = json.loads((base / "told.json").read_text())
    shutil.rmtree(shown, ignore_errors=True)
    shown.mkdir(parents=True)
    clock = datetime(2031, 6, 3, 6, 12, 5, tzinfo=timezone(timedelta(hours=2)))
    order = [
        which
        for turn in range(frames)
        for which in (
            turn % BURSTS,
            *(BURSTS + (AFTER_BURST * turn + k) % SINGLES for k in range(AFTER_BURST)),
        )
    ]  # fmt: skip
    number = 0
    for which in order:
        one = told[str(which)]
        for k, at in enumerate(one["times_s"]):
            if number == frames:
                return
            number += 1
            shot = Shot(
                clock + timedelta(seconds=at), 1 / 200, one["f_number"], 200, one["focal_mm"],
                SMALL[0] * TIMES / one["sensor_mm"], (SMALL[0] * TIMES, SMALL[1] * TIMES),
                "HL-3", "3141592", "macro", number,
            )  # fmt: skip
            data = (base / f"{which}-{k:02d}.jpg").read_bytes()
            block = exif_bytes(shot)
            head = b"\xff\xd8\xff\xe1" + (len(block) + 2).to_bytes(2, "big") + block
            (shown / f"HL{number:06d}.JPG").write_bytes(head + data[2:])
        clock += timedelta(seconds=one["times_s"][-1] + 25)


def in_bursts(frames: Sequence[Frame]) -> list[Frame]:
    """Frames of the card that belong to bursts, by their times."""
    near = [
        (b.shooting.time - a.shooting.time).total_seconds() < 2
        for a, b in pairwise(frames)
        if a.shooting.time is not None and b.shooting.time is not None
    ]
    told = zip(frames, [False, *near], [*near, False], strict=True)
    return [frame for frame, before, after in told if before or after]


def decode_only(card: Path) -> None:
    """Decode everything at quarter size, and bursts at full size."""
    found = find_frames([card / "card"]).frames
    bursts = in_bursts(found)
    with Decoder(workers=2) as decoder:
        decoder.luma(found[0], 64)  # the processes are there before the clock runs
        begun, before = time.perf_counter(), _processor()
        for frame, _ in decoder.stream(found, longest_px=max(found[0].width_px, 4) // 4):
            del frame
        quarter = time.perf_counter() - begun
        for frame, _ in decoder.stream(bursts):
            del frame
        _say(
            wall=time.perf_counter() - begun,
            quarter=quarter,
            cpu=_processor() - before,
            frames=len(found),
            bursts=len(bursts),
        )


def judge_all(card: Path, profile: bool) -> None:
    """Split and judge everything as an evening does."""
    found = find_frames([card / "card"]).frames
    by_name = {f.name: f for f in found}
    told = Told(magnification=1.0)
    watch = _Watch()
    with (
        tempfile.TemporaryDirectory() as place,
        Decoder(workers=2) as decoder,
        at_work(found, card / "card", "speed", decoder, Path(place)) as work,
    ):
        decoder.luma(found[0], 64)
        watch.start()
        begun, before = time.perf_counter(), _processor()
        profiler = cProfile.Profile()
        if profile:
            profiler.enable()
        runs = work.split(found, capture_for=lambda some: capture_of(some, told)).runs
        split = time.perf_counter() - begun
        groups = [[by_name[name] for name in run.frames] for run in runs]
        for run, frames in zip(runs, groups, strict=True):  # as `haltere.evening.walk` does
            work.judge(frames, capture_of(frames, told), subject=run.id)
        profiler.disable()
        wall = time.perf_counter() - begun
        cpu = _processor() - before
        peaks = watch.stop()
    if profile:
        pstats.Stats(profiler, stream=sys.stderr).sort_stats("tottime").print_stats(45)
        pstats.Stats(profiler, stream=sys.stderr).sort_stats("cumtime").print_stats(60)
    _say(wall=wall, split=split, cpu=cpu, kinds=_kinds(runs), **peaks)


def _kinds(runs: Sequence[Run]) -> dict[str, int]:
    kinds = [run.kind for run in runs]
    return {kind: kinds.count(kind) for kind in sorted(set(kinds))}


def _children() -> list[int]:
    own = str(os.getpid())
    tasks = Path(f"/proc/{own}/task")
    pids = []
    for task in tasks.iterdir():
        with suppress(OSError):  # a thread that is over by now
            pids += [int(pid) for pid in (task / "children").read_text().split()]
    return pids


def _processor() -> float:
    """Processor seconds of this process and its decoding processes so far."""
    own = resource.getrusage(resource.RUSAGE_SELF)
    total = own.ru_utime + own.ru_stime
    for pid in _children():
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1].split()
        total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


def _memory(pid: int | str, what: str, file: str = "status") -> float:
    """MiB of one process by the system's own account."""
    try:
        for line in Path(f"/proc/{pid}/{file}").read_text().splitlines():
            if line.startswith(what + ":"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return 0.0


class _Watch(threading.Thread):
    """Looks at the memory of all processes together, five times a second."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self._over = threading.Event()
        self.most = 0.0

    def run(self) -> None:
        while not self._over.wait(0.2):
            pids = [os.getpid(), *_children()]
            self.most = max(self.most, sum(_memory(p, "Pss", "smaps_rollup") for p in pids))

    def stop(self) -> dict[str, float]:
        self._over.set()
        self.join()
        workers = [_memory(pid, "VmHWM") for pid in _children()]
        return {"main_mib": _memory("self", "VmHWM"), "worker_mib": max(workers), "all": self.most}


def _say(**words: object) -> None:
    print(json.dumps(words))


def _part(name: str, card: Path, *words: str) -> dict[str, float]:
    """Run one measurement in a process of its own."""
    command = [sys.executable, __file__, str(card), "--part", name, *words]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    result: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return result


def _commit() -> str:
    words = ["git", "-C", str(Path(__file__).parent), "describe", "--always", "--dirty"]
    return subprocess.run(words, capture_output=True, text=True, check=False).stdout.strip()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("card", type=Path)
    parser.add_argument("--frames", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--profile", action="store_true", help="say where the time goes")
    parser.add_argument("--part", choices=["decode", "judge"], help=argparse.SUPPRESS)
    words = parser.parse_args()
    if words.part == "decode":
        return decode_only(words.card)
    if words.part == "judge":
        return judge_all(words.card, words.profile)
    render(words.card / "rendered", words.seed)
    lay_out(words.card, words.frames)
    files = sorted((words.card / "card").rglob("*.JPG"))
    total = 0
    for path in files:  # from memory, both times: the disk is not asked about
        total += len(path.read_bytes())
    busy = os.getloadavg()[0]
    before = _part("decode", words.card)
    judged = _part("judge", words.card, *["--profile"] * words.profile)
    after = _part("decode", words.card)
    alone = (before["wall"] + after["wall"]) / 2
    n, bursts = int(before["frames"]), int(before["bursts"])
    print(f"commit {_commit()}, seed {words.seed}, {os.cpu_count()} cores, {n} frames of ")
    print(f"{SMALL[0] * TIMES} x {SMALL[1] * TIMES} px, {bursts} of them in bursts, ")
    print(f"{total / n / 1e6:.1f} MB a frame, runs found: {judged['kinds']}, ")
    print(f"others running: {busy:.1f}\n")
    print("| what | s | frames a second | processor, s | of that a frame, s |")
    print("| --- | --- | --- | --- | --- |")
    cpu = (before["cpu"] + after["cpu"]) / 2
    print(
        f"| decoding alone ({before['wall']:.1f} before, {after['wall']:.1f} after) "
        f"| {alone:.1f} | {n / alone:.1f} | {cpu:.1f} | {cpu / n:.3f} |"
    )
    print(
        f"| sorted and judged (splitting {judged['split']:.1f}) | {judged['wall']:.1f} "
        f"| {n / judged['wall']:.1f} | {judged['cpu']:.1f} | {judged['cpu'] / n:.3f} |"
    )
    print(f"\nratio {judged['wall'] / alone:.2f}, of processor time {judged['cpu'] / cpu:.2f}")
    print(
        f"peak memory: haltere {judged['main_mib']:.0f} MiB, largest decoding process "
        f"{judged['worker_mib']:.0f} MiB, all together {judged['all']:.0f} MiB (shared once)"
    )
    return None


if __name__ == "__main__":
    main()
