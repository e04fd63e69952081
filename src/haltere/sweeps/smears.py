"""Which frames of a sweep moved while they were lit, how far and which way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.align.lumas import Lumas
from haltere.align.pose import plane_depth, project
from haltere.focus.blur import Blur
from haltere.focus.curves import Peaks, Stack
from haltere.focus.patches import (
    Patches,
    Window,
    at_one_scale,
    spectra,
    turns_of,
    window_for,
)
from haltere.focus.smear import NO_SMEAR, Kept, Smear, find_smears
from haltere.sweeps.kept import kept_beside_others

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class SmearNumbers:
    """Numbers that steer the search for movement.

    Attributes
    ----------
    limit_px : float
        Longest smear that is let pass, full-size pixels.
    layer_dof : float
        Thickness of the layers of depth that witnesses are spread over.
    layer_places : int
        Witnesses of one layer: some hundred then lie near each plane.
    apart_px : int
        Least distance of two in one layer, about, analysis pixels: half a patch.
    reach_dof : float
        Distance of the plane within which a frame shows enough of a place to be compared there.
    near_dof : float
        Distance within which a place tells of the frame itself.
    places : int
        Most witnesses of one frame, the nearest to its plane.
    beside : int
        Most frames that one is compared with, the nearest in depth.
    support : float
        Share of its own sharpness that another frame must have had at a place: at a run's ends all
        others are blurred more, and what little they show, noise and all, foretells too much.
    evidence : float
        Chi-square by which movement must explain a frame better than stillness: of 970 still frames
        of rendered sweeps two reached 22, of 48 smeared ones 46 reached 41.
    asks : float
        Evidence from which a frame is asked how much of its detail it keeps, and beside a
        neighbour with as much whether both moved.
    pair_dof : float
        Distance of such neighbours, at most: two smeared frames side by side, alone in a hole,
        foretell each other, and neither is found while the other counts.
    whole : float
        A frame that keeps more than this share of its detail did not move so that anyone sees it.
        Of 216 smeared frames two kept more, of 11 still ones called smeared three.
    areas : int
        Separate areas, a patch wide each, that this is enough for: fewer may lie on one limb that
        moved by itself, and must tell more plainly.
    lost : float
        Unless the frame keeps less than this share of its detail, which all of its plane tells: of
        118 rendered sweeps two more of 275 smeared frames are found so, and no still one.
    enough : int
        Others that this is enough for: what fewer foretell, mostly across a hole, may be off along
        one direction. Of 27 still frames called smeared in 118 rendered sweeps 14 had five or
        fewer.
    rounds : int
        Times that the plainest smears are set aside and the others compared anew.
    """

    limit_px: float = 2.0
    layer_dof: float = 0.5
    layer_places: int = 24
    apart_px: int = 24
    reach_dof: float = 4.0
    near_dof: float = 1.25
    places: int = 64
    beside: int = 16
    support: float = 0.3
    evidence: float = 36.0
    asks: float = 12.0
    pair_dof: float = 0.5
    whole: float = 0.92
    areas: int = 10
    lost: float = 0.65
    enough: int = 8
    rounds: int = 16


NUMBERS = SmearNumbers()


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures of a registered sweep.

    Attributes
    ----------
    lumas : Lumas
        Analysis pictures.
    poses : ndarray of float64, shape (N, 6)
        See `haltere.align.pose`.
    focal_px : float
        See `haltere.align.pose`.
    scale : float
        Analysis pixels over full-size pixels.
    """

    lumas: Lumas
    poses: Floats
    focal_px: float
    scale: float


@dataclass(frozen=True, slots=True)
class _Told:
    """Places near one frame's plane, and their spectra in it."""

    which: Ints
    energy: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Sweep:
    """Spectra of a sweep's witnesses, and which frame saw which."""

    here: Floats
    depth: Floats
    along: Floats
    turns: Floats
    window: Window
    told: list[_Told]
    has: NDArray[np.bool_]


