"""The command `haltere`: its verbs, and what a person sees when something goes wrong."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence
from pathlib import Path

import click

from haltere.doors.cli.book import book
from haltere.doors.cli.calibrate import calibrate
from haltere.doors.cli.checklist import checklist
from haltere.doors.cli.clock import clock
from haltere.doors.cli.decide import decide, undo
from haltere.doors.cli.deliver import deliver
from haltere.doors.cli.demo import demo
from haltere.doors.cli.drop import drop
from haltere.doors.cli.evening import evening
from haltere.doors.cli.export import export
from haltere.doors.cli.finish import finish
from haltere.doors.cli.gaps import gaps
from haltere.doors.cli.hand import hand
from haltere.doors.cli.keepers import keepers
from haltere.doors.cli.measure import measure
from haltere.doors.cli.merge import merge
from haltere.doors.cli.open_bench import open_bench
from haltere.doors.cli.plain_letters import speak_plainly
from haltere.doors.cli.plan import plan
from haltere.doors.cli.relief import relief
from haltere.doors.cli.repair import repair
from haltere.doors.cli.runs import runs
from haltere.doors.cli.season import season
from haltere.doors.cli.sensitive import sensitive
from haltere.doors.cli.sidecars import sidecars
from haltere.doors.cli.sight import sight
from haltere.doors.cli.sightings import sightings
from haltere.doors.cli.unload import unload
from haltere.doors.cli.verify import verify
from haltere.doors.cli.watch import watch
from haltere.errors import HaltereError
from haltere.freed_memory import keep_freed_memory

INTERRUPTED = 130
COULD_NOT = 1


class InOrder(click.Group):
    """A group that lists its verbs in the order of an evening, not of the alphabet."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the verbs as they were added."""
        return list(self.commands)


@click.group(
    cls=InOrder,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    epilog="Start with: haltere demo",
)
@click.version_option(package_name="haltere", message="haltere %(version)s")
def haltere() -> None:
    """Sort and merge handheld macro frames of insects and spiders.

    Originals are only read; nothing leaves this computer.
    """


for _verb in (
    demo, plan, calibrate, watch, unload, verify, clock, evening, runs, keepers, gaps, merge,
    repair, relief, finish, measure, deliver, open_bench, book, decide, undo, sidecars, drop,
    checklist, sight, sightings, sensitive, export, season, hand,
):  # fmt: skip
    haltere.add_command(_verb)


def main() -> None:
    """Run the command line on the words of this process, and end it with the exit code."""
    if not sys.warnoptions:  # warnings speak to programmers; `python -W` brings them back
        warnings.simplefilter("ignore")
    keep_freed_memory()
    speak_plainly()
    sys.exit(run(None))


def run(args: Sequence[str] | None) -> int:
    """Run the command line and answer its exit code: 0 fine, 1 could not, 2 wrong call.

    Parameters
    ----------
    args : sequence of str or None
        Words after the program's name; None takes those of the process.
    """
    try:
        code = haltere.main(args=args, prog_name="haltere", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except HaltereError as error:
        click.echo(f"haltere: {error}", err=True)
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("haltere: stopped as you asked; no original was touched.", err=True)
        return INTERRUPTED
    except BrokenPipeError:
        _let_go_of_stdout()
        return COULD_NOT
    except MemoryError:
        click.echo(
            "haltere: there is not enough free memory; close other programs and try again.",
            err=True,
        )
        return COULD_NOT
    except Exception as error:  # the last net: a traceback on a user's screen is a defect
        from haltere.doors.cli.defect import defect_sentence

        click.echo(f"haltere: {defect_sentence(error, args)}", err=True)
        return COULD_NOT


def _let_go_of_stdout() -> None:
    """Keep Python from complaining at exit: the reader (`head`, a pager) has gone."""
    import os

    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 (lives to the end)
