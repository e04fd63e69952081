"""Reads many spoilt picture files and counts what came of them.

    python benchmarks/fuzz_frames.py [CASES] [SEED]

Files are cut short, bits turned, stretches lost, doubled, zeroed, and sizes in headers lied about.
Each must be read or refused in words: no crash, no hang, no memory beyond the stated limit.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.frames.spoiled import read_all, sound_files, spoilt

AT_ONCE = 1000


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    begun = time.perf_counter()
    totals = [0, 0]
    strange: list[str] = []
    with tempfile.TemporaryDirectory() as place:
        sound = sound_files(Path(place))
        for part in range(0, cases, AT_ONCE):
            folder = Path(place) / f"part{part}"
            folder.mkdir()
            count = min(AT_ONCE, cases - part)
            read, refused, odd = read_all(folder, spoilt(sound, seed * 100_000 + part, count))
            totals[0] += read
            totals[1] += refused
            strange += odd
            if read + refused != count:
                strange.append(f"part {part}: {count - read - refused} files are unaccounted for")
            for path in folder.iterdir():
                path.unlink()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
    print(f"{cases} cases of {len(sound)} sound files, seed {seed}, {os.cpu_count()} cores")
    print(f"read {totals[0]}, refused in words {totals[1]}, anything else {len(strange)}")
    print(f"{time.perf_counter() - begun:.0f} s, peak {peak} MiB, a decoding process {child} MiB")
    for one in strange[:20]:
        print("  ", one)
    sys.exit(bool(strange))


if __name__ == "__main__":
    main()
