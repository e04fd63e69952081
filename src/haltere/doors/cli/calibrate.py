"""haltere calibrate: measure a lens as it is used, with a rule."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.options import EITHER, FILE, json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.calibration import RuleScale, SweepScale
    from haltere.frames import Decoder, Found
    from haltere.frames.frame import Frame
    from haltere.kit import Kit
    from haltere.kit.capture import Capture

NEW = click.Path(dir_okay=False, path_type=Path)


@click.command(
    short_help="Measure magnification, depth of field and your push with a rule.",
    epilog="Example: haltere calibrate rule-sweep/ --rule 1 --flat rule.jpg --kit kit.toml",
)
@click.argument("given", nargs=-1, required=True, type=EITHER, metavar="FRAMES...")
@click.option(
    "--rule",
    "pitch_mm",
    type=float,
    required=True,
    metavar="MM",
    help="From one mark of the rule to the next, in mm; 1 or 0.5 on most rules.",
)
@click.option(
    "--tilt",
    "tilt_deg",
    type=float,
    metavar="DEG",
    help="Tilt of the rule in a sweep: 0 lies flat, 45 is a good one. Not needed with --flat.",
)
@click.option(
    "--flat",
    type=FILE,
    metavar="FILE",
    help="Picture of the rule lying flat in focus, at the same focus setting as the sweep.",
)
@click.option("--kit", "kit_file", type=FILE, metavar="FILE", help="Your kit file (TOML).")
@click.option(
    "--coc",
    "coc_mm",
    type=float,
    metavar="MM",
    help="Circle of confusion on the sensor, in mm; 0.015 unless the kit says else.",
)
@click.option(
    "--out-kit",
    type=NEW,
    metavar="FILE",
    help="Write a new kit file with what was measured; without it the lines to add are shown.",
)
@json_option
def calibrate(
    given: tuple[Path, ...],
    pitch_mm: float,
    tilt_deg: float | None,
    flat: Path | None,
    kit_file: Path | None,
    coc_mm: float | None,
    out_kit: Path | None,
    as_json: bool,
) -> None:
    """Measure a lens as it is used, with pictures of a rule.

    One picture of a rule lying flat in focus gives the magnification. A sweep over a tilted rule
    gives the distance to the entrance pupil, the true depth of field and how you push.

    Lay the rule on a table, never on the leaf or stem of a living animal. A metal rule throws the
    flash straight back: use paper or plastic, and keep the light aside.
    """
    from haltere.calibration import as_kit, check_lens, check_new, kit_lines, write_new_kit
    from haltere.calibration import measure_rule as rule_in
    from haltere.doors.cli import calibrate_saying as saying
    from haltere.evening import frames_given
    from haltere.frames import Decoder
    from haltere.kit import Kit, capture, read_kit

    kit = Kit() if kit_file is None else read_kit(kit_file)
    capture(kit, coc_mm=coc_mm)  # refuses numbers that make no sense before any picture is read
    if out_kit is not None:
        check_new(out_kit)
    found = frames_given(given)
    one = len(found.frames) == 1
    if one and (tilt_deg is not None or flat is not None):
        raise UsageError(
            f"{found.frames[0].name} is a single picture, which is taken for a rule lying flat; "
            "leave --tilt and --flat out, or give all frames of the sweep"
        )
    with ProgressLine(quiet=as_json) as progress, Decoder() as decoder:
        taken = _taken(kit, found.frames[0], coc_mm)
        rule: RuleScale | None = None
        sweep: SweepScale | None = None
        if one:
            rule = rule_in(
                found.frames[0], decoder, pitch_mm, _pitch_mm(taken, found),
                focal_mm=taken.focal_mm, f_number=taken.f_number,
            )  # fmt: skip
        else:
            if flat is not None:
                lying = frames_given([flat])
                first = _taken(kit, lying.frames[0], coc_mm)
                rule = rule_in(
                    lying.frames[0], decoder, pitch_mm, _pitch_mm(first, lying),
                    focal_mm=first.focal_mm, f_number=first.f_number,
                )  # fmt: skip
            sweep = _sweep(found, decoder, pitch_mm, kit, taken, tilt_deg, rule, progress)
            check_lens(sweep, taken, kit, pitch_mm, tilt_deg)
    new = as_kit(kit, rule, sweep, found.frames[0].shooting.f_number)
    if out_kit is not None:
        write_new_kit(out_kit, new)
    lines = kit_lines(kit, new)
    if as_json:
        saying.say_json(taken, rule, sweep, lines, found.skipped)
        return
    saying.say(kit, taken, rule, sweep, found.skipped)
    saying.say_kit(lines, out_kit)


def _taken(kit: Kit, frame: Frame, coc_mm: float | None) -> Capture:
    from haltere.kit import capture

    shooting = frame.shooting
    taken = capture(
        kit,
        coc_mm=coc_mm,
        focal_mm=shooting.focal_mm,
        f_number=shooting.f_number,
        pixel_pitch_mm=shooting.pixel_pitch_mm,
        picture_px=(frame.width_px, frame.height_px),
    )
    # elsewhere the kit wins; here the opening of these very pictures is what is measured
    return replace(taken, f_number=shooting.f_number or taken.f_number)


def _pitch_mm(taken: Capture, found: Found) -> float:
    if taken.pixel_pitch_mm is None:
        raise UsageError(
            f"{found.frames[0].name} doesn't say how large a pixel is; give --kit FILE with "
            "[sensor] format or width_mm, and width_px"
        )
    return taken.pixel_pitch_mm


def _sweep(
    found: Found,
    decoder: Decoder,
    pitch_mm: float,
    kit: Kit,
    taken: Capture,
    tilt_deg: float | None,
    rule: RuleScale | None,
    progress: ProgressLine,
) -> SweepScale:
    from haltere.calibration import measure_sweep

    known, error = None, None
    if rule is not None:
        known, error = rule.magnification, rule.magnification_sigma
    elif tilt_deg is None:
        # neither tilt nor flat picture: the kit's magnification, if it has one
        known, error = kit.magnification, kit.magnification_sigma
    return measure_sweep(
        found.frames,
        decoder,
        pitch_mm,
        _pitch_mm(taken, found),
        tilt_deg=tilt_deg,
        magnification=known,
        magnification_sigma=error,
        coc_mm=taken.coc_mm,
        progress=progress,
    )