def smears_of_sweep(
    pictures: Pictures,
    stack: Stack,
    peaks: Peaks,
    trusted: NDArray[np.bool_],
    gains: Floats,
    usable: NDArray[np.bool_],
    blur: Blur,
    airy_px: float,
) -> list[Smear]:
    """Compare each frame, direction by direction, with those whose planes lie near its own.

    Reads each picture once and holds one at a time, with some 100 kB of spectra of each. The
    plainest smear of a neighbourhood is set aside, and those beside it are compared anew: it had
    bent what was expected of them. Where none is plain, two side by side are set aside together if
    each is plain without the other.

    Parameters
    ----------
    pictures : Pictures
        The sweep's.
    stack : Stack
        Their detail.
    peaks : Peaks
        Their focus curves.
    trusted : ndarray of bool, shape (R, C)
        Places whose curves are believed.
    gains : ndarray of float64, shape (N,)
        Factors that even out light.
    usable : ndarray of bool, shape (N,)
        Frames that were registered and are light enough.
    blur : Blur
        Depth of field and circle of confusion.
    airy_px : float
        Diameter of the Airy disc, analysis pixels.

    Returns
    -------
    list of Smear
        One a frame, lengths in analysis pixels; `NO_SMEAR` where nothing tells, or too little to
        be sure.
    """
    found, hints = [NO_SMEAR] * len(usable), np.zeros(len(usable))
    here, depth = witnesses(stack, peaks, trusted, blur.dof)
    if not len(here) or int(usable.sum()) < 3:
        return found
    sweep = _sweep(pictures, here, depth, gains, usable, blur)
    limit = NUMBERS.limit_px * pictures.scale
    plane = pictures.poses[:, 2]
    reach = 2 * NUMBERS.reach_dof * blur.dof
    taking, asked = usable.copy(), usable.copy()

    def keeps(k: int, beside: NDArray[np.bool_]) -> Kept | None:
        share = kept_beside_others(stack, peaks, trusted, beside, k, blur.dof, blur.c_px, airy_px)
        return Kept(share, airy_px) if np.isfinite(share) else None

    judged = partial(_judged, sweep, blur=blur, limit_px=limit, keeps=keeps)
    for _ in range(NUMBERS.rounds):
        some = [int(k) for k in np.flatnonzero(asked)]
        for k, told in zip(some, in_turn(partial(judged, taking=taking), some), strict=True):
            found[k], hints[k] = told
        left = [int(k) for k in np.flatnonzero(taking) if found[k].longer > 0.5]
        aside = [
            k
            for k in left
            if all(
                found[k].evidence >= found[j].evidence
                for j in left
                if abs(plane[j] - plane[k]) < reach / 2
            )
        ]
        if not aside:
            for pair in _pairs(plane, taking & (hints > NUMBERS.asks), taking, blur.dof):
                rest = taking.copy()
                rest[pair] = False
                both = [judged(k, taking=rest)[0] for k in pair]
                if all(smear.longer > 0.5 for smear in both):
                    aside = pair
                    found[pair[0]], found[pair[1]] = both
                    break
        if not aside:
            break
        taking[aside] = False
        asked = usable & (np.abs(plane[:, None] - plane[aside]) < reach).any(1)
    return found


def _sweep(
    pictures: Pictures,
    here: Floats,
    depth: Floats,
    gains: Floats,
    usable: NDArray[np.bool_],
    blur: Blur,
) -> _Sweep:
    """Spectra of every frame's witnesses."""
    focal = pictures.focal_px
    along = np.array([plane_depth(pose, here, focal) for pose in pictures.poses])
    window = window_for(blur.c_px)
    turns = turns_of(pictures.poses, here.mean(0), float(np.median(depth)), focal)
    height, width = pictures.lumas.shape
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    reach = NUMBERS.reach_dof * blur.dof
    has = np.zeros(along.shape, bool)

    def one(k: int) -> _Told:
        which = np.flatnonzero((np.abs(along[k] - depth) < reach) & usable[k])
        at = project(pictures.poses[k], here[which], depth[which], focal) + middle
        energy = spectra(pictures.lumas.stored(k), at, window)
        seen = np.isfinite(energy).all((1, 2))
        size, roll = turns[k]
        even = at_one_scale(energy[seen], window.frequencies, float(size), float(roll))
        return _Told(which[seen], even * np.float32(gains[k] ** 2))

    told = list(in_turn(one, range(len(pictures.poses))))
    for k, of_frame in enumerate(told):
        has[k, of_frame.which] = True
    return _Sweep(here, depth, along, turns, window, told, has)


def _pairs(
    plane: Floats, hinted: NDArray[np.bool_], taking: NDArray[np.bool_], dof: float
) -> list[list[int]]:
    """Neighbours in depth of which both look as if they had moved."""
    order = np.flatnonzero(taking)
    order = order[np.argsort(plane[order], kind="stable")]
    return [
        [int(a), int(b)]
        for a, b in pairwise(order)
        if hinted[a] and hinted[b] and plane[b] - plane[a] < NUMBERS.pair_dof * dof
    ]


