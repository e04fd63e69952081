"""Growing a body: parts with skins, the hairs that root on them, and what shades what."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from haltere.scene import mesh
from haltere.scene.material import Colour

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Hairs:
    """Hairs as curved tapered strips, body units.

    Attributes
    ----------
    root, tip, bow : ndarray of float64, shape (n, 3)
        Root, tip, and sideways displacement at half length.
    normal : ndarray of float64, shape (n, 3)
        Direction of the skin at the root.
    width : ndarray of float64, shape (n,)
        Width at the root.
    colour : ndarray of float64, shape (n, 6)
        Linear light at root and tip.
    """

    root: Array
    tip: Array
    bow: Array
    normal: Array
    width: Array
    colour: Array


@dataclass(frozen=True, slots=True)
class Head:
    """A head turned on its neck; places on it are given as if it looked straight ahead.

    Attributes
    ----------
    centre : ndarray of float64, shape (3,)
        Middle, body units.
    axes : ndarray of float64, shape (3, 3)
        Columns are its own forward, up and right.
    """

    centre: Array
    axes: Array

    def at(self, x: float, y: float, z: float) -> Array:
        """Give the place in the body of a place on the head.

        Parameters
        ----------
        x, y, z : float
            From the head's middle: forward, up, to its right.
        """
        return np.asarray(self.centre + self.axes @ np.array([x, y, z]))

    def way(self, x: float, y: float, z: float) -> Array:
        """Give the direction in the body of a direction on the head.

        Parameters
        ----------
        x, y, z : float
            Forward, up, to its right.
        """
        return np.asarray(self.axes @ np.array([x, y, z]))


def turned_head(neck: Array, reach: float, turn: float, nod: float, tilt: float) -> Head:
    """Give a head at the end of a neck.

    Parameters
    ----------
    neck : ndarray of float64, shape (3,)
        Where it turns, body units.
    reach : float
        From there to the head's middle.
    turn, nod, tilt : float
        Turned to its right, nose down, and leaned to its right; radians.
    """
    c, s = np.cos(turn), np.sin(turn)
    about_up = np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]])
    c, s = np.cos(nod), np.sin(nod)
    about_side = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    c, s = np.cos(tilt), np.sin(tilt)
    about_nose = np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
    axes = about_up @ about_side @ about_nose
    return Head(neck + reach * axes[:, 0], axes)


@dataclass(slots=True)
class Growth:
    """What has grown so far."""

    rng: np.random.Generator
    patches: list[mesh.Patch] = field(default_factory=list)
    materials: list[Array] = field(default_factory=list)
    hairs: list[tuple[Array, ...]] = field(default_factory=list)
    balls: list[tuple[float, ...]] = field(default_factory=list)
    ball_part: list[int] = field(default_factory=list)
    pieces: list[tuple[int, Array, Array]] = field(default_factory=list)
    part: int = 0

    def skin(self, row: Array) -> int:
        """Add a row to the material table and give its number.

        Parameters
        ----------
        row : ndarray of float64, shape (pattern.COLUMNS,)
            From `material.material`.
        """
        self.materials.append(row)
        return len(self.materials) - 1

    def seed(self) -> int:
        """Draw a seed for a pattern."""
        return int(self.rng.integers(1, 100000))

    def box(
        self, centre: Array, axes: Array, radii: Array, skin: int,
        *, power: float = 2.0, cells: int = 16, label: int = 2, eye: int = -1,
        joined: bool = False,
    ) -> list[mesh.Patch]:  # fmt: skip
        """Grow a rounded body; see `mesh.rounded_box`.

        Parameters
        ----------
        centre : ndarray of float64, shape (3,)
            Middle, body units.
        axes : ndarray of float64, shape (3, 3)
            Columns are its axes.
        radii : ndarray of float64, shape (3,)
            Half lengths along them.
        skin : int
            Row of the material table.
        power : float
            Exponent of the norm, 2 for an ellipsoid.
        cells : int
            Cells along one edge of a patch.
        label, eye : int
            As in `mesh.Patch`.
        joined : bool
            True makes it one with the part before, so that neither shades the other.
        """
        self.part += 0 if joined else 1
        made = mesh.rounded_box(centre, axes, radii, power, cells, material=skin, label=label,
                                part=self.part, eye=eye)  # fmt: skip
        self.patches += made
        long = float(np.max(radii))
        thick = float(np.sort(radii)[:2].mean())
        way = axes[:, int(np.argmax(radii))]
        for t in (-1.0, 0.0, 1.0) if long > 1.15 * thick else (0.0,):
            c = centre + way * t * (long - thick) * 0.9
            self.balls.append((*c, thick * 0.97))
            self.ball_part.append(self.part)
        return made

    def leg_piece(
        self, a: Array, b: Array, r0: float, r1: float, swell: float, skin: int,
        *, cells: int = 14, around: int = 14,
    ) -> mesh.Patch:  # fmt: skip
        """Grow one segment of a limb; see `mesh.limb`.

        Parameters
        ----------
        a, b : ndarray of float64, shape (3,)
            Ends, body units.
        r0, r1 : float
            Radii at `a` and `b`.
        swell : float
            Added to the radius in the middle.
        skin : int
            Row of the material table.
        cells, around : int
            Cells along and around it.
        """
        self.part += 1
        self.pieces.append((self.part, a, b))
        p = mesh.limb(a, b, r0, r1, swell, cells, around, material=skin, label=2, part=self.part)
        self.patches.append(p)
        n = max(2, int(np.linalg.norm(b - a) / (2.2 * (r0 + r1 + swell) / 2)))
        for t in (np.arange(n) + 0.5) / n:
            self.balls.append((*(a + t * (b - a)), (r0 + (r1 - r0) * t + 0.6 * swell) * 0.95))
            self.ball_part.append(self.part)
        return p

    def coat(  # noqa: PLR0913
        self, patches: list[mesh.Patch], count: int, length: tuple[float, float], width: float,
        root: Colour, tip: Colour, *, lean: Array, lay: float, curl: float = 0.15,
        window: tuple[float, float] = (-9.0, 9.0), spread: float = 0.25,
    ) -> None:  # fmt: skip
        """Root `count` hairs on patches, between two places along x, leaning by `lay` to `lean`.

        Parameters
        ----------
        patches : list of Patch
            Where the hairs root, evenly by area.
        count : int
            Hairs to try; those outside `window` are dropped.
        length : tuple of float
            Shortest and longest, body units.
        width : float
            Mean width at the root, about.
        root, tip : Colour
            Colours of the two ends.
        lean : ndarray of float64, shape (3,)
            Direction to lean to.
        lay : float
            0 stands along the normal, 1 lies along `lean`.
        curl : float
            Largest sideways bow over length.
        window : tuple of float
            Smallest and largest x of a root.
        spread : float
            Standard deviation of the random part of the direction.
        """
        rng = self.rng
        areas = []
        for p in patches:
            d = p.points
            e = np.cross(d[1:, :-1] - d[:-1, :-1], d[:-1, 1:] - d[:-1, :-1])
            areas.append(float(np.linalg.norm(e, axis=-1).sum()))
        which = rng.choice(len(patches), size=count, p=np.array(areas) / np.sum(areas))
        u, v = rng.random(count), rng.random(count)
        pts, nrm = np.empty((count, 3)), np.empty((count, 3))
        for i, k in enumerate(which):
            p = patches[int(k)]
            r, c = u[i] * (p.points.shape[0] - 1), v[i] * (p.points.shape[1] - 1)
            r0, c0 = int(r), int(c)
            fr, fc = r - r0, c - c0
            for src, dst in ((p.points, pts), (p.normals, nrm)):
                dst[i] = (
                    src[r0, c0] * (1 - fr) * (1 - fc) + src[r0, c0 + 1] * (1 - fr) * fc
                    + src[r0 + 1, c0] * fr * (1 - fc) + src[r0 + 1, c0 + 1] * fr * fc
                )  # fmt: skip
        keep = (pts[:, 0] > window[0]) & (pts[:, 0] < window[1])
        pts, nrm = pts[keep], mesh.unit(nrm[keep])
        n = len(pts)
        way = mesh.unit(nrm * (1.0 - lay) + lean * lay + rng.normal(0.0, spread, (n, 3)))
        size = rng.uniform(*length, n)[:, None]
        bow = (
            mesh.unit(rng.normal(size=(n, 3)) + 1.5 * nrm)
            * size
            * curl
            * rng.uniform(0.3, 1.0, (n, 1))
        )
        shade = rng.uniform(0.7, 1.25, (n, 1))
        colour = np.concatenate(
            [np.broadcast_to(root, (n, 3)) * shade, np.broadcast_to(tip, (n, 3)) * shade], 1
        )
        self.hairs.append(
            (
                pts - nrm * 0.004,
                pts + way * size,
                bow,
                nrm,
                width * rng.uniform(0.7, 1.2, n),
                colour,
            )
        )


def add_eye(
    g: Growth, centre: Array, outward: Array, radii: Array, skin: int, eye: int, cells: int
) -> None:
    """Grow an eye that looks `outward`.

    Parameters
    ----------
    g : Growth
        What grows.
    centre : ndarray of float64, shape (3,)
        Middle, body units.
    outward : ndarray of float64, shape (3,)
        Where it looks.
    radii : ndarray of float64, shape (3,)
        Half lengths, the first along `outward`.
    skin : int
        Row of the material table.
    eye : int
        Number of the eye; 0 and 1 are the main ones.
    cells : int
        Cells along one edge of a patch.
    """
    g.box(centre, mesh.frame_along(outward), radii, skin, cells=cells, label=3, eye=eye)


def add_leg(
    g: Growth, joints: list[Array], radii: list[float], swell: list[float], skins: list[int]
) -> list[mesh.Patch]:
    """Grow a leg along its joints and give its segments.

    Parameters
    ----------
    g : Growth
        What grows.
    joints : list of ndarray of float64, shape (3,)
        Joints from the body outwards, one more than segments.
    radii : list of float
        Radius at each joint, about; each segment tapers a little less.
    swell : list of float
        Added to the radius in the middle of each segment.
    skins : list of int
        Row of the material table for each segment.
    """
    out = []
    for i in range(len(joints) - 1):
        out.append(
            g.leg_piece(
                joints[i],
                joints[i + 1],
                radii[i],
                radii[i + 1] * 0.9 + 0.1 * radii[i],
                swell[i],
                skins[i],
            )
        )
    return out
