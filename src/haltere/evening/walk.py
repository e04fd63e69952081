"""The whole way: from a copied card to a sheet, run by run."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from haltere.errors import HaltereError, UsageError
from haltere.evening.answer import Answer, answer, answer_of_run, as_json, with_skipped
from haltere.evening.capture import Told, capture_of
from haltere.evening.given import folder_of, frames_given
from haltere.evening.work import Work, at_work
from haltere.frames import Decoder, Found, make_folder
from haltere.frames.frame import Frame, Skipped
from haltere.merge.merged import Merge
from haltere.progress import Progress, silent
from haltere.runs.run import Run
from haltere.show import Outing, WorkedRun, file_away
from haltere.sweeps.coverage import Coverage

CAMERAS_OWN = re.compile(r"DCIM|[1-9][0-9]{2}[0-9A-Z_]{5}")
"""Folder names that cameras give (JEITA CP-3461, DCF 2.0); they say nothing of an outing."""


@dataclass(frozen=True, slots=True)
class Evening:
    """What came of one outing.

    Attributes
    ----------
    outing : Outing
        Runs with everything said of them, and what was skipped; merged files are named
        relative to `out`.
    sheet : Path
        The sheet, one HTML file; `overview` is the same as one PNG.
    overview : Path
        The overview picture.
    out : Path
        Folder that holds all of it.
    """

    outing: Outing
    sheet: Path
    overview: Path
    out: Path

    def answer(self) -> Answer:
        """Say it in the form of the JSON contract."""
        return {
            "outing": self.outing.name,
            "runs": [answer_of_run(worked) for worked in self.outing.runs],
            "skipped": [answer(one) for one in self.outing.skipped],
            "sheet": str(self.sheet),
            "overview": str(self.overview),
            "out": str(self.out),
        }


def walk(
    given: Sequence[Path],
    out: Path,
    decoder: Decoder,
    told: Told | None = None,
    progress: Progress = silent,
    *,
    name: str | None = None,
    folder: Path | None = None,
    place: Path | None = None,
    frames: Sequence[Frame] = (),
) -> Evening:
    """Work a copied card: split it, judge bursts, merge sweeps, draw the sheet.

    A field book in `out` remembers every step: what was done before, of the same files and by the
    same haltere, is not done again, and an evening that was stopped goes on where it was.

    Holds the descriptions of all frames and the pixels of one run's working set at a time.

    Parameters
    ----------
    given : sequence of Path
        A folder, or files.
    out : Path
        Folder for everything derived; originals are only read.
    decoder : Decoder
        Open decoder.
    told : Told, optional
        Kit and numbers from the call.
    progress : Progress
        Told of each step.
    name : str, optional
        Name of the outing; that of the folder when left out.
    folder : Path, optional
        The folder by which a field book knows the outing; that of what is given when left out.
    place : Path, optional
        Folder of the field book; `out` when left out.
    frames : sequence of Frame, optional
        The frames, when a book knows them already; else they are looked for in `given`.

    Raises
    ------
    NothingToDoError
        When there is no frame at all.
    UsageError
        When a number that was told makes no sense.
    WriteError
        When `out` can't be written.
    """
    told = told or Told()
    found = Found(tuple(frames), ()) if frames else frames_given(given, progress)
    make_folder(out)  # better now than after the work
    by_name = {frame.name: frame for frame in found.frames}
    called = name or outing_name(given)
    home = folder or folder_of(given)
    with at_work(
        found.frames, home, called, decoder, place or out, told.kit, known=bool(frames)
    ) as work:
        splitting = work.split(found.frames, progress, lambda some: capture_of(some, told))
        count = len(splitting.runs)

        def answered(index: int, run: Run) -> WorkedRun:
            def step(name: str, done: int, total: int, /) -> None:
                progress(f"{run.id} ({index + 1} of {count}), {name}", done, total)

            after = splitting.runs[index + 1 : index + 2]
            if run.kind != "sweep" and after and after[0].kind != "sweep":
                _expect(work, [by_name[name] for name in after[0].frames], told)
            return work_run(run, [by_name[name] for name in run.frames], out, work, told, step)

        outing = Outing(
            name=called,
            runs=tuple(answered(index, run) for index, run in enumerate(splitting.runs)),
            skipped=(*found.skipped, *splitting.skipped),
            frames=by_name,
            decided=work.decided(),
        )
    # what draws it is loaded by those who want it drawn
    from haltere.show import make_sheet

    drawn = make_sheet(outing, decoder, out, progress=progress)
    evening = Evening(outing, drawn.html, drawn.overview, out)
    file_away(out / "evening.json", as_json(evening.answer()).encode())
    return evening


def work_run(
    run: Run,
    frames: Sequence[Frame],
    out: Path,
    work: Work,
    told: Told,
    progress: Progress = silent,
) -> WorkedRun:
    """Answer one run's question; what can't be done is noted and the evening goes on.

    Parameters
    ----------
    run : Run
        The run.
    frames : sequence of Frame
        The frames.
    out : Path
        Folder for everything derived.
    work : Work
        The outing at work.
    told : Told
        What the photographer said.
    progress : Progress, optional
        Told of each step.
    """
    worked = WorkedRun(run)
    known: list[Coverage] = []
    try:
        capture = capture_of(frames, told)
        if run.kind != "sweep":
            judged = work.judge(frames, capture, subject=run.id, progress=progress)
            return replace(worked, keepers=judged)
        merge = work.merge(
            frames, capture, out / run.id, subject=run.id, progress=progress, covered=known.append
        )
        file_merge(merge, out / run.id, ())
        return replace(worked.covered(known[0]), merge=_within(merge, run.id))
    except UsageError:
        raise  # a wrong call is wrong for every run
    except HaltereError as error:
        return replace(worked.covered(known[0]) if known else worked, failed=str(error))


def _expect(work: Work, frames: Sequence[Frame], told: Told) -> None:
    """Begin the next run; what is wrong with it is said when it is asked for."""
    with suppress(HaltereError):
        work.expect(frames, capture_of(frames, told))


def file_merge(merge: Merge, out: Path, skipped: Sequence[Skipped]) -> Answer:
    """Lay the merge's own JSON beside its pictures, so that the folder explains itself.

    Parameters
    ----------
    merge : Merge
        The merged picture.
    out : Path
        Folder for everything derived.
    skipped : sequence of Skipped
        What was left out.
    """
    said = with_skipped(answer(merge), skipped)
    file_away(out / "result.json", as_json(said).encode())
    return said


def outing_name(given: Sequence[Path]) -> str:
    """Name an outing after its folder, or the next one above that a camera did not name.

    Parameters
    ----------
    given : sequence of Path
        A folder, or files.
    """
    first = given[0].resolve()
    folder = first if first.is_dir() else first.parent
    named = (one.name for one in (folder, *folder.parents) if one.name)
    return next((name for name in named if not CAMERAS_OWN.fullmatch(name)), folder.name) or "card"


def _within(merge: Merge, folder: str) -> Merge:
    return replace(
        merge,
        picture=f"{folder}/{merge.picture}",
        picture_jpeg=f"{folder}/{merge.picture_jpeg}",
        origin_map=f"{folder}/{merge.origin_map}",
        depth_map=f"{folder}/{merge.depth_map}",
        confidence_map=f"{folder}/{merge.confidence_map}",
        seen_map=f"{folder}/{merge.seen_map}",
        views=f"{folder}/{merge.views}",
        noise_map=None if merge.noise_map is None else f"{folder}/{merge.noise_map}",
    )