def _judged(
    sweep: _Sweep,
    k: int,
    taking: NDArray[np.bool_],
    blur: Blur,
    limit_px: float,
    keeps: Callable[[int, NDArray[np.bool_]], Kept | None],
) -> tuple[Smear, float]:
    """Movement of one frame, told by the places nearest to its plane; and how much hints at it."""
    own = sweep.told[k]
    off = np.abs(sweep.along[k, own.which] - sweep.depth[own.which])
    near = np.flatnonzero(off < NUMBERS.near_dof * blur.dof)
    near = near[np.argsort(off[near], kind="stable")[: NUMBERS.places]]
    which = np.sort(own.which[near])
    if not len(which):
        return NO_SMEAR, 0.0
    able = taking & sweep.has[:, which].any(1)
    able[k] = False
    others = np.flatnonzero(able)
    away = np.abs(sweep.along[np.ix_(others, which)] - sweep.along[k, which]).mean(1)
    others = others[np.argsort(away, kind="stable")[: NUMBERS.beside]]
    if len(others) < 2:
        return NO_SMEAR, 0.0
    rows = np.append(others, k)
    energy = np.full((len(rows), len(which), *own.energy.shape[1:]), np.nan, np.float32)
    for row, j in enumerate(rows):
        seen = sweep.has[j, which]
        energy[row, seen] = sweep.told[j].energy[np.searchsorted(sweep.told[j].which, which[seen])]
    patches = Patches(
        energy,
        sweep.along[np.ix_(rows, which)],
        sweep.turns[rows, 0],
        sweep.window.frequencies,
        sweep.window.taper.shape[0],
    )
    asked = np.arange(len(rows)) == len(others)
    told = patches, sweep.depth[which], ~asked, asked, blur, limit_px, NUMBERS.support
    found = find_smears(*told)[-1]
    hint = found.evidence
    if hint < NUMBERS.asks:
        return NO_SMEAR, hint
    if (kept := keeps(k, taking)) is not None:
        found = find_smears(*told, kept)[-1]
    cells = np.floor(sweep.here[which] / patches.window_px)
    areas = len(np.unique(cells, axis=0))
    if kept is not None and kept.share < NUMBERS.lost:
        areas = max(areas, NUMBERS.areas)
    few = max(1.0, NUMBERS.areas / areas, NUMBERS.enough / len(others))
    whole = kept is not None and kept.share > NUMBERS.whole
    sure = found.evidence > NUMBERS.evidence * few and not whole
    return (found if sure else NO_SMEAR), hint


def witnesses(
    stack: Stack,
    peaks: Peaks,
    trusted: NDArray[np.bool_],
    dof: float,
    each: int = NUMBERS.layer_places,
) -> tuple[Floats, Floats]:
    """Places with strong detail, some of every depth, spread over the picture.

    Parameters
    ----------
    stack : Stack
        Detail of the run.
    peaks : Peaks
        Focus curves of the run.
    trusted : ndarray of bool, shape (R, C)
        Places whose curves are believed.
    dof : float
        Relative depth of field.
    each : int, optional
        Most of one layer.

    Returns
    -------
    here_px : ndarray of float64, shape (P, 2)
        Centred reference pixels.
    depth : ndarray of float64, shape (P,)
        Relative depth of each.
    """
    able = np.flatnonzero(trusted.ravel())
    depth, amount = peaks.depth.ravel()[able], peaks.amplitude.ravel()[able]
    layer = np.floor(depth / (NUMBERS.layer_dof * dof)).astype(int)
    block = np.floor(stack.points_px[able] / NUMBERS.apart_px).astype(int)
    order = np.argsort(-amount, kind="stable")
    keys = np.column_stack([layer, block])[order]
    # the strongest of each block, then the strongest blocks of each layer
    first = np.sort(np.unique(keys, axis=0, return_index=True)[1])
    ahead = order[first]
    layers = layer[ahead]
    by_layer = np.argsort(layers, kind="stable")
    starts = np.searchsorted(layers[by_layer], layers[by_layer], side="left")
    rank = np.arange(len(by_layer)) - starts
    chosen = ahead[np.sort(by_layer[rank < each])]
    return stack.points_px[able][chosen], depth[chosen]
