"""haltere watch: say whether a run is complete, as soon as it pauses."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.options import FOLDER, capture_options, json_option, overlap_option, told

if TYPE_CHECKING:
    from collections.abc import Callable

    from haltere.evening.capture import Told
    from haltere.evening.watch import Watch
    from haltere.evening.watch_arrivals import Arrivals
    from haltere.evening.watch_said import RunSaid

BELLS_APART_S = 0.3
"""Terminals make one sound of bells that follow faster."""


@click.command(
    short_help="Follow a folder while you shoot, and say what a run lacks.",
    epilog="Example: haltere watch tethered/ --magnification 2",
)
@click.argument("folder", type=FOLDER)
@click.option(
    "--pause",
    "pause_s",
    type=float,
    metavar="S",
    help="Seconds without a new frame that end a run; a little more than lies between two frames "
    "of it. 1.2 when left out.",
)
@click.option(
    "--from-start", is_flag=True, help="Begin with the pictures that are in the folder already."
)
@click.option("--once", is_flag=True, help="Stop after the first run.")
@click.option(
    "--book",
    "book_folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Write what is said into a field book as well: haltere open --lan shows it on a phone.",
)
@click.option("--quiet", is_flag=True, help="Don't ring the terminal's bell.")
@overlap_option
@capture_options
@json_option
def watch(
    folder: Path,
    pause_s: float | None,
    from_start: bool,
    once: bool,
    book_folder: Path | None,
    quiet: bool,
    overlap: float,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Follow a folder that a cable, a wireless link or a card reader fills.

    As soon as a run pauses, one line says whether it is complete or what is missing. The bell
    rings once when a sweep is complete or a burst has a keeper, twice when not. Nothing is said
    while frames arrive, and nothing is written unless you name a --book. End it with Ctrl-C.
    """
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)

    from concurrent.futures import ThreadPoolExecutor

    from haltere.evening.watch import Watch, check_pause, warm_up
    from haltere.evening.watch_arrivals import Arrivals
    from haltere.evening.watch_numbers import NUMBERS
    from haltere.frames import Decoder
    from haltere.sweeps.choice import check_overlap

    pause_s = NUMBERS.pause_s if pause_s is None else pause_s
    check_pause(pause_s)
    check_overlap(overlap)
    arrivals = Arrivals(folder)
    said: list[RunSaid] = []
    decoding = Decoder(kept_bytes=NUMBERS.kept_bytes)
    with decoding as decoder, ThreadPoolExecutor(1, "haltere-watch") as pool:
        watching = Watch(
            arrivals, decoder, said_of_kit, time.monotonic, pool.submit, pause_s, overlap
        )
        try:
            left_alone = 0 if from_start else _pass_over(arrivals)
            if not as_json:
                _greet(folder, left_alone)
            pool.submit(warm_up, decoder)
            keep = _keeping(book_folder, folder, said_of_kit)
            look_s = NUMBERS.look_s
            _follow(watching, said, keep, once=once, quiet=quiet, as_json=as_json, look_s=look_s)
        except KeyboardInterrupt:
            if not as_json:
                click.echo()
        finally:
            watching.stop()
            pool.shutdown(wait=False, cancel_futures=True)
    if not as_json and not once:
        click.echo(_summary(said, watching.unanswered))


def _pass_over(arrivals: Arrivals) -> int:
    from haltere.errors import UsageError

    try:
        return arrivals.pass_over()
    except OSError as error:
        raise UsageError(
            f"{arrivals.folder}: can't be listed ({error.strerror}); check the disk"
        ) from None


def _greet(folder: Path, left_alone: int) -> None:
    click.echo(f"Watching {folder}; end with Ctrl-C.")
    if left_alone:
        from haltere.show import words

        count = words.counted(left_alone, "file that was", "files that were")
        click.echo(f"{count} already there: left alone; --from-start takes them too.")


def _keeping(place: Path | None, folder: Path, kit: Told) -> Callable[[RunSaid], None]:
    """Give what writes a run into the book, and says it in words where that fails."""
    if place is None:
        return lambda one: None
    from haltere.errors import HaltereError
    from haltere.evening.watch_book import keep_said

    def keep(one: RunSaid) -> None:
        try:
            keep_said(place, folder, one, kit)
        except HaltereError as error:  # what was seen is said all the same
            click.echo(str(error), err=True)

    return keep


def _follow(
    watching: Watch,
    said: list[RunSaid],
    keep: Callable[[RunSaid], None],
    *,
    once: bool,
    quiet: bool,
    as_json: bool,
    look_s: float,
) -> None:
    """Look until told to stop, or until the first run was answered."""
    from haltere.evening.watch_said import RunSaid

    while True:
        begun = time.monotonic()
        for one in watching.step():
            if not isinstance(one, RunSaid):
                click.echo(one.text, err=True)
                continue
            said.append(one)
            _say(one, as_json)
            if not quiet:
                ring(one.rings)
            keep(one)
        if once and said:
            return
        # a folder that is slow to list is looked at less often, so that shooting is not slowed
        time.sleep(max(look_s, 2 * (time.monotonic() - begun)))


def _say(one: RunSaid, as_json: bool) -> None:
    if not as_json:
        click.echo(f"{one.worked.run.id}  {one.line}")
        return
    import json

    from haltere.doors.cli.saying import say_json
    from haltere.evening import as_json as written

    line = json.dumps(json.loads(written(one.answer())), ensure_ascii=False)
    say_json(f"{line}\n")


def ring(times: int) -> None:
    """Ring the terminal's bell, where there is one.

    Parameters
    ----------
    times : int
        How often.
    """
    if not sys.stderr.isatty():
        return
    for number in range(times):
        if number:
            time.sleep(BELLS_APART_S)
        sys.stderr.write("\a")
        sys.stderr.flush()


def _summary(said: list[RunSaid], unanswered: int) -> str:
    """Say what came while the folder was watched; a run that went on counts once."""
    from haltere.show import words

    last = {one.worked.run.id: one for one in said}
    open_ = f"{words.counted(unanswered, 'picture')} came and got no answer yet."
    if not last:
        return open_ if unanswered else "Nothing came."
    count = dict.fromkeys(("sweep", "burst", "single"), 0)
    for one in last.values():
        count[one.worked.run.kind] += 1
    told = words.listed([words.counted(n, kind) for kind, n in count.items() if n])
    complete = sum(one.outcome == "complete" for one in last.values())
    kept = sum(one.outcome == "keeper" for one in last.values())
    notes = []
    if count["sweep"]:
        notes.append(f"{complete} of {words.counted(count['sweep'], 'sweep')} complete")
    if count["burst"]:
        notes.append(f"{kept} of {words.counted(count['burst'], 'burst')} with a keeper")
    return f"{told} came{': ' if notes else ''}{words.listed(notes)}." + (
        f" {open_}" if unanswered else ""
    )
