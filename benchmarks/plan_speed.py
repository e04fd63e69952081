"""What a plan costs: once imported, and as a whole command.

    python benchmarks/plan_speed.py

Prints a table: seconds of one plan (median of 50 after the first), of the first one, and of the
command, beside the plain baseline of a bare Python that imports numpy.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

from haltere.kit import Kit
from haltere.plan import make_plan, why, wishes_of

KIT = Kit(
    sensor_width_mm=17.3,
    sensor_height_mm=13.0,
    width_px=5184,
    height_px=3888,
    focal_mm=60.0,
    magnification_max=1.0,
    f_number_min=2.8,
    f_number_max=22.0,
    close_up_dpt=5.0,
    guide_number_m=12.0,
    recycle_s=2.0,
)
WISHES = wishes_of({"magnification": 1.4, "depth_mm": 3})
SAID = {
    "sensor": "17.3x13",
    "pixels-wide": 5184,
    "focal": 60,
    "largest-magnification": 1,
    "close-up": 5,
    "guide-number": 12,
    "recycle": 2,
    "magnification": 1.4,
    "depth": 3,
}
WORDS = [word for name, value in SAID.items() for word in (f"--{name}", str(value))]
COMMAND = [sys.executable, "-c", "from haltere.doors.cli import main; main()", "plan", *WORDS]
BARE = [sys.executable, "-c", "import numpy"]


def seconds(words: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(words, check=True, capture_output=True)
    return time.perf_counter() - begun


def main() -> None:
    begun = time.perf_counter()
    make_plan(KIT, WISHES)
    first = time.perf_counter() - begun
    each = []
    for _ in range(50):
        begun = time.perf_counter()
        make_plan(KIT, WISHES)
        each.append(time.perf_counter() - begun)
    begun = time.perf_counter()
    why(KIT, WISHES, "depth_of_field_mm.geometric")
    explained = time.perf_counter() - begun
    pairs = [(seconds(COMMAND), seconds(BARE)) for _ in range(7)]
    command = statistics.median(pair[0] for pair in pairs)
    bare = statistics.median(pair[1] for pair in pairs)
    print("| what | seconds |")
    print("| --- | --- |")
    print(f"| one plan, once imported | {statistics.median(each):.4f} |")
    print(f"| the first plan of a process | {first:.3f} |")
    print(f"| one explanation with all its inputs moved | {explained:.3f} |")
    print(f"| haltere plan, whole command | {command:.2f} |")
    print(f"| bare Python importing numpy | {bare:.2f} |")
    print(f"| ratio | {command / bare:.1f} |")


if __name__ == "__main__":
    main()
