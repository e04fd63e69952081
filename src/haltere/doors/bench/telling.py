"""What the book knows, put into the shapes that the page shows; words are those of the sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from haltere.doors.bench.eyes import moves
from haltere.doors.bench.said import (
    AllOutings,
    Block,
    EveningSaid,
    EyeSeen,
    FrameSaid,
    Hole,
    Layer,
    OutingSaid,
    RunCard,
    Rung,
    RunSaid,
    SmallLadder,
)
from haltere.doors.bench.shelf import file_of, revision
from haltere.errors import UsageError
from haltere.fieldbook import (
    Book,
    FramesByName,
    OutingRow,
    RunBlock,
    Standing,
    answers_in,
    decisions_in,
    outings,
    run_blocks,
    runs_in,
)
from haltere.frames.frame import Frame
from haltere.keepers.verdict import Keepers
from haltere.merge.merged import Merge
from haltere.runs.run import Run
from haltere.show import Outing, WorkedRun, words
from haltere.show.sweep_words import push_lines
from haltere.sweeps.coverage import Coverage

Answers = Mapping[tuple[str, str], Standing]


@dataclass(frozen=True, slots=True)
class _Known:
    """What the book knows of one outing."""

    row: OutingRow
    frames: FramesByName
    runs: Sequence[Run]
    decided: Mapping[str, str]
    said: OutingSaid
    as_outing: Outing


def season(book: Book) -> AllOutings:
    """Tell all outings with pictures, newest first.

    Parameters
    ----------
    book : Book
        Open book.
    """
    blocks: dict[int, list[RunBlock]] = {}
    for block in run_blocks(book):
        blocks.setdefault(block.outing_id, []).append(block)
    told = tuple(_outing(row, blocks.get(row.id, ())) for row in outings(book) if row.frames)
    return AllOutings(str(book.folder), told)


def evening(book: Book, row: OutingRow) -> EveningSaid:
    """Tell one outing run by run.

    Parameters
    ----------
    book : Book
        Open book.
    row : OutingRow
        The outing.
    """
    known, answers = _known(book, row), answers_in(book, row.id)
    cards = tuple(_card(known, run, answers) for run in known.runs)
    return EveningSaid(known.said, cards)


def one_run(book: Book, row: OutingRow, run_id: str) -> RunSaid:
    """Tell everything of one run.

    Parameters
    ----------
    book : Book
        Open book.
    row : OutingRow
        The outing.
    run_id : str
        The run.

    Raises
    ------
    UsageError
        When the outing has no such run.
    """
    known = _known(book, row)
    place = next((i for i, one in enumerate(known.runs) if one.id == run_id), None)
    if place is None:
        raise UsageError(f"{run_id}: is no run of this outing; go back to the evening")
    run = known.runs[place]
    answers = answers_in(book, row.id, run_id)
    keepers, gaps, merge = _read(answers, run_id)
    judged = {} if keepers is None else {one.frame: one for one in keepers.frames}
    frames = tuple(
        FrameSaid(
            id=known.frames.number(name),
            name=name,
            rev=revision(known.frames[name].path),
            width_px=known.frames[name].width_px,
            height_px=known.frames[name].height_px,
            clock=_clock(known.frames[name]),
            verdict=known.decided.get(name, "undecided"),  # type: ignore[arg-type]
            place=words.place(judged[name]) if name in judged else "",
            faults=words.said_faults(judged[name]) if name in judged else "",
            raw=known.frames[name].kind == "raw",
        )
        for name in run.frames
    )
    head, text = _answer(keepers, gaps)
    merged = answers.get(("merge", run_id))
    return RunSaid(
        outing=replace(known.said, runs=()),
        run=run,
        title=words.run_title(run, known.as_outing),
        head=head,
        text=text,
        notes=() if gaps is None else tuple(push_lines(gaps)),
        frames=frames,
        keepers=keepers,
        gaps=gaps,
        gap_words=() if gaps is None else tuple(words.gap(one) for one in gaps.gaps),
        merge=merge,
        layers=() if merge is None else _layers(merge, merged),
        before=known.runs[place - 1].id if place else None,
        after=known.runs[place + 1].id if place + 1 < len(known.runs) else None,
        current=all(one.current for one in answers.values()),
        eye_moves=len(moves(book, row.id, run_id)),
    )


def _known(book: Book, row: OutingRow) -> _Known:
    frames, runs = FramesByName(book, row.id), runs_in(book, row.id)
    decided = decisions_in(book, row.id)
    said = _outing(row, run_blocks(book, row.id))
    whole = Outing(row.name, tuple(WorkedRun(run) for run in runs), (), frames, decided)
    return _Known(row, frames, runs, decided, said, whole)


def _outing(row: OutingRow, blocks: Sequence[RunBlock]) -> OutingSaid:
    runs = tuple(
        Block(
            one.id, one.kind, one.frames, _said_time(one.begins), _said_time(one.ends),
            # a sweep asks for no word
            one.kind != "sweep" and one.undecided > 0,
        )
        for one in blocks
    )  # fmt: skip
    return OutingSaid(
        id=row.id,
        day=row.day,
        name=row.name,
        title=row.title,
        frames=row.frames,
        runs=runs,
        open=sum(run.open for run in runs),
    )


def _said_time(moment: datetime | None) -> str | None:
    if moment is None:
        return None
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds")


def _clock(frame: Frame) -> str:
    moment = words.moment(frame)
    return "" if moment is None else f"{moment:%H:%M:%S}"


def _read(answers: Answers, run_id: str) -> tuple[Keepers | None, Coverage | None, Merge | None]:
    asked = [answers.get((verb, run_id)) for verb in ("keepers", "gaps", "merge")]
    keepers, gaps, merge = asked
    return (
        None if keepers is None else keepers.as_a(Keepers),
        None if gaps is None else gaps.as_a(Coverage),
        None if merge is None else merge.as_a(Merge),
    )


def _answer(keepers: Keepers | None, gaps: Coverage | None) -> tuple[str, str]:
    if keepers is not None:
        return words.verdict_head(keepers), keepers.verdict.text
    if gaps is not None:
        return words.coverage_head(gaps), gaps.reason
    return "", ""


def _card(known: _Known, run: Run, answers: Answers) -> RunCard:
    keepers, gaps, merge = _read(answers, run.id)
    head, text = _answer(keepers, gaps)
    counted = [known.decided.get(name, "undecided") for name in run.frames]
    layers = () if merge is None else _layers(merge, answers.get(("merge", run.id)))
    merged = next((layer.rev for layer in layers if layer.which == "merged"), None)
    block = next(one for one in known.said.runs if one.id == run.id)
    few = run.frames if len(run.frames) < 5 else run.frames[:: max(1, len(run.frames) // 4)][:4]
    return RunCard(
        id=run.id,
        kind=run.kind,
        title=words.run_title(run, known.as_outing),
        clock=words.clock(known.frames.get(run.frames[0])),
        frames=len(run.frames),
        begins=block.begins,
        head=head,
        text=text,
        open=block.open,
        decided={word: counted.count(word) for word in ("keep", "maybe", "drop")},
        eye=None if keepers is None else _best_eye(known, keepers),
        ladder=None if gaps is None else small_ladder(gaps),
        picture=merged,
        looks=tuple((known.frames.number(name), revision(known.frames[name].path)) for name in few),
    )


def _best_eye(known: _Known, keepers: Keepers) -> EyeSeen | None:
    best = keepers.best
    if best is None or best.eye_px is None or best.frame not in known.frames:
        return None
    rev = revision(known.frames[best.frame].path)
    return EyeSeen(known.frames.number(best.frame), rev, best.eye_px[0], best.eye_px[1])


def small_ladder(gaps: Coverage) -> SmallLadder | None:
    """Give a sweep's planes and gaps in one unit; None where no plane has a place.

    Parameters
    ----------
    gaps : Coverage
        The sweep as solved.
    """
    in_mm = gaps.depth_of_field_mm is not None and all(
        plane.position_mm is not None for plane in gaps.planes if plane.position_dof is not None
    )
    rungs = [
        Rung(at, plane.usable)
        for plane in gaps.planes
        if (at := plane.position_mm if in_mm else plane.position_dof) is not None
    ]
    if not rungs:
        return None
    holes = [
        Hole(near, far)
        for gap in gaps.gaps
        if (near := gap.from_mm if in_mm else gap.from_dof) is not None
        and (far := gap.to_mm if in_mm else gap.to_dof) is not None
    ]
    half = 0.5 * (gaps.depth_of_field_mm or 0.0) if in_mm else 0.5
    return SmallLadder(
        "mm" if in_mm else "dof",
        half,
        tuple(sorted(rungs, key=lambda rung: rung.at)),
        tuple(holes),
    )


def _layers(merge: Merge, answered: Standing | None) -> tuple[Layer, ...]:
    x0, y0, x1, y1 = merge.crop_px
    found = []
    for which, name in (
        ("merged", merge.picture_jpeg),
        ("origin", merge.origin_map),
        ("depth", merge.depth_map),
        ("confidence", merge.confidence_map),
    ):
        path = file_of(answered, name)
        if path is not None:
            found.append(Layer(which, revision(path), x1 - x0, y1 - y0))  # type: ignore[arg-type]
    return tuple(found)
