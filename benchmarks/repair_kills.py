"""Kills repairs at random instants: the merge stays, no file is half, no repair is lost.

    python benchmarks/repair_kills.py [KILLS] [SEED]

A repair counts as written down once the field book lists it; the next call must then render it.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.merge.killed import merging, sweep_folder, trouble_in


def call(cache: Path, *words: str) -> subprocess.Popen[bytes]:
    code = "from haltere.doors.cli import main; main()"
    return subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "XDG_CACHE_HOME": str(cache)},
    )


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    draw = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    trouble: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        cache, out = place / "cache", place / "out"
        assert merging(sweep_folder(place), out, cache).wait() == 0
        merge = hashlib.sha256((out / "picture.tif").read_bytes()).hexdigest()
        frame = json.loads((out / "result.json").read_text("utf-8"))["frames_used"][0]
        words = ("repair", str(out), "--json", "--from", frame, "--polygon")
        begun = time.monotonic()
        assert call(cache, *words, "20,20 90,20 90,80").wait() == 0
        life_s = time.monotonic() - begun
        standing = 1
        for number in range(kills):
            x = draw.randrange(20, 200)
            process = call(cache, *words, f"{x},30 {x + 80},30 {x + 60},150")
            time.sleep(life_s * draw.uniform(0.1, 1.1))
            process.kill()
            process.wait()
            trouble += [f"kill {number}: {one}" for one in trouble_in(out / "repaired")]
            if hashlib.sha256((out / "picture.tif").read_bytes()).hexdigest() != merge:
                trouble.append(f"kill {number}: the merge itself was changed")
            again = call(cache, "repair", str(out), "--list", "--json")
            said, _ = again.communicate()
            if again.returncode != 0:
                trouble.append(f"kill {number}: the next call failed")
                continue
            listed = len(json.loads(said)["repairs"])
            if listed < standing:
                trouble.append(f"kill {number}: a repair was lost")
            standing = listed
            state = (out / "repaired" / "state.txt").exists()
            if trouble_in(out / "repaired") or not state:
                trouble.append(f"kill {number}: the next call did not render what stands")
    print(f"{kills} kills: {standing - 1} repairs were written down before they were killed")
    print("\n".join(trouble) or "the merge stayed, no file was half, no repair was lost")
    sys.exit(bool(trouble))


if __name__ == "__main__":
    main()
