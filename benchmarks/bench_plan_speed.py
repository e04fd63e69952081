"""How soon the bench's plan follows a handle that is dragged.

    python benchmarks/bench_plan_speed.py [COUNT]

Opens the bench on an empty book, asks for COUNT plans (100 unless said) whose depth and
magnification differ each time, for curves, cards and explanations; and, where there is a Chromium,
drags the lens over the drawing, a move each 16 ms for two seconds: how often the numbers follow,
how long the drawing stands still at most, and how long after the last move everything is there.
"""

from __future__ import annotations

import os
import platform
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

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


def took_ms(base: str, token: str, path: str) -> float:
    """Ask once."""
    asked = urllib.request.Request(base + path, headers={"Authorization": f"Bearer {token}"})
    begun = time.perf_counter()
    with urllib.request.urlopen(asked) as answer:
        answer.read()
    return 1000 * (time.perf_counter() - begun)


def cpu_s(process: int) -> float:
    """Tell the processor time that a process took so far; nan where the system does not say."""
    try:
        numbers = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")


def dragged(address: str) -> str:
    """Drag the lens in Chromium."""
    found = shutil.which("chromium")
    if found is None:
        return "no Chromium here: nothing was dragged"
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=found, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1400, "height": 1000})
        base = address.partition("/enter")[0]
        page.goto(address)
        page.wait_for_url(base + "/")
        page.goto(base + "/#/plan?magnification=1")
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
        seen = page.evaluate("window.seen")
        browser.close()
    steps = [b - a for a, b in zip(seen["numbers"], seen["numbers"][1:], strict=False)]
    during = [one for one in seen["numbers"] if one <= seen["last"]]
    return (
        f"dragged {dragged_s:.1f} s: numbers followed {len(during) / dragged_s:.1f} times a "
        f"second, median {statistics.median(steps):.0f} ms apart, worst {max(steps):.0f}; last "
        f"number {seen['numbers'][-1] - seen['last']:.0f} ms after the last move; longest frame "
        f"{max(seen['frames'][2:]):.0f} ms"
    )


def main() -> None:
    """Open the bench, ask, drag."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    done = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, check=False)
    print(f"commit {done.stdout.decode().strip()}, {count} plans, {platform.platform()}")
    with tempfile.TemporaryDirectory() as place:
        words = [sys.executable, "-m", "haltere", "open", "--no-browser", "--book"]
        with subprocess.Popen(
            [*words, str(Path(place, "book"))], stdout=subprocess.PIPE, text=True
        ) as server:
            assert server.stdout is not None
            said = re.search(r"(http://\S+)/enter\?t=(\S+)", server.stdout.readline())
            assert said is not None
            base, token = said[1], said[2]
            for what, path, number in (
                ("plan", "/api/plan?", count),
                ("curves", "/api/plan/curves?", count // 5),
                ("card", "/api/plan/card?", count // 5),
                ("explanation", "/api/plan/why?key=flash.power&", count // 5),
            ):
                took_ms(base, token, f"{path}magnification=1")  # imports
                before = cpu_s(server.pid)
                times = [
                    took_ms(
                        base, token, f"{path}magnification={1 + one / count}&depth_mm={2 + one}"
                    )
                    for one in range(number)
                ]
                used = 1000 * (cpu_s(server.pid) - before) / number
                late = sorted(times)[int(0.95 * len(times))]
                print(
                    f"{what}: median {statistics.median(times):.0f} ms, 95 % in {late:.0f} ms, "
                    f"worst {max(times):.0f}; {used:.0f} ms of processor each"
                )
            print(dragged(said[0]))
            server.terminate()


if __name__ == "__main__":
    main()
