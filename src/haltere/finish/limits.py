"""Numbers that steer how a picture is finished, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CropNumbers:
    """When a crop is said to promise more than the optics brought.

    Attributes
    ----------
    empty : float
        Pixels of the crop over pixels' worth of detail from which it is warned: at twice as many
        every second pixel is made up by the lens's blur (assumed).
    sure : float
        Confidence of a merge from which a place counts as seen sharp by some frame (assumed; the
        map runs from 0 to 1).
    unsure_share : float
        Share of the crop without such a place from which it is warned: more is no rim but a part
        of the animal (assumed).
    finest_first : int
        Steps in which the finest pattern that is left is looked for.
    """

    empty: float = 2.0
    sure: float = 0.5
    unsure_share: float = 0.25
    finest_first: int = 400


CROP = CropNumbers()


@dataclass(frozen=True, slots=True)
class RestoreNumbers:
    """How lost sharpness is brought back.

    Chosen on simulated animals (fly, beetle, and spider, wasp, hopper in part) at effective f/16
    to f/32 and ISO 200 to 1600, unless said otherwise.

    Attributes
    ----------
    noise_block_px : int
        Side of the blocks that noise is measured in.
    noise_bins : int
        Brightnesses that it is measured at.
    noise_percentile, noise_calmest : float
        Which of a brightness's blocks tell it; and how much calmer than the mean such a block is
        by chance.
    noise_below : float
        Linear light from which a block may be clipped, which looks calm.
    least_variance : float
        Half a step of 16 bits, squared: noise is never told to be less.
    doubt : float
        How much of the noise the inverse already gives in to: the blocks take the rest. More
        loses detail, less amplifies what the kernel does not know.
    steepness : float
        How fast detail is taken to fall with fineness (power over frequency) when the inverse is
        bounded: natural pictures have 2; less trusts the finest frequencies less.
    most_gain : float
        Highest gain of any frequency.
    cut_sigma : float
        Standard deviations below which a block's cosine is noise (of 64, one in 140 lies above).
    step_px : int
        Pixels from block to block.
    tile_px, margin_px : int
        Picture worked on at a time, and what is seen beyond it; the kernel and the limit against
        ringing reach no farther.
    reach : float
        Over how many lambda N the least and most light are sought that the result may hardly
        leave: the first rings lie within.
    overshoot : float
        How far beyond them, as a share of their difference.
    narrow : float
        Half width, in lambda N, up to which a line or spot counts as narrow: it may leave the
        range of its own blur, which an edge may not.
    beyond : float
        How far it may, in heights of its blur above or below its neighbours.
    rounds_noise, rounds : float, tuple of int
        Rounds of Richardson and Lucy's rule for each pixel that lambda N is wide, times the root
        of noise over detail, and their bounds: on spider, fly and beetle the most like the truth
        were 8 rounds at 0.15 and 0.1 (3.3 px), 64 at 0.05 (4.4 px), 28 at 0.02 (3.3 px) and 96 at
        0.0065 (3.3 px); beyond 48 little is won.
    ahead : float
        How far each round sets out ahead, in steps of the last: with 0.7 a spider at low noise
        was left behind Richardson and Lucy's plain rule; a share by content left seams between
        tiles.
    least_light : float
        Linear light that stands for black there.
    bright : tuple of float
        Linear light from which, and at which fully, a neighbour counts as a catch light.
    darken : float
        How far the surroundings of a catch light may fall below their darkest, as a share of it.
    smooth_px : float
        Blur before they are sought, so that noise does not widen them.
    prior_px, prior_tiles : int
        Side and number of the places where the picture's own detail is measured.
    prior_band : tuple of float
        Frequencies at which, cycles per pixel, as a share of the finest that passes.
    """

    noise_block_px: int = 16
    noise_bins: int = 12
    noise_percentile: float = 20.0
    noise_calmest: float = 0.88
    noise_below: float = 0.9
    least_variance: float = 6e-11
    doubt: float = 0.5
    steepness: float = 1.0
    most_gain: float = 8.0
    cut_sigma: float = 2.7
    step_px: int = 2
    tile_px: int = 512
    margin_px: int = 64
    reach: float = 3.0
    overshoot: float = 0.06
    narrow: float = 1.2
    beyond: float = 2.0
    rounds_noise: float = 1.4
    rounds: tuple[int, int] = (8, 48)
    ahead: float = 0.85
    least_light: float = 1e-4
    bright: tuple[float, float] = (0.7, 0.95)
    darken: float = 0.1
    smooth_px: float = 1.0
    prior_px: int = 256
    prior_tiles: int = 16
    prior_band: tuple[float, float] = (0.05, 0.25)


RESTORE = RestoreNumbers()


@dataclass(frozen=True, slots=True)
class ScaleNumbers:
    """How sure lengths are, and how a scale bar looks.

    Attributes
    ----------
    unmeasured : float
        One sigma of a magnification that was read off the lens and not measured (assumed: marks
        lie some per cent apart and focus is changed after them).
    unmeasured_pupil : float
        One sigma of a pupil distance from the thin-lens formula, as a share (assumed).
    click_px : float
        One sigma of a point set by hand, in each direction, pixels of the picture (assumed:
        pointing at 100 per cent).
    depth_dof : float
        One sigma of a merge's depth map, depths of field (assumed: planes lie within 0.04 to
        0.15, and a surface lies between them).
    window_px : float
        Radius about a click in which its depth is looked up, in sigmas of the click: the click
        may have meant any of these places.
    level : float
        Sigmas on each side that hold 95 per cent.
    bar_share : float
        Length of the bar over the picture's width that is aimed at.
    bar_high, bar_margin, bar_text : float
        Its height, its distance from the corner and its letters over the picture's shorter side
        (what reads on a phone and does not shout on a print; looked at).
    least_letters_px : int
        Letters smaller than this can't be read.
    """

    unmeasured: float = 0.03
    unmeasured_pupil: float = 0.1
    click_px: float = 1.0
    depth_dof: float = 0.2
    window_px: float = 2.0
    level: float = 1.96
    bar_share: float = 0.2
    bar_high: float = 0.008
    bar_margin: float = 0.04
    bar_text: float = 0.032
    least_letters_px: int = 11


SCALE = ScaleNumbers()


@dataclass(frozen=True, slots=True)
class DeliveryNumbers:
    """How pictures leave (common practice, no source, unless said otherwise).

    Attributes
    ----------
    web_px : int
        Longest side of a picture for the web: what a large screen shows.
    web_quality, print_quality : int
        JPEG quality: 85 shows nothing at 100 per cent in looked-at pictures, 95 survives a print
        shop's own processing.
    print_dpi, web_dpi : float
        What is written as resolution; it changes no pixel.
    most_words : int
        Bytes of caption, maker, rights and keywords together: a JPEG's part for them holds 65,533,
        and each may take six times as many there.
    sheet_px, sheet_margin_px : tuple of int, int
        A page of a contact sheet, A4 at 200 dots per inch, and its margin.
    sheet_columns, sheet_rows : int
        Pictures on it.
    """

    web_px: int = 2048
    web_quality: int = 85
    print_quality: int = 95
    print_dpi: float = 300.0
    web_dpi: float = 96.0
    most_words: int = 10_000
    sheet_px: tuple[int, int] = (1654, 2339)
    sheet_margin_px: int = 90
    sheet_columns: int = 3
    sheet_rows: int = 5


DELIVERY = DeliveryNumbers()


@dataclass(frozen=True, slots=True)
class ToneNumbers:
    """How light and colour are set.

    Attributes
    ----------
    most_stops : float
        Furthest exposure: beyond it nothing but noise is lifted.
    clipped : float
        Linear light from which a channel counts as clipped: 8-bit JPEG ends at 1.
    around_px : float
        Sigma of the surroundings whose colour a clipped place is given (assumed: the rim of a
        highlight).
    bright : float
        Linear light from which a neighbour tells the colour of a highlight.
    most_beyond : float
        How far beyond white a rebuilt channel may go.
    knee : float
        Light, at full strength, from which highlights are drawn together to make room.
    patch_px : int
        Fewest pixels of a patch that white balance is set by.
    patch_range : tuple of float
        Least and greatest linear light of it: darker is noise, lighter clipped.
    """

    most_stops: float = 5.0
    clipped: float = 0.985
    around_px: float = 8.0
    bright: float = 0.25
    most_beyond: float = 4.0
    knee: float = 0.45
    patch_px: int = 9
    patch_range: tuple[float, float] = (0.02, 0.95)


TONE = ToneNumbers()


@dataclass(frozen=True, slots=True)
class DustNumbers:
    """What counts as dust on the sensor.

    Attributes
    ----------
    look_px : int
        Longest side of the pictures that spots are looked for in.
    most_frames, least_frames : int
        Frames that are looked at, and fewest that tell dust from a thing that happens to be dark.
    apart_px : float
        Least distance of one frame's view from another's that is used, pixels of that size: what
        belongs to the animal then lies elsewhere.
    wide_px, fine_px : float
        Blur that the surroundings are taken from, and that noise is taken out by.
    least_dark : float
        Least darkening, share of the light (assumed: less can't be seen).
    sure : float
        Standard errors of the median that a spot must be dark by, in most frames: hardly a pixel
        of a million reaches it by chance.
    each : float
        Share of the frames in which it must be dark.
    size_px : tuple of int
        Fewest and most pixels of a spot.
    longest : float
        Length over width up to which a spot counts as one; a hair of the animal that kept its
        place is longer.
    most_tried : int
        Frames next in depth that are asked for a clean view: farther ones are out of focus there.
    grow : float
        How much wider than found a spot is healed: its rim is fainter.
    lighter : float
        Share of a spot's darkness by which another frame must be lighter there, on average over
        all that is filled, or it is the animal that is dark (a spot's rim is fainter than its
        middle; assumed).
    gamma : float
        Power that light has over a picture's codes, nearly, for that.
    neighbours : int
        Frames next to one that say what of it is the animal, where the views are known.
    each_left : float
        Share of the frames in which it must be dark once the animal is taken off: a neighbour's
        own dust lies over some.
    still : float
        What stays around a spot over what chance would leave: from here on the animal itself
        keeps its place on the sensor there (on sweeps without dust what was found had 1.4 to 5,
        spots laid over them 0.3 to 1.3, a few up to 2.5).
    ring_px : tuple of float
        Where that is looked at: from so far outside the spot, beyond the pale rim that taking off
        the surroundings leaves around it; and so wide.
    """

    look_px: int = 1600
    most_frames: int = 24
    least_frames: int = 6
    apart_px: float = 8.0
    wide_px: float = 6.0
    fine_px: float = 1.2
    least_dark: float = 0.02
    sure: float = 5.0
    each: float = 0.9
    size_px: tuple[int, int] = (4, 900)
    longest: float = 2.5
    most_tried: int = 8
    grow: float = 1.6
    lighter: float = 0.2
    gamma: float = 2.2
    neighbours: int = 2
    each_left: float = 0.8
    still: float = 1.35
    ring_px: tuple[float, float] = (11.0, 10.0)


DUST = DustNumbers()
