"""Solves a sweep: registers it, measures its planes and says what it misses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.align.run import Chain, Coming, chain_run, choose_pairs, seen_from
from haltere.align.solve import Solution, make_grid, solve_poses
from haltere.align.wander import measure_shift, measure_wander
from haltere.errors import FrameError, SweepError, UsageError
from haltere.focus.curves import Stack, find_peaks, focus_stack
from haltere.focus.depths import believed, cell_depths, estimate_depth_of_field
from haltere.focus.run_optics import RunOptics, run_optics
from haltere.focus.widths import measure_airy
from haltere.frames import Decoder
from haltere.frames.frame import Frame
from haltere.kit.capture import Capture
from haltere.progress import Progress, silent
from haltere.sweeps.advance import NUMBERS as ADVANCE
from haltere.sweeps.advance import Advance
from haltere.sweeps.choice import NUMBERS as CHOICE
from haltere.sweeps.choice import check_overlap
from haltere.sweeps.faults import NUMBERS as FAULTS
from haltere.sweeps.faults import find_faults
from haltere.sweeps.focusing import Focusing, stood_still, tell_focusing, without_scale
from haltere.sweeps.growing import measure_growth
from haltere.sweeps.own_scale import own_depth_of_field
from haltere.sweeps.say import say_coverage
from haltere.sweeps.smears import Pictures
from haltere.sweeps.solved import Reading, Solved
from haltere.sweeps.sweep import Sweep

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SweepNumbers:
    """Numbers that steer the solution.

    Attributes
    ----------
    least_frames : int
        Fewer frames are no sweep.
    fair_gain : float
        Missing light, as a factor, above which a frame is not chosen as the reference.
    rounds : int
        Times depth and poses are brought together; the third changes less than 0.01 px.
    reach_dof : float
        Distance from a frame's plane within which its content tells the pose; blurred outlines
        farther off are shifted by what they hide.
    widening : float
        Measured focus curves are this much wider than a flat surface's, since surfaces slant
        within their window: 1.01 in the median of 14 simulated sweeps, 1.14 on another renderer's;
        between the two.
    """

    least_frames: int = 3
    fair_gain: float = 1.6
    rounds: int = 2
    reach_dof: float = 2.0
    widening: float = 1.1


NUMBERS = SweepNumbers()


def solve_sweep(
    frames: Sequence[Frame],
    decoder: Decoder,
    capture: Capture,
    *,
    reference: str | None = None,
    overlap: float = CHOICE.overlap,
    advance: Advance | None = None,
    progress: Progress = silent,
) -> Sweep:
    """Solve one sweep: poses, planes, passes, gaps, verdict.

    Holds some twenty small pictures and the focus curves (one number a frame for every 8 x 8
    analysis pixels) in memory; analysis pictures lie in a temporary folder until
    ``sweep.lumas.close()``.

    Parameters
    ----------
    frames : sequence of Frame
        Frames of one sweep in order of time.
    decoder : Decoder
        Decodes them.
    capture : Capture
        How they were taken.
    reference : str, optional
        Name of the frame whose view and plane count as zero; by default one from the middle.
    overlap : float, optional
        Share of a depth of field that neighbours among the chosen frames should have in common.
    advance : Advance, optional
        What was worked out while the frames came; used where it is of these frames, and then its
        `lumas` are the sweep's and stay open whatever happens.
    progress : Progress, optional
        Told of each frame.

    Returns
    -------
    Sweep
        The solved sweep; close its `lumas` when done.

    Raises
    ------
    SweepError
        When fewer than three frames can be brought together.
    UsageError
        When `reference` names no frame of the sweep, or `overlap` is absurd.
    """
    check_overlap(overlap)
    names = [frame.name for frame in frames]
    if reference is not None and reference not in names:
        msg = f"{reference} is not among the frames given; name one of them with --reference."
        raise UsageError(msg)
    done = None if advance is None else advance.done_of(frames)
    begun = Advance() if advance is None or done is None else advance
    coming = Coming()
    try:
        reading = _read(frames, decoder, begun, done or 0, coming, progress)
        if len(reading.good) < NUMBERS.least_frames:
            msg = (
                f"{names[0] if names else 'Nothing'}: a sweep needs at least three frames that can "
                f"be read, and {len(reading.good)} of {len(names)} can; give all frames of it."
            )
            raise SweepError(msg)
        return _solve(reading, begun.lumas, coming, capture, reference, overlap, progress)
    except BaseException:
        if begun is not advance:
            begun.close()
        raise


def _read(
    frames: Sequence[Frame],
    decoder: Decoder,
    begun: Advance,
    done: int,
    coming: Coming,
    progress: Progress,
) -> Reading:
    """Decode the analysis pictures that are not there; what can't be read is lost.

    Those that are there are looked at while the others are decoded.
    """
    good = list(range(done))
    lost: dict[int, str] = {}
    wanted = ADVANCE.analysis_px
    stream = decoder.stream(frames[done:], what="luma", longest_px=wanted, marked=True)
    for k, (frame, pixels) in enumerate(stream, done):
        progress("reading frames", k + 1, len(frames))
        if isinstance(pixels, FrameError):
            lost[k] = str(pixels).removeprefix(f"{frame.name}: ")
        elif begun.take(frame, pixels):
            good.append(k)
            coming.see(begun.lumas)
        else:
            lost[k] = "its size differs from the other frames"
    return Reading(tuple(frames), tuple(good), lost, begun.scale)


def _solve(
    reading: Reading,
    lumas: Lumas,
    coming: Coming,
    capture: Capture,
    reference: str | None,
    overlap: float,
    progress: Progress,
) -> Sweep:
    kept = reading.kept
    asked = next((i for i, f in enumerate(kept) if f.name == reference), None)
    if reference is not None and asked is None:
        msg = f"{reference} can't be read, so it can't be the reference; name another frame."
        raise SweepError(msg)
    middle = asked if asked is not None else len(kept) // 2
    chain = chain_run(lumas, middle, progress, coming)
    if asked is None:
        middle = _middle_frame(chain)
        chain = seen_from(chain, middle)
    if chain.found.sum() < NUMBERS.least_frames:
        msg = (
            f"{kept[0].name} and the frames after it don't show the same thing: "
            "give the frames of one sweep only."
        )
        raise SweepError(msg)
    optics = run_optics(capture, reading.scale, float(np.hypot(*lumas.shape)))
    solved = _bring_together(lumas, chain, middle, optics, reading.scale, progress)
    focusing = _focusing(solved, lumas, optics, capture, reading.scale)
    if focusing.how == "turned":
        # what was given of the scale is belied: as with nothing known
        own, chain, solution = replace(optics, dof=None), solved.chain, solved.solution
        dof = solved.dof * (focusing.depth_of_field_ratio or 1.0)
        solved = _look_at(lumas, chain, solution, solved.stack, dof, own, reading.scale)
    solved = replace(solved, focusing=focusing)
    capture = without_scale(capture, focusing)
    return Sweep(
        frames=kept,
        capture=capture,
        coverage=say_coverage(reading, solved, capture, middle, overlap),
        reference=middle,
        lumas=lumas,
        scale=reading.scale,
        poses=solved.solution.poses,
        gains=chain.gains ** (1 / 2.2),
        usable=solved.usable,
        focal_px=optics.focal_px,
        dof=solved.dof,
        c_px=optics.c_px,
        airy_px=optics.airy_px,
        peaks=solved.peaks,
        trusted=solved.trusted,
    )


def _focusing(
    solved: Solved, lumas: Lumas, optics: RunOptics, capture: Capture, scale: float
) -> Focusing:
    """Whether the camera was pushed."""
    solution, found = solved.solution, solved.usable
    wander_px = measure_wander(solution.poses, found, optics.focal_px)
    shift = measure_shift(solution.poses, solution.covariance, found, optics.focal_px)
    still = stood_still(wander_px, max(lumas.shape))
    growth = measure_growth(solved, lumas, optics, capture, scale, NUMBERS.widening, still=still)
    return tell_focusing(wander_px / scale, max(lumas.shape) / scale, growth, shift)


def _middle_frame(chain: Chain) -> int:
    """Frame whose plane lies in the middle of the sweep and that is neither dark nor lost."""
    along = chain.poses[:, 2]
    fair = chain.found & (chain.gains < NUMBERS.fair_gain)
    if not fair.any():
        fair = chain.found
    low, high = along[fair].min(), along[fair].max()
    off = np.where(fair, np.abs(along - (low + high) / 2), np.inf)
    return int(off.argmin())


def _bring_together(
    lumas: Lumas,
    chain: Chain,
    reference: int,
    optics: RunOptics,
    scale: float,
    progress: Progress,
) -> Solved:
    """Alternate between depths (from focus) and poses (from registration)."""
    grid = make_grid(lumas.shape)
    taking = chain.found & (chain.gains < FAULTS.dark_gain)
    poses = chain.poses
    dof = optics.dof
    wide: float | None = None
    solution: Solution | None = None
    for _ in range(NUMBERS.rounds):
        stack = focus_stack(lumas, poses, chain.gains, optics.focal_px, progress)
        if optics.dof is None:
            wide = estimate_depth_of_field(
                stack, taking, optics.c_px, optics.airy_px, optics.likely, wide
            )
            dof = wide / NUMBERS.widening
        assert dof is not None
        peaks = find_peaks(stack, taking, dof, optics.c_px, optics.airy_px)
        depth = cell_depths(peaks, believed(peaks), grid)
        pairs = choose_pairs(poses[:, 2], chain.found)
        solution = solve_poses(
            lumas,
            chain.gains,
            poses,
            pairs,
            reference,
            optics.focal_px,
            depth,
            NUMBERS.reach_dof * dof,
            rounds=2,
            progress=progress,
        )
        poses = solution.poses
    assert solution is not None
    assert dof is not None
    stack = focus_stack(lumas, poses, chain.gains, optics.focal_px, progress)
    return _look_at(lumas, chain, solution, stack, dof, optics, scale)


def _look_at(
    lumas: Lumas,
    chain: Chain,
    solution: Solution,
    stack: Stack,
    dof: float,
    optics: RunOptics,
    scale: float,
) -> Solved:
    """Tell peaks and faults; and the depth of field, from about `dof`, where it is not known."""
    taking = chain.found & (chain.gains < FAULTS.dark_gain)
    airy_px = optics.airy_px
    pictures = Pictures(lumas, solution.poses, optics.focal_px, scale)
    if optics.dof is None:
        dof = own_depth_of_field(
            pictures, stack, chain.gains, taking, dof, optics.c_px, optics.airy_px
        ).dof
        airy_px = measure_airy(stack, taking, dof, optics.c_px)
    peaks = find_peaks(stack, taking, dof, optics.c_px, airy_px)
    trusted = believed(peaks)
    faults, kept = find_faults(
        stack, peaks, trusted, chain.gains, chain.found, dof, optics.c_px, airy_px, pictures
    )
    usable = taking & np.array([not f for f in faults])
    if usable.sum() >= 3 and usable.sum() < taking.sum():
        if optics.dof is None:
            # a smeared frame has lost detail as if it lay farther off
            dof = own_depth_of_field(
                pictures, stack, chain.gains, usable, dof, optics.c_px, airy_px
            ).dof
        peaks = find_peaks(stack, usable, dof, optics.c_px, airy_px)
        trusted = believed(peaks)
    return Solved(chain, solution, stack, peaks, trusted, dof, tuple(faults), kept)
