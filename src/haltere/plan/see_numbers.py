"""Numbers that steer the drawing of a made-up animal at planned settings."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Seeing:
    """Numbers that steer the drawing, each with its reason.

    Attributes
    ----------
    whole_px : int
        Width of the whole view: two beside each other fill a wide screen.
    merged_px : int
        Width of the pictures that the whole view is merged from; the merge was tuned to some
        thousand pixels, and forty of them take some ten seconds on two cores.
    around : float
        Room around the animal in those pictures, as a share of its size: what lies farther out
        holds nothing to merge.
    nearly_all : float
        Where they would hold more than this share of the frame, they hold all of it.
    fade : float
        Share of their width over which they fade into the rest of the frame, so that no edge
        shows; the room around the animal holds it.
    detail_px : tuple of int
        Width and height of the detail at full size, as wide as the whole view.
    most_planes : int
        Planes drawn of a sweep at most.
    coarser : int
        At most every so many planes is drawn where there are more: the whole view is made
        smaller, and hides a blur of about one of its own pixels.
    views : int
        Points of the pupil in a frame of a sweep; blur far from its plane is never shown.
    single_views : int
        The same for the one shot, whose blur is looked at.
    texels_per_px, texels_per_airy : float
        Painted points a sensor pixel, and an Airy disc, whichever are fewer: detail a quarter of
        the disc wide has lost nearly all its contrast, so finer paint would not show.
    electrons_per_um2 : float
        Electrons that fill a square micrometre of sensor at ISO 100 (assumed, a usual sensor).
    read_electrons : float
        Read noise of a pixel (assumed, a usual sensor).
    room : float
        Share of the frame that an animal may fill before it is aimed at its eyes.
    spare_px : int
        Drawn around the detail and cut off again: the merge is unsure at the border.
    deepest : float
        Deepest animal as a share of the distance to the entrance pupil: nearer, the last frames
        of a sweep would stand in its front.
    least_share : float
        Least size of a body as a share of the frame's width: a smaller one is a dot.
    aside : float
        Depths of field around what the detail holds in which planes are drawn for it.
    """

    whole_px: int = 880
    merged_px: int = 880
    around: float = 1.8
    nearly_all: float = 0.85
    fade: float = 0.12
    detail_px: tuple[int, int] = (880, 470)
    most_planes: int = 40
    coarser: int = 3
    views: int = 24
    single_views: int = 96
    texels_per_px: float = 0.6
    texels_per_airy: float = 4.0
    electrons_per_um2: float = 1500.0
    read_electrons: float = 3.0
    room: float = 0.9
    spare_px: int = 24
    deepest: float = 0.5
    least_share: float = 0.01
    aside: float = 1.5


SEEING = Seeing()
ANIMAL = 10
"""Seed of a fly on a stem: both eyes and a whole side show, and no leaf lies in the way."""
LEAST_FRAMES = 3
"""Fewer planes are not merged."""
