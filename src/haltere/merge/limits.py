"""Numbers that steer a merge, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MergeNumbers:
    """Numbers that steer depth, weights and borders.

    Attributes
    ----------
    volume_px : int
        Longest side of the focus volume: 64 labels of it stay near 100 MiB.
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
    floor : float
        How many times the noise of the detail is added to a curve's height before it is
        believed.
    step_penalty, jump_penalty : float
        Cost of a depth step of one label, and of any larger one, against a data cost of 0..1.
    edge_levels : float
        Step of the picture at which a depth jump costs half.
    known : float
        Height of a curve over its noise from which a place has a depth.
    glow_share, glow_dof : float
        A peak weaker than this share of one that could throw its glow there, and at least so
        many depths of field from it, is not believed.
    soft_dof : float
        Standard deviation of the weight of a frame over its plane's distance from the depth:
        counted from the nearest plane; averages what is sharp, measured best near 0.3.
    reach : float
        Standard deviations after which a weight is nothing.
    smooth_background_px : float
        Over this distance from the animal the depth of what was never sharp grows smooth.
    feather_px : float
        Full-size pixels over which a frame fades in from its border, against seams.
    border_dof : float
        A border pixel stays when a frame that far worse than the best plane saw it.
    behind_dof : float
        A plane that many depths of field behind the deepest frame that the animal needs is left
        out: the need ends within half of one, and an antenna's tip may be missed by as much again.
    keep_share : float
        Least share of the reference frame a merge keeps.
    """

    volume_px: int = 800
    labels: int = 64
    step_dof: float = 0.5
    window_px: float = 1.0
    wide_px: float = 4.0
    wide_share: float = 0.1
    noise_percentile: float = 20.0
    least_noise: float = 0.02
    floor: float = 2.0
    step_penalty: float = 0.1
    jump_penalty: float = 0.5
    edge_levels: float = 12.0
    known: float = 3.0
    glow_share: float = 0.04
    glow_dof: float = 3.0
    soft_dof: float = 0.28
    reach: float = 2.8
    smooth_background_px: float = 24.0
    feather_px: float = 12.0
    border_dof: float = 1.0
    behind_dof: float = 1.5
    keep_share: float = 0.85


NUMBERS = MergeNumbers()
