"""Judges a burst or a single frame at the eye."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haltere.errors import FrameError, NothingToDoError, UsageError
from haltere.focus.blur import Blur, own_depths
from haltere.focus.curves import detail
from haltere.focus.fault import Fault
from haltere.focus.patches import Patches, window_for
from haltere.focus.run_optics import RunOptics, run_optics
from haltere.focus.smear import NO_SMEAR, Smear, smears_of
from haltere.frames import Decoder, Frame
from haltere.keepers.alike import repeats, small_views
from haltere.keepers.alone import judge_alone
from haltere.keepers.crop import crop_of
from haltere.keepers.depth import EyeDepth, eye_depth
from haltere.keepers.eye import Box, Spot, alike, look_for
from haltere.keepers.faults import faults_of
from haltere.keepers.focus_map import focus_map
from haltere.keepers.look import Found, find_eye
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.refind import Again, find_again
from haltere.keepers.shots import Shots, colour_of, decode
from haltere.keepers.tie import tie
from haltere.keepers.verdict import Eye, FocusMap, JudgedFrame, Keepers
from haltere.keepers.views import Views, witnesses
from haltere.keepers.words import ranked, told_only, verdict_of
from haltere.kit import Capture
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]


def judge_burst(
    frames: Sequence[Frame],
    decoder: Decoder,
    capture: Capture,
    *,
    eye: tuple[float, float] | None = None,
    eye_frame: str | None = None,
    progress: Progress = silent,
) -> Keepers:
    """Answer which frame of a burst is sharp on the eye, and by how much the others miss it.

    Holds a few analysis pictures at a time; the others lie in a temporary folder.

    Parameters
    ----------
    frames : sequence of Frame
        One burst in order of time, or one frame.
    decoder : Decoder
        Open decoder.
    capture : Capture
        How the burst was taken.
    eye : tuple of float, optional
        Eye point (x, y) in upright full-size pixels; proposed when left out.
    eye_frame : str, optional
        Name of the frame `eye` was read in; the first when left out.
    progress : Progress, optional
        Told of each step.

    Returns
    -------
    Keepers
        Frames in rank order, and the verdict.

    Raises
    ------
    NothingToDoError
        When no frame can be decoded.
    UsageError
        When `eye_frame` is no frame of the burst, or `eye` lies outside it.
    """
    given = _given(frames, eye, eye_frame)
    with Shots() as shots:
        decode(frames, decoder, capture, shots, progress)
        if not shots.frames:
            first, why = shots.lost[0] if shots.lost else (None, "no frame was given")
            raise NothingToDoError(f"{first.name if first else 'burst'}: {why}; give other frames")
        if len(shots.frames) == 1:
            return _alone(shots, decoder, capture, given)
        optics = _optics(capture, shots, shots.small_scale, shots.small.shape)
        tied = tie(shots.small, optics, progress)
        fine = _optics(capture, shots, shots.fine_scale, shots.fine.shape)
        blur = Blur(tied.optics.dof or 0.01, fine.c_px)
        views = Views(shots, tied, window_for(fine.c_px))
        return _Burst(views, blur, decoder, capture).judged(given, progress)


def _optics(capture: Capture, shots: Shots, scale: float, shape: tuple[int, int]) -> RunOptics:
    return run_optics(capture, scale, float(np.hypot(*shape)))


def _given(
    frames: Sequence[Frame], eye: tuple[float, float] | None, eye_frame: str | None
) -> Eye | None:
    if eye is None:
        return None
    named = {f.name: f for f in frames}
    name = eye_frame if eye_frame is not None else frames[0].name
    if name not in named:
        by_path = {str(f.path): f.name for f in frames} | {f.path.name: f.name for f in frames}
        if name not in by_path:
            raise UsageError(f"{name}: is no frame of this run; name one of its frames")
        name = by_path[name]
    frame = named[name]
    if not (-0.5 <= eye[0] <= frame.width_px - 0.5 and -0.5 <= eye[1] <= frame.height_px - 0.5):
        raise UsageError(
            f"{name}: the point {eye[0]:g},{eye[1]:g} lies outside the picture of "
            f"{frame.width_px} x {frame.height_px}; give upright full-size pixels"
        )
    return Eye(name, eye[0], eye[1], "given")


def _alone(shots: Shots, decoder: Decoder, capture: Capture, given: Eye | None) -> Keepers:
    frame = shots.frames[0]
    eye, chance = given, 1.0
    radius = 0.03 * max(frame.width_px, frame.height_px)
    box, animals = None, 1
    try:
        sight = look_for(colour_of(shots, decoder, NUMBERS.look_px))
    except FrameError:
        sight = None
    if sight is not None:
        box, animals = sight.box, 1 + sight.others
        for spot in sight.spots[:1] if eye is None else ():
            eye = Eye(frame.name, spot.x_px, spot.y_px, "proposed")
            chance, radius = min(1.0, sum(s.chance for s in sight.spots[:2])), spot.radius_px
    optics = _optics(capture, shots, shots.fine_scale, shots.fine.shape)
    judged = judge_alone(shots, optics, eye, radius, chance, animals)
    best = judged.frames[0]
    if best.keeper and best.eye_px is not None:
        crop = crop_of(frame.width_px, frame.height_px, best.eye_px, radius, box, capture)
        judged = replace(judged, frames=(replace(best, crop=crop),))
    return _with_lost(replace(judged, animal_px=box), shots.lost)


def _with_lost(said: Keepers, lost: Sequence[tuple[Frame, str]]) -> Keepers:
    after = [
        JudgedFrame(
            f.name, len(said.frames) + k, None, 0.0, None, None, None,
            (Fault("hidden", 1.0, f"the frame can't be used: {why}"),), False,
        )
        for k, (f, why) in enumerate(lost, start=1)
    ]  # fmt: skip
    return replace(said, frames=(*said.frames, *after))


@dataclass(frozen=True, slots=True)
class _Measured:
    """An eye in the reference view, its depth and the patches on it."""

    spot: Spot
    depth: EyeDepth | None
    patches: Patches
    place: Floats
    radius_px: float


class _Burst:
    """One tied burst and the steps of its judgement."""

    def __init__(self, views: Views, blur: Blur, decoder: Decoder, capture: Capture) -> None:
        self.views, self.blur, self.decoder, self.capture = views, blur, decoder, capture
        known = capture.magnification is not None and views.tied.optics.dof is not None
        self.mm = capture.pupil_distance_mm if known else None
        self.shots, self.tied = views.shots, views.tied
        self.usable = self.tied.found & ~self.tied.dark
        self.smears: list[Smear] = [NO_SMEAR] * len(self.shots.frames)
        self.again: dict[int, Again] = {}
        self.bare = False

    def judged(self, given: Eye | None, progress: Progress) -> Keepers:
        """Everything, from smears to the verdict."""
        progress("measuring the eye", 0, 1)
        here, about = witnesses(self.tied)
        seen = self.views.patches(here, about) if len(here) else None
        depths = about
        if seen is not None and int(self.usable.sum()) >= 3:
            depths = own_depths(seen, self.usable, self.blur, about)
            self._find_smears(seen, depths)
        found = find_eye(self.views, self.usable & ~self._smeared(), self.decoder, given, progress)
        eye, other = self._eyes(found, given)
        if eye.depth is not None and seen is not None:
            self._find_smears(*_with_eye(seen, depths, eye))
            eye = replace(eye, depth=self._depth(eye.patches, eye.place, eye.radius_px))
        self.bare = self._shows_nothing(eye)
        self.again = self._find_again(eye, self._eye_frame(given))
        frames = [self._frame(k, eye, other) for k in range(len(self.shots.frames))]
        frames = self._told_apart(frames, eye, found)
        order = ranked(frames)
        verdict = verdict_of(
            order, found.chance, given is not None, eye.depth is not None, found.animals,
            bare=self.bare,
        )  # fmt: skip
        said = Keepers(
            given or self._eye_of(eye),
            tuple(told_only(frame) for frame in order),
            verdict,
            eye.spot.radius_px / self.shots.small_scale,
            self._box_at(self._eye_frame(given), eye, found),
            self._focus_map(order[0].frame),
        )
        progress("measuring the eye", 1, 1)
        return _with_lost(said, self.shots.lost)

    def _smeared(self) -> NDArray[np.bool_]:
        return np.array([s.longer > 0.5 for s in self.smears], bool)

    def _find_smears(self, patches: Patches, depths: Floats) -> None:
        limit = NUMBERS.smear_px * self.shots.fine_scale
        self.smears = smears_of(patches, depths, self.usable, self.blur, limit)

    def _find_again(self, eye: _Measured, anchor: int) -> dict[int, Again]:
        """Look whether the eye is where the registration puts it."""
        if eye.depth is None:
            return {}
        here = np.array([eye.spot.x_px, eye.spot.y_px])
        planes = self.views.planes(here[None])[:, 0]
        disc = self.blur.disc_px(eye.depth.depth, planes)
        disc *= self.shots.small_scale / self.shots.fine_scale
        able = self.usable & ~self._smeared()
        able = able if able.any() else self.usable
        model = int(np.argmin(np.where(able, np.abs(planes - eye.depth.depth), np.inf)))
        return find_again(
            self.views, model, anchor, np.flatnonzero(self.usable), here, eye.spot.radius_px,
            eye.depth.depth, disc,
        )  # fmt: skip

    def _eyes(self, found: Found, given: Eye | None) -> tuple[_Measured, _Measured | None]:
        """Measure the eye, and the animal's other one where it is seen; the nearer comes first."""
        eye = self._measure(found.spot)
        pair = [s for s in found.others[:4] if s.chance > 0.03 and alike(found.spot, s)]
        # where the finder doubts, its second place is as often a feeler before the first
        if found.chance < NUMBERS.certain or not pair or eye.depth is None:
            return eye, None
        other = self._measure(pair[0])
        # an eye whose own depth is a guess takes no other's place
        if other.depth is None or self._sigma_of(other.depth) > NUMBERS.untold_dof:
            return eye, None
        sure = 1.5 * float(np.hypot(eye.depth.sigma, other.depth.sigma))
        nearer = other.depth.depth < eye.depth.depth - max(0.5 * self.blur.dof, sure)
        return (other, eye) if nearer and given is None else (eye, other)

    def _measure(self, spot: Spot) -> _Measured:
        """Patches on an eye, and its depth."""
        ratio = self.shots.fine_scale / self.shots.small_scale
        least, most = (n * self.blur.c_px for n in NUMBERS.eye_px)
        radius = float(np.clip(NUMBERS.eye_share * spot.radius_px * ratio, least, most))
        y, x = np.mgrid[-5:6, -5:6] / 5.0
        on = np.hypot(x, y) <= 1.0
        place = np.column_stack([x[on], y[on]])
        here = np.array([spot.x_px, spot.y_px]) + place * radius / ratio
        patches = self.views.patches(here, self._about(here))
        return _Measured(spot, self._depth(patches, place, radius), patches, place, radius)

    def _about(self, here: Floats) -> float:
        """Rough depth of a place: what peaks near it."""
        away = np.hypot(*(self.tied.stack.points_px - here.mean(0)).T)
        near = (away < 40) & (self.tied.peaks.fit.ravel() > NUMBERS.fit)
        depths = self.tied.peaks.depth.ravel()[near]
        along = self.tied.poses[self.usable, 2]
        middle = float(np.median(along)) if along.size else 0.0
        return float(np.median(depths)) if depths.size else middle

    def _depth(self, patches: Patches, place: Floats, radius_px: float) -> EyeDepth | None:
        taking = self.usable & ~self._smeared()
        if int(taking.sum()) < 3:
            taking = self.usable
        if int(taking.sum()) < 3:
            return None
        return eye_depth(patches, taking, place, radius_px, self.blur)

    def _eye_of(self, eye: _Measured) -> Eye:
        """Proposed point, in the frame it is told for."""
        k = self._eye_frame(None)
        here = np.array([[eye.spot.x_px, eye.spot.y_px]])
        at = self.views.in_frame(k, here, eye.depth.depth if eye.depth else 0.0)[0]
        return Eye(self.shots.frames[k].name, float(at[0]), float(at[1]), "proposed")

    def _eye_frame(self, given: Eye | None) -> int:
        if given is None:
            return self.tied.reference
        return [f.name for f in self.shots.frames].index(given.frame)

    def _box_at(self, k: int, eye: _Measured, found: Found) -> Box | None:
        """Give the animal's box in one frame, full-size pixels."""
        if found.box is None or not self.tied.found[k]:
            return None
        corners = np.array([found.box[:2], found.box[2:]])
        depth = eye.depth.depth if eye.depth else 0.0
        low, high = self.views.in_frame(k, corners, depth)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def _told_apart(
        self, frames: list[JudgedFrame], eye: _Measured, found: Found
    ) -> list[JudgedFrame]:
        """Frames with what they repeat, and keepers with a proposed crop."""
        if eye.depth is None:
            return frames
        pictures = small_views(
            self.shots.small, self.tied.poses, self.usable, eye.depth.depth,
            self.tied.optics.focal_px, self._small_box(found),
        )  # fmt: skip
        likes = repeats(frames, pictures)
        radius = eye.spot.radius_px / self.shots.small_scale
        out = []
        for k, (frame, like) in enumerate(zip(frames, likes, strict=True)):
            crop = None
            if frame.keeper and frame.eye_px is not None:
                shot = self.shots.frames[k]
                crop = crop_of(
                    shot.width_px, shot.height_px, frame.eye_px, radius,
                    self._box_at(k, eye, found), self.capture,
                )  # fmt: skip
            out.append(replace(frame, like=like, crop=crop))
        return out

    def _small_box(self, found: Found) -> Box | None:
        """Give the animal's box in pixels of the small reference picture."""
        if found.box is None:
            return None
        height, width = self.shots.small.shape
        x, y = (width - 1) / 2, (height - 1) / 2
        return found.box[0] + x, found.box[1] + y, found.box[2] + x, found.box[3] + y

    def _focus_map(self, name: str) -> FocusMap | None:
        """Where the plane of the best frame lies against what it shows."""
        k = [f.name for f in self.shots.frames].index(name)
        if not self.tied.found[k]:
            return None
        return focus_map(self.views, k, self.blur.dof, name)

    def _frame(self, k: int, eye: _Measured, other: _Measured | None) -> JudgedFrame:
        frame, tied = self.shots.frames[k], self.tied
        here = np.array([[eye.spot.x_px, eye.spot.y_px]])
        place = offset = sigma = beside = beside_offset = None
        if tied.found[k] and other is not None and other.depth is not None:
            there = np.array([[other.spot.x_px, other.spot.y_px]])
            at = self.views.in_frame(k, there, other.depth.depth)[0]
            beside = (float(at[0]), float(at[1]))
            plane = float(self.views.planes(there)[k, 0])
            beside_offset = (plane - other.depth.depth) / self.blur.dof
        if tied.found[k]:
            depth = eye.depth.depth if eye.depth else float(tied.poses[k, 2])
            moved = self.again[k].moved_px if k in self.again else np.zeros(2)
            at = self.views.in_frame(k, here + moved, depth)[0]
            place = (float(at[0]), float(at[1]))
            if eye.depth is not None:
                plane = float(self.views.planes(here)[k, 0])
                offset = (plane - eye.depth.depth) / self.blur.dof
                sigma = self._sigma(k, eye.depth)
        mm = None
        if offset is not None and self.mm is not None:
            mm = offset * self.blur.dof * self.mm
        smear = self.smears[k]
        level = float(1 / tied.gains[k])
        faults = faults_of(
            frame,
            place,
            picture=self.shots.small.full(k),
            scale=self.shots.small_scale,
            radius_px=eye.spot.radius_px / self.shots.small_scale,
            offset_dof=offset,
            sigma_dof=sigma,
            smear=smear,
            smear_px=smear.length_px / self.shots.fine_scale,
            level=level,
            offset_mm=mm,
            likeness=self.again[k].likeness if k in self.again else None,
            blurred=not tied.found[k] and self._blurred(k),
        )
        said = {f.kind for f in faults if f.confidence >= 0.5}
        near = offset is not None and abs(offset) <= NUMBERS.near_dof
        keeper = (
            near
            and not self.bare
            and not said & {"motion", "dark", "clipped", "off-frame", "hidden"}
        )
        return JudgedFrame(
            frame.name, 0, place, round(self._sharpness(k, eye), 4), mm, offset, sigma, faults,
            keeper, smear.length_px / self.shots.fine_scale if tied.found[k] else None,
            smear.angle_deg, beside, beside_offset,
        )  # fmt: skip

    def _blurred(self, k: int) -> bool:
        """Whether a frame shows far less detail than those that could be tied together."""
        able = np.flatnonzero(self.usable)
        amounts = [float((detail(self.shots.small.full(int(i))) ** 2).mean()) for i in [k, *able]]
        return bool(amounts[0] < NUMBERS.blurred * np.median(amounts[1:])) if able.size else False

    def _shows_nothing(self, eye: _Measured) -> bool:
        """Whether no frame shows more on the eye than noise, which says nothing of its depth."""
        power, finest = eye.patches.energy[self.usable], eye.patches.frequencies
        power = power[:, np.hypot(*eye.place.T) < 0.5]
        amount = power[:, :, (finest > 0.06) & (finest < 0.2)].mean((1, 2, 3))
        noise = power[:, :, finest > 0.3].mean((1, 2, 3))
        seen = np.isfinite(amount) & np.isfinite(noise)
        if not seen.any():
            return False
        return bool(amount[seen].max() < NUMBERS.bare * max(float(np.median(noise[seen])), 1e-9))

    def _sigma(self, k: int, depth: EyeDepth) -> float:
        """One standard deviation of an offset, in depths of field."""
        if self.bare:
            return NUMBERS.beyond_dof
        own = np.sqrt(max(self.tied.covariance[k, 2, 2], 0.0)) / self.blur.dof
        return float(np.sqrt(NUMBERS.floor_dof**2 + self._sigma_of(depth) ** 2 + own**2))

    def _sigma_of(self, depth: EyeDepth) -> float:
        """Give the part of it that is the eye's own depth."""
        return NUMBERS.spread * depth.sigma / self.blur.dof

    def _sharpness(self, k: int, eye: _Measured) -> float:
        """Fine detail at the eye against the frame of the run that shows most of it."""
        near = np.hypot(*eye.place.T) < 0.5
        fine = (eye.patches.frequencies > 0.06) & (eye.patches.frequencies < 0.3)
        power = eye.patches.energy[:, near][:, :, fine].mean(-1)
        quiet = np.nanpercentile(power, 1) if np.isfinite(power).any() else 0.0
        amount = np.maximum(power - quiet, 0.0).mean((1, 2))
        best = np.nanmax(np.where(self.usable, amount, np.nan), initial=1e-9)
        if not np.isfinite(amount[k]) or not self.tied.found[k]:
            return 0.0
        level = min(1.0, float(1 / self.tied.gains[k])) if self.tied.dark[k] else 1.0
        return float(np.sqrt(np.clip(amount[k] / best, 0.0, 1.0)) * level)


def _with_eye(seen: Patches, depths: Floats, eye: _Measured) -> tuple[Patches, Floats]:
    """Witnesses with the patches on the eye among them, each at the depth of its dome."""
    told = eye.depth
    assert told is not None
    right, down, bend = told.terms
    x, y = eye.place.T
    on = told.depth + right * x + down * y + bend * (x**2 + y**2)
    both = Patches(
        np.concatenate([seen.energy, eye.patches.energy], 1),
        np.concatenate([seen.along, eye.patches.along], 1),
        seen.scale,
        seen.frequencies,
        seen.window_px,
    )
    return both, np.concatenate([depths, on])
