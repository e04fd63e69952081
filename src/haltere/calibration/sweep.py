"""Pupil distance, depth of field and push speed from a sweep over a tilted rule."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haltere.calibration.blur import RowFit, fit_row
from haltere.calibration.flat import RuleError, check_rule, read_light
from haltere.calibration.joint import Geometry, Told, solve_geometry
from haltere.calibration.marks import MarkRow, find_marks
from haltere.calibration.numbering import number_marks
from haltere.calibration.numbers import NUMBERS
from haltere.calibration.push import Push, measure_push
from haltere.calibration.spacing import fit_line
from haltere.errors import FrameError, UsageError
from haltere.frames import Decoder
from haltere.frames.frame import Frame, Skipped
from haltere.kit import DEFAULTS
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SweepScale:
    """What a sweep over a tilted rule says; every sigma is one standard deviation.

    Attributes
    ----------
    magnification, magnification_sigma : float
        Size on the sensor over size on the rule, in the plane of focus.
    pupil_distance_mm, pupil_distance_sigma_mm : float
        Plane of focus to entrance pupil.
    effective_f_number, effective_f_number_sigma : float
        F-number at the sensor, from the growth of the blur.
    depth_of_field_mm, depth_of_field_sigma_mm : float
        Depth in which the blur disc stays below `coc_mm`.
    coc_mm : float
        Circle of confusion on the sensor.
    tilt_deg, tilt_sigma_deg : float
        Tilt of the rule against the plane of focus.
    push : Push
        How the camera was pushed.
    frames : tuple of str
        Frames that took part, in order of time.
    positions_mm : tuple of float
        Place of the plane of focus of each of them along the axis, first = 0, + = deeper where
        the rule goes away from the camera.
    skipped : tuple of Skipped
        Frames that did not take part, and why.
    numbered_by_steadiness : int
        Frames whose marks nothing but a steady push told apart.
    """

    magnification: float
    magnification_sigma: float
    pupil_distance_mm: float
    pupil_distance_sigma_mm: float
    effective_f_number: float
    effective_f_number_sigma: float
    depth_of_field_mm: float
    depth_of_field_sigma_mm: float
    coc_mm: float
    tilt_deg: float
    tilt_sigma_deg: float
    push: Push
    frames: tuple[str, ...]
    positions_mm: tuple[float, ...]
    skipped: tuple[Skipped, ...]
    numbered_by_steadiness: int


def measure_sweep(
    frames: Sequence[Frame],
    decoder: Decoder,
    pitch_mm: float,
    pixel_pitch_mm: float,
    *,
    tilt_deg: float | None = None,
    magnification: float | None = None,
    magnification_sigma: float | None = None,
    coc_mm: float = DEFAULTS.coc_mm,
    progress: Progress = silent,
) -> SweepScale:
    """Measure a lens with a sweep over a tilted rule.

    In each frame the place where marks are sharpest shows where the plane of focus cuts the rule;
    how fast spacing falls from there gives sin(tilt) / s, how fast marks blur m^2 sin(tilt) / Ne.
    Neither depends on how the hand moved between frames.  The tilt is told, or follows from the
    magnification of a flat picture: spacing at the place of focus is m cos(tilt).

    Holds one picture at a time, and a strip of each frame.

    Parameters
    ----------
    frames : sequence of Frame
        Frames in order of time.
    decoder : Decoder
        Decodes them.
    pitch_mm : float
        From mark to mark.
    pixel_pitch_mm : float
        Width of a full-size pixel on the sensor.
    tilt_deg : float, optional
        Angle between the rule and the plane of focus (0 = flat).
    magnification, magnification_sigma : float, optional
        From a flat picture at the same focus setting.
    coc_mm : float, optional
        Circle of confusion on the sensor that the depth of field is counted with.
    progress : Progress, optional
        Told of each frame.

    Returns
    -------
    SweepScale
        Everything with its error.

    Raises
    ------
    RuleError
        When too few frames show the rule with its sharpest place inside, or it lies flat.
    UsageError
        When a number makes no sense, or neither tilt nor magnification is told.
    """
    check_rule(pitch_mm, pixel_pitch_mm)
    told = _told(tilt_deg, magnification, magnification_sigma)
    if not 0.0 < coc_mm <= 0.5:
        raise UsageError(f"--coc: expected millimetres on the sensor, about 0.015, got {coc_mm:g}")
    read = _read(frames, decoder, pitch_mm, progress)
    fits = [fit for _, _, fit in read.used]
    if len(fits) < NUMBERS.least_frames:
        if read.flat > 0.5 * len(frames):
            raise RuleError(_too_flat(frames[0].name))
        raise RuleError(_too_few(len(frames), read))
    scale = read.scale
    geometry = solve_geometry(fits, told, pixel_pitch_mm / scale)
    if geometry.convergence_over_sigma < NUMBERS.least_convergence:
        raise RuleError(_too_flat(frames[0].name))
    if geometry.strain > NUMBERS.strain:
        raise RuleError(_contradiction(frames[0].name, fits, told, pixel_pitch_mm / scale))
    rows = [row for _, row, _ in read.used]
    focus_mm, doubtful, doubt_mm = number_marks(rows, fits, pitch_mm)
    # the rule is counted from its near end to its far one
    positions = geometry.sign * focus_mm * math.sin(math.radians(geometry.tilt_deg))
    used = [frame for frame, _, _ in read.used]
    # a hand that turns tilts the plane of focus, the more the farther it cuts from the axis
    turned = math.radians(NUMBERS.wander_deg) * np.array([fit.focus_px for fit in fits])
    turned *= pixel_pitch_mm / scale / geometry.magnification
    place_sigma = np.array([fit.focus_mm_sigma for fit in fits])
    place_sigma *= math.sin(math.radians(geometry.tilt_deg))
    push = measure_push(
        positions,
        np.hypot(place_sigma, turned),
        geometry.tilt_relative,
        [frame.shooting.time for frame in used],
        doubt_mm * math.sin(math.radians(geometry.tilt_deg)),
    )
    return _scale(geometry, push, positions - positions[0], used, read, doubtful, coc_mm)


def _scale(
    geometry: Geometry, push: Push, positions: Floats, used: Sequence[Frame], read: _Read,
    doubtful: int, coc_mm: float,
) -> SweepScale:  # fmt: skip
    depth = 2.0 * coc_mm * geometry.depth_per_coc
    return SweepScale(
        magnification=geometry.magnification,
        magnification_sigma=geometry.magnification_sigma,
        pupil_distance_mm=geometry.pupil_distance_mm,
        pupil_distance_sigma_mm=geometry.pupil_distance_sigma_mm,
        effective_f_number=geometry.effective_f_number,
        effective_f_number_sigma=geometry.effective_f_number_sigma,
        depth_of_field_mm=depth,
        depth_of_field_sigma_mm=depth * geometry.depth_relative,
        coc_mm=coc_mm,
        tilt_deg=geometry.tilt_deg,
        tilt_sigma_deg=geometry.tilt_sigma_deg,
        push=push,
        frames=tuple(frame.name for frame in used),
        positions_mm=tuple(float(p) for p in positions),
        skipped=tuple(read.skipped),
        numbered_by_steadiness=doubtful,
    )


def _told(tilt_deg: float | None, m: float | None, m_sigma: float | None) -> Told:
    if tilt_deg is not None and not NUMBERS.least_tilt_deg <= tilt_deg <= NUMBERS.most_tilt_deg:
        raise UsageError(
            f"--tilt: expected {NUMBERS.least_tilt_deg:g} to {NUMBERS.most_tilt_deg:g} degrees "
            f"between the rule and the plane of focus, got {tilt_deg:g}; 45 is a good tilt"
        )
    if m is not None and not 0.0 < m <= DEFAULTS.max_magnification:
        raise UsageError(f"a magnification of {m:g} can't be; expected a number above 0, 2 for 2:1")
    if tilt_deg is None and m is None:
        raise UsageError(
            "the tilt of the rule is not known: say it with --tilt 45, or give a picture of the "
            "rule lying flat at the same focus setting with --flat FILE"
        )
    if m is not None and m_sigma is None:
        m_sigma = NUMBERS.told_magnification * m
    return Told(tilt_deg, NUMBERS.tilt_sigma_deg, m, m_sigma or 0.0)


@dataclass(frozen=True, slots=True)
class _Read:
    """Frames that show the rule, and the others."""

    used: list[tuple[Frame, MarkRow, RowFit]]
    skipped: list[Skipped]
    scale: float
    without_marks: int
    unsharp: int
    flat: int


def _read(frames: Sequence[Frame], decoder: Decoder, pitch_mm: float, progress: Progress) -> _Read:
    used: list[tuple[Frame, MarkRow, RowFit]] = []
    skipped: list[Skipped] = []
    scale, near = 1.0, None
    without, unsharp, flat = 0, 0, 0
    for done, frame in enumerate(frames, start=1):
        try:
            light, scale = read_light(frame, decoder)
        except FrameError as error:
            skipped.append(Skipped(frame.name, str(error).removeprefix(f"{frame.name}: ")))
            continue
        row = find_marks(light, near)
        if row is None:
            without += 1
            skipped.append(Skipped(frame.name, "no row of marks was found"))
        else:
            near = row.angle_deg
            fit = fit_row(row, pitch_mm)
            if fit is None:
                unsharp += 1
                flat += int(_lies_flat(row))
                why = "the plane of focus doesn't cross the marks inside the picture"
                skipped.append(Skipped(frame.name, why))
            else:
                used.append((frame, row, fit))
        progress("measuring the rule", done, len(frames))
    return _Read(used, skipped, scale, without, unsharp, flat)


def _lies_flat(row: MarkRow) -> bool:
    """Whether the marks keep their distance along the whole row."""
    line = fit_line(row.chain.number.astype(np.float64), row.chain.at_px)
    across = abs(line.b) * float(row.chain.number[-1] - row.chain.number[0])
    return across < NUMBERS.least_narrowing


def _too_flat(name: str) -> str:
    return (
        f"{name}: the marks don't draw together along the rule, so it lies too flat or too little "
        "of it is in the picture; tilt it to about 45 degrees and fill the frame"
    )


def _contradiction(name: str, fits: Sequence[RowFit], told: Told, pixel_mm: float) -> str:
    """Say what doesn't go with the sweep; of tilt and flat picture the tilt is the suspect."""
    if told.tilt_deg is None or told.magnification is None:
        what = "tilt" if told.magnification is None else "magnification"
        return (
            f"{name}: the sweep contradicts what was told of {what}; check --rule, and that the "
            "focus was not touched between the flat picture and the sweep"
        )
    without = solve_geometry(fits, replace(told, tilt_deg=None), pixel_mm)
    return (
        f"{name}: --tilt {told.tilt_deg:g} is not how the rule lay, if the flat picture is right: "
        f"with it the sweep says {without.tilt_deg:.0f} degrees; leave --tilt out, or check that "
        "the focus was not touched between the flat picture and the sweep"
    )


def _too_few(count: int, read: _Read) -> str:
    said = (
        f"only {len(read.used)} of {count} frames show the rule with its sharpest place inside, "
        f"and {NUMBERS.least_frames} are needed"
    )
    if read.without_marks >= max(read.unsharp, 1):
        return (
            f"{said}; in {read.without_marks} no row of marks was found: use a rule with finer "
            "marks, closer to a right angle to the picture's side, without reflections"
        )
    if read.unsharp:
        return (
            f"{said}; in {read.unsharp} the plane of focus doesn't cross the marks: start with "
            "the near end of the rule sharp and push until the far end is"
        )
    return f"{said}; push more slowly or with a higher burst rate"
