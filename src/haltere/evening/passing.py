"""Bursts judged in passing, while the evening is still being split: each file decoded once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import asdict, dataclass

from haltere.errors import HaltereError
from haltere.fieldbook import Book, recall, record, step_key
from haltere.frames import Decoder
from haltere.frames.frame import Frame
from haltere.keepers.shots import fine_px
from haltere.keepers.verdict import Keepers
from haltere.kit import Capture
from haltere.runs import Taker
from haltere.runs.run import Run

AT_ONCE = 2
"""Bursts judged at a time: one is thought about while another's arithmetic runs; more would only
hold more pictures."""

CaptureFor = Callable[[Sequence[Frame]], Capture]
Judging = Callable[[Sequence[Frame], Capture], "Future[Keepers]"]


@dataclass(frozen=True, slots=True)
class _Begun:
    """A burst being judged, and how it will be written down."""

    run: Run
    frames: Sequence[Frame]
    key: str
    params: Mapping[str, object]
    answer: Future[Keepers]


class InPassing:
    """Goes on with each run as soon as it is split off, and writes its answer down.

    Parameters
    ----------
    book : Book
        Open book; written to from the thread that splits, in the order in which answers come.
    outing_id : int
        The outing.
    decoder : Decoder
        Open decoder.
    capture_for : callable
        Says how some frames were taken.
    judging : callable
        Begins to judge a burst elsewhere.
    """

    def __init__(
        self,
        book: Book,
        outing_id: int,
        decoder: Decoder,
        capture_for: CaptureFor,
        judging: Judging,
    ) -> None:
        self._book, self._outing_id, self._decoder = book, outing_id, decoder
        self._capture_for, self._judging = capture_for, judging
        self._begun: list[_Begun] = []
        self._wrong: dict[str, Future[Keepers]] = {}

    def taker(self) -> Taker:
        """Give what splitting hands its runs to."""
        return Taker(self._longest_px, self._take)

    def finish(self) -> dict[str, Future[Keepers]]:
        """Wait for what is still at work.

        Returns
        -------
        dict of str to Future of Keepers
            Bursts that could not be judged, by the key of their step.
        """
        self._until(0)
        return self._wrong

    def _longest_px(self, frames: Sequence[Frame]) -> int:
        try:
            return fine_px(frames[0], self._capture_for(frames))
        except HaltereError:  # said when the run is asked for
            return 0

    def _take(self, run: Run, frames: Sequence[Frame]) -> None:
        one = None if run.kind == "sweep" else self._begin(run, frames)
        if one is None:
            self._decoder.forget(frames)
            return
        self._begun.append(one)
        self._until(AT_ONCE)

    def _begin(self, run: Run, frames: Sequence[Frame]) -> _Begun | None:
        """Begin to judge, unless the answer is known or it can't be said how it was taken."""
        try:
            capture = self._capture_for(frames)
        except HaltereError:
            return None
        params = {"capture": asdict(capture), "eye": None, "eye_frame": None}
        key = step_key("keepers", frames, params)
        if recall(self._book, key, Keepers) is not None:
            return None
        return _Begun(run, frames, key, params, self._judging(frames, capture))

    def _until(self, left: int) -> None:
        """Wait until no more than so many are at work, and write down those that are done."""
        while True:
            for one in [one for one in self._begun if one.answer.done()]:
                self._begun.remove(one)
                self._put_down(one)
            if len(self._begun) <= left:
                return
            wait([one.answer for one in self._begun], return_when=FIRST_COMPLETED)

    def _put_down(self, one: _Begun) -> None:
        self._decoder.forget(one.frames)  # what judging had no use for
        if one.answer.exception() is not None:
            self._wrong[one.key] = one.answer
            return
        record(
            self._book, self._outing_id, "keepers", one.run.id, one.key, one.params,
            one.answer.result(),
        )  # fmt: skip
