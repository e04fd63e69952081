"""Judges a burst or a single frame at the eye."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.align.pose import apply, homography, plane_depth, project
from haltere.errors import FrameError, NothingToDoError, UsageError
from haltere.focus.curves import curve_shape
from haltere.focus.fault import Fault
from haltere.frames import Decoder, Frame, Pixels
from haltere.keepers.alone import judge_alone
from haltere.keepers.eye import Spot, alike, eyes_in, gather
from haltere.keepers.face import Face, face_at
from haltere.keepers.faults import faults_of
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.smear import direction_of, kept_detail, length_of
from haltere.keepers.tie import Optics, Tied, optics_of, tie
from haltere.keepers.verdict import Eye, JudgedFrame, Keepers
from haltere.keepers.words import ranked, verdict_of
from haltere.kit import Capture
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]


@dataclass(slots=True)
class _Shots:
    """Frames that could be decoded to one size, and what is wrong with the others."""

    lumas: Lumas
    frames: list[Frame] = field(default_factory=list)
    scale: float = 1.0
    lost: list[tuple[Frame, str]] = field(default_factory=list)


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
    with Lumas() as lumas:
        shots = _decode(frames, decoder, lumas, progress)
        if not shots.frames:
            first, why = shots.lost[0] if shots.lost else (None, "no frame was given")
            raise NothingToDoError(f"{first.name if first else 'burst'}: {why}; give other frames")
        if len(shots.frames) == 1:
            return _alone(shots, decoder, given)
        longest = max(shots.frames[0].width_px, shots.frames[0].height_px)
        optics = optics_of(capture, max(lumas.shape), longest)
        tied = tie(lumas, optics, progress)
        return _Burst(shots, tied, decoder, capture).judged(given, progress)


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


def _decode(frames: Sequence[Frame], decoder: Decoder, lumas: Lumas, progress: Progress) -> _Shots:
    """Decode to analysis size; frames of another size than most can't be compared."""
    sizes = [(f.width_px, f.height_px) for f in frames]
    usual = max(sizes, key=lambda s: (sizes.count(s), -sizes.index(s))) if sizes else (0, 0)
    shots = _Shots(lumas)
    stream = decoder.stream(frames, what="luma", longest_px=NUMBERS.work_px)
    for k, (frame, pixels) in enumerate(stream):
        progress("reading frames", k + 1, len(frames))
        if isinstance(pixels, FrameError):
            shots.lost.append((frame, str(pixels).removeprefix(f"{frame.name}: ")))
        elif (frame.width_px, frame.height_px) != usual:
            shots.lost.append((frame, "is of another size than the run"))
        elif len(lumas) and pixels.array.shape != lumas.shape:
            shots.lost.append((frame, "decodes to another size than the run"))
        else:
            lumas.add(as_encoded(pixels))
            shots.frames.append(frame)
            shots.scale = pixels.scale
    return shots


