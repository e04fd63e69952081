"""One option for every number of a kit and of a plan, made from the same tables as the file."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from haltere.kit import Key

HEADINGS = {
    "wish": "The photograph",
    "sensor": "Sensor",
    "lens": "Lens",
    "attached": "Attached",
    "flash": "Flash",
    "camera": "Camera",
    "calibration": "Measured",
    "": "Sharpness",
}


class HeadedOption(click.Option):
    """An option that stands under a heading in the help."""

    def __init__(self, name: str, field: str, heading: str, metavar: str, says: str) -> None:
        super().__init__([f"--{name}", field], metavar=metavar, help=says)
        self.heading = heading


class KitCommand(click.Command):
    """A verb that takes every number of a kit and of a wish, each as an option.

    The options are made when they are first asked for, so that other verbs start fast.
    """

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        """Give the verb's own options, then the numbers."""
        if not any(isinstance(parameter, HeadedOption) for parameter in self.params):
            self.params += _options()
        return super().get_params(ctx)

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options heading by heading, the verb's own first."""
        groups: dict[str, list[tuple[str, str]]] = {"Options": []}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is not None:
                groups.setdefault(getattr(parameter, "heading", "Options"), []).append(record)
        for heading, records in groups.items():
            with formatter.section(heading):
                formatter.write_dl(records)


def _options() -> list[click.Parameter]:
    from haltere.kit import KEYS
    from haltere.plan.wishes import COC_RULES, LIGHTS, WISH_KEYS

    wished = {key.field for key in WISH_KEYS}
    # what is asked for wins over the same number of the kit; unevenness is told as a wish
    own = [key for key in KEYS if key.field not in wished and key.field != "push_unevenness"]
    photograph = HEADINGS["wish"]
    return [
        *_numbered(WISH_KEYS),
        HeadedOption("light", "light", photograph, "WORD", f"Daylight: {', '.join(LIGHTS)}."),
        HeadedOption("date", "date", photograph, "DAY", "As 2031-05-20; today unless you say."),
        HeadedOption(
            "time-zone", "time_zone", photograph, "NAME", "As Europe/Lisbon; else the computer's."
        ),
        *_numbered(own),
        HeadedOption("sensor", "sensor_format", HEADINGS["sensor"], "WORD", "Format, as 17.3x13."),
        HeadedOption(
            "flash-kind",
            "flash_kind",
            HEADINGS["flash"],
            "WORD",
            '"cut" for a battery flash, "voltage" for a mains flash.',
        ),
        HeadedOption(
            "coc-rule",
            "coc_rule",
            HEADINGS[""],
            "WORD",
            f"Blur that counts: {', '.join(COC_RULES)}.",
        ),
    ]


def _numbered(keys: Iterable[Key]) -> list[HeadedOption]:
    from haltere.plan.wishes import Wishes

    made = []
    for key in keys:
        default = getattr(Wishes(), key.field, None) if key.section == "wish" else None
        also = f"; {default:g} unless you say" if isinstance(default, (int, float)) else ""
        unit = key.unit.upper() if key.unit else "NUMBER"
        says = f"{key.says[0].upper()}{key.says[1:]}{also}."
        made.append(HeadedOption(key.option, key.field, HEADINGS[key.section], unit, says))
    return made
