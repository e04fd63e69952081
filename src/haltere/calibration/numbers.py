"""Numbers that steer a calibration, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CalibrationNumbers:
    """What counts as a mark, a row of marks, and a sweep that says something.

    Attributes
    ----------
    analysis_px : int
        Longest side of the pictures looked at: places of marks come out to a fiftieth of a pixel,
        so that more pixels than this only cost time.
    least_marks : int
        Marks in one row below which a row is chance.
    least_contrast : float
        Depth of a mark against the card around it below which it is not believed: paper and
        noise averaged over a band stay below 1 %.
    least_peak, faint : float
        A row's deepest mark is at least this deep, and this share of the deepest of all rows:
        where the rule is sharp its marks are darker than most texture, even smoothed.
    least_evidence : int
        Marks, counted in every band of the picture that shows them, below which a row is chance:
        five marks as long as a tenth of the picture, or many shorter ones. Rough paper and leaves
        made up in a computer reach 28.
    fading : float
        Share of the best mark's depth below which blurred marks are left out: defocus turns
        marks into gaps and gaps into marks soon after.
    off_beat : float
        Distance from where a mark is expected, in spacings, at which it is no longer that mark.
    least_spacing_px : float
        Marks closer than this in the analysis picture can't be told apart from texture.
    least_frames : int
        Frames with the plane of focus on the rule that a sweep needs: three unknowns, and some
        left over to tell the error.
    least_tilt_deg, most_tilt_deg : float
        Flatter, the blur and the convergence are too small to measure; steeper, an error of one
        degree in the tilt is one of 5 % and more in the magnification.
    tilt_sigma_deg : float
        How well somebody sets up a tilt by set square and eye (assumed).
    wander_deg : float
        How much a hand turns from frame to frame (assumed; the simulator's hand turns by 0.1).
    told_magnification : float
        Relative error of a magnification read off the lens or taken from a kit without an error
        (assumed).
    placing : float
        Relative error of a flat picture's magnification because the rule does not lie exactly in
        the plane of focus and square to the axis: a quarter of the depth of field, and
        two degrees across (assumed; simulated rules with both keep to it).
    faint_ink, washed_out, soft_edge_px : float
        A flat picture's marks shallower than the first with edges longer than the last, or
        shallower than the second anyhow, may be the longer ones of a rule whose others are blurred
        away. Marks printed black are 0.9 deep where sharp; on simulated rules out of focus, every
        fifth mark passed for the rule at depths of 0.18 and less.
    sharp_edge_px, disc_of_edge : float
        Edge of a mark in focus, and diameter of the blur disc over the root of what the square of
        the edge has more: simulated rules have 2.1 and about 1.5.
    pupil_off : float
        Factor by which the pupil's distance may differ from the thin lens's: pupil magnifications
        from 0.4 to 2.5 keep to it up to 2:1 (common practice, no source).
    least_pupil, most_pupil : float
        Exit over entrance pupil of lenses for close work (common practice, no source).
    marked : float
        Relative error of a marked f-number (assumed).
    width_off : float
        Factor by which the entrance pupil's width may differ from focal length over f-number: a
        lens that focuses inside changes it by a third or so (assumed), a wrong rule by two.
    push_relative : float
        Error of a speed, as a share of it, above which it is not worth a line in a kit.
    push_steps : int
        Steps below which their unevenness says nothing.
    push_backward : float
        Share of steps that go backwards above which it was no push.
    push_uneven : float
        Unevenness above which no speed describes the push: its steps spread as widely as they are
        long.
    edge_marks : float
        The sharpest place must lie this many spacings inside the row of marks.
    least_convergence : float
        Convergence over its own error below which the rule is called flat.
    least_narrowing : float
        Share by which spacing changes along a row below which the rule is called flat when its
        sharpest place isn't found: 17 mm at 1:1 tilted by 15 degrees gives 0.04.
    strain : float
        Errors by which tilt and flat picture may contradict the sweep before it is refused.
    model_distance, model_blur, model_scale : float
        Relative errors left by the model itself, added to what scatter shows: measured on
        simulated rules, see docs/guide/calibrating.md.
    """

    analysis_px: int = 2400
    least_marks: int = 5
    least_contrast: float = 0.03
    least_peak: float = 0.08
    faint: float = 0.12
    least_evidence: int = 36
    fading: float = 0.22
    off_beat: float = 0.22
    least_spacing_px: float = 6.0
    least_frames: int = 5
    least_tilt_deg: float = 15.0
    most_tilt_deg: float = 75.0
    tilt_sigma_deg: float = 0.5
    wander_deg: float = 0.15
    told_magnification: float = 0.02
    placing: float = 0.0011
    faint_ink: float = 0.5
    washed_out: float = 0.25
    soft_edge_px: float = 3.0
    sharp_edge_px: float = 2.4
    disc_of_edge: float = 1.5
    pupil_off: float = 2.0
    least_pupil: float = 0.4
    most_pupil: float = 2.5
    marked: float = 0.05
    width_off: float = 1.7
    push_relative: float = 1.0 / 3.0
    push_steps: int = 5
    push_backward: float = 0.34
    push_uneven: float = 1.0
    edge_marks: float = 0.7
    least_convergence: float = 4.0
    least_narrowing: float = 0.015
    strain: float = 6.0
    model_distance: float = 0.002
    model_blur: float = 0.004
    model_scale: float = 0.001


NUMBERS = CalibrationNumbers()
