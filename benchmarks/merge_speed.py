"""What a merge of 60 frames of 20 megapixels costs, beside decoding them and the plain recipe.

    python benchmarks/merge_speed.py PLACE [--frames 60] [--times 3] [--seed 1] [--plain]
        [--preview] [--raw] [--enlarged 4] [--only merge ...]

Makes, once, in the folder PLACE the sweep of `watch_speed.py` with files of 7 to 8 MB (4:2:2),
or raw.  Then, in turn and as often as asked, each in processes of its own: all frames decoded to
full-size colour and dropped, two processes with the fastest decoder (raw: developed with the
options that haltere has it developed with); `haltere merge`, from the start of Python to the last
file on the disk, nothing known of the frames; with `--plain` the plain recipe.  Told are seconds
by the clock, and seconds of processor time of the whole tree of processes.  After these each runs
once more for its peak memory (resident, sampled ten times a second; pages that processes share are
counted once), which would slow a run that is timed.  With `--preview` all frames are also read
small, as its first step does, and what the preview takes beyond that is told: 0.1 s a frame is
wanted.  At most 4 times decoding (raw: 1.5 times) and an eighth of the plain recipe are wanted, and
1.5 GiB at 20 megapixels, 4 GiB at 60.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from watch_speed import SMALL, TIMES, _commit, make

from haltere.errors import HaltereError
from haltere.merge.limits import planned_mib
from haltere.scene.sensor import Sensor

QUALITY = 97
NOISE = Sensor(full_electrons=3500.0)
"""So that a file has 7 to 8 MB."""

EVERY_S = 0.1


@dataclass(frozen=True, slots=True)
class Cost:
    """What a command cost."""

    clock_s: float
    processor_s: float
    peak_mib: float


def decode(paths: list[str]) -> None:
    """Decode files to full-size colour, or develop them, one after the other."""
    import rawpy
    import simplejpeg

    from haltere.frames.decode import DEVELOPED

    for path in paths:
        if path.endswith(".DNG"):
            with rawpy.imread(path) as raw:
                raw.postprocess(**DEVELOPED)
        else:
            simplejpeg.decode_jpeg(Path(path).read_bytes(), "RGB")


def read_small(folder: Path) -> None:
    """Read a folder's frames small as a merge begins; print how long it took by the clock, s.

    Neither loading nor finding the frames is counted.
    """
    from haltere.frames import Decoder, find_frames
    from haltere.frames.parts import load_loops
    from haltere.sweeps.advance import NUMBERS

    load_loops()
    frames = find_frames([folder]).frames
    with Decoder() as decoder:
        begun = time.perf_counter()
        decoder.read_ahead(frames, NUMBERS.analysis_px)
        for frame, pixels in decoder.stream(
            frames, "luma", longest_px=NUMBERS.analysis_px, marked=True
        ):
            if isinstance(pixels, HaltereError):
                sys.exit(f"{frame.name}: {pixels}")
        print(time.perf_counter() - begun)


def small_s(folder: Path) -> float:
    """Seconds by the clock that reading all frames small takes, in a process of its own."""
    words = [sys.executable, __file__, "--read-small", str(folder)]
    return float(subprocess.run(words, check=True, capture_output=True, text=True).stdout)


def _tree(top: int) -> list[int]:
    """List a process and all that it started (Linux)."""
    found, at = [top], 0
    while at < len(found):
        for task in Path(f"/proc/{found[at]}/task").glob("*/children"):
            found += [int(child) for child in task.read_text().split()]
        at += 1
    return found


def memory_mib(top: int, *, alone: bool = False) -> float:
    """Sum up the memory of a tree of processes, shared pages counted once; or of one of them."""
    total = 0.0
    for one in [top] if alone else _tree(top):
        for line in Path(f"/proc/{one}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                total += int(line.split()[1]) / 1024
    return total


def cost(*commands: list[str], cache: str, memory: bool = False) -> Cost:
    """Run commands beside each other and measure them together: their time, or their memory.

    `cache` is an empty folder: what an earlier run solved lies in the cache, and would be known.
    """
    peak = [0.0]
    over = threading.Event()
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.perf_counter()
    fresh = {**os.environ, "XDG_CACHE_HOME": cache}
    fresh.pop("PYTHONDONTWRITEBYTECODE", None)  # installed packages have theirs
    running = [subprocess.Popen(words, stdout=subprocess.DEVNULL, env=fresh) for words in commands]

    def watch() -> None:
        while not over.wait(EVERY_S):
            try:
                peak[0] = max(peak[0], sum(memory_mib(one.pid) for one in running))
            except OSError:  # one of them has just ended
                continue

    watcher = threading.Thread(target=watch)
    if memory:
        watcher.start()
    failed = [one.wait() for one in running]
    clock = time.perf_counter() - begun
    over.set()
    if memory:
        watcher.join()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if any(failed):
        sys.exit(f"{commands[0]} failed")
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(clock, spent, peak[0])


def main() -> None:
    """Make the sweep, run the commands in turn, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("place", type=Path)
    parser.add_argument("--frames", type=int, default=60)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plain", action="store_true", help="the plain recipe too, once")
    parser.add_argument("--preview", action="store_true", help="a merge's preview instead")
    parser.add_argument("--raw", action="store_true", help="frames are raw files")
    parser.add_argument("--enlarged", type=int, default=TIMES, help="7 for 61 megapixels")
    parser.add_argument("--only", nargs="+", help="some of them: decoding, merge, plain recipe")
    words = parser.parse_args()
    kind = f"{'raw' if words.raw else 'merge'}-{words.frames}-{words.seed}"
    if words.enlarged != TIMES:
        kind += f"-{words.enlarged}"
    folder = words.place / kind
    shape = {"times": words.enlarged, "raw": words.raw}
    make(folder, words.frames, words.seed, False, QUALITY, NOISE, **shape)
    told = json.loads((folder / "told.json").read_text())
    files = sorted(str(path) for path in folder.glob("*.DNG" if words.raw else "*.JPG"))
    each = sum(Path(path).stat().st_size for path in files) / len(files) / 1e6
    print(f"commit {_commit()}, seed {words.seed}, {len(files)} frames of")
    size = (SMALL[0] * words.enlarged, SMALL[1] * words.enlarged)
    print(f"{size[0]} x {size[1]} px, {each:.1f} MB each\n")
    print("| what | s by the clock | s of processor time | peak MiB | others running |")
    print("| --- | --- | --- | --- | --- |")
    python, here = sys.executable, __file__
    recipe = str(Path(here).with_name("plain_recipe.py"))
    taken: dict[str, list[Cost]] = {}
    small: list[float] = []
    for turn in range(words.times + 1):
        with tempfile.TemporaryDirectory(prefix="haltere-speed-") as out:
            merge = [
                python, "-m", "haltere", "merge", str(folder), "--out", f"{out}/merged",
                "--magnification", f"{told['magnification']:g}",
                *(["--preview"] if words.preview else []),
            ]  # fmt: skip
            ways: dict[str, list[list[str]]] = {
                "decoding": [[python, here, "--decode", *files[k::2]] for k in (0, 1)],
                "merge": [merge],
            }
            if words.plain and turn == 0:
                ways["plain recipe"] = [[python, recipe, str(folder), f"{out}/plain"]]
            if words.preview and not words.raw and turn < words.times:
                small.append(small_s(folder))
                print(f"| all read small, two threads | {small[-1]:.2f} | | | |", flush=True)
            for name, commands in ways.items():
                if words.only and name not in words.only:
                    continue
                busy, cache = os.getloadavg()[0], f"{out}/cache of {name}"
                if turn == words.times:
                    peak = cost(*commands, cache=cache, memory=True).peak_mib
                    print(f"| {name} | | | {peak:.0f} | |")
                    if name == "merge" and not words.preview:
                        planned = planned_mib(*size, raw=words.raw)
                        print(f"| planned for a merge | | | {planned:.0f} | |")
                    continue
                one = cost(*commands, cache=cache)
                taken.setdefault(name, []).append(one)
                print(
                    f"| {name} | {one.clock_s:.1f} | {one.processor_s:.1f} | | {busy:.1f} |",
                    flush=True,
                )
    print()
    if small and "merge" in taken:
        beyond = min(m.clock_s for m in taken["merge"]) - min(small)
        print(f"beyond its scaled decode: {beyond / len(files):.3f} s a frame (0.1 is wanted)")
    for what in ("decoding", "plain recipe"):
        if what in taken and "merge" in taken:
            rivals, merges = taken[what], taken["merge"]
            clock = min(m.clock_s for m in merges) / min(r.clock_s for r in rivals)
            spent = min(m.processor_s for m in merges) / min(r.processor_s for r in rivals)
            print(f"merge over {what}: {clock:.3f} by the clock, {spent:.3f} of processor time")


if __name__ == "__main__":
    if len(sys.argv) > 2 and sys.argv[1] == "--decode":
        decode(sys.argv[2:])
    elif len(sys.argv) == 3 and sys.argv[1] == "--read-small":
        read_small(Path(sys.argv[2]))
    else:
        main()
