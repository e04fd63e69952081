"""What the bench says to its page, one shape an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from haltere.keepers.verdict import Keepers
from haltere.merge.merged import Merge
from haltere.runs.run import Run, RunKind
from haltere.sweeps.coverage import Coverage

VerdictWord = Literal["keep", "maybe", "drop", "undecided"]
WorkKind = Literal[
    "evening",
    "judge",
    "cover",
    "merge",
    "demo",
    "patch",
    "depth",
    "export",
    "finish",
    "unload",
    "verify",
]


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why something was not done, in one sentence."""

    error: str


@dataclass(frozen=True, slots=True)
class Block:
    """One run on an outing's strip of time.

    Attributes
    ----------
    id : str
        The run's id.
    kind : str
        What the photographer did.
    frames : int
        How many.
    begins, ends : str or None
        First and last exposure, ISO 8601; None where the files do not say.
    open : bool
        Whether it still waits for the person's word.
    """

    id: str
    kind: RunKind
    frames: int
    begins: str | None
    ends: str | None
    open: bool


@dataclass(frozen=True, slots=True)
class OutingSaid:
    """One outing of the season."""

    id: int
    day: str
    name: str
    title: str
    frames: int
    runs: tuple[Block, ...]
    open: int


@dataclass(frozen=True, slots=True)
class AllOutings:
    """All outings of the book."""

    book: str
    outings: tuple[OutingSaid, ...]


@dataclass(frozen=True, slots=True)
class EyeSeen:
    """One frame's eye as it can be shown: its number, revision and where the eye is."""

    frame: int
    rev: str
    x_px: float
    y_px: float


@dataclass(frozen=True, slots=True)
class Rung:
    """One plane on a small ladder; positions in the ladder's unit."""

    at: float
    usable: bool


@dataclass(frozen=True, slots=True)
class Hole:
    """One gap on a small ladder."""

    near: float
    far: float


@dataclass(frozen=True, slots=True)
class SmallLadder:
    """A sweep's planes and gaps, along depth.

    Attributes
    ----------
    unit : {"mm", "dof"}
        Unit of all positions.
    half : float
        Half a depth of field.
    rungs, holes : tuple
        Planes and gaps, near to far.
    """

    unit: Literal["mm", "dof"]
    half: float
    rungs: tuple[Rung, ...]
    holes: tuple[Hole, ...]


@dataclass(frozen=True, slots=True)
class RunCard:
    """One run of an evening.

    Attributes
    ----------
    id, kind, title, clock : str
        Which run, what it is, and when.
    frames : int
        How many.
    begins : str or None
        First exposure, ISO 8601.
    head, text : str
        The answer in two words, and in a sentence; empty where there is none yet.
    open : bool
        Whether it still waits for the person's word.
    decided : dict
        How many frames were kept, kept for now, dropped.
    eye : EyeSeen or None
        Best eye of a burst or single.
    ladder : SmallLadder or None
        Of a sweep.
    picture : str or None
        Revision of the merged picture; None where there is none.
    looks : tuple of (int, str)
        Frames to show where nothing else is there: number and revision.
    """

    id: str
    kind: RunKind
    title: str
    clock: str
    frames: int
    begins: str | None
    head: str
    text: str
    open: bool
    decided: dict[str, int]
    eye: EyeSeen | None
    ladder: SmallLadder | None
    picture: str | None
    looks: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class EveningSaid:
    """One outing, run by run."""

    outing: OutingSaid
    runs: tuple[RunCard, ...]


@dataclass(frozen=True, slots=True)
class FrameSaid:
    """One frame of a run.

    Attributes
    ----------
    id : int
        Its number in the book, for addresses.
    name : str
        As results name it.
    rev : str
        Changes with the file.
    width_px, height_px : int
        Upright full size.
    clock : str
        Time of day; empty where the file does not say.
    verdict : str
        The person's word.
    place, faults : str
        In words: where the plane lies, what is wrong; empty where nothing was said.
    raw : bool
        Whether it has to be developed before it is seen.
    """

    id: int
    name: str
    rev: str
    width_px: int
    height_px: int
    clock: str
    verdict: VerdictWord
    place: str
    faults: str
    raw: bool


