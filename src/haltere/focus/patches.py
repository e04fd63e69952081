"""Spectra of small patches of every frame: what blur and movement leave of the same detail."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft2
from scipy.sparse import csr_array

from haltere.align.ahead import in_turn
from haltere.align.lumas import Lumas, light_of
from haltere.align.pose import project

Floats = NDArray[np.float64]

SECTORS = 6
"""Directions told apart: 30 degrees each, as fine as a patch of some 64 px resolves at half the
frequencies used."""

FASTEST = 0.42
"""Highest frequency used, cycles per pixel: above it a decoder's scaling and sharpening speak."""


@dataclass(frozen=True, slots=True)
class PatchNumbers:
    """Numbers that steer what patches tell of depth and movement.

    Attributes
    ----------
    window : float
        Side of the patches in circles of confusion: 46 of them (64 px at 1.4) still lie on one
        surface and still resolve the blur of ten depths of field.
    scatter : float
        Scatter of a patch's power from frame to frame beyond what focus explains, relative.
    noise : float
        Error of a patch's power in what its noise has.
    quietest, hump : float
        Per cent of patches that are taken to show noise alone at a ring, and how much stronger it
        may be there than at the highest: a file of another renderer has five times as much.
    veil : float
        Share of a patch's highest power that stays without focus: light from before and behind.
    witnesses : float
        What each patch's chi-square counts for: neighbours share most of their light.
    shows : float
        Share of detail that must be left at a place for it to tell movement.
    support : float
        Share of its own sharpness that another frame must have had at a place for a frame to be
        compared there.
    ring_votes, ring_error : float
        What one ring and direction counts for; and the least error of its loss, as a logarithm.
    leaks : tuple of float
        Shares of power that a spectrum may keep beside strong detail where a smear left none.
    ghost_cost : float
        Chi-square by which a ghost must explain a frame better than a smear of any length does.
    still : float
        How much likelier no movement is than any length, before looking.
    kept_error : float
        Error of the share of its detail that a frame keeps, as a logarithm: what tells a smear by
        direction is then also asked to cost that much detail. On rendered sweeps smeared frames
        kept 0.12 to 0.95 of what all others together foretold.
    kept_most : float
        Most chi-square that detail counts for which is lost beyond that: a wrong depth loses some
        as well. What is kept in spite of a smear counts in full.
    """

    window: float = 46.0
    scatter: float = 0.1
    noise: float = 0.5
    quietest: float = 10.0
    hump: float = 8.0
    veil: float = 0.06
    witnesses: float = 0.05
    shows: float = 0.2
    support: float = 0.3
    ring_votes: float = 0.2
    ring_error: float = 0.2
    leaks: tuple[float, ...] = (0.08, 0.3)
    ghost_cost: float = 8.0
    still: float = 40000.0
    kept_error: float = 0.06
    kept_most: float = 36.0


NUMBERS = PatchNumbers()


@dataclass(frozen=True, slots=True)
class Window:
    """A patch's window and how its spectrum is summed up.

    Attributes
    ----------
    taper : ndarray of float32, shape (W, W)
        Hann window.
    fold : sparse array of float32, shape (F * SECTORS, W * (W // 2 + 1))
        Averages a half spectrum into rings and sectors; each frequency belongs to four at most.
    frequencies : ndarray of float64, shape (F,)
        Middle of each ring, cycles per pixel.
    """

    taper: NDArray[np.float32]
    fold: Any
    frequencies: Floats

    @property
    def side_px(self) -> int:
        """Side of a patch."""
        return int(self.taper.shape[0])


