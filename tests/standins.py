"""Stand-ins that doors, evening and show are tried with: tiny pictures and ready answers.

`card` is a folder of small JPEG files with times; `engine` puts quick stand-ins in place of the
rooms that judge, solve and merge, so that a door can be tried without their minutes; `outing` is
a finished outing to draw. Truth is not tested here: tests/journeys walks the real way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

import haltere.evening  # noqa: F401 (so that it can be patched)
from haltere.errors import FrameError, SweepError
from haltere.focus.fault import Fault
from haltere.frames import Decoder, Skipped, find_frames, write_jpeg, write_map, write_picture
from haltere.frames.frame import Frame
from haltere.keepers.verdict import Eye, JudgedFrame, Keepers, Verdict
from haltere.merge.merged import LeftOut, Merge, Suspicious
from haltere.merge.preview import Preview
from haltere.merge.views import View, Views
from haltere.runs import Splitting
from haltere.runs.run import Pass, Run
from haltere.show import Outing, WorkedRun
from haltere.sweeps.coverage import Coverage, Gap, Plane

WIDTH, HEIGHT = 320, 240


def write_photo(path: Path, time: datetime, shade: int = 0) -> None:
    """Write a small JPEG with a time to the hundredth of a second."""
    rng = np.random.default_rng(shade)
    base = rng.integers(40, 200, (HEIGHT // 8, WIDTH // 8, 3), dtype=np.uint8)
    picture = Image.fromarray(base).resize((WIDTH, HEIGHT), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    inner = exif.get_ifd(0x8769)
    inner[0x9003] = time.strftime("%Y:%m:%d %H:%M:%S")
    inner[0x9291] = f"{time.microsecond // 10000:02d}"
    inner[0x829D], inner[0x920A] = IFDRational(8), IFDRational(60)
    picture.save(path, "JPEG", quality=90, exif=exif)


@pytest.fixture(scope="session")
def card_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten small pictures and two files that are none, made once."""
    folder = tmp_path_factory.mktemp("cards") / "2031-06-14-meadow"
    folder.mkdir()
    start = datetime(2031, 6, 14, 18, 4, 12)
    waits = [0, 0.2, 0.4, 0.6, 300, 300.2, 300.4, 300.6, 300.8, 1200]
    for number, wait in enumerate(waits, 1):
        write_photo(folder / f"M_{number:04d}.JPG", start + timedelta(seconds=wait), number)
    (folder / "broken.JPG").write_bytes(b"\xff\xd8\xff\xe0 cut short")
    (folder / "notes.txt").write_text("hoverfly on the third umbel", encoding="utf-8")
    return folder


@pytest.fixture
def card(card_made: Path) -> Path:
    """Answer the folder of small pictures; nobody may write to it."""
    return card_made


def made_keepers(frames: Sequence[Frame]) -> Keepers:
    """Judge frames out of thin air: the first is a keeper, the last one is dark."""
    judged = []
    for number, frame in enumerate(frames):
        dof = 0.1 + 0.9 * number * (-1) ** number
        faults = [Fault("defocus", 0.9, "the plane lies beside the eye")] if number else []
        if number and number == len(frames) - 1:
            faults.append(Fault("dark", 0.95, "4 stops under"))
        where = (160.0 + number, 120.0)
        judged.append(
            JudgedFrame(
                frame.name, number + 1, where, 1.0 / (1 + number), dof * 0.2, dof, 0.15,
                tuple(faults), number == 0,
            )
        )  # fmt: skip
    eye = Eye(frames[0].name, 160.0, 120.0, "proposed")
    return Keepers(eye, tuple(judged), Verdict("keeper", f"{frames[0].name} has the eye sharp."))


