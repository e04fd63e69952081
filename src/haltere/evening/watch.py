"""Watches a folder while frames arrive, and answers each run as soon as it pauses."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from haltere.errors import FrameError, HaltereError, NothingToDoError, UsageError
from haltere.evening.capture import Told, capture_of
from haltere.evening.watch_arrivals import Arrivals
from haltere.evening.watch_numbers import NUMBERS
from haltere.evening.watch_said import Notice, RunSaid, Said
from haltere.frames import Decoder, Found, Frame, Skipped, find_frames
from haltere.keepers import judge_burst
from haltere.progress import Progress
from haltere.runs import Run, Splitting, split_runs
from haltere.runs.split import partings
from haltere.show import WorkedRun
from haltere.sweeps import solve_sweep
from haltere.sweeps.advance import NUMBERS as ADVANCE
from haltere.sweeps.advance import Advance
from haltere.sweeps.choice import NUMBERS as CHOICE
from haltere.sweeps.choice import check_overlap

Begin = Callable[[Callable[[], Any]], "Future[Any]"]
"""Begins some work elsewhere and gives its result to come."""

_SILENT = {
    ".xmp", ".txt", ".xml", ".json", ".log", ".csv", ".dat", ".db", ".ini", ".thm", ".wav", ".mov",
    ".mp4", ".avi", ".lrv", ".html", ".pdf", ".zip",
}  # fmt: skip
"""What programs lay beside pictures; nothing is said of it."""


class _Dropped(Exception):
    """More frames have come, so the work on the old ones ends."""


class _OtherwiseError(Exception):
    """What was taken for a sweep is none."""


@dataclass(frozen=True, slots=True)
class _Earlier:
    """The run answered last, to which the next frames may belong."""

    worked: WorkedRun
    frames: tuple[Frame, ...]


@dataclass(slots=True)
class _Job:
    """A solution under way: when it is dropped, the next tick of progress ends it."""

    result: Future[tuple[list[RunSaid], _Earlier | None]] | None = None
    dropped: bool = False

    def progress(self, step: str, done: int, total: int, /) -> None:
        if self.dropped:
            raise _Dropped


class Watch:
    """A folder that is followed; lives as long as the photographer lets it.

    Every `step` looks at the folder once and returns at once; decoding goes on in the decoder's
    processes and the solution wherever `begin` puts it.  Holds headers of the frames of one run,
    the pictures that the decoder keeps, and what was worked out of a sweep in advance.

    Parameters
    ----------
    arrivals : Arrivals
        The folder.
    decoder : Decoder
        Open decoder.
    told : Told
        Kit and numbers from the call.
    clock : callable
        Seconds that only grow.
    begin : callable
        Begins work elsewhere, one piece after the other.
    pause_s : float, optional
        No new frame for so long ends a run.
    overlap : float, optional
        Share of a depth of field that the frames chosen of a sweep should have in common.

    Raises
    ------
    UsageError
        When the pause or the overlap makes no sense.
    """

    def __init__(
        self,
        arrivals: Arrivals,
        decoder: Decoder,
        told: Told,
        clock: Callable[[], float],
        begin: Begin,
        pause_s: float = NUMBERS.pause_s,
        overlap: float = CHOICE.overlap,
    ) -> None:
        check_pause(pause_s)
        check_overlap(overlap)
        self._arrivals = arrivals
        self._decoder = decoder
        self._told = told
        self._clock = clock
        self._begin = begin
        self._pause_s = pause_s
        self._overlap = overlap
        self._lot: list[Path] = []
        self._bad: list[Skipped] = []
        self._news_s = clock()
        self._job: _Job | None = None
        self._earlier: _Earlier | None = None
        self._away = False
        self._advance: Advance | None = None
        self._seen: set[tuple[Path, str]] = set()
        self.runs = 0

    def step(self) -> list[Said]:
        """Look once; give what is to be said now.

        Returns
        -------
        list of RunSaid or Notice
            Empty nearly always.
        """
        now_s = self._clock()
        look = self._arrivals.look(now_s)
        folder = self._arrivals.folder
        if look.away:
            said: list[Said] = [] if self._away else [
                Notice(f"{folder} is not there any more; waiting until it is back.")
            ]  # fmt: skip
            self._away = True
            return said + self._finished(now_s, resting=True)
        said = [Notice(f"{folder} is back.")] if self._away else []
        self._away = False
        for path in look.stuck:
            said.append(
                Notice(f"{self._name(path)} has stopped growing and lacks its end; copy it again.")
            )
        if look.changed or look.whole:
            self._drop()
        if look.changed:
            self._news_s = now_s
        for path in look.whole:
            said += self._take(path)
        return said + self._finished(now_s, resting=not look.waiting)

    @property
    def unanswered(self) -> int:
        """Files that have come and of which nothing was said yet."""
        return len(self._lot)

    def stop(self) -> None:
        """Give up what is under way."""
        self._drop()
        if self._advance is not None:
            self._advance.close()

    def _name(self, path: Path) -> str:
        try:
            return path.relative_to(self._arrivals.folder).as_posix()
        except ValueError:
            return path.as_posix()

    def _take(self, path: Path) -> list[Said]:
        """Begin with a file that has just become whole."""
        key = (path.parent, path.stem.casefold())
        try:
            found = find_frames([path])
        except HaltereError:  # taken away since it was listed
            return []
        for one in found.skipped:
            if path.suffix.lower() in _SILENT:
                return []
            self._bad.append(Skipped(self._name(path), one.why))
            return [Notice(f"{self._name(path)}: {one.why}.")]
        (frame,) = found.frames
        if frame.kind != "raw":
            self._expect(frame)
        elif key in self._seen and path.stem not in {p.stem for p in self._lot}:
            return []  # its JPEG has been answered already
        self._seen.add(key)
        self._lot.append(path)
        return []

    def _expect(self, frame: Frame) -> None:
        """Have a frame decoded now, and worked on as far as the next ones don't matter."""
        self._decoder.expect(frame, ADVANCE.analysis_px)
        advance = self._advance or Advance(whole=True)
        self._advance = advance
        self._begin(lambda: advance.add(frame, self._decoder))

    def _drop(self) -> None:
        if self._job is not None:
            self._job.dropped = True
            if self._job.result is not None:
                self._job.result.cancel()
            self._job = None

    def _finished(self, now_s: float, *, resting: bool) -> list[Said]:
        """Begin the work early, and give its answer when the pause is over."""
        quiet_s = now_s - self._news_s
        if not self._lot or not resting or quiet_s < NUMBERS.early_s:
            return []
        if self._job is None:
            job = _Job()
            lot, bad = tuple(self._lot), tuple(self._bad)
            job.result = self._begin(lambda: self._work(lot, bad, job.progress))
            self._job = job
        done = self._job.result
        if quiet_s < self._pause_s or done is None or not done.done():
            return []
        self._job = None
        self._lot, self._bad = [], []
        if self._advance is not None:
            self._begin(self._advance.close)
            self._advance = None
        try:
            answered, self._earlier = done.result()
        except _Dropped:  # cannot be: dropped work is not waited for
            return []
        except UsageError:
            raise
        except HaltereError as error:
            return [Notice(str(error))]
        self._decoder.keep_only(self._earlier.frames if self._earlier is not None else ())
        seconds = self._clock() - self._news_s
        self.runs = max([self.runs, *(_number(one.worked.run.id) for one in answered)])
        return [replace(one, seconds=seconds) for one in answered]

    def _work(
        self, lot: tuple[Path, ...], bad: tuple[Skipped, ...], progress: Progress
    ) -> tuple[list[RunSaid], _Earlier | None]:
        """Split a lot into runs and answer each; what is answered counts when it is said."""
        frames = self._in_order(lot)
        earlier = self._earlier
        number = self.runs
        before: tuple[str, ...] = ()
        if earlier is not None and _goes_on(earlier.frames, frames):
            before = tuple(frame.name for frame in earlier.frames)
            frames = (*earlier.frames, *frames)
            number = _number(earlier.worked.run.id) - 1
        splitting, guess = self._split(frames, progress)
        left = (*bad, *splitting.skipped)
        by_name = {frame.name: frame for frame in frames}
        said: list[RunSaid] = []
        for place, found in enumerate(splitting.runs, number + 1):
            run = replace(found, id=f"run-{place:02d}")
            own = tuple(by_name[name] for name in run.frames)
            known = tuple(name for name in run.frames if name in before)
            one = None
            if earlier is not None and run.kind == "sweep" and not known:
                one = self._with_pass_before(run, own, earlier, progress)
            if one is None and guess is not None and guess.run.frames == run.frames:
                one = RunSaid(replace(guess, run=run), known, ())
            if one is None:
                one = RunSaid(self._answered(run, own, progress), known, ())
            said.append(replace(one, skipped=left if not said else ()))
            names = {frame.name: frame for frame in (*(earlier.frames if earlier else ()), *own)}
            earlier = _Earlier(one.worked, tuple(names[n] for n in one.worked.run.frames))
        return said, earlier

    def _split(
        self, frames: Sequence[Frame], progress: Progress
    ) -> tuple[Splitting, WorkedRun | None]:
        """Split frames into runs and, where they may well be one sweep, solve it meanwhile.

        Splitting keeps one core busy for half a second; the other begins with the longer work,
        which is dropped as soon as the frames turn out to be something else.
        """
        if len(frames) < NUMBERS.sweep_frames or any(partings(frames)):
            return split_runs(frames, self._decoder, progress), None
        with ThreadPoolExecutor(1) as side:
            split = side.submit(split_runs, frames, self._decoder, progress)

            def unless_split(step: str, done: int, total: int, /) -> None:
                progress(step, done, total)
                if split.done() and not _one_sweep(split.result()):
                    raise _OtherwiseError

            names = tuple(frame.name for frame in frames)
            guess: WorkedRun | None = None
            try:
                guess = self._answered(Run("", "sweep", names, (), ""), frames, unless_split)
            except _OtherwiseError:
                guess = None
            return split.result(), guess if _one_sweep(split.result()) else None

    def _in_order(self, lot: Sequence[Path]) -> tuple[Frame, ...]:
        there = [path for path in lot if path.exists()]
        found = find_frames(there) if there else Found((), ())
        if not found.frames:
            raise NothingToDoError("The frames that came are gone again; nothing was looked at.")
        return tuple(
            replace(
                frame,
                name=self._name(frame.path),
                raw_name=None if frame.raw_path is None else self._name(frame.raw_path),
            )
            for frame in found.frames
        )

    def _answered(self, run: Run, frames: Sequence[Frame], progress: Progress) -> WorkedRun:
        worked = WorkedRun(run)
        if run.kind == "single":
            return worked  # nothing to hold it against
        try:
            capture = capture_of(frames, self._told)
            if run.kind == "burst":
                judged = judge_burst(frames, self._decoder, capture, progress=progress)
                return replace(worked, keepers=judged)
            advance = self._advance
            sweep = solve_sweep(
                frames,
                self._decoder,
                capture,
                overlap=self._overlap,
                advance=advance,
                progress=progress,
            )
            if advance is None or sweep.lumas is not advance.lumas:  # more frames may come
                sweep.close()
            return worked.covered(sweep.coverage)
        except UsageError:
            raise
        except HaltereError as error:
            return replace(worked, failed=str(error))

    def _with_pass_before(
        self, run: Run, frames: Sequence[Frame], earlier: _Earlier, progress: Progress
    ) -> RunSaid | None:
        """Answer for two passes together, when the new one goes through the same animal."""
        first = earlier.worked.gaps
        if first is None or first.complete or not _soon(earlier.frames[-1], frames[0]):
            return None
        both = (*earlier.frames, *frames)
        known = tuple(frame.name for frame in earlier.frames)
        passes = (*earlier.worked.run.passes, *run.passes)
        together = replace(run, frames=(*known, *run.frames), passes=passes)
        worked = self._answered(together, both, progress)
        if worked.gaps is None:
            return None
        new = [plane for plane in worked.gaps.planes if plane.frame not in known]
        placed = sum(plane.position_dof is not None for plane in new)
        if placed < NUMBERS.same_share * len(new):
            return None
        return RunSaid(worked, known, ())


