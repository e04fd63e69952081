"""Numbers that steer what is said of a burst, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class KeeperNumbers:
    """Numbers that steer the room.

    Attributes
    ----------
    search_px : int
        Longest side of the pictures that frames are tied together on: on 100 simulated bursts
        their planes come out within 0.02 to 0.06 depths of field there, no worse than at twice the
        size.
    coc_px : float
        Least circle of confusion in pixels of the pictures measured at the eye: a plane half a
        depth of field away then blurs by more than a pixel.
    eye_share : float
        Radius about the eye that patches cover, in eye radii.
    eye_px : tuple of float
        Least and most of that radius, in circles of confusion.
    focus_share : float
        Share of that radius over which patches have their full say on the point asked for.
    witnesses_kept : int
        Places elsewhere on the animal that tell movement.
    dark : float
        Brightness against the run's median below which a frame counts as dark: a misfired flash
        leaves a quarter or less, flicker stays above 0.8.
    blurred : float
        Detail against the other frames' median below which a frame that matches none of them is
        called blurred and not hidden; noise leaves seven tenths of it.
    detailed : float
        Mean detail against the emptiest tenth of the picture from which a place takes part in tying
        frames together, though no peak is believed there.
    near_dof : float
        A keeper's largest distance of the plane from the eye, in depths of field.
    smear_px : float
        A keeper's longest smear, full-size pixels.
    cap : float
        Most chi-square that a patch's word can come to, and that at which it counts half: a hair
        before the eye tells another depth.
    told_from_dof : float
        The eye's depth is the mean of what lies within this of the median of all depths' chances.
    beyond_dof, aim_dof : float
        How far outside the planes the eye is still looked for; and how far outside it may well lie:
        photographers aim at it (assumed).
    fit : float
        Correlation of a place's focus curve with the expected one from which it is believed.
    turned_like, turned_more, turned_px : float
        An eye that moved by itself is believed from this likeness, if it is so much better than in
        the place foretold, and lies so many small pixels from it.
    hidden : tuple of float
        Likeness at which an eye that should be seen is surely hidden, and at which it surely is
        not: in eight simulated bursts it stays above 0.9, whatever the blur.
    looks, look_px : int
        Most frames searched for the eye, and their longest side.
    certain : float
        Summed probability from which one look is enough, and two spots may be both eyes.
    sure : float
        Summed probability from which a proposed eye is believed.
    clipped : int
        Luma (of 255) from which a pixel has no detail left.
    clipped_share : float
        Share of an eye's face that may be clipped: a catch light takes up to a tenth.
    floor_dof : float
        Least uncertainty of an offset: the error left by registration and the eye's shape.
    spread : float
        Share of the depth's spread that is told, so that one sigma holds in seven of ten cases.
    lost, surely_lost : float
        Probability of missing the eye from which the nearest frame is called lost, and not unsure;
        the same where it might as well lie on the eye.
    vague_dof : float
        Uncertainty of an offset above which a keeper is not claimed: at 0.8 even an eye said to
        be at zero lies within half a depth of field less often than not.
    untold_dof : float
        Uncertainty above which an offset is not told at all: one smooth eye in 302 simulated
        bursts would be told five depths of field off.
    bare : float
        Detail on the eye against noise, in the frame that shows most of it, below which none shows
        any: noise alone gives below five; in 28 simulated bursts it lies above 200, whether one of
        them is sharp or not.
    black : float
        Brightness of a single frame's bright parts below which its flash did not fire.
    alone_keeper, alone_none, alone_finest : float
        Fineness of a single frame's eye, cycles per circle of confusion, from which it is kept, and
        below which it is not; and that of the finest eyes. On simulated animals a twentieth of the
        eyes four depths of field off lies above the first, a twentieth of the sharp ones below the
        second; between them one frame does not tell (benchmarks/single_sharpness.py).
    """

    search_px: int = 800
    coc_px: float = 1.3
    eye_share: float = 0.8
    eye_px: tuple[float, float] = (36.0, 72.0)
    focus_share: float = 0.42
    witnesses_kept: int = 48
    dark: float = 0.5
    blurred: float = 0.85
    detailed: float = 4.0
    near_dof: float = 0.5
    smear_px: float = 2.0
    cap: float = 60.0
    told_from_dof: float = 2.0
    beyond_dof: float = 12.0
    aim_dof: float = 2.5
    fit: float = 0.85
    turned_like: float = 0.8
    turned_more: float = 0.12
    turned_px: float = 3.0
    hidden: tuple[float, float] = (0.45, 0.75)
    looks: int = 4
    look_px: int = 960
    certain: float = 0.8
    sure: float = 0.3
    clipped: int = 252
    clipped_share: float = 0.3
    floor_dof: float = 0.03
    spread: float = 0.8
    lost: float = 0.61
    surely_lost: float = 0.8
    vague_dof: float = 0.8
    untold_dof: float = 1.2
    bare: float = 8.0
    black: float = 0.12
    alone_keeper: float = 0.16
    alone_none: float = 0.05
    alone_finest: float = 0.26


NUMBERS = KeeperNumbers()