def made_coverage(frames: Sequence[Frame]) -> Coverage:
    """Place planes half a depth of field apart, with a gap in the middle."""
    middle = len(frames) // 2
    names = [frame.name for frame in frames]
    planes = tuple(
        Plane(name, 0.1 * at, 0.5 * at, 0.01, 0.05, True, ())
        for at, name in ((i - middle + (4 if i > middle else 0), n) for i, n in enumerate(names))
    )
    gap = Gap("inside", 0.1, 0.4, 0.5, 2.0, (40.0, 30.0, 90.0, 80.0), (names[middle], names[-1]))
    return Coverage(
        names[middle], 0.2, "2 c N_eff / m^2", 0.015, 0.004, "kit", planes,
        (Pass("away", tuple(names)),), (gap,), False, "One stretch holds no usable plane.",
    )  # fmt: skip


def made_merge(frames: Sequence[Frame], out: Path) -> Merge:
    """Write tiny files of the right kinds and say they are a merged picture."""
    names = tuple(frame.name for frame in frames)
    out.mkdir(parents=True, exist_ok=True)
    index = np.tile(np.arange(60, dtype=np.uint16) % len(names), (40, 1))
    index[:6] = 65535
    grey = np.full((40, 60, 3), 90, np.uint8)
    write_picture(out / "merged.tif", grey.astype(np.uint16) * 257, None)
    write_jpeg(out / "merged.jpg", grey, None)
    write_map(out / "origin.tif", index)
    write_map(out / "depth.tif", index.astype(np.float32))
    write_map(out / "confidence.tif", np.ones((40, 60), np.float32))
    write_map(out / "seen.tif", np.full((50, 80), 255, np.uint8))
    write_map(out / "noise.tif", np.full((4, 6), 0.2, np.float32))
    taken = tuple(View(one.name, str(one.path), None, (0.0,) * 6, 1.0) for one in frames)
    views = Views((320, 240), (10, 10, 70, 50), (320, 240), 400.0, 0.01, 20.0, False, taken)
    (out / "views.json").write_bytes(msgspec.json.encode(views))
    spot = Suspicious("gap", (20.0, 20.0, 30.0, 30.0), "nothing sharp from 0.10 to 0.40 mm")
    return Merge(
        "merged.tif", "merged.jpg", "origin.tif", "depth.tif", "confidence.tif", "seen.tif",
        "views.json", "mm",
        names[len(names) // 2], names, (LeftOut("M_0009.JPG", "smeared by motion"),),
        (10, 10, 70, 50), 0.94, (spot,), 1.5, 210.0, "noise.tif",
    )  # fmt: skip


@dataclass
class StandInSweep:
    """What a solved sweep looks like from outside."""

    coverage: Coverage
    frames: Sequence[Frame]
    closed: bool = False
    lumas: Any = None

    def close(self) -> None:
        """Note that the pictures were given back."""
        self.closed = True


class StandInEngine:
    """Quick answers in the place of the engine rooms; remembers what it was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, dict[str, Any]]] = []
        self.fail: dict[str, BaseException] = {}

    def _note(self, name: str, **what: Any) -> None:
        self.asked.append((name, what))
        if name in self.fail:
            raise self.fail[name]

    def split_runs(
        self, frames: Sequence[Frame], decoder: Decoder, progress: Any, taker: Any = None
    ) -> Any:
        """Four frames are a burst, five a sweep, each other one a single."""
        self._note("split_runs", frames=frames)
        names = [frame.name for frame in frames]
        runs = [
            Run("run-01", "burst", tuple(names[:4]), (), "even spacing"),
            Run(
                "run-02", "sweep", tuple(names[4:9]), (Pass("away", tuple(names[4:9])),),
                "the scale grows steadily",
            ),
        ]  # fmt: skip
        runs += [
            Run(f"run-{number:02d}", "single", (name,), (), "alone in time")
            for number, name in enumerate(names[9:], 3)
        ]

        return Splitting(tuple(runs), (Skipped("M_0099.JPG", "can't be decoded"),))

    def judge_burst(
        self, frames: Sequence[Frame], decoder: Decoder, capture: Any, **more: Any
    ) -> Keepers:
        """Judge out of thin air."""
        self._note("judge_burst", frames=frames, capture=capture, **more)
        return made_keepers(frames)

    def solve_sweep(
        self, frames: Sequence[Frame], decoder: Decoder, capture: Any, **more: Any
    ) -> StandInSweep:
        """Solve out of thin air."""
        self._note("solve_sweep", frames=frames, capture=capture, **more)
        return StandInSweep(made_coverage(frames), frames)

    def told_against_eye(
        self,
        sweep: StandInSweep,
        decoder: Decoder,
        eye: tuple[float, float] | None = None,
        eye_frame: str | None = None,
        progress: Any = None,
    ) -> Coverage:
        """Tell nothing new."""
        return sweep.coverage

    def merge_sweep(self, sweep: StandInSweep, decoder: Decoder, out: Path, **more: Any) -> Merge:
        """Write tiny files."""
        self._note("merge_sweep", out=out, **more)
        return made_merge(sweep.frames, out)

    def preview_sweep(
        self, sweep: StandInSweep, decoder: Decoder, out: Path, **more: Any
    ) -> Preview:
        """Write a tiny picture."""
        self._note("preview_sweep", out=out, **more)
        out.mkdir(parents=True, exist_ok=True)
        write_jpeg(out / "preview.jpg", np.full((40, 60, 3), 90, np.uint8), None)
        names = tuple(frame.name for frame in sweep.frames)
        left = (LeftOut("M_0009.JPG", "smeared by motion"),)
        return Preview("preview.jpg", 0.25, names[0], names, left, (0, 0, 240, 160), 0.9, 0.5)


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch, cache: Path) -> StandInEngine:
    """Put the stand-ins in place of the engine rooms, with a cache that remembers nothing."""
    made = StandInEngine()
    for room, name in (
        ("runs", "split_runs"),
        ("keepers", "judge_burst"),
        ("sweeps", "solve_sweep"),
        ("merge", "merge_sweep"),
        ("merge", "preview_sweep"),
    ):
        monkeypatch.setattr(f"haltere.{room}.{name}", getattr(made, name))
        monkeypatch.setattr(f"haltere.evening.work.{name}", getattr(made, name))
    # a stand-in for a sweep holds nothing that could be kept
    monkeypatch.setattr("haltere.evening.work.keep_solved", lambda *_: None)
    monkeypatch.setattr("haltere.evening.work.told_against_eye", made.told_against_eye)
    return made


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the process a home of its own for cache and logs."""
    home = tmp_path / "home"
    monkeypatch.setattr("platformdirs.user_cache_path", lambda name: home / "cache" / name)
    monkeypatch.setattr("haltere.doors.cli.defect.user_log_path", lambda name: home / "log" / name)
    return home


@pytest.fixture
def outing(card: Path, tmp_path: Path) -> Outing:
    """Answer a finished outing with one of everything, its merged files under `tmp_path`."""
    frames = find_frames([card]).frames
    names = [frame.name for frame in frames]
    merge = made_merge(frames[4:9], tmp_path / "run-02")
    merge = replace(
        merge,
        picture=f"run-02/{merge.picture}",
        picture_jpeg=f"run-02/{merge.picture_jpeg}",
        origin_map=f"run-02/{merge.origin_map}",
    )
    runs = (
        WorkedRun(
            Run("run-01", "burst", tuple(names[:4]), (), ""), keepers=made_keepers(frames[:4])
        ),
        WorkedRun(
            Run("run-02", "sweep", tuple(names[4:9]), (Pass("away", tuple(names[4:9])),), ""),
            gaps=made_coverage(frames[4:9]),
            merge=merge,
        ),
        WorkedRun(
            Run("run-03", "single", (names[9],), (), ""),
            failed=str(FrameError("M_0010.JPG: can't be decoded.")),
        ),
    )
    skipped = (Skipped("notes <b>.txt", "is no picture & never was"),)
    return Outing(card.name, runs, skipped, {frame.name: frame for frame in frames})


@pytest.fixture
def sweep_error() -> SweepError:
    """Answer an error as a sweep would raise it."""
    return SweepError("The frames of this run do not overlap; give fewer of them.")
