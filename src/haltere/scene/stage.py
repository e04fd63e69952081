"""An animal put in front of the lens: placed in mm, lit, its textures baked, ready to be drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haltere.scene import mesh
from haltere.scene.animal import Animal, Plan
from haltere.scene.bake import bake
from haltere.scene.camera import Lens
from haltere.scene.hairs import drawn_hairs
from haltere.scene.lighting import Lighting
from haltere.scene.limbs import MovedLimb, StageLimb, stage_limbs, turned
from haltere.scene.pattern import KIND, SMOOTH_EYE, SPOT_AT
from haltere.scene.raster import look
from haltere.scene.visible import eye_points, not_buried, pinhole, visible_depth

Array = NDArray[np.float64]
# Least and greatest turn away from the lens, radians, of a body whose heading the seed chooses.
_YAW: dict[Plan, tuple[float, float]] = {
    "fly": (0.55, 1.0),
    "spider": (0.12, 0.62),
    "beetle": (0.15, 1.25),
    "wasp": (0.0, 1.4),
    "hopper": (0.1, 1.5),
}


@dataclass(frozen=True, slots=True)
class Stage:
    """Everything the renderer draws, axes of the reference camera, mm.

    Attributes
    ----------
    lens : Lens
        The lens that the textures were baked for.
    verts : ndarray of float32, shape (V, 3)
        Vertices.
    tris : ndarray of int32, shape (T, 3)
        Triangles, clockwise as the camera sees them.
    uv : ndarray of float32, shape (V, 2)
        Texture coordinates in texels of level 0.
    tri_patch, tri_label, tri_eye : ndarray of int32, shape (T,)
        Patch, label (1 support, 2 animal, 3 eyes) and eye (0, 1; else -1) of each triangle.
    tex : ndarray of uint8, shape (n, 3)
        All texels of all levels.
    tex_at, tex_w, tex_h : ndarray of int32, shape (P, levels)
        Where a patch's level starts, and its size.
    hair_pts : ndarray of float32, shape (2 S, 3)
        Ends of hair pieces.
    hair_width : ndarray of float32, shape (S, 2)
        Widths at both ends.
    hair_colour : ndarray of float32, shape (S, 6)
        Linear light at both ends.
    eye_points : ndarray of float64, shape (2, 3)
        One point on the surface of each main eye.
    backdrop : ndarray of float64, shape (3,)
        Mean colour of the far background, linear.
    blobs : ndarray of float64, shape (n, 6)
        Soft far shapes: place (x, y) and size in frame widths, colour.
    limbs : tuple of StageLimb
        What can be moved.
    """

    lens: Lens
    verts: NDArray[np.float32]
    tris: NDArray[np.int32]
    uv: NDArray[np.float32]
    tri_patch: NDArray[np.int32]
    tri_label: NDArray[np.int32]
    tri_eye: NDArray[np.int32]
    tex: NDArray[np.uint8]
    tex_at: NDArray[np.int32]
    tex_w: NDArray[np.int32]
    tex_h: NDArray[np.int32]
    hair_pts: NDArray[np.float32]
    hair_width: NDArray[np.float32]
    hair_colour: NDArray[np.float32]
    eye_points: Array
    backdrop: Array
    blobs: Array
    limbs: tuple[StageLimb, ...] = ()

    def moved(self, by_mm: Array) -> Stage:
        """Give the same stage with everything shifted by a vector in mm.

        Parameters
        ----------
        by_mm : ndarray of float64, shape (3,)
            Shift.
        """
        d = by_mm.astype(np.float32)
        return replace(
            self,
            verts=self.verts + d,
            hair_pts=self.hair_pts + d,
            eye_points=self.eye_points + by_mm,
            limbs=tuple(replace(one, base_mm=one.base_mm + by_mm) for one in self.limbs),
        )

    def with_limb(self, limb: MovedLimb, pose: int) -> Stage:
        """Give the same stage with a limb in another pose; light and shade stay as they were.

        Parameters
        ----------
        limb : MovedLimb
            Which limb and how it moves.
        pose : int
            Number of the pose.
        """
        own, angle = self.limbs[limb.number], limb.angle_deg[pose]
        verts, hairs = self.verts.copy(), self.hair_pts.copy()
        ends = np.concatenate([2 * own.hairs, 2 * own.hairs + 1])
        for points, which in ((verts, own.verts), (hairs, ends)):
            points[which] = turned(
                points[which].astype(np.float64), own.base_mm, limb.axis, angle
            ).astype(np.float32)
        return replace(self, verts=verts, hair_pts=hairs)


def pose_matrix(yaw: float, pitch: float, roll: float) -> Array:
    """Rotation (3, 3) from body axes to those of the reference camera.

    Parameters
    ----------
    yaw : float
        0 looks into the lens, pi/2 to the right of the picture.
    pitch : float
        How far the camera looks down on the animal.
    roll : float
        Slope in the picture.
    """
    x = np.array([np.sin(yaw), 0.0, -np.cos(yaw)])
    y = np.array([0.0, -1.0, 0.0])
    base = np.stack([x, y, np.cross(x, y)], axis=1)
    c, s = np.cos(pitch), np.sin(pitch)
    tip = np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
    c, s = np.cos(roll), np.sin(roll)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(turn @ tip @ base, dtype=np.float64)


def _triangles(p: mesh.Patch, offset: int) -> NDArray[np.int32]:
    """Triangles of a patch that can face the camera, wound clockwise in the picture."""
    r, c = p.points.shape[:2]
    i = (np.arange(r - 1)[:, None] * c + np.arange(c - 1)[None, :]).ravel()
    t = np.concatenate([np.stack([i, i + 1, i + c + 1], 1), np.stack([i, i + c + 1, i + c], 1)])
    v = p.points.reshape(-1, 3)
    n = p.normals.reshape(-1, 3)
    mid = n[t].mean(axis=1)
    cross = np.cross(v[t[:, 1]] - v[t[:, 0]], v[t[:, 2]] - v[t[:, 0]])
    flip = np.einsum("ij,ij->i", cross, mid) > 0
    t[flip] = t[flip][:, ::-1]
    keep = n[t][:, :, 2].min(axis=1) < 0.25
    return np.asarray(t[keep] + offset, dtype=np.int32)


def set_stage(
    animal: Animal,
    lens: Lens,
    seed: int,
    *,
    depth_mm: float | None = None,
    deepest_mm: float | None = None,
    fill: float = 0.80,
    yaw: float | None = None,
    lighting: Lighting | None = None,
    body_mm: float | None = None,
    texels_per_px: float = 1.0,
) -> Stage:
    """Place an animal before the lens and bake its textures for that size.

    Parameters
    ----------
    animal : Animal
        What `animal.grow` gave.
    lens : Lens
        Lens and frame; the animal is scaled to fill the frame.
    seed : int
        Seed of the pose.
    depth_mm : float or None
        Depth along the axis that the visible animal shall have; it is stretched or flattened
        along the axis to it (in the picture that changes nothing). None leaves its own depth.
    deepest_mm : float or None
        Flatten the animal only if it would be deeper than this.
    fill : float
        Share of the frame's width or height that the animal fills.
    yaw : float or None
        Heading in radians; None lets the seed choose.
    lighting : Lighting or None
        Light; None for the usual one.
    body_mm : float or None
        Body unit in mm; None fits the frame.
    texels_per_px : float
        Texels per pixel in the plane of focus.

    Returns
    -------
    Stage
        With the middle of the visible depth at 0.
    """
    rng = np.random.default_rng([seed, 23])
    light = lighting or Lighting()
    if yaw is None:
        side = 1.0 if rng.random() < 0.6 else -1.0
        yaw = side * float(rng.uniform(*_YAW[animal.plan]))
    pitch = float(rng.uniform(0.14, 0.32))
    turn = pose_matrix(yaw, pitch, float(rng.normal(0.0, 0.06)))
    patches = [
        replace(p, points=p.points @ turn.T, normals=p.normals @ turn.T) for p in animal.patches
    ]
    h = animal.hairs
    hair = [a @ turn.T for a in (h.root, h.tip, h.bow, h.normal)]
    body = np.concatenate([p.points.reshape(-1, 3) for p in patches if p.label != 1])
    if np.isfinite(animal.close):
        body = body[np.linalg.norm(body - turn @ animal.eyes.mean(axis=0), axis=1) < animal.close]
    lo, hi = body.min(axis=0), body.max(axis=0)
    frame_w = lens.sensor_width_mm / lens.magnification
    frame_h = frame_w * lens.height_px / lens.width_px
    mm = body_mm or min(fill * frame_w / (hi[0] - lo[0]), (fill + 0.06) * frame_h / (hi[1] - lo[1]))
    centre = 0.5 * (lo + hi)
    slack_x = max(0.0, 0.5 * (frame_w * 0.95 - mm * (hi[0] - lo[0])))
    slack_y = max(0.0, 0.5 * (frame_h * 0.92 - mm * (hi[1] - lo[1])))
    aim = np.array(
        [float(rng.uniform(-0.5, 0.5)) * slack_x, float(rng.uniform(-0.2, 0.6)) * slack_y, 0.0]
    )

    def place(v: Array) -> Array:
        return np.asarray((v - centre) * mm + aim)

    patches = [replace(p, points=place(p.points)) for p in patches]
    root, tip, bow = place(hair[0]), place(hair[1]), hair[2] * mm
    balls = animal.balls.copy()
    balls[:, :3] = place(balls[:, :3] @ turn.T)
    balls[:, 3] *= mm
    posed = replace(h, root=root, tip=tip, bow=bow, normal=hair[3], width=h.width * mm)
    pts, ww, cc, whose = drawn_hairs(posed, lens, light)
    kept = _kept(patches, frame_w, frame_h)
    surface = _joined(kept)
    # flatten along the axis to the depth that was asked for; seen from the lens little changes
    v = surface.verts
    for _ in range(2):
        z0, z1 = visible_depth(lens, v, surface.tris, surface.label, pts, ww)
        want = depth_mm if depth_mm is not None else min(z1 - z0, deepest_mm or z1 - z0)
        mid, factor = 0.5 * (z0 + z1), want / max(z1 - z0, 1e-6)
        v, pts = (_flattened(q, mid, factor, lens.pupil_distance_mm) for q in (v, pts))
    open_air = not_buried(lens, v, surface.tris, pts)
    pts = pts[np.repeat(open_air, 2)]
    ww, cc, whose = ww[open_air], cc[open_air], whose[open_air]
    eyes = eye_points(lens, v, surface.tris, surface.eye)
    baked = bake(
        kept,
        looking_back(animal.materials, patches),
        balls,
        animal.ball_part,
        light,
        mm,
        lens.px_per_mm * texels_per_px,
    )
    return Stage(
        lens=lens,
        verts=v.astype(np.float32),
        tris=surface.tris,
        uv=baked.uv,
        tri_patch=surface.patch,
        tri_label=surface.label,
        tri_eye=surface.eye,
        tex=baked.tex,
        tex_at=baked.tex_at,
        tex_w=baked.tex_w,
        tex_h=baked.tex_h,
        hair_pts=pts.astype(np.float32),
        hair_width=ww.astype(np.float32),
        hair_colour=cc.astype(np.float32),
        eye_points=eyes,
        backdrop=np.array(animal.palette.backdrop),
        blobs=_blobs(rng, np.array(animal.palette.backdrop)),
        limbs=stage_limbs(animal.limbs, kept, v, root, whose),
    )


def looking_back(materials: Array, patches: list[mesh.Patch]) -> Array:
    """Material table with the dark spot of each smooth eye where it looks into the lens.

    Parameters
    ----------
    materials : ndarray of float64, shape (M, pattern.COLUMNS)
        Material table of the animal.
    patches : list of Patch
        Its surfaces as they are posed, axes of the reference camera.
    """
    out = materials.copy()
    nearest = np.full(len(out), 2.0)
    for p in patches:
        away = p.normals[..., 2]
        if int(out[p.material, KIND]) == SMOOTH_EYE and away.min() < nearest[p.material]:
            nearest[p.material] = away.min()
            best = np.unravel_index(int(np.argmin(away)), away.shape)
            out[p.material, SPOT_AT : SPOT_AT + 3] = p.local[best][:3]
    return out


@dataclass(frozen=True, slots=True)
class _Surface:
    """Triangles of all patches: vertices, and patch, label and eye of each triangle."""

    verts: Array
    tris: NDArray[np.int32]
    patch: NDArray[np.int32]
    label: NDArray[np.int32]
    eye: NDArray[np.int32]


def _kept(patches: list[mesh.Patch], frame_w: float, frame_h: float) -> list[mesh.Patch]:
    """Leave out the patches that face away or lie outside the frame."""
    # room for sway and for the change of scale along a sweep
    limit = 0.7 * np.array([frame_w, frame_h])
    out = []
    for p in patches:
        xy = p.points[..., :2].reshape(-1, 2)
        outside = (xy.min(axis=0) > limit) | (xy.max(axis=0) < -limit)
        if p.normals[..., 2].min() > 0.2 or outside.any():
            continue
        out.append(_trimmed(p, float(limit[0]), float(limit[1])) if p.label == 1 else p)
    return out


def _joined(patches: list[mesh.Patch]) -> _Surface:
    """Put patches together; vertices aren't shared between them."""
    tris, rows, offset = [], [], 0
    for n, p in enumerate(patches):
        t = _triangles(p, offset)
        tris.append(t)
        # eyes beyond the two main ones have no number of their own
        rows.append(
            np.tile(np.array([n, p.label, p.eye if p.eye < 2 else -1], np.int32), (len(t), 1))
        )
        offset += p.points.shape[0] * p.points.shape[1]
    table = np.concatenate(rows)
    return _Surface(
        np.concatenate([p.points.reshape(-1, 3) for p in patches]),
        np.concatenate(tris),
        *(np.ascontiguousarray(table[:, i]) for i in range(3)),
    )


