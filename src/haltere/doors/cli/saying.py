"""Plain text for a person at a terminal."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.show import words

if TYPE_CHECKING:
    from haltere.frames.frame import Skipped
    from haltere.keepers.verdict import Keepers
    from haltere.merge.merged import Merge
    from haltere.merge.preview import Preview
    from haltere.runs.run import Run
    from haltere.show.outing import WorkedRun
    from haltere.sweeps.coverage import Coverage


def say(text: str = "") -> None:
    """Print one line of the answer."""
    click.echo(text)


def say_wrapped(text: str) -> None:
    """Print a longer sentence in lines that a terminal shows whole."""
    import textwrap

    click.echo(textwrap.fill(text, 92))


def say_json(text: str) -> None:
    """Print JSON as it stands; letters that the reader's encoding lacks as JSON escapes them."""
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:  # outside of its strings JSON has no such letters
        text = "".join(one if one.isascii() else json.dumps(one)[1:-1] for one in text)
    click.echo(text, nl=False)


def say_skipped(skipped: Sequence[Skipped]) -> None:
    """Name what was left out, and why."""
    if not skipped:
        return
    say()
    say(f"Left out {words.counted(len(skipped), 'file')}:")
    for one in skipped:
        say(f"  {one.file}: {one.why}")


def say_runs(runs: Iterable[Run]) -> None:
    """Print one line a run, or that there is none."""
    runs = tuple(runs)
    if not runs:
        say("There is no run: no picture here could be worked on.")
    for run in runs:
        span = run.frames[0] if len(run.frames) == 1 else f"{run.frames[0]} to {run.frames[-1]}"
        count = words.counted(len(run.frames), "frame")
        say(f"{run.id}  {run.kind:<6}  {count:>10}  {span}")
        passes = [f"{len(p.frames)} {words.DIRECTION_WORDS[p.direction]}" for p in run.passes]
        note = "; ".join([*([f"passes: {', '.join(passes)}"] if passes else []), run.reason])
        if note:
            say(f"        {note}")


def say_keepers(keepers: Keepers) -> None:
    """Print the verdict, then the frames, best first."""
    say(f"{words.verdict_head(keepers)}. {keepers.verdict.text}")
    say()
    wide = max((len(frame.frame) for frame in keepers.frames), default=0)
    for frame in keepers.frames:
        mark = "keeper" if frame.keeper else ""
        found = words.said_faults(frame)
        repeats = f"repeats {frame.like}" if frame.like else ""
        notes = "; ".join(note for note in (found, repeats) if note)
        line = f"{frame.rank:>3}  {frame.frame:<{wide}}  {mark:<6}  {words.place(frame):<34}"
        say(f"{line}  {notes}".rstrip())
    best = keepers.best
    if best is not None and best.crop is not None:
        say()
        say(f"{best.frame}, cropped, {best.crop.text}.")


def say_coverage(coverage: Coverage) -> None:
    """Print whether a sweep is complete, its gaps, and what they were measured against."""
    from haltere.sweeps.choice import why_not_used

    say(f"{words.coverage_head(coverage)}. {coverage.reason}")
    for hole in coverage.gaps:
        beside = words.listed(hole.beside)
        say(f"  {words.gap(hole)}" + (f" (beside {beside})" if beside else ""))
        say(
            f"    blurred there up to {hole.blur_coc:.1f} times what just goes unseen in a whole "
            "print looked at from its diagonal's length"
        )
    placed = sum(plane.position_dof is not None for plane in coverage.planes)
    usable = sum(plane.usable for plane in coverage.planes)
    say()
    say(
        f"{placed} of {words.counted(len(coverage.planes), 'plane')} placed, {usable} usable; "
        f"reference frame {coverage.reference}."
    )
    for plane in coverage.planes:
        if plane.position_dof is None and plane.faults:
            say(f"  not placed: {plane.frame}: {why_not_used(plane.faults)}")
    if coverage.depth_of_field_mm is not None:
        say(f"Depth of field {coverage.depth_of_field_mm:.3f} mm ({coverage.depth_of_field_rule}).")
    elif coverage.scale_source == "unknown":
        say("The scale is unknown; give --magnification or --kit to read millimetres.")


def say_merge(merge: Merge, out: str) -> None:
    """Print where the picture lies, and where to look first."""
    say(f"Merged {words.counted(len(merge.frames_used), 'frame')} into {merge.picture}.")
    for spot in merge.suspicious:
        say(f"  look at {_box(spot.box_px)}: {spot.text}")
    for left in merge.left_out:
        say(f"  not merged: {left.frame}: {left.why}")
    if merge.depth_order == "unknown":
        say(
            "Its frames do not grow as in a push: its depth map is in depths of field, and near "
            "and far may be swapped."
        )
    say(f"The picture and its maps are in {out}.")


def say_preview(
    preview: Preview, folder: Path, skipped: Sequence[Skipped], *, as_json: bool
) -> None:
    """Print where the small picture lies, in words or as JSON."""
    if as_json:
        from haltere.evening import answer, with_skipped
        from haltere.evening import as_json as written

        say_json(written(with_skipped(answer(preview), skipped)))
        return
    part = f"1/{round(1 / preview.scale)}"
    used = words.counted(len(preview.frames_used), "frame")
    say(f"Painted {used} at {part} of the size into {folder / preview.preview}.")
    for left in preview.left_out:
        say(f"  not merged: {left.frame}: {left.why}")
    say_skipped(skipped)


def say_worked(worked: WorkedRun) -> None:
    """Print one line a run of an evening."""
    count = words.counted(len(worked.run.frames), "frame")
    say(f"{worked.run.id}  {worked.run.kind:<6}  {count:>10}  {words.outcome(worked)}")
    if worked.failed:
        say(f"        {worked.failed}")
    elif worked.keepers is not None:
        say(f"        {worked.keepers.verdict.text}")
    elif worked.gaps is not None:
        for hole in worked.gaps.gaps:
            say(f"        {words.gap(hole)}")
        if worked.gaps.complete is None:
            say(f"        {worked.gaps.reason}")


def _box(box_px: tuple[float, float, float, float]) -> str:
    x0, y0, x1, y1 = (round(v) for v in box_px)
    return f"x {x0}-{x1}, y {y0}-{y1}"