@dataclass(frozen=True, slots=True)
class Layer:
    """One picture of a merged sweep that can be laid open."""

    which: Literal["merged", "origin", "depth", "confidence", "repaired"]
    rev: str
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class RunSaid:
    """Everything said of one run.

    Attributes
    ----------
    outing : OutingSaid
        Its outing, without the other runs.
    run : Run
        The run.
    title, head, text : str
        In words.
    notes : tuple of str
        What else is worth knowing, a sentence each.
    frames : tuple of FrameSaid
        In order of time.
    keepers : Keepers or None
        Of a burst or single.
    gaps : Coverage or None
        Of a sweep.
    gap_words : tuple of str
        Each gap in words.
    merge : Merge or None
        Of a sweep that was merged.
    layers : tuple of Layer
        Pictures of it that are still there.
    before, after : str or None
        Ids of the neighbouring runs.
    current : bool
        Whether this very haltere gave the answer.
    eye_moves : int
        How often the eye was moved here and not moved back.
    """

    outing: OutingSaid
    run: Run
    title: str
    head: str
    text: str
    notes: tuple[str, ...]
    frames: tuple[FrameSaid, ...]
    keepers: Keepers | None
    gaps: Coverage | None
    gap_words: tuple[str, ...]
    merge: Merge | None
    layers: tuple[Layer, ...]
    before: str | None
    after: str | None
    current: bool
    eye_moves: int


@dataclass(frozen=True, slots=True)
class Grid:
    """Which frame each place of a merged picture comes from.

    Attributes
    ----------
    columns, rows : int
        Size of the grid.
    cell_px : float
        Side of a cell, pixels of the merged picture.
    crop_px : tuple of int
        Where the merged picture lies on the reference frame.
    frames : tuple of str
        Frames that went in.
    index : tuple of int
        Row by row, position in `frames`; -1 where there is none.
    """

    columns: int
    rows: int
    cell_px: float
    crop_px: tuple[int, int, int, int]
    frames: tuple[str, ...]
    index: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Decision:
    """The person's word on some frames of an outing."""

    frames: Annotated[list[Annotated[str, Field(max_length=500)]], Field(min_length=1)]
    verdict: VerdictWord


@dataclass(frozen=True, slots=True)
class ActSaid:
    """One act of deciding, or none."""

    what: str


@dataclass(frozen=True, slots=True)
class EyeSet:
    """Where the person says the eye is, upright full-size pixels of one frame."""

    frame: Annotated[str, Field(max_length=500)]
    x_px: Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]
    y_px: Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]


@dataclass(frozen=True, slots=True)
class WorkAsked:
    """Long work on one run; `eye` only for judging, `without` only for merging."""

    kind: Literal["judge", "cover", "merge"]
    eye: EyeSet | None = None
    without: tuple[Annotated[str, Field(max_length=500)], ...] = ()


@dataclass(frozen=True, slots=True)
class JobSaid:
    """One piece of long work, as it stands."""

    id: int
    kind: WorkKind
    outing: int | None
    run: str
    state: Literal["queued", "running", "done", "failed", "cancelled"]
    step: str
    done: int
    total: int
    error: str


@dataclass(frozen=True, slots=True)
class Queue:
    """All work that waits, runs or ended lately, newest first.

    Attributes
    ----------
    jobs : tuple of JobSaid
        The work.
    mark : str
        Changes when something was written into the book from here or elsewhere.
    """

    jobs: tuple[JobSaid, ...]
    mark: str


@dataclass(frozen=True, slots=True)
class PhoneSaid:
    """How a phone looks on.

    Attributes
    ----------
    only_looks : bool
        Whether whoever asks is a phone, which decides nothing.
    open : bool
        Whether phones may join this bench.
    address : str
        Under which it answers them; empty for a phone itself.
    fingerprint : str
        SHA-256 of the certificate that it shows them.
    left_s : int
        Seconds for which the code still works; 0 when there is none.
    joined : int
        How many phones have joined.
    """

    only_looks: bool
    open: bool
    address: str
    fingerprint: str
    left_s: int
    joined: int