@dataclass(frozen=True, slots=True)
class Patches:
    """Spectra of the same places in every frame.

    Attributes
    ----------
    energy : ndarray of float32, shape (N, P, F, SECTORS)
        Power per pixel of evened-out linear light (squared grey levels of 255), at the frequency
        that the detail has in the reference view; NaN where a frame did not see the patch.
    along : ndarray of float64, shape (N, P)
        Relative depth of each frame's plane of focus there.
    scale : ndarray of float64, shape (N,)
        Size of the picture in each frame over that in the reference view.
    frequencies : ndarray of float64, shape (F,)
        Cycles per analysis pixel of the reference view.
    window_px : int
        Side of a patch.
    """

    energy: NDArray[np.float32]
    along: Floats
    scale: Floats
    frequencies: Floats
    window_px: int


def window_for(c_px: float) -> Window:
    """Window whose side suits the blur of half a depth of field.

    Parameters
    ----------
    c_px : float
        Circle of confusion, fine pixels.
    """
    side = int(np.clip(NUMBERS.window * c_px, 48, 112))
    # even, and of small factors: 62 px take twice the time of 64
    return window_of(2 * next_fast_len((side + 1) // 2))


@lru_cache(maxsize=8)
def window_of(side_px: int) -> Window:
    """Window and folding for patches of one size.

    Power is shared between the two nearest rings and sectors, so that a slight turn or change of
    scale moves nothing by a whole bin.

    Parameters
    ----------
    side_px : int
        Side of a patch, even.
    """
    ramp = np.hanning(side_px + 2)[1:-1]
    taper = np.outer(ramp, ramp)
    fy = np.fft.fftfreq(side_px)[:, None]
    fx = np.fft.rfftfreq(side_px)[None, :]
    radius = np.hypot(fx, fy) * side_px
    angle = (np.arctan2(fy, fx + 0 * fy) % np.pi) * (SECTORS / np.pi)
    twice = np.where((fx > 0) & (fx < 0.5), 2.0, 1.0) * np.ones_like(radius)
    rings = int(FASTEST * side_px)
    fold = np.zeros((radius.size, rings + 2, SECTORS))
    at = np.arange(radius.size)
    ring, ring_share = np.floor(radius).astype(int).ravel(), (radius % 1.0).ravel()
    way, way_share = np.floor(angle).astype(int).ravel(), (angle % 1.0).ravel()
    for r, r_weight in ((ring, 1 - ring_share), (ring + 1, ring_share)):
        for s, s_weight in ((way, 1 - way_share), (way + 1, way_share)):
            inside = r <= rings + 1
            weight = (r_weight * s_weight * twice.ravel())[inside]
            np.add.at(fold, (at[inside], r[inside], s[inside] % SECTORS), weight)
    fold = fold[:, 2 : rings + 1]
    fold /= np.maximum(fold.sum(0), 1e-9)
    fold /= (taper**2).sum()
    return Window(
        taper.astype(np.float32),
        csr_array(fold.reshape(radius.size, -1).T.astype(np.float32)),
        np.arange(2, rings + 1) / side_px,
    )


def spectra(
    picture: NDArray[np.uint8] | NDArray[np.uint16], centres_px: Floats, window: Window
) -> NDArray[np.float32]:
    """Folded power spectra of patches of one frame.

    Parameters
    ----------
    picture : ndarray of uint8 or uint16, shape (H, W)
        One frame, encoded, perhaps mapped from disk.
    centres_px : ndarray of float64, shape (P, 2)
        Middles (x, y), counted from the corner.
    window : Window
        From `window_of`.

    Returns
    -------
    ndarray of float32, shape (P, F, SECTORS)
        Power per pixel; NaN where a patch does not lie wholly inside.
    """
    side = window.taper.shape[0]
    rings = window.frequencies.size
    out = np.full((len(centres_px), rings, SECTORS), np.nan, np.float32)
    corner = np.rint(centres_px - (side - 1) / 2).astype(int)
    inside = (corner >= 0).all(1)
    inside &= (corner[:, 0] + side <= picture.shape[1]) & (corner[:, 1] + side <= picture.shape[0])
    chosen = np.flatnonzero(inside)
    if chosen.size == 0:
        return out
    # in light, not in encoded values: that is where blur is a plain mean
    if picture.dtype == np.uint8 and chosen.size * side**2 > picture.size / 4:
        whole = light_of(picture)
        tapered = np.stack([whole[y : y + side, x : x + side] for x, y in corner[chosen]])
    else:
        cuts = [light_of(picture[y : y + side, x : x + side]) for x, y in corner[chosen]]
        tapered = np.stack(cuts)
    tapered *= window.taper
    mean = tapered.sum((1, 2), keepdims=True) / window.taper.sum()
    tapered -= mean * window.taper
    wave = rfft2(tapered, overwrite_x=True)
    power = (wave.real**2 + wave.imag**2).reshape(chosen.size, -1)
    out[chosen] = (window.fold @ power.T).T.reshape(chosen.size, rings, SECTORS)
    return out


def at_one_scale(
    energy: NDArray[np.float32], frequencies: Floats, scale: float, roll_rad: float
) -> NDArray[np.float32]:
    """Spectra as the reference view would show them: same frequencies, same directions.

    Parameters
    ----------
    energy : ndarray of float32, shape (P, F, SECTORS)
        Of one frame.
    frequencies : ndarray of float64, shape (F,)
        Rings.
    scale : float
        Size of the picture in the frame over that in the reference view.
    roll_rad : float
        Turn of the frame's picture against the reference view's.
    """
    here = np.log(np.maximum(energy, 1e-9))
    at = np.interp(frequencies / scale, frequencies, np.arange(frequencies.size))
    low = np.minimum(at.astype(int), frequencies.size - 2)
    share = (at - low).astype(np.float32)[None, :, None]
    here = here[:, low] * (1 - share) + here[:, low + 1] * share
    turn = roll_rad * SECTORS / np.pi
    whole = int(np.floor(turn))
    rest = np.float32(turn - whole)
    here = np.roll(here, -whole, 2) * (1 - rest) + np.roll(here, -whole - 1, 2) * rest
    result: NDArray[np.float32] = np.exp(here)
    return result


def gather(
    lumas: Lumas, places_px: Floats, turns: Floats, gains: Floats, along: Floats, window: Window
) -> Patches:
    """Spectra of places in every frame; holds one frame's patches at a time.

    Parameters
    ----------
    lumas : Lumas
        Frames.
    places_px : ndarray of float64, shape (N, P, 2)
        Where the places lie in each, pixels from the corner.
    turns : ndarray of float64, shape (N, 2)
        Size of the picture over that in the reference view, and its turn, radians.
    gains : ndarray of float64, shape (N,)
        Factors that even out light.
    along : ndarray of float64, shape (N, P)
        Relative depth of each frame's plane there.
    window : Window
        From `window_of`.
    """

    def one(k: int) -> NDArray[np.float32]:
        found = spectra(lumas.stored(k), places_px[k], window)
        size, roll = turns[k]
        return at_one_scale(found, window.frequencies, float(size), float(roll)) * np.float32(
            gains[k] ** 2
        )

    parts = list(in_turn(one, range(len(turns))))
    side = window.taper.shape[0]
    return Patches(np.stack(parts), along, turns[:, 0].copy(), window.frequencies, side)


def turns_of(poses: Floats, middle_px: Floats, depth: float, focal_px: float) -> Floats:
    """Size and turn of every frame's picture against the reference view, shape (N, 2).

    Parameters
    ----------
    poses : ndarray of float64, shape (N, 6)
        See `haltere.align.pose`.
    middle_px : ndarray of float64, shape (2,)
        Centred reference pixel about which it is asked.
    depth : float
        Relative depth of what is seen there.
    focal_px : float
        See `haltere.align.pose`.
    """
    beside = np.array([middle_px, middle_px + np.array([20.0, 0.0])])
    out = []
    for pose in poses:
        pair = project(pose, beside, depth, focal_px)
        step = pair[1] - pair[0]
        out.append((float(np.hypot(*step)) / 20.0, float(np.arctan2(step[1], step[0]))))
    return np.array(out)
