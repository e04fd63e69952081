"""One outing at work: each step is recalled from the field book, or done and written down."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TypeVar

from haltere.align.ahead import calls_alone
from haltere.errors import BookError
from haltere.evening.book_of_merge import note_book
from haltere.evening.passing import AT_ONCE, InPassing
from haltere.evening.solved_again import keep_solved, solved_before
from haltere.evening.sweep_eye import told_against_eye
from haltere.fieldbook import (
    Book,
    decisions_in,
    keep_frames,
    keep_kit,
    keep_runs,
    open_book,
    passing_book,
    place_outing,
    recall,
    record,
    step_key,
)
from haltere.frames import Decoder
from haltere.frames.frame import Frame
from haltere.keepers import judge_burst
from haltere.keepers.verdict import Keepers
from haltere.kit import Capture, Kit
from haltere.merge import Preview, merge_sweep, preview_sweep
from haltere.merge.limits import NUMBERS as MERGING
from haltere.merge.merged import Merge
from haltere.progress import Progress, silent
from haltere.runs import Splitting, split_runs
from haltere.sweeps import solve_sweep
from haltere.sweeps.choice import NUMBERS as CHOICE
from haltere.sweeps.coverage import Coverage
from haltere.sweeps.sweep import Sweep

Result = TypeVar("Result", Keepers, Coverage, Merge, Splitting)


class Work:
    """The frames of one outing, the book that remembers them, and a decoder.

    Lives from `at_work` to the end of its `with` block.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing, its frames written down.
    decoder : Decoder
        Open decoder.
    """

    def __init__(self, book: Book, outing_id: int, decoder: Decoder) -> None:
        self.book = book
        self.outing_id = outing_id
        self.decoder = decoder
        self._ahead: dict[str, Future[Keepers]] = {}
        self._pool: ThreadPoolExecutor | None = None

    def close(self) -> None:
        """Stop what was begun ahead."""
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def decided(self) -> dict[str, str]:
        """Give what the person decided of this outing's frames, by name.

        Returns
        -------
        dict of str to str
            'keep', 'maybe', 'drop' or 'undecided'; frames without a decision are left out.
        """
        return dict(decisions_in(self.book, self.outing_id))

    def split(
        self,
        frames: Sequence[Frame],
        progress: Progress = silent,
        capture_for: Callable[[Sequence[Frame]], Capture] | None = None,
    ) -> Splitting:
        """Split the outing into runs, and judge its bursts in passing.

        Parameters
        ----------
        frames : sequence of Frame
            All of them.
        progress : Progress, optional
            Told of each frame.
        capture_for : callable, optional
            Says how some frames were taken; with it each burst and single is judged while its
            pictures are at hand, so that a file is decoded once for both, and is written down at
            once.  What went wrong there is said when the burst is asked for.

        Returns
        -------
        Splitting
            The runs, and what could not be read.
        """

        def do() -> Splitting:
            if capture_for is None:
                return split_runs(frames, self.decoder, progress)
            return self._split_and_judge(frames, progress, capture_for)

        splitting = self._step("runs", "", frames, {}, Splitting, do)
        keep_runs(self.book, self.outing_id, splitting.runs)
        return splitting

    def _split_and_judge(
        self,
        frames: Sequence[Frame],
        progress: Progress,
        capture_for: Callable[[Sequence[Frame]], Capture],
    ) -> Splitting:
        def judging(some: Sequence[Frame], capture: Capture) -> Future[Keepers]:
            return self._judging().submit(judge_burst, some, self.decoder, capture)

        passing = InPassing(self.book, self.outing_id, self.decoder, capture_for, judging)
        splitting = split_runs(frames, self.decoder, progress, passing.taker())
        self._ahead |= passing.finish()  # what went wrong is said when it is asked for
        return splitting

    def _judging(self) -> ThreadPoolExecutor:
        if self._pool is None:
            self._pool = ThreadPoolExecutor(AT_ONCE, "judging")
        return self._pool

    def judge(
        self,
        frames: Sequence[Frame],
        capture: Capture,
        *,
        subject: str = "",
        eye: tuple[float, float] | None = None,
        eye_frame: str | None = None,
        progress: Progress = silent,
    ) -> Keepers:
        """Rank the frames of one burst.

        Parameters
        ----------
        frames : sequence of Frame
            Of the run.
        capture : Capture
            How it was taken.
        subject : str, optional
            The run's id.
        eye : tuple of float, optional
            Where the eye is, in full-size pixels of `eye_frame`.
        eye_frame : str, optional
            A frame's name.
        progress : Progress, optional
            Told of each step.

        Returns
        -------
        Keepers
            The ranking and its verdict.
        """
        params = {"capture": asdict(capture), "eye": eye, "eye_frame": eye_frame}
        begun = self._ahead.pop(step_key("keepers", frames, params), None)

        def do() -> Keepers:
            if begun is not None:
                progress("measuring the eye", 0, 1)
                return begun.result()
            if eye is None:
                return judge_burst(frames, self.decoder, capture, progress=progress)
            return judge_burst(
                frames, self.decoder, capture, eye=eye, eye_frame=eye_frame, progress=progress
            )

        return self._step("keepers", subject, frames, params, Keepers, do)

    def expect(self, frames: Sequence[Frame], capture: Capture) -> None:
        """Begin to judge a burst that will be asked for next, unless its answer is known.

        One run's decoding then goes on while another's is thought about; two runs at a time.

        Parameters
        ----------
        frames : sequence of Frame
            Of the run.
        capture : Capture
            How it was taken.
        """
        params = {"capture": asdict(capture), "eye": None, "eye_frame": None}
        key = step_key("keepers", frames, params)
        if key in self._ahead or recall(self.book, key, Keepers) is not None:
            return
        self._ahead[key] = self._judging().submit(judge_burst, frames, self.decoder, capture)

    def cover(
        self,
        frames: Sequence[Frame],
        capture: Capture,
        *,
        subject: str = "",
        reference: str | None = None,
        overlap: float = CHOICE.overlap,
        eye: tuple[float, float] | None = None,
        eye_frame: str | None = None,
        progress: Progress = silent,
    ) -> Coverage:
        """Place the planes of one sweep and name its gaps.

        Parameters
        ----------
        frames : sequence of Frame
            Of the run.
        capture : Capture
            How it was taken.
        subject : str, optional
            The run's id.
        reference : str, optional
            Frame whose view counts.
        overlap : float, optional
            Share of a depth of field that the chosen frames should have in common.
        eye : tuple of float, optional
            Where the eye is, in full-size pixels of `eye_frame`; looked for where it is wanted.
        eye_frame : str, optional
            A frame's name.
        progress : Progress, optional
            Told of each step.

        Returns
        -------
        Coverage
            Planes, passes, gaps.
        """

        def do() -> Coverage:
            sweep = solve_sweep(
                frames,
                self.decoder,
                capture,
                reference=reference,
                overlap=overlap,
                progress=progress,
            )
            with closing(sweep):
                keep_solved(self.book, solved_key, sweep)
                return told_against_eye(sweep, self.decoder, eye, eye_frame, progress)

        params = _covering(capture, reference, overlap, eye, eye_frame)
        solved_key = step_key("solve", frames, _solving(capture, reference, overlap))
        return self._step("gaps", subject, frames, params, Coverage, do)

    def merge(
        self,
        frames: Sequence[Frame],
        capture: Capture,
        out: Path,
        *,
        subject: str = "",
        reference: str | None = None,
        keep_less: bool = False,
        with_background: bool = False,
        group_frames: int | None = None,
        progress: Progress = silent,
        covered: Callable[[Coverage], None] | None = None,
    ) -> Merge:
        """Merge one sweep into one deep picture; solves it only when something is missing.

        Parameters
        ----------
        frames : sequence of Frame
            Of the run.
        capture : Capture
            How it was taken.
        out : Path
            Folder for the picture and its maps.
        subject : str, optional
            The run's id.
        reference : str, optional
            Frame whose view counts.
        keep_less : bool, optional
            Merge also when little of the reference frame is left.
        with_background : bool, optional
            Merge also frames whose planes lie wholly behind the animal.
        group_frames : int, optional
            Paint in overlapping groups of so many frames, which are kept and used again.
        progress : Progress, optional
            Told of each step.
        covered : callable, optional
            Given the coverage as soon as it is known, before the merge.

        Returns
        -------
        Merge
            The picture and its maps, named relative to `out`.
        """
        params = _covering(capture, reference)
        wishes = {
            "keep_less": keep_less,
            "with_background": with_background,
            "group_frames": group_frames,
        }
        place = {**params, **wishes, "out": str(out.resolve())}

        gaps_key = step_key("gaps", frames, params)
        merge_key = step_key("merge", frames, place)
        coverage = recall(self.book, gaps_key, Coverage)
        merged = recall(self.book, merge_key, Merge)
        if coverage is not None and covered is not None:
            covered(coverage)
        if coverage is not None and merged is not None:
            return merged
        with self._solved(frames, capture, reference, progress) as sweep:
            if coverage is None:
                coverage = told_against_eye(sweep, self.decoder, progress=progress)
                record(self.book, self.outing_id, "gaps", subject, gaps_key, params, coverage)
                if covered is not None:
                    covered(coverage)
            merged = merge_sweep(
                sweep,
                self.decoder,
                out,
                keep_share=0.0 if keep_less else MERGING.keep_share,
                with_background=with_background,
                group_frames=group_frames,
                progress=progress,
            )
        note_book(out, self.book)
        files = (
            merged.picture, merged.picture_jpeg, merged.origin_map, merged.depth_map,
            merged.confidence_map, merged.seen_map, merged.views, merged.noise_map,
        )  # fmt: skip
        made = [out / name for name in files if name is not None]
        record(self.book, self.outing_id, "merge", subject, merge_key, place, merged, made)
        return merged

    def preview(
        self,
        frames: Sequence[Frame],
        capture: Capture,
        out: Path,
        *,
        reference: str | None = None,
        with_background: bool = False,
        progress: Progress = silent,
    ) -> Preview:
        """Merge one sweep at a quarter of its size; nothing of it but the solution is remembered.

        Parameters
        ----------
        frames : sequence of Frame
            Of the run.
        capture : Capture
            How it was taken.
        out : Path
            Folder for the picture.
        reference : str, optional
            Frame whose view counts.
        with_background : bool, optional
            Merge also frames whose planes lie wholly behind the animal.
        progress : Progress, optional
            Told of each step.

        Returns
        -------
        Preview
            The picture, named relative to `out`.
        """
        with self._solved(frames, capture, reference, progress) as sweep:
            return preview_sweep(
                sweep, self.decoder, out, with_background=with_background, progress=progress
            )

    @contextmanager
    def _solved(
        self,
        frames: Sequence[Frame],
        capture: Capture,
        reference: str | None,
        progress: Progress,
    ) -> Iterator[Sweep]:
        """Solve a sweep, or bring it back as it was solved before."""
        key = step_key("solve", frames, _solving(capture, reference))
        with calls_alone():
            sweep = solved_before(
                self.book, key, frames, self.decoder, capture, progress
            ) or solve_sweep(frames, self.decoder, capture, reference=reference, progress=progress)
            with closing(sweep):
                keep_solved(self.book, key, sweep)
                yield sweep

    def _step(
        self,
        verb: str,
        subject: str,
        frames: Sequence[Frame],
        params: Mapping[str, object],
        kind: type[Result],
        do: Callable[[], Result],
    ) -> Result:
        key = step_key(verb, frames, params)
        known = recall(self.book, key, kind)
        if known is not None:
            return known
        result = do()
        record(self.book, self.outing_id, verb, subject, key, params, result)
        return result


@contextmanager
def at_work(
    frames: Sequence[Frame],
    folder: Path,
    name: str,
    decoder: Decoder,
    place: Path,
    kit: Kit | None = None,
    known: bool = False,
) -> Iterator[Work]:
    """Adopt a folder in place, in the field book of another folder.

    Where that folder can't be written, a book in memory takes its place: the work is done all the
    same, and only not remembered.

    Parameters
    ----------
    frames : sequence of Frame
        As found.
    folder : Path
        Where they lie.
    name : str
        What the outing is called.
    decoder : Decoder
        Open decoder.
    place : Path
        Folder for the book.
    kit : Kit, optional
        What it was taken with; the book keeps it.
    known : bool, optional
        The frames came from this very book, and need not be written down.

    Yields
    ------
    Work
        The outing, its frames written down.
    """
    try:
        book = open_book(place)
        if book.read_only:
            book.close()
            book = passing_book()
    except BookError:
        book = passing_book()
    with book:
        outing_id = place_outing(book, folder, name, day=_day(frames), in_place=True)
        if not known:
            keep_frames(book, outing_id, frames)
        if kit is not None:
            keep_kit(book, kit)
        with closing(Work(book, outing_id, decoder)) as work:
            yield work


def _covering(
    capture: Capture,
    reference: str | None,
    overlap: float = CHOICE.overlap,
    eye: tuple[float, float] | None = None,
    eye_frame: str | None = None,
) -> dict[str, object]:
    """Name every number that the answer of a sweep depends on."""
    return {
        "capture": asdict(capture),
        "reference": reference,
        "overlap": overlap,
        "eye": eye,
        "eye_frame": eye_frame,
    }


def _solving(
    capture: Capture, reference: str | None, overlap: float = CHOICE.overlap
) -> dict[str, object]:
    """Name every number that a solved sweep depends on."""
    return {"capture": asdict(capture), "reference": reference, "overlap": overlap}


def _day(frames: Sequence[Frame]) -> str:
    times = [frame.shooting.time for frame in frames if frame.shooting.time is not None]
    return times[0].date().isoformat() if times else ""