def _flattened(points: Array, mid_mm: float, factor: float, pupil_mm: float) -> Array:
    """Bring depths nearer to `mid_mm` by a factor, along the lines of sight; `mid_mm` becomes 0."""
    z = (points[:, 2:3] - mid_mm) * factor
    return np.concatenate([points[:, :2] * (pupil_mm + z) / (pupil_mm + points[:, 2:3]), z], axis=1)


def _blobs(rng: np.random.Generator, backdrop: Array) -> Array:
    """Draw soft far shapes; a row as in `Stage.blobs`."""
    out = []
    for _ in range(int(rng.integers(3, 7))):
        tint = backdrop * rng.uniform(0.2, 2.6) * rng.uniform(0.75, 1.3, 3)
        place = (rng.uniform(-0.7, 0.7), rng.uniform(-0.55, 0.55), rng.uniform(0.18, 0.45))
        out.append([*place, *tint])
    return np.array(out)


def _trimmed(p: mesh.Patch, lim_x: float, lim_y: float) -> mesh.Patch:
    """Take off a support patch the rows and columns that lie outside the frame."""
    inside = (np.abs(p.points[..., 0]) < lim_x) & (np.abs(p.points[..., 1]) < lim_y)
    if not inside.any():
        return p
    rows = np.flatnonzero(inside.any(axis=1))
    cols = np.flatnonzero(inside.any(axis=0))
    r = slice(max(rows[0] - 1, 0), rows[-1] + 2)
    c = slice(max(cols[0] - 1, 0), cols[-1] + 2)
    return replace(p, points=p.points[r, c], normals=p.normals[r, c], local=p.local[r, c])


def animal_depths(stage: Stage, lens: Lens) -> Array:
    """Depths in mm (0 = plane of focus) of the animal's pixels from the reference pupil.

    Parameters
    ----------
    stage : Stage
        What stands before the lens.
    lens : Lens
        Optics.
    """
    small = replace(lens, width_px=400, height_px=round(400 * lens.height_px / lens.width_px))
    cx, cy = small.centre_px
    z, ids = look(
        stage.verts, stage.tris, stage.hair_pts, stage.hair_width, pinhole(small),
        small.focal_px, small.pupil_distance_mm, cx, cy, small.height_px, small.width_px,
    )  # fmt: skip
    animal = (ids < -1) | ((ids >= 0) & (stage.tri_label[np.maximum(ids, 0)] >= 2))
    return np.asarray(z[animal], dtype=np.float64) - lens.pupil_distance_mm
