"""The list of places where a merged picture should be looked at first, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import light_of
from haltere.frames import Pixels, encode
from haltere.keepers.eye import Spot as Eye
from haltere.keepers.eye import eyes_in
from haltere.merge.depth import DepthMap
from haltere.merge.explained import contradicted
from haltere.merge.limits import PLACES
from haltere.merge.merged import Suspicious
from haltere.merge.moved import Moved
from haltere.merge.paint import Painted
from haltere.merge.places import Spot, in_parts, spots
from haltere.merge.taken import Stretches
from haltere.sweeps.sweep import Sweep

Box = tuple[int, int, int, int]
Map = NDArray[np.float32]
_BEYOND = "beyond the planes"
"""Where something lies of which it is not known what is near and what far."""

_LUMA = np.array([0.299, 0.587, 0.114], np.float32)  # ITU-R BT.601, as JPEG weighs


@dataclass(frozen=True, slots=True)
class Glance:
    """What must be known of a painted picture to tell where to look first.

    Attributes
    ----------
    linear : ndarray of float32, shape (H, W, 3)
        The picture, small.
    clipped : ndarray of float32, shape (H, W)
        Share of clipped pixels.
    unseen : tuple of Suspicious
        Where no frame saw anything.
    size_px : tuple of int
        Width and height of the whole picture.
    icc : bytes or None
        Profile of the frames.
    """

    linear: Map
    clipped: Map
    unseen: tuple[Suspicious, ...]
    size_px: tuple[int, int]
    icc: bytes | None


def glance_at(painted: Painted, crop: Box, shape: tuple[int, ...]) -> Glance:
    """Take what `list_suspicious` needs from a painted picture, which may go then.

    Parameters
    ----------
    painted : Painted
        The merged picture.
    crop : tuple of 4 ints
        Part of the reference frame that the picture shows.
    shape : tuple of int
        Rows and columns of places where movement was looked for.

    Returns
    -------
    Glance
        A thousandth of the picture.
    """
    size = (shape[1], shape[0])
    small = cv2.resize(painted.linear, size, interpolation=cv2.INTER_AREA)
    # every other pixel tells the share of clipped ones as well
    red, green, blue = (painted.linear[::2, ::2, c] >= PLACES.burnt for c in range(3))
    clipped = (red | green | blue).astype(np.float32)
    share = cv2.resize(clipped, size, interpolation=cv2.INTER_AREA)
    return Glance(
        np.asarray(small, np.float32),
        np.asarray(share, np.float32),
        tuple(_unseen(painted, crop)),
        (painted.linear.shape[1], painted.linear.shape[0]),
        painted.icc,
    )


def list_suspicious(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    glance: Glance,
    ground: DepthMap,
    moved: Moved,
    stretches: Stretches,
    crop: Box,
) -> tuple[Suspicious, ...]:
    """List the places to look at first: doubled or moved parts, gaps, burnt spots, wrong edges.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep, its analysis pictures still at hand.
    used : list of int
        Frames that were merged.
    gains : ndarray of float64, shape (len(used),)
        Factors on their linear light.
    glance : Glance
        What is known of the merged picture.
    ground : DepthMap
        Depth it was painted at.
    moved : Moved
        Where frames contradict each other.
    stretches : Stretches
        Frames that each part was taken from, in order of time like those that were merged.
    crop : tuple of 4 ints
        Part of the reference frame that the picture shows.

    Returns
    -------
    tuple of Suspicious
        Boxes on the reference frame, the worst kind first, within it the strongest.
    """
    rows, cols = moved.strength.shape
    size_px = glance.size_px
    step = (size_px[0] / cols, size_px[1] / rows)
    known = cv2.resize(ground.known.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_AREA)
    found = [
        *_moved(sweep, moved, stretches, step),
        *_gaps(sweep),
        *_rims(ground.rims, size_px, "behind the last plane" if sweep.near_told else _BEYOND),
        *_rims(
            _wide_and_weak(ground.nearer),
            size_px,
            "before the first plane" if sweep.near_told else _BEYOND,
        ),
        *glance.unseen,
        *_hidden(ground, crop, size_px),
        *_burnt(glance, known > 0, step),
        *_unexplained(sweep, used, gains, glance, ground, stretches, crop),
    ]
    clipped = [_within(one, crop) for one in found]
    return tuple(one for one in clipped if one is not None)


def _moved(
    sweep: Sweep, moved: Moved, stretches: Stretches, step: tuple[float, float]
) -> list[Suspicious]:
    rows, cols = moved.strength.shape
    region = cv2.resize(stretches.region, (cols, rows), interpolation=cv2.INTER_NEAREST)
    place = {frame: number for number, frame in enumerate(sorted(moved.order))}
    found = spots(
        moved.strength, PLACES.moved_low, PLACES.moved_high, PLACES.moved_least, PLACES.moved_join
    )
    out = []
    for spot in found[: PLACES.most]:
        here = moved.strength[spot.rows, spot.cols]
        strong = here > PLACES.moved_high
        pairs = np.bincount(moved.between[spot.rows, spot.cols][strong])
        first = int(pairs.argmax())
        pair = [moved.order[k] for k in (first, first + 1)]
        one, other = (sweep.frames[k].name for k in pair)
        parts = np.bincount(region[spot.rows, spot.cols][strong].astype(int))
        part = int(parts.argmax())
        taken = stretches.taken[:, part] > 0
        apart = part > 0 and not all(taken[place[k]] for k in pair)
        both = moved.at_focus[spot.rows, spot.cols] > PLACES.moved_low
        times = f"{spot.strength:.1f} times what noise and sway explain"
        if apart:
            text = (
                f"moved between {one} and {other}, by {times}; taken from {int(taken.sum())} "
                "frames that agree: look where it begins and ends"
            )
            out.append(_said("moved", spot, step, text))
        elif both.mean() > 0.25:
            text = f"may be doubled: changed between {one} and {other} by {times}"
            out.append(_said("ghost", spot, step, text))
        else:
            text = f"may be cut or shifted: moved between {one} and {other}, by {times}"
            out.append(_said("moved", spot, step, text))
    return sorted(out, key=lambda one: one.kind != "ghost")


def _gaps(sweep: Sweep) -> list[Suspicious]:
    out = []
    most = max(1, PLACES.most // max(len(sweep.coverage.gaps), 1))
    for gap in sweep.coverage.gaps:
        wide = f"{gap.to_dof - gap.from_dof:.1f} depths of field"
        text = f"places in here are soft: no plane of focus over {wide}"
        if gap.cells is None or not gap.cells.runs:
            out.append(Suspicious("gap", gap.box_px, text))
            continue
        runs, side = gap.cells.runs, gap.cells.size_px
        mask = np.zeros((max(r[0] for r in runs) + 1, max(r[2] for r in runs)), np.float32)
        for row, begin, end in runs:
            mask[row, begin:end] = 1.0
        least = max(PLACES.gap_least, round(PLACES.gap_share * float(mask.sum())))
        parts = spots(mask, 0.5, 0.5, least, 1)
        parts.sort(key=lambda spot: -len(spot.rows))
        places = [
            (int(p.cols.min()), int(p.rows.min()), int(p.cols.max()) + 1, int(p.rows.max()) + 1)
            for p in parts[:most]
        ]
        if not places:
            out.append(Suspicious("gap", gap.box_px, text))
        out += [
            Suspicious("gap", (x0 * side, y0 * side, x1 * side, y1 * side), text)
            for x0, y0, x1, y1 in places
        ]
    return out


def _wide_and_weak(rims: Map | None) -> Map | None:
    """Keep the rims that blur has drawn wide: a smooth bright spot in focus is small and strong."""
    if rims is None:
        return None
    kept = np.zeros_like(rims)
    for spot in spots(rims, PLACES.rim_low, PLACES.rim_low, PLACES.near_least, PLACES.rim_join):
        here = rims[spot.rows, spot.cols]
        if here.mean() <= PLACES.near_most:
            kept[spot.rows, spot.cols] = here
    return kept


def _rims(rims: Map | None, size_px: tuple[int, int], where: str) -> list[Suspicious]:
    """Rims that no frame shows sharp, since they lie `where` no plane is."""
    if rims is None:
        return []
    rows, cols = rims.shape
    step = (size_px[0] / cols, size_px[1] / rows)
    low = PLACES.rim_low
    whole = spots(rims, low, low, PLACES.rim_least, PLACES.rim_join)
    parts = [part for spot in whole for part in in_parts(spot)]
    # a long weak rim is seen as well as a short strong one
    weighed = [(float(rims[part.rows, part.cols].sum()), part) for part in parts]
    weighed.sort(key=lambda one: (-one[0], one[1].box))
    text = f"soft here: it lies {where} of focus, no frame shows it sharp"
    return [
        _said("gap", part, step, text)
        for weight, part in weighed[: PLACES.most]
        if weight >= PLACES.rim_share * weighed[0][0]
    ]


def _unseen(painted: Painted, crop: Box) -> list[Suspicious]:
    """Pixels within the picture that no frame saw, and that stay black."""
    x0, y0, x1, y1 = crop
    nobody = painted.origin[y0:y1, x0:x1] == 65535
    if nobody.mean() <= PLACES.unseen_least:
        return []
    found = spots(nobody[::4, ::4].astype(np.float32), 0.5, 0.5, 1, 4)
    return [
        Suspicious(
            "gap",
            (4.0 * s.box[0] + x0, 4.0 * s.box[1] + y0, 4.0 * s.box[2] + x0, 4.0 * s.box[3] + y0),
            "black here: no frame saw this place",
        )
        for s in found[: PLACES.most]
    ]


def _hidden(ground: DepthMap, crop: Box, size_px: tuple[int, int]) -> list[Suspicious]:
    """Borders that only frames saw which are not sharp there."""
    if ground.hidden is None:
        return []
    rows, cols = ground.hidden.shape
    step = (size_px[0] / cols, size_px[1] / rows)
    shown = _shown(ground.hidden.astype(np.float32), crop, step)
    found = spots(shown, 0.5, 0.5, PLACES.hidden_least, 1)
    found.sort(key=lambda spot: (-len(spot.rows), spot.box))
    text = "soft here: no frame that is sharp at this depth saw it"
    return [_said("gap", spot, step, text) for spot in found[: PLACES.most]]


def _burnt(
    glance: Glance, animal: NDArray[np.bool_], step: tuple[float, float]
) -> list[Suspicious]:
    share = glance.clipped.copy()
    # a burnt patch shows no detail, and so has no depth of its own: the animal lies around it
    side = PLACES.burnt_close_px
    near = cv2.morphologyEx(
        cv2.copyMakeBorder(animal.astype(np.uint8), side, side, side, side, cv2.BORDER_CONSTANT),
        cv2.MORPH_CLOSE,
        np.ones((side, side), np.uint8),
    )[side:-side, side:-side]
    share[near == 0] = 0.0
    found = spots(share, PLACES.burnt_share / 2, PLACES.burnt_share, PLACES.burnt_least, 1)
    found.sort(key=lambda spot: -len(spot.rows))
    eyes = _eyes(glance, step) if found else []
    out = []
    for spot in found[: PLACES.most]:
        across = 2 * (len(spot.rows) * step[0] * step[1] / np.pi) ** 0.5
        eye = next((one for one in eyes if _on(spot, one, step)), None)
        place = "burnt out on the eye" if eye is not None else "burnt out"
        text = f"{place}: clipped over about {across:.0f} px, nothing can bring it back"
        out.append((eye is None, _said("clipped", spot, step, text)))
    return [one for _, one in sorted(out, key=lambda pair: pair[0])]


def _eyes(glance: Glance, step: tuple[float, float]) -> list[Eye]:
    if min(glance.clipped.shape) < 64:
        return []
    shown = encode(np.ascontiguousarray(glance.linear), glance.icc, 8)
    pixels = Pixels(shown, 1.0 / step[0], linear=False, icc=glance.icc)
    return [eye for eye in eyes_in(pixels) if eye.chance > 0.25]


def _on(spot: Spot, eye: Eye, step: tuple[float, float]) -> bool:
    x = float(spot.cols.mean() + 0.5) * step[0]
    y = float(spot.rows.mean() + 0.5) * step[1]
    return bool(np.hypot(x - eye.x_px, y - eye.y_px) < 1.1 * eye.radius_px)


def _light(glance: Glance) -> Map:
    """Light of a picture, 0..255, as the analysis pictures have it."""
    shown = encode(np.ascontiguousarray(glance.linear), glance.icc, 8).astype(np.float32)
    return light_of(np.rint(shown @ _LUMA).astype(np.uint8))


def _unexplained(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    glance: Glance,
    ground: DepthMap,
    stretches: Stretches,
    crop: Box,
) -> list[Suspicious]:
    """Places that some frame shows otherwise than picture and depth foretell it."""
    rows, cols = glance.clipped.shape
    step = (glance.size_px[0] / cols, glance.size_px[1] / rows)
    near = cv2.resize(ground.depth, (cols, rows), interpolation=cv2.INTER_NEAREST)
    depth = np.asarray(near, np.float32)
    found = contradicted(sweep, used, gains, _light(glance), depth, stretches)
    # blur brings in what lies beyond the border, and more light than a clipped place has told
    edge = PLACES.wrong_edge
    strength = _shown(found.strength, crop, step, edge)
    side = 2 * edge + 1
    clipped = cv2.dilate(glance.clipped, np.ones((side, side), np.uint8))
    strength[clipped > PLACES.burnt_share] = 0.0
    low, high = PLACES.wrong_low, PLACES.wrong_high
    whole = spots(strength, low, high, PLACES.wrong_least, PLACES.wrong_join)
    parts = [part for spot in whole for part in in_parts(spot)]
    # where most is wrong comes first
    weighed = [(float(strength[part.rows, part.cols].sum()), part) for part in parts]
    weighed.sort(key=lambda one: (-one[0], one[1].box))
    out = []
    for _, part in weighed[: PLACES.wrong_most]:
        here = strength[part.rows, part.cols]
        worst = int(here.argmax())
        row, col = part.rows[worst], part.cols[worst]
        frame = sweep.frames[int(found.frame[row, col])].name
        off = 100 * float(found.share[row, col])
        text = (
            f"{frame} is {abs(off):.0f} % {'brighter' if off > 0 else 'darker'} here than the "
            "picture foretells: torn edge, cut hair or wrong depth"
        )
        out.append(_said("halo", part, step, text, PLACES.wrong_rim))
    return out


def _shown(values: Map, crop: Box, step: tuple[float, float], edge: int = 0) -> Map:
    """Keep what lies within the picture and not within `edge` places of the frame's border."""
    rows, cols = values.shape
    x0, x1 = max(round(crop[0] / step[0]), edge), min(round(crop[2] / step[0]), cols - edge)
    y0, y1 = max(round(crop[1] / step[1]), edge), min(round(crop[3] / step[1]), rows - edge)
    shown = np.zeros_like(values)
    shown[y0:y1, x0:x1] = values[y0:y1, x0:x1]
    return shown


def _said(kind: str, spot: Spot, step: tuple[float, float], text: str, rim: int = 0) -> Suspicious:
    """Say a spot with so many places around it."""
    x0, y0, x1, y1 = spot.box
    x0, y0, x1, y1 = x0 - rim, y0 - rim, x1 + rim, y1 + rim
    box = (x0 * step[0], y0 * step[1], x1 * step[0], y1 * step[1])
    return Suspicious(kind, box, text)  # type: ignore[arg-type]


def _within(one: Suspicious, crop: Box) -> Suspicious | None:
    """Cut a box to the picture; None where nothing of it is left."""
    x0, x1 = (min(max(one.box_px[k], float(crop[0])), float(crop[2])) for k in (0, 2))
    y0, y1 = (min(max(one.box_px[k], float(crop[1])), float(crop[3])) for k in (1, 3))
    if x1 - x0 < 1 or y1 - y0 < 1:
        return None
    return Suspicious(one.kind, (x0, y0, x1, y1), one.text)
