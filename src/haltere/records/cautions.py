"""What stands beside a sighting and an export, before anything leaves."""

from __future__ import annotations

SIGHTING = (
    "Leave the animal as you found it, and the leaf it sat on. Where a species or a place is "
    "protected, the law there and the people licensed to work with it decide what you may do and "
    "tell, not haltere; haltere sensitive keeps its place vague."
)
"""Common practice of nature photographers, no source."""

EXPORT = (
    "Before you hand this on: a place that is told draws feet and collectors. Leave out or blur "
    "nests, roosts, rare and protected species, and ask the owner or warden; the law and their "
    "permits go first."
)
"""Common practice of recorders, no source."""


WAY = "--places grid or exact, each time, lets them go."
"""How places are let go on the command line."""


def place_told(places: str, exact: int, vague: int, withheld: int, way: str = WAY) -> str:
    """Say which places leave with an export.

    Parameters
    ----------
    places : {"none", "grid", "exact"}
        What was asked for this time.
    exact, vague, withheld : int
        How many records have their exact place, one on a grid, and none.
    way : str, optional
        How to let places go, a sentence.

    Returns
    -------
    str
        One sentence.
    """
    if places == "none":
        return f"No place leaves with it: you did not ask for any. {way}"
    parts = [
        f"{number} {words}"
        for number, words in (
            (exact, "with the exact place"),
            (vague, "with a place on a grid"),
            (withheld, "without a place"),
        )
        if number
    ]
    return f"As you asked this time: {', '.join(parts)}."
