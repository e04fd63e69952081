"""Places the eye in the reference view: where it was pointed at, or where it is proposed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.errors import FrameError, UsageError
from haltere.frames import Decoder
from haltere.keepers.eye import Box, Spot, gather, look_for
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.verdict import Eye
from haltere.keepers.views import Views
from haltere.progress import Progress

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Found:
    """The eye in the reference view.

    Attributes
    ----------
    spot : Spot
        Centred small pixels of the reference view.
    chance : float
        How sure it is.
    others : tuple of Spot
        What else might be an eye, the likeliest first.
    box : tuple of float or None
        Left, top, right and bottom of the main animal there.
    animals : int
        Animals seen.
    """

    spot: Spot
    chance: float
    others: tuple[Spot, ...] = ()
    box: Box | None = None
    animals: int = 1


def find_eye(
    views: Views,
    able: NDArray[np.bool_],
    decoder: Decoder,
    given: Eye | None,
    progress: Progress,
) -> Found:
    """Place the eye, and say how sure it is.

    Parameters
    ----------
    views : Views
        Tied burst.
    able : ndarray of bool, shape (N,)
        Frames worth looking at.
    decoder : Decoder
        Open decoder.
    given : Eye or None
        Where the photographer pointed.
    progress : Progress
        Told of each frame looked at.

    Raises
    ------
    UsageError
        When the frame pointed at can't be compared with the others.
    """
    if given is not None:
        return _pointed(views, decoder, given, progress)
    chosen = np.flatnonzero(able)
    if chosen.size == 0:
        chosen = np.array([views.tied.reference])
    order = chosen[np.argsort(views.tied.poses[chosen, 2], kind="stable")]
    first = views.tied.reference if able[views.tied.reference] else int(order[order.size // 2])
    # a second look where the first one is not sure, at a frame focused elsewhere
    looks = dict.fromkeys([first, int(order[order.size // 2]), int(order[0]), int(order[-1])])
    spots: list[Spot] = []
    seen: Found | None = None
    for done, k in enumerate(list(looks)[: NUMBERS.looks], start=1):
        progress("looking for the eye", done, NUMBERS.looks)
        one = _look(views, decoder, k)
        if one is None:
            continue
        spots += one.others
        looked = gather(spots, done)
        if looked:
            chance = min(1.0, sum(s.chance for s in looked[:2]))
            box = seen.box if seen and seen.box else one.box
            animals = max(one.animals, seen.animals if seen else 0)
            seen = Found(looked[0], chance, tuple(looked[1:]), box, animals)
        if seen is not None and seen.chance > NUMBERS.certain:
            break
    return seen or Found(_sharpest(views), 0.0)


def _look(views: Views, decoder: Decoder, k: int) -> Found | None:
    """Look at one frame; all its spots are among the others, in the reference view."""
    try:
        sight = look_for(decoder.rgb(views.shots.frames[k], NUMBERS.look_px))
    except FrameError:
        return None
    depth = float(views.tied.poses[k, 2])

    def here(x: float, y: float) -> Floats:
        return views.to_reference(k, np.array([x, y]), depth)

    spots = []
    for s in sight.spots:
        x, y = here(s.x_px, s.y_px)
        radius = s.radius_px * views.shots.small_scale
        spots.append(Spot(float(x), float(y), radius, s.chance, s.colour))
    box = None
    if sight.box is not None:
        low, high = here(*sight.box[:2]), here(*sight.box[2:])
        box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    empty = Spot(0.0, 0.0, 1.0, 0.0)
    return Found(spots[0] if spots else empty, 0.0, tuple(spots), box, 1 + sight.others)


def _pointed(views: Views, decoder: Decoder, given: Eye, progress: Progress) -> Found:
    names = [f.name for f in views.shots.frames]
    if given.frame not in names:
        raise UsageError(f"{given.frame}: can't be compared with the run; name another frame")
    k = names.index(given.frame)
    if not views.tied.found[k]:
        raise UsageError(f"{given.frame}: does not match the other frames; name another frame")
    progress("looking for the eye", 1, 1)
    seen = _look(views, decoder, k)
    looked = seen.others if seen else ()
    at = np.array([given.x_px, given.y_px])
    here = views.to_reference(k, at, float(views.tied.poses[k, 2]))
    away = [float(np.hypot(s.x_px - here[0], s.y_px - here[1])) for s in looked]
    on = [s for s, d in zip(looked, away, strict=True) if d < s.radius_px and s.chance > 0.05]
    radius = on[0].radius_px if on else 0.03 * max(views.shots.small.shape)
    colour = on[0].colour if on else (0.0, 0.0, 0.0)
    others = tuple(s for s in looked if s not in on[:1])
    spot = Spot(float(here[0]), float(here[1]), radius, 1.0, colour)
    return Found(spot, 1.0, others, seen.box if seen else None, seen.animals if seen else 1)


def _sharpest(views: Views) -> Spot:
    peaks = views.tied.peaks
    amount = np.where(peaks.fit > NUMBERS.fit, peaks.amplitude, 0.0)
    x, y = views.tied.stack.points_px[int(amount.argmax())]
    return Spot(float(x), float(y), 0.03 * max(views.shots.small.shape), 0.0)
