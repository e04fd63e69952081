"""Options that several verbs share, and what they mean to the rooms below."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from haltere.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from haltere.evening import Told
    from haltere.frames.frame import Frame
    from haltere.kit import Kit

Verb = TypeVar("Verb", bound=Callable[..., Any])

FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)
FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
EITHER = click.Path(exists=True, path_type=Path)
OUT = click.Path(file_okay=False, path_type=Path)

json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print JSON for other programs, and nothing else."
)
out_option = click.option(
    "--out",
    type=OUT,
    metavar="DIR",
    help="Folder for the results; without it a folder in your cache, which is named at the end.",
)
reference_option = click.option(
    "--reference", metavar="FILE", help="Frame whose view counts; without it one is chosen."
)
overlap_option = click.option(
    "--overlap",
    type=float,
    default=0.2,
    metavar="SHARE",
    help="Share of the depth of field that neighbours among the frames that suffice have in "
    "common, 0 to 0.8; 0.2 when left out.",
)


def capture_options(verb: Verb) -> Verb:
    """Add --kit, --magnification, --pupil-distance and --coc to a verb."""
    for option in reversed(
        (
            click.option(
                "--kit", "kit_file", type=FILE, metavar="FILE", help="Your kit file (TOML)."
            ),
            click.option(
                "--magnification",
                type=float,
                metavar="M",
                help="Size on the sensor over size on the animal: 2 means 2:1.",
            ),
            click.option(
                "--pupil-distance",
                "pupil_distance_mm",
                type=float,
                metavar="MM",
                help="Plane of focus to entrance pupil, in mm.",
            ),
            click.option(
                "--coc",
                "coc_mm",
                type=float,
                metavar="MM",
                help="Circle of confusion on the sensor, in mm; 0.015 unless the kit says else.",
            ),
        )
    ):
        verb = option(verb)
    return verb


def checked_kit(
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
) -> Kit | None:
    """Read the kit file, and refuse numbers that make no sense before any picture is read.

    Raises
    ------
    UsageError
        When the kit file can't be read or a number makes no sense.
    """
    from haltere.kit import capture, read_kit

    kit = None if kit_file is None else read_kit(kit_file)
    capture(
        kit,
        magnification=magnification,
        pupil_distance_mm=pupil_distance_mm,
        coc_mm=coc_mm,
    )
    return kit


def told(
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
) -> Told:
    """Read the kit file and put it together with the numbers of the call.

    Raises
    ------
    UsageError
        When the kit file can't be read or a number makes no sense.
    """
    kit = checked_kit(kit_file, magnification, pupil_distance_mm, coc_mm)

    from haltere.evening import Told

    return Told(kit, magnification, pupil_distance_mm, coc_mm)


def frame_named(frames: Sequence[Frame], word: str, option: str) -> Frame:
    """Find the frame that an option names: as in the results, as a path, or by its bare name.

    Raises
    ------
    UsageError
        When no frame, or more than one, goes by that name.
    """
    for frame in frames:
        if word in (frame.name, frame.raw_name):
            return frame
    asked = Path(word)
    if asked.exists():
        same = [f for f in frames if asked.resolve() in _files(f)]
        if same:
            return same[0]
    bare = [f for f in frames if asked.name == word and word in {p.name for p in _files(f)}]
    if len(bare) == 1:
        return bare[0]
    if bare:
        raise UsageError(
            f"{option} {word} fits {len(bare)} frames; give it with its folder, "
            f"for example {bare[0].name}."
        )
    raise UsageError(
        f"{option} {word} is not among the {len(frames)} frames given; "
        f"name one of them, for example {frames[0].name}."
    )


def _files(frame: Frame) -> set[Path]:
    return {path.resolve() for path in (frame.path, frame.raw_path) if path is not None}


def out_folder(out: Path | None, given: Sequence[Path], task: str) -> Path:
    """Choose the folder for results, never one that holds originals.

    Parameters
    ----------
    out : Path or None
        What the call said.
    given : sequence of Path
        Folders and files with originals.
    task : str
        Name of the shelf in the cache: "evenings", "merges", "outings".

    Raises
    ------
    UsageError
        When `out` holds originals, or lies in a folder of originals.
    """
    if out is None:
        import hashlib

        from platformdirs import user_cache_path

        first = given[0].resolve()
        place = first if first.is_dir() else first.parent
        # two cards may both hold a folder '100'; the mark keeps their results apart
        mark = hashlib.sha256(str(place).encode()).hexdigest()[:6]
        return user_cache_path("haltere") / task / f"{place.name or 'card'}-{mark}"
    chosen = out.resolve()
    for path in given:
        original = path.resolve()
        inside = not original.is_file() and chosen.is_relative_to(original)
        if inside or (original.is_file() and chosen == original.parent):
            raise UsageError(
                f"--out {out} lies among your originals, which haltere never writes to; "
                "name a folder elsewhere."
            )
    return chosen
