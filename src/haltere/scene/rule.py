"""A ruled target before the lens, flat or tilted, with its truth, to try a calibration on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.progress import Progress, silent
from haltere.scene.camera import Camera, Lens, pupil_points, rotation_matrix
from haltere.scene.exif import Shot, exif_bytes
from haltere.scene.exposure import diffract
from haltere.scene.hand import PushHabits, make_hand, push_positions
from haltere.scene.sensor import Sensor, add_noise, tone

Array = NDArray[np.float64]

_GRAIN = 512  # cells of the paper's texture, 25 um each, before it repeats


@dataclass(frozen=True, slots=True)
class Rule:
    """A ruled target: dark marks on light card, longer ones at every fifth and tenth.

    Attributes
    ----------
    pitch_mm : float
        From mark to mark.
    mark_mm : float
        Width of a mark.
    short, fifth, tenth : float
        Lengths of the marks, in pitches, from the edge inwards.
    width : float
        Width of the rule, in pitches.
    light, dark, behind : float
        Linear light of card, mark and of what lies behind the rule.
    grain : float
        Unevenness of the paper, as a share of its light.
    numbers : bool
        Blots that stand for numbers beyond the marks at every tenth.
    """

    pitch_mm: float = 1.0
    mark_mm: float = 0.16
    short: float = 4.0
    fifth: float = 5.5
    tenth: float = 7.0
    width: float = 16.0
    light: float = 0.62
    dark: float = 0.05
    behind: float = 0.2
    grain: float = 0.04
    numbers: bool = True


@dataclass(frozen=True, slots=True)
class RuleTruth:
    """What is true of photographs of a rule.

    Attributes
    ----------
    files : tuple of Path
        The pictures, in order of time.
    magnification, pupil_distance_mm, f_number_effective, depth_of_field_mm, coc_mm : float
        Optics; depth of field 2 c Ne / m^2.
    pixel_pitch_mm, pitch_mm : float
        Pixel on the sensor; mark to mark on the rule.
    tilt_deg, turn_deg : float
        Tilt of the rule against the plane of focus; turn of its picture in the frame.
    advance_mm : tuple of float
        How far the camera has moved along its axis at each frame, + = towards the rule.
    times_s : tuple of float
        Moments of the frames.
    """

    files: tuple[Path, ...]
    magnification: float
    pupil_distance_mm: float
    f_number_effective: float
    depth_of_field_mm: float
    coc_mm: float
    pixel_pitch_mm: float
    pitch_mm: float
    tilt_deg: float
    turn_deg: float
    advance_mm: tuple[float, ...]
    times_s: tuple[float, ...]

    @property
    def push_mm_s(self) -> float:
        """Mean speed along the axis from first to last frame; 0 for one frame."""
        span = self.times_s[-1] - self.times_s[0]
        return abs(self.advance_mm[-1] - self.advance_mm[0]) / span if span > 0 else 0.0


@njit(cache=True, nogil=True)
def _sum_light(maps: Any, offsets: Any, marks: Any, blots: Any, grain: Any, out: Any) -> None:
    """Average what each view through the pupil sees of the rule; `maps` are (K, 3, 3)."""
    pitch, half, short, fifth, tenth, width, light, dark, behind = marks
    rows, cols = out.shape
    count = maps.shape[0]
    for y in range(rows):
        for x in range(cols):
            total = 0.0
            for k in range(count):
                h = maps[k]
                px, py = x + offsets[k, 0], y + offsets[k, 1]
                w = 1.0 / (h[2, 0] * px + h[2, 1] * py + h[2, 2])
                t = (h[0, 0] * px + h[0, 1] * py + h[0, 2]) * w
                v = (h[1, 0] * px + h[1, 1] * py + h[1, 2]) * w
                if v < 0.0 or v > width:
                    total += behind
                    continue
                n = round(t / pitch)
                value = light
                if abs(t - n * pitch) < half:
                    long = tenth if n % 10 == 0 else (fifth if n % 5 == 0 else short)
                    if v < long:
                        value = dark
                gx = math.floor(t * 40.0) % grain.shape[1]
                gy = math.floor(v * 40.0) % grain.shape[0]
                # blots stand on a grid of 6 x 6 cells, 0.35 of a pitch each, beyond the tenths
                by = math.floor((v - tenth) / pitch / 0.35) - 2
                if 0 <= by < 6:
                    tens = round(t / pitch / 10.0)
                    bx = (t / pitch - tens * 10.0 + 1.05) / 0.35
                    if 0.0 <= bx < 6.0 and blots[tens % blots.shape[0], by, int(bx)] > 0:
                        value = dark
                total += value * grain[gy, gx]
            out[y, x] = total / count


def _plane_map(lens: Lens, camera: Camera, rule: Array, pupil_mm: Array) -> Array:
    """Homography (3, 3) from a pixel to (t, v, 1) on the rule, seen through a point of the pupil.

    `rule` holds the rule's origin, its direction, and the direction across it.
    """
    cx, cy = lens.centre_px
    s = lens.pupil_distance_mm
    scale = 1.0 / lens.px_per_mm
    # pixel -> point on the plane of focus, camera axes
    focus = np.array([[scale, 0.0, -scale * cx], [0.0, scale, -scale * cy], [0.0, 0.0, s]])
    back = camera.rotation.T
    start = np.array([pupil_mm[0], pupil_mm[1], 0.0])
    ray = focus - np.outer(start, [0.0, 0.0, 1.0])
    origin = np.asarray(camera.centre_mm) + back @ start
    normal = np.cross(rule[1], rule[2])
    world = back @ ray
    # the ray meets the rule after reach / depth of its length
    reach = float(normal @ (rule[0] - origin))
    depth = normal @ world
    along = reach * (rule[1] @ world) + float(rule[1] @ (origin - rule[0])) * depth
    across = reach * (rule[2] @ world) + float(rule[2] @ (origin - rule[0])) * depth
    return np.asarray(np.stack([along, across, depth]))


def _views(lens: Lens, count: int, rng: np.random.Generator) -> tuple[Array, Array]:
    pupil = pupil_points(lens, count, float(rng.uniform(0.0, 2.0 * np.pi)))
    i = np.arange(count)
    g = 1.32471795724474602596  # plastic-number lattice (Roberts 2018), as in the animals' frames
    start = rng.random(2)
    offsets = np.stack([(start[0] + i / g) % 1.0 - 0.5, (start[1] + i / g**2) % 1.0 - 0.5], axis=1)
    return pupil, np.asarray(offsets)


def rule_light(
    rule: Rule, lens: Lens, camera: Camera, *, tilt_deg: float, turn_deg: float, views: int,
    seed: int,
) -> NDArray[np.float32]:  # fmt: skip
    """Give the light (H, W) that a rule sends to the sensor, diffraction included.

    The rule passes through the origin, which the reference camera sees in the middle of its plane
    of focus.

    Parameters
    ----------
    rule : Rule
        Target.
    lens, camera : Lens, Camera
        Optics and pose.
    tilt_deg : float
        Tilt of the rule's length against the plane of focus.
    turn_deg : float
        Turn of the rule in the frame.
    views : int
        Points of the pupil.
    seed : int
        Paper, light and the pattern's turn.
    """
    rng = np.random.default_rng([seed, 53])
    tilt, turn = math.radians(tilt_deg), math.radians(turn_deg)
    along = np.array(
        [math.cos(tilt) * math.cos(turn), math.cos(tilt) * math.sin(turn), math.sin(tilt)]
    )
    across = np.array([-math.sin(turn), math.cos(turn), 0.0])
    middle = 0.55 * rule.short * rule.pitch_mm
    geometry = np.stack([-across * middle, along, across])
    pupil, offsets = _views(lens, views, rng)
    maps = np.stack([_plane_map(lens, camera, geometry, a) for a in pupil])
    p = rule.pitch_mm
    marks = np.array(
        [
            p, rule.mark_mm / 2.0, rule.short * p, rule.fifth * p, rule.tenth * p, rule.width * p,
            rule.light, rule.dark, rule.behind,
        ]
    )  # fmt: skip
    paper = np.random.default_rng([seed // 1000, 54])  # one rule for all frames of a sweep
    grain = 1.0 + rule.grain * paper.standard_normal((_GRAIN, _GRAIN))
    blots = paper.integers(0, 2, (7, 6, 6)) if rule.numbers else np.zeros((7, 6, 6), np.int64)
    out = np.empty((lens.height_px, lens.width_px))
    _sum_light(maps, offsets, marks, blots, grain, out)
    y, x = np.mgrid[0 : lens.height_px, 0 : lens.width_px]
    slope = paper.uniform(-0.25, 0.25, 2)
    shade = 1.0 + slope[0] * (x / lens.width_px - 0.5) + slope[1] * (y / lens.height_px - 0.5)
    light = (out * shade).astype(np.float32)[..., None]
    return np.asarray(diffract(light, lens)[..., 0])


def render_rule(  # noqa: PLR0913
    seed: int,
    out: Path,
    *,
    lens: Lens,
    tilt_deg: float = 0.0,
    turn_deg: float = 0.0,
    frames: int = 1,
    advance_mm: float = 0.0,
    too_near_mm: float = 0.0,
    push_mm_s: float = 4.0,
    hand: float = 1.0,
    rule: Rule = Rule(),
    views: int | None = None,
    subseconds: bool = True,
    name: str = "rule",
    progress: Progress = silent,
) -> RuleTruth:
    """Photograph a rule from an unsteady hand into `out`, and tell the truth about it.

    Parameters
    ----------
    seed : int
        Hand, paper, light, noise.
    out : Path
        Folder, made if missing.
    lens : Lens
        Optics and size of the frames.
    tilt_deg, turn_deg : float
        Tilt of the rule against the plane of focus, turn in the frame.
    frames : int
        Number of frames.
    advance_mm : float
        Way of the camera along its axis from first to last frame, in uneven steps.
    too_near_mm : float
        How much nearer than sharp the camera is in the middle of its way.
    push_mm_s : float
        Speed on the average.
    hand : float
        Factor on the hand's sway and turns; 0 is a tripod.
    rule : Rule
        Target.
    views : int, optional
        Points of the pupil per frame; by default two for each pixel of the widest blur.
    subseconds : bool
        False writes times in whole seconds only, as some cameras do.
    name : str
        Beginning of the files' names.
    progress : Progress
        Told after each frame.
    """
    from PIL import Image

    out = Path(out)
    out.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([seed, 59])
    advance = np.zeros(1)
    if frames > 1:
        # the longest step allowed is no limit here: gaps in a calibration do no harm
        habits = PushHabits(longest_dof=1e9)
        advance = push_positions(rng, -advance_mm / 2, advance_mm / 2, frames - 1, 1.0, habits)
    span = abs(advance_mm) / push_mm_s
    advance = advance + too_near_mm
    # even frame rate, as a camera in continuous drive
    times = np.linspace(0.0, span, frames)
    if views is None:
        field_mm = lens.width_px / lens.px_per_mm
        reach = 0.5 * (abs(advance_mm) + field_mm * abs(math.tan(math.radians(tilt_deg))))
        widest = abs(lens.blur_disc_px(min(reach, 0.5 * lens.pupil_distance_mm)))
        views = int(min(max(2.0 * widest, 32.0), 200.0))
    sway = make_hand(seed, scale=hand * min(1.0, 1.0 / lens.magnification))
    start = datetime(2026, 6, 1, 9, 0, tzinfo=timezone(timedelta(hours=2)))
    files = []
    for i in range(frames):
        moved = sway.at(float(times[i]))
        camera = Camera(
            (float(moved[0]), float(moved[1]), -lens.pupil_distance_mm + float(advance[i])),
            rotation_matrix(float(moved[3]), float(moved[4]), float(moved[5])),
        )
        light = rule_light(
            rule, lens, camera, tilt_deg=tilt_deg, turn_deg=turn_deg, views=views,
            seed=seed * 1000 + i,
        )  # fmt: skip
        grey = tone(add_noise(light, Sensor(), seed * 1000 + i))
        moment = start + timedelta(seconds=float(times[i]))
        shot = Shot(
            time=moment if subseconds else moment.replace(microsecond=0),
            exposure_s=1 / 200, f_number=lens.f_number, iso=200, focal_mm=lens.focal_mm,
            px_per_mm_sensor=1.0 / lens.pixel_pitch_mm, size_px=(lens.width_px, lens.height_px),
            model="Calibrating", serial="0001", lens_model="Invented macro", number=i + 1,
        )  # fmt: skip
        path = out / f"{name}_{i:03d}.jpg"
        picture = Image.fromarray(np.repeat(grey[..., None], 3, axis=2))
        picture.save(path, "JPEG", quality=92, subsampling=0, exif=exif_bytes(shot))
        files.append(path)
        progress("photographing the rule", i + 1, frames)
    return RuleTruth(
        tuple(files), lens.magnification, lens.pupil_distance_mm, lens.f_number_effective,
        lens.depth_of_field_mm, lens.coc_mm, lens.pixel_pitch_mm, rule.pitch_mm, tilt_deg,
        turn_deg, tuple(float(a) for a in advance), tuple(float(t) for t in times),
    )  # fmt: skip
