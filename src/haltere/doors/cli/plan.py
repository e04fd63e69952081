"""haltere plan: from kit, magnification, animal and light to settings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.kit_options import KitCommand
from haltere.doors.cli.options import FILE, json_option

if TYPE_CHECKING:
    from haltere.hand import PlanNumbers

NEW_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    cls=KitCommand,
    short_help="Choose settings for a kit, an animal and a light.",
    epilog="Example: haltere plan --kit kit.toml --magnification 1.5 --depth 3 --light shade",
)
@click.option("--kit", "kit_file", type=FILE, metavar="FILE", help="Your kit file (TOML).")
@click.option(
    "--why",
    "word",
    metavar="KEY",
    help="Explain one number: its formula with your numbers, its source, what moves it.",
)
@click.option(
    "--plot", type=NEW_FILE, metavar="FILE", help="Draw the curves of sharpness (SVG or PNG)."
)
@click.option(
    "--card", type=NEW_FILE, metavar="FILE", help="Make a field card of the kit (PDF or HTML)."
)
@click.option(
    "--see",
    type=NEW_FILE,
    metavar="FILE",
    help="Draw a made-up animal at these settings, one shot beside a merged sweep (PNG).",
)
@click.option("--my-hand", is_flag=True, help="Plan with your hand as your field book knows it.")
@book_option
@click.option("--sayings", is_flag=True, help="Answer what the craft says, with your numbers.")
@json_option
def plan(
    kit_file: Path | None,
    word: str | None,
    plot: Path | None,
    card: Path | None,
    see: Path | None,
    my_hand: bool,
    book_folder: Path | None,
    sayings: bool,
    as_json: bool,
    **said: Any,
) -> None:
    """Answer how to photograph an animal of this depth, with this kit, in this light.

    Numbers come from the kit file; an option wins over it. What nobody says is assumed, and the
    answer names it.
    """
    from haltere.doors.cli import plan_saying
    from haltere.kit import Kit, read_kit
    from haltere.plan import make_plan, put_together

    if word is not None and sayings:
        from haltere.errors import UsageError

        raise UsageError("--why and --sayings are two questions: ask one after the other")
    if book_folder is not None and not my_hand:
        from haltere.errors import UsageError

        raise UsageError("--book belongs to --my-hand")
    own = None
    if my_hand:
        said, own = with_hand(said, book_folder)
    kit, wishes = put_together(Kit() if kit_file is None else read_kit(kit_file), said)
    if word is not None:
        from haltere.plan import why

        plan_saying.say_why(why(kit, wishes, word), as_json)
        return
    answer = make_plan(kit, wishes)
    written = []
    if plot is not None:
        from haltere.show import draw_plan

        written.append(draw_plan(answer, plot))
    if card is not None:
        from haltere.show import make_card

        written.append(make_card(kit, wishes, card))
    if see is not None:
        from haltere.doors.cli.progress_line import ProgressLine
        from haltere.show import see_plan

        with ProgressLine(quiet=as_json) as progress:
            written.append(see_plan(answer, see, progress))
    if as_json:
        from haltere.plan import as_json as text_of
        from haltere.plan import sayings as answers_to

        answered = answers_to(answer.given) if sayings else None
        click.echo(text_of(answer, answered), nl=False)
        return
    if sayings:
        plan_saying.say_sayings(answer)
        return
    plan_saying.say_plan(answer)
    if own is not None:
        plan_saying.say_hand(answer, own)
    for path in written:
        click.echo(f"Written: {path}")


def with_hand(said: dict[str, Any], book_folder: Path | None) -> tuple[dict[str, Any], PlanNumbers]:
    """Let the hand of the field book say what the call does not.

    Raises
    ------
    UsageError
        When the book knows too little of it.
    """
    from haltere.errors import UsageError
    from haltere.hand import gather, numbers_for_plan

    with opened(book_folder) as book:
        bursts, sweeps, _ = gather(book)
    own = numbers_for_plan(bursts, sweeps)
    if own.hand_spread_mm is None and own.unevenness is None:
        raise UsageError(
            "--my-hand: your field book knows too little of your hand yet; haltere hand tells more"
        )
    taken = {
        "hand_spread_mm": own.hand_spread_mm,
        "sway_s": own.sway_s,
        "unevenness": own.unevenness,
    }
    known = {key: round(value, 3) for key, value in taken.items() if value is not None}
    return {**said, **{key: known[key] for key in known if said.get(key) is None}}, own
