"""How soon the bench's plan follows a handle that is dragged.

    python benchmarks/bench_plan_speed.py [COUNT]

Opens the bench on an empty book, asks for COUNT plans (100 unless said) whose depth and
magnification differ each time, for curves, cards and explanations; and, where there is a Chromium,
drags the lens over the drawing, a move each 16 ms for two seconds: how often the numbers follow,
how long the drawing stands still at most, and how long after the last move everything is there.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

from bench_opened import Bench, heading, opened, seen

MOVES = 120
WATCH = """() => {
  const seen = { numbers: [], frames: [], last: 0 };
  window.seen = seen;
  const number = document.querySelector('[data-key=working_distance_mm] b');
  new MutationObserver(() => seen.numbers.push(performance.now()))
    .observe(number, { subtree: true, characterData: true, childList: true });
  let before = performance.now();
  const tick = (now) => {
    seen.frames.push(now - before);
    before = now;
    requestAnimationFrame(tick);
  };
  requestAnimationFrame(tick);
  addEventListener('pointermove', () => (seen.last = performance.now()), true);
}"""


def cpu_s(process: int) -> float:
    """Tell the processor time that a process took so far; nan where the system does not say."""
    try:
        numbers = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")


def dragged(bench: Bench) -> str:
    """Drag the lens in Chromium."""
    with seen(bench) as page:
        if page is None:
            return "no Chromium here: nothing was dragged"
        page.goto(bench.base + "/#/plan?magnification=1")
        knob = page.locator("[data-handle=lens]")
        knob.wait_for()
        page.locator("[data-key=working_distance_mm]").wait_for()
        page.wait_for_load_state("networkidle")
        page.evaluate(WATCH)
        box = knob.bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        begun = time.perf_counter()
        for number in range(MOVES):
            page.mouse.move(x + 40 * (number + 1) / MOVES, y)
            time.sleep(max(0.0, begun + 0.016 * (number + 1) - time.perf_counter()))
        dragged_s = time.perf_counter() - begun
        page.mouse.up()
        page.wait_for_load_state("networkidle")
        page.wait_for_timeout(1500)
        noted = page.evaluate("window.seen")
    steps = [b - a for a, b in zip(noted["numbers"], noted["numbers"][1:], strict=False)]
    during = [one for one in noted["numbers"] if one <= noted["last"]]
    return (
        f"dragged {dragged_s:.1f} s: numbers followed {len(during) / dragged_s:.1f} times a "
        f"second, median {statistics.median(steps):.0f} ms apart, worst {max(steps):.0f}; last "
        f"number {noted['numbers'][-1] - noted['last']:.0f} ms after the last move; longest frame "
        f"{max(noted['frames'][2:]):.0f} ms"
    )


def main() -> None:
    """Open the bench, ask, drag."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(heading(f"{count} plans"))
    with tempfile.TemporaryDirectory() as place, opened(Path(place, "book")) as bench:
        for what, path, number in (
            ("plan", "/api/plan?", count),
            ("curves", "/api/plan/curves?", count // 5),
            ("card", "/api/plan/card?", count // 5),
            ("explanation", "/api/plan/why?key=flash.power&", count // 5),
        ):
            bench.ms(f"{path}magnification=1")  # imports
            before = cpu_s(bench.process)
            times = [
                bench.ms(f"{path}magnification={1 + one / count}&depth_mm={2 + one}")[0]
                for one in range(number)
            ]
            used = 1000 * (cpu_s(bench.process) - before) / number
            late = sorted(times)[int(0.95 * len(times))]
            print(
                f"{what}: median {statistics.median(times):.0f} ms, 95 % in {late:.0f} ms, "
                f"worst {max(times):.0f}; {used:.0f} ms of processor each"
            )
        print(dragged(bench))


if __name__ == "__main__":
    main()
