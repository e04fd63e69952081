"""haltere merge: one deep picture from a sweep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import run_options
from haltere.doors.cli.options import (
    EITHER,
    capture_options,
    checked_kit,
    frame_named,
    json_option,
    out_folder,
    out_option,
    reference_option,
)
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import run_given, working
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.merge import Merge, Preview

LEAST_GROUP = 4
NEW_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    short_help="Merge one sweep into one deep picture.",
    epilog="Example: haltere merge sweep/ --out merged/ --kit kit.toml",
)
@click.argument("given", nargs=-1, type=EITHER, metavar="[FOLDER-or-FILES...]")
@run_options
@out_option
@reference_option
@click.option(
    "--with-background",
    is_flag=True,
    help="Merge also frames that are sharp only behind the animal.",
)
@click.option(
    "--keep-less",
    is_flag=True,
    help="Merge even if less than 85 % of the reference frame can be kept.",
)
@click.option(
    "--group",
    "group_frames",
    type=int,
    metavar="N",
    help="Merge in overlapping groups of N frames; those that still fit are used again.",
)
@click.option(
    "--preview",
    is_flag=True,
    help="Paint the picture at a quarter of its size only, in about half the time.",
)
@click.option(
    "--picture",
    type=NEW_FILE,
    metavar="FILE",
    help="Draw the merged picture with the places to look at first (PNG or HTML).",
)
@capture_options
@json_option
def merge(
    given: tuple[Path, ...],
    book_folder: Path | None,
    outing: str | None,
    run_id: str | None,
    out: Path | None,
    reference: str | None,
    with_background: bool,
    keep_less: bool,
    group_frames: int | None,
    preview: bool,
    picture: Path | None,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Merge one sweep into one deep picture, with maps of where it comes from.

    What is given is taken as one run; without files it is a run of your field book. Paths in
    the JSON are relative to the folder of the results, which also holds the JSON as result.json.
    """
    if group_frames is not None and group_frames < LEAST_GROUP:
        raise UsageError(
            f"--group {group_frames}: groups so small cost more than they save; take "
            f"{LEAST_GROUP} frames or more"
        )
    if preview and (keep_less or group_frames is not None or picture is not None):
        raise UsageError(
            "--preview writes one small picture; --keep-less, --group and --picture are for the "
            "whole merge"
        )
    kit = checked_kit(kit_file, magnification, pupil_distance_mm, coc_mm)

    from haltere.frames import Decoder, make_folder

    decoder = click.get_current_context().with_resource(Decoder())
    found = run_given(given, book_folder, outing, run_id, sweep_by=decoder)

    from haltere.doors.cli import saying
    from haltere.evening import Told, capture_of, file_merge
    from haltere.evening import as_json as written

    said_of_kit = Told(kit, magnification, pupil_distance_mm, coc_mm)
    never = given or (found.folder, found.place / "originals")
    if picture is not None:
        from haltere.show.merge_picture import refuse

        refuse(picture, found.frames)
    folder = out_folder(out, never, "merges")
    if out is None and found.subject:
        folder /= found.subject
    named = None
    if reference is not None:
        named = frame_named(found.frames, reference, "--reference").name
    capture = capture_of(found.frames, said_of_kit)
    make_folder(folder)  # better now than after the work
    small: Preview | None = None
    merged: Merge | None = None
    with (
        ProgressLine(quiet=as_json) as progress,
        working(found, decoder, said_of_kit) as work,
    ):
        if preview:
            small = work.preview(
                found.frames,
                capture,
                folder,
                reference=named,
                with_background=with_background,
                progress=progress,
            )
        else:
            merged = work.merge(
                found.frames,
                capture,
                folder,
                subject=found.subject,
                reference=named,
                keep_less=keep_less,
                with_background=with_background,
                group_frames=group_frames,
                progress=progress,
            )
    if small is not None:
        saying.say_preview(small, folder, found.skipped, as_json=as_json)
    if merged is None:
        return
    said = file_merge(merged, folder, found.skipped)
    if picture is not None:
        from haltere.show.merge_picture import draw_merge

        draw_merge(merged, folder, picture)
    if as_json:
        saying.say_json(written(said))
        return
    saying.say_merge(merged, str(folder))
    saying.say_skipped(found.skipped)
    if picture is not None:
        saying.say(f"Written: {picture}")