def as_encoded(pixels: Pixels) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Grey values about as a camera encodes them.

    Parameters
    ----------
    pixels : Pixels
        Grey picture.

    Returns
    -------
    ndarray of uint8 or uint16, shape (H, W)
        The array itself unless it is linear.
    """
    if not pixels.linear:
        return pixels.array
    return np.asarray(np.sqrt(pixels.array / np.float32(65535)) * 65535, np.uint16)


def _alone(shots: _Shots, decoder: Decoder, given: Eye | None) -> Keepers:
    frame = shots.frames[0]
    eye, chance = given, 1.0
    radius = 0.03 * max(frame.width_px, frame.height_px)
    if eye is None:
        spots = eyes_in(decoder.rgb(frame, 960))
        spots = gather(spots, 1)
        if spots:
            eye = Eye(frame.name, spots[0].x_px, spots[0].y_px, "proposed")
            chance, radius = spots[0].chance, spots[0].radius_px
    judged = judge_alone(shots.lumas, frame, shots.scale, eye, radius, chance)
    return _with_lost(judged, shots.lost)


def _with_lost(said: Keepers, lost: Sequence[tuple[Frame, str]]) -> Keepers:
    after = [
        JudgedFrame(
            f.name, len(said.frames) + k, None, 0.0, None, None, None,
            (Fault("hidden", 1.0, f"the frame can't be used: {why}"),), False,
        )
        for k, (f, why) in enumerate(lost, start=1)
    ]  # fmt: skip
    return replace(said, frames=(*said.frames, *after))


class _Burst:
    """One tied burst and the steps of its judgement."""

    def __init__(self, shots: _Shots, tied: Tied, decoder: Decoder, capture: Capture) -> None:
        self.shots, self.tied, self.decoder, self.capture = shots, tied, decoder, capture
        height, width = shots.lumas.shape
        self.centre = np.array([(width - 1) / 2, (height - 1) / 2])
        self.optics: Optics = tied.optics
        self.dof = self.optics.dof or 0.01
        self.usable = tied.found & ~tied.dark
        self.smeared = np.zeros(len(shots.frames), bool)
        self.kept = np.ones(len(shots.frames))
        self.peaks = tied.peaks

    def judged(self, given: Eye | None, progress: Progress) -> Keepers:
        """Everything, from smears to the verdict."""
        self._find_smears()
        spot, chance = self._spot(given, progress)
        face = self._face(spot, given)
        eye = given or self._eye_of(spot, face)
        judged = [self._frame(k, spot, face) for k in range(len(self.shots.frames))]
        order = ranked(judged)
        said = Keepers(eye, order, verdict_of(order, chance, given is not None, face is not None))
        return _with_lost(said, self.shots.lost)

    def _find_smears(self) -> None:
        """Find smeared frames, once more without those found: they bend the curves."""
        for _ in range(2):
            taking = self.usable & ~self.smeared
            self.kept = kept_detail(self.tied.stack, self.tied.poses[:, 2], taking, self.dof)
            lengths = np.array([self.smear_px(k) for k in range(self.kept.size)])
            self.smeared = lengths > NUMBERS.smear_px

    def smear_px(self, k: int) -> float:
        """Length of a frame's smear in full-size pixels."""
        if self.tied.dark[k] or not np.isfinite(self.kept[k]):
            return 0.0
        # frames differ by a tenth in what they keep, without having moved
        others = self.kept[self.usable & np.isfinite(self.kept)]
        usual = max(float(np.median(others)), 0.5) if others.size else 1.0
        kept = self.kept[k] / usual
        if kept > 0.65:
            return 0.0
        return length_of(kept, self.optics.airy_px) / self.shots.scale

    def _full(self, centred_px: Floats) -> tuple[float, float]:
        x, y = (centred_px + self.centre + 0.5) / self.shots.scale - 0.5
        return float(x), float(y)

    def _centred(self, x_px: float, y_px: float) -> Floats:
        both = np.array([x_px, y_px])
        result: Floats = (both + 0.5) * self.shots.scale - 0.5 - self.centre
        return result

    def _to_reference(self, k: int, point_px: Floats, depth: float) -> Floats:
        back = np.linalg.inv(homography(self.tied.poses[k], depth, self.optics.focal_px))
        result: Floats = apply(np.asarray(back, np.float64), point_px[None])[0]
        return result

    def _spot(self, given: Eye | None, progress: Progress) -> tuple[Spot, float]:
        """Place the eye in centred reference pixels, and how sure it is."""
        looked = self._proposals(given, progress)
        if given is None:
            return self._nearest(looked)
        names = [f.name for f in self.shots.frames]
        radius = 0.03 * max(self.shots.lumas.shape)
        if given.frame not in names:
            raise UsageError(f"{given.frame}: can't be compared with the run; name another frame")
        k = names.index(given.frame)
        at = self._centred(given.x_px, given.y_px)
        depth = float(self.tied.poses[k, 2])
        here = at
        for _ in range(3):  # the place in the reference view moves with the depth found there
            here = self._to_reference(k, at, depth)
            around = [
                s for s in looked
                if np.hypot(s.x_px - here[0], s.y_px - here[1]) < s.radius_px and s.chance > 0.05
            ]  # fmt: skip
            radius = around[0].radius_px if around else radius
            spot = Spot(float(here[0]), float(here[1]), radius, 1.0)
            face = self._face(spot, given)
            if face is not None:
                depth = face.depth
        return Spot(float(here[0]), float(here[1]), radius, 1.0), 1.0

    def _proposals(self, given: Eye | None, progress: Progress) -> list[Spot]:
        """Spots of a few frames, carried to the reference view."""
        able = np.flatnonzero(self.usable & ~self.smeared)
        if able.size == 0:
            able = np.flatnonzero(self.usable)
        if able.size == 0:
            able = np.array([self.tied.reference])
        along = self.tied.poses[able, 2]
        order = able[np.argsort(along, kind="stable")]
        at = np.unique((np.array([0.15, 0.5, 0.85]) * (order.size - 1)).round().astype(int))
        looks = order[at][: NUMBERS.looks]
        spots: list[Spot] = []
        for done, k in enumerate(looks):
            progress("looking for the eye", done + 1, len(looks))
            try:
                seen = eyes_in(self.decoder.rgb(self.shots.frames[k], 960))
            except FrameError:
                continue
            for s in seen:
                there = self._centred(s.x_px, s.y_px)
                here = self._to_reference(int(k), there, float(self.tied.poses[k, 2]))
                radius = s.radius_px * self.shots.scale
                spots.append(Spot(float(here[0]), float(here[1]), radius, s.chance, s.colour))
        return gather(spots, len(looks))

    def _nearest(self, spots: Sequence[Spot]) -> tuple[Spot, float]:
        """Of a likely pair of eyes the nearer one; without any, the sharpest place."""
        if not spots or spots[0].chance < 0.5 * NUMBERS.sure:
            if not spots:
                return self._sharpest(), 0.0
            return spots[0], spots[0].chance
        best = spots[0]
        first = self._face(best, None)
        for other in spots[1:5]:
            pair = other.chance > 0.5 * best.chance and alike(best, other)
            face = self._face(other, None) if pair else None
            if face is None or first is None:
                continue
            sure = 1.5 * float(np.hypot(face.sigma, first.sigma))
            if face.depth < first.depth - max(0.3 * self.dof, sure):
                best, first = other, face
        return best, min(1.0, sum(s.chance for s in spots[:2]))

    def _sharpest(self) -> Spot:
        amount = np.where(self.peaks.fit > NUMBERS.fit, self.peaks.amplitude, 0.0)
        x, y = self.tied.stack.points_px[int(amount.argmax())]
        return Spot(float(x), float(y), 0.03 * max(self.shots.lumas.shape), 0.0)

    def _face(self, spot: Spot, given: Eye | None) -> Face | None:
        if int((self.usable & ~self.smeared).sum()) < 3:
            return None
        taking = self.usable & ~self.smeared
        radius = spot.radius_px if given is None else 0.5 * spot.radius_px
        lens = (self.dof, self.optics.c_px, self.optics.airy_px)
        return face_at(
            self.tied.stack, taking, spot.x_px, spot.y_px, radius, lens, apex=given is None
        )

    def _eye_of(self, spot: Spot, face: Face | None) -> Eye:
        here = np.array([face.x_px, face.y_px] if face else [spot.x_px, spot.y_px])
        x, y = self._full(here)
        return Eye(self.shots.frames[self.tied.reference].name, x, y, "proposed")

    def _sigma(self, k: int, face: Face) -> float:
        """One standard deviation of an offset, in depths of field."""
        curve = face.sigma / self.dof
        own = np.sqrt(max(self.tied.covariance[k, 2, 2], 0.0)) / self.dof
        return float(np.sqrt(NUMBERS.floor_dof**2 + curve**2 + own**2))

    def _frame(self, k: int, spot: Spot, face: Face | None) -> JudgedFrame:
        frame = self.shots.frames[k]
        tied = self.tied
        here = np.array([face.x_px, face.y_px] if face else [spot.x_px, spot.y_px])
        place = offset = sigma = None
        sharpness = 0.0
        if tied.found[k]:
            depth = face.depth if face else float(tied.poses[k, 2])
            at = project(tied.poses[k], here[None], depth, self.optics.focal_px)[0]
            place = self._full(at)
            if face is not None:
                plane = float(plane_depth(tied.poses[k], here[None], self.optics.focal_px)[0])
                offset = (plane - face.depth) / self.dof
                sigma = self._sigma(k, face)
                blur = np.array([abs(offset) * 2 * self.optics.c_px])
                sharpness = float(np.sqrt(curve_shape(blur, self.optics.airy_px)[0]))
        smear = self.smear_px(k)
        if smear > 0 and np.isfinite(self.kept[k]):
            sharpness *= float(np.sqrt(np.clip(self.kept[k], 0.0, 1.0)))
        if tied.dark[k]:
            sharpness *= float(1 / tied.gains[k])
        mm = None
        if offset is not None and self.optics.mm is not None:
            mm = offset * self.dof * self.optics.mm
        faults = faults_of(
            frame,
            place,
            picture=self.shots.lumas.full(k),
            scale=self.shots.scale,
            radius_px=spot.radius_px / self.shots.scale,
            offset_dof=offset,
            sigma_dof=sigma,
            smear_px=smear,
            smear_deg=self._direction(k) if smear > NUMBERS.smear_px else None,
            level=float(1 / tied.gains[k]),
            offset_mm=mm,
        )
        said = {f.kind for f in faults if f.confidence >= 0.5}
        near = offset is not None and abs(offset) <= NUMBERS.near_dof
        keeper = near and not said & {"motion", "dark", "clipped", "off-frame", "hidden"}
        return JudgedFrame(
            frame.name, 0, place, round(sharpness, 4), mm, offset, sigma, faults, keeper
        )  # fmt: skip

    def _direction(self, k: int) -> float:
        """Direction of a frame's smear, against the clean frame nearest in depth."""
        clean = np.flatnonzero(self.usable & ~self.smeared)
        along = self.tied.poses[:, 2]
        beside = int(clean[np.argmin(np.abs(along[clean] - along[k]))])
        factor = 2 if max(self.shots.lumas.shape) > 1000 else 1
        gains = self.tied.gains.astype(np.float32)
        pair = [self.shots.lumas.small(i, factor) * gains[i] for i in (k, beside)]
        return direction_of(pair[0], pair[1])[0]