def check_pause(pause_s: float) -> None:
    """Refuse a pause that can't be kept.

    Parameters
    ----------
    pause_s : float
        In seconds.

    Raises
    ------
    UsageError
        When it is shorter than two looks at the folder, or longer than anybody waits.
    """
    if not NUMBERS.least_pause_s <= pause_s <= NUMBERS.most_pause_s:
        raise UsageError(
            f"a pause of {pause_s:g} s can't be kept; give {NUMBERS.least_pause_s:g} to "
            f"{NUMBERS.most_pause_s:g} seconds"
        )


def warm_up(decoder: Decoder, picture: Path | None = None) -> None:
    """Load what the first run would have to wait for.

    Parameters
    ----------
    decoder : Decoder
        Open decoder; its processes start now.
    picture : Path, optional
        Any file; it need not be a picture.
    """
    from haltere.sweeps.warm import warm_up as solve_something

    solve_something()
    nothing = picture or Path("nothing.jpg")
    from haltere.frames.frame import Shooting

    frame = Frame(nothing, nothing.name, "jpeg", 1, 1, 1, Shooting())
    for future in [decoder.submit_luma(frame, 16), decoder.submit_luma(frame, 16)]:
        try:
            future.result()
        except FrameError:
            continue


def _one_sweep(splitting: Splitting) -> bool:
    return [run.kind for run in splitting.runs] == ["sweep"]


def _number(name: str) -> int:
    return int(name.rpartition("-")[2])


def _goes_on(before: Sequence[Frame], after: Sequence[Frame]) -> bool:
    """Whether frames that came late belong to the run before, by the camera's own clock."""
    timed = all(f.shooting.time is not None for f in (before[-1], after[0]))
    return timed and not partings((*before, *after))[len(before)]


def _soon(before: Frame, after: Frame) -> bool:
    """Whether a run may be another pass through what was there before."""
    settings = [
        (f.width_px, f.height_px, f.shooting.focal_mm, f.shooting.f_number, f.shooting.serial)
        for f in (before, after)
    ]
    first, second = before.shooting.time, after.shooting.time
    if settings[0] != settings[1] or first is None or second is None:
        return False
    if (first.tzinfo is None) != (second.tzinfo is None):
        first, second = first.replace(tzinfo=None), second.replace(tzinfo=None)
    return 0 <= (second - first).total_seconds() <= NUMBERS.pass_s
