"""Numbers that steer a merge, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass

from haltere.frames.limits import LIMITS


@dataclass(frozen=True, slots=True)
class MergeNumbers:
    """Numbers that steer depth, weights and borders.

    Attributes
    ----------
    volume_px : int
        Longest side of the focus volume: 64 labels of it stay near 100 MiB.
    preview_px : int
        The same of a preview: against the whole merge, shrunk, 39.2 dB on the other renderer's
        sweep, 39.1 with 800, at less than half the work.
    labels : int
        Most depth labels; with more planes the labels lie further apart.
    step_dof : float
        Spacing of labels: a focus curve is some 1.5 depths of field wide, three labels tell
        its top.
    window_px : float
        Sigma of the window detail is gathered in, volume pixels: small, so that hairs keep
        their own depth.
    wide_px, wide_share : float
        Sigma and share of a second, larger window that helps where texture is weak.
    noise_percentile, least_noise : float
        Percentile of the energy at a brightness that counts as noise; and the least it can be,
        squared grey levels: what rounding to 8 bit leaves in the band.
    uneven_noise : float
        Noise at no brightness is more than so many times the usual one's energy.
    floor : float
        How many times the noise of the detail is added to a curve's height before it is
        believed.
    step_penalty, jump_penalty : float
        Cost of a depth step of one label, and of any larger one, against a data cost of 0..1.
    edge_levels : float
        Step of the picture at which a depth jump costs half.
    speck_places, speck_dof : int, float
        A patch of at most so many places that lies this far from all around it is an error: even
        a short hair covers more. Twenty places cost hairs (measured).
    most_own : float
        Labels at which a place's own curve has more than this share of its peak do not tell what
        would be there without it: the difference is too small.
    beside_labels : int
        A peak must also stand out of so many labels on either side. Beside strong edges glow is a
        broad hill, highest at the first or last frame, that stands out of all labels but not of
        those beside it: halo of the other renderer's sweep 2.7 levels without, 1.6 with twelve
        and 1.7 with eight, which cost 0.02 dB.
    known : float
        Height of a curve over its noise from which a place has a depth.
    doubt_px, doubt_dof, doubt_left : int, float, float
        Where depth changes by this much within so many places its confidence begins to fall, at
        twice as much only the share `doubt_left` is left (measured: of confident places beside
        a jump a third has the other side's depth, elsewhere 3 %; with a window of five a hairy
        animal still had 8 % wrong, with nine 3 %).
    glow_share, glow_dof : float
        A peak weaker than this share of one that could throw its glow there, and at least so
        many depths of field from it, is not believed.
    soft_dof : float
        Standard deviation of the weight of a frame over its plane's distance from the depth:
        counted from the nearest plane; averages what is sharp, measured best near 0.3.
    reach : float
        Standard deviations after which a weight is nothing: at 2.15 noise grew (0.15 dB), at 2.8
        painting takes longer.
    smooth_background_px : float
        Over this distance from the animal the depth of what was never sharp grows smooth.
    feather_px : float
        Full-size pixels over which a frame fades in from its border, against seams.
    border_dof : float
        A border pixel stays when a frame that far worse than the best plane saw it.
    beside_px : float
        What lies so near to a border that only some frames saw goes on into it, volume pixels.
    behind_dof : float
        A plane at which nothing lies is left out when it is that many depths of field behind the
        deepest one that holds something: half of one is its own reach.
    keep_share : float
        Least share of the reference frame a merge keeps.
    """

    volume_px: int = 800
    preview_px: int = 400
    labels: int = 64
    step_dof: float = 0.5
    window_px: float = 1.0
    wide_px: float = 4.0
    wide_share: float = 0.1
    noise_percentile: float = 20.0
    least_noise: float = 0.02
    uneven_noise: float = 3.0
    floor: float = 2.0
    step_penalty: float = 0.1
    jump_penalty: float = 0.5
    edge_levels: float = 12.0
    speck_places: int = 8
    speck_dof: float = 1.5
    most_own: float = 0.9
    beside_labels: int = 12
    known: float = 3.0
    doubt_px: int = 9
    doubt_dof: float = 1.0
    doubt_left: float = 0.4
    glow_share: float = 0.04
    glow_dof: float = 3.0
    soft_dof: float = 0.28
    reach: float = 2.5
    smooth_background_px: float = 24.0
    feather_px: float = 12.0
    border_dof: float = 1.0
    beside_px: float = 4.0
    behind_dof: float = 1.0
    keep_share: float = 0.85


NUMBERS = MergeNumbers()


@dataclass(frozen=True, slots=True)
class ConeNumbers:
    """Numbers that tell the cone of a strong edge's light from a surface.

    Chosen on four sweeps (9033, 9042, 9043 of `sweeps_random.py`, and one of another renderer).

    Attributes
    ----------
    bins, levels : int, int
        Layers of depth, and steps of strength (each a quarter of the one before), that edges are
        sorted into.
    share : float
        A rim is weaker than this share of its edge (0.25 left a third of the rims standing).
    least_dof, least_px : float, float
        Nearer to the edge in depth, or within so few places, a rim is no different from an edge.
    off_px, off_share : float, float
        A rim may lie so many places, and this share of its radius, beside where it is foretold.
    slope : float
        Radius told by depth grows at least so much with distance: 1 on a cone, below 0.1 on a
        surface that leans away (0.3 lost a leaf behind a beetle, 0.7 half of the gain).
    window, least_spread, least_beside : int, float, int
        Side of the window that a slope is told in, places; squared places that distances in it
        spread over at least, against division by noise; and how many rims in it tell one.
    beside : int
        Rims so many places beside a steep one belong to it.
    span_dof, least : float, int
        A cone runs over so many depths of field, and has so many places.
    """

    bins: int = 12
    levels: int = 5
    share: float = 0.5
    least_dof: float = 3.0
    least_px: float = 2.0
    off_px: float = 1.5
    off_share: float = 0.15
    slope: float = 0.5
    window: int = 9
    least_spread: float = 0.3
    least_beside: int = 8
    beside: int = 2
    span_dof: float = 4.0
    least: int = 12


CONES = ConeNumbers()


@dataclass(frozen=True, slots=True)
class PlaceNumbers:
    """Numbers that tell where a merged picture should be looked at first.

    Those of movement were chosen on seven simulated sweeps with a moving limb, at half the depth
    map's size (400 px), and tried on others.

    Attributes
    ----------
    moved_dof : float
        Neighbours are held against each other at places this near to one of their planes: a limb
        that moved further out of focus left no trace.
    ghost_dof : float
        Neighbours this near are both averaged into the picture.
    moved_window_px : float
        Sigma of the window that evens out noise before frames are compared.
    drift_px : int
        Differences wider than this many places are light that drifts.
    moved_floor, moved_px : float
        Difference of roots of light (0..16) that noise allows; and the shift, in places, that
        registration and parallax may leave along an edge.
    moved_low, moved_high, moved_least, moved_join : float, float, int, int
        A spot grows over places above `low`, has `least` places above `high`, and takes in
        others `join` places away.
    wrong_low, wrong_high, wrong_least, wrong_join, wrong_most : float, float, int, int, int
        As with movement, of what frames look like and should; and how many boxes: these are small.
    wrong_rim : int
        Places that a box takes in around them: what is torn goes on where it is too faint to tell.
    wrong_edge : int
        So near to the border of the reference frame, or to what is clipped, frames are not asked.
    burnt : float
        Linear light from which a channel counts as clipped: 250 of 255 in sRGB.
    burnt_share, burnt_least : float, int
        Share of a place's pixels that must be clipped, and how many such places make a spot: a
        glint is smaller.
    burnt_close_px : int
        Burnt patches up to this wide, in places, are part of the animal around them.
    gap_least, gap_share : int, float
        Cells of a gap, and share of all its cells, that are worth a box of their own.
    rim_low, rim_least, rim_join : float, int, int
        As with movement, of the coarse detail of what is soft beyond the planes, squared grey
        levels over some ten pixels: weaker ones differ from sharp ones by less than can be seen,
        and smaller spots are the blur of long hairs.
    near_least, near_most : int, float
        What lies before the first plane covers at least so many coarse places, and is no stronger
        in the mean: of 62 spots on 15 sweeps ten of the eleven such ones lay there.
    rim_share : float
        A place with less than this share of the strongest one's detail is not worth a box.
    hidden_least : int
        Places at the border that no sharp frame saw, from which they are told.
    unseen_least : float
        Share of the picture that no frame saw, from which it is told.
    most : int
        Boxes of one kind; more, and nobody walks through them.
    """

    moved_dof: float = 3.0
    ghost_dof: float = 1.5
    moved_window_px: float = 0.9
    drift_px: int = 21
    moved_floor: float = 0.096
    moved_px: float = 0.35
    moved_low: float = 2.0
    moved_high: float = 3.0
    moved_least: int = 3
    moved_join: int = 4
    wrong_low: float = 0.6
    wrong_high: float = 1.0
    wrong_least: int = 4
    wrong_join: int = 1
    wrong_most: int = 24
    wrong_rim: int = 3
    wrong_edge: int = 4
    burnt: float = 0.956
    burnt_share: float = 0.5
    burnt_least: int = 9
    burnt_close_px: int = 31
    gap_least: int = 3
    gap_share: float = 0.03
    rim_low: float = 2.0
    rim_least: int = 10
    rim_join: int = 1
    near_least: int = 50
    near_most: float = 60.0
    rim_share: float = 0.05
    hidden_least: int = 60
    unseen_least: float = 1e-5
    most: int = 12


PLACES = PlaceNumbers()


@dataclass(frozen=True, slots=True)
class ExplainedNumbers:
    """Numbers that say when a frame looks otherwise than the merged picture foretells it.

    Attributes
    ----------
    every_dof : float
        Frames this far apart are asked.
    near_dof : float
        A frame is asked about places this near to its plane.
    layer_dof, layer_share : float, float
        Layers that a frame is foretold in are so thick, or this share of their distance.
    finest_px, sharp_px : float, float
        Layers with larger discs are blurred shrunk; with a smaller bell not at all.
    held : float
        A pixel of a frame tells when the picture tells of more than this share of its light.
    window_px : float
        Sigma of the window that evens out noise before the frame is compared.
    floor, edge_px : float, float
        Difference of roots of light (0..16) that noise allows; and the shift, in places, that is
        allowed along an edge.
    """

    every_dof: float = 1.0
    near_dof: float = 5.0
    layer_dof: float = 1.0
    layer_share: float = 0.25
    finest_px: float = 4.0
    sharp_px: float = 0.3
    held: float = 0.5
    window_px: float = 0.8
    floor: float = 0.15
    edge_px: float = 0.4


EXPLAINED = ExplainedNumbers()


@dataclass(frozen=True, slots=True)
class StretchNumbers:
    """Numbers that choose the frames for parts that moved, at half the depth map's size.

    Attributes
    ----------
    join : int
        Changed places about twice as far apart are one part, and so far around them other frames
        stay out.
    least : int
        So many clearly changed places make a part, and so many common ones a comparison.
    most_share, most : float, int
        A part larger than this share of the picture is no limb; and no more parts than that.
    changed : float
        Two frames show a part in two positions when more than this share of it changed.
    enough : float
        The reference frame's position is kept while it is in focus on this share of what the
        best other one is.
    bare : float
        Where its nearest frame has a slope below this, in roots of light (0..16) per place, it
        shows bare backdrop, which is as good as in focus. With 0.15 and 0.3 a feeler is no longer
        shown twice, and 25 other sweeps with moved limbs stay as they were.
    fade : float
        Over so many places of the depth map frames fade in over the backdrop around a part.
    """

    join: int = 4
    least: int = 24
    most_share: float = 0.25
    most: int = 100
    changed: float = 0.2
    enough: float = 0.8
    bare: float = 0.15
    fade: float = 24.0


STRETCHES = StretchNumbers()


@dataclass(frozen=True, slots=True)
class MemoryNumbers:
    """Memory that a merge plans with, all processes together, pages they share counted once.

    Attributes
    ----------
    around_mib : int
        Python, libraries, compiled loops and what is known of the sweep, however many frames.
    painting_bytes : int
        A pixel, while it is painted: sums 12, their weight 4 and the largest 4, origin 2, depth 4.
        Beside them what frames are decoded into: the two processes that develop raw files count.
    writing_bytes : int
        A pixel, while the maps and the small JPEG are written (measured).
    """

    around_mib: int = 350
    painting_bytes: int = 26
    writing_bytes: int = 31


MEMORY = MemoryNumbers()


def planned_mib(width_px: int, height_px: int, *, raw: bool) -> float:
    """Tell how much memory a merge needs at most, however many frames it has.

    Parameters
    ----------
    width_px, height_px : int
        Size of a frame.
    raw : bool
        Whether frames are raw files, developed in two processes.

    Returns
    -------
    float
        MiB, of all processes together.
    """
    each = MEMORY.writing_bytes
    if raw:
        each = max(each, MEMORY.painting_bytes + 2 * LIMITS.developing_bytes)
    return MEMORY.around_mib + width_px * height_px * each / (1 << 20)
