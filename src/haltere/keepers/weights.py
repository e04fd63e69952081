"""Weights of what is measured on a round patch, for how likely it is the nearer main eye.

Fitted by conditional logit (McFadden 1974) with a ridge of 1 on standardised measures and
their squares, on 100
simulated animals (flies and spiders, seeds 1000 to 1099, 800 x 600), each sharp and blurred.
The order is that of `haltere.keepers.discs.FEATURES`.
"""

from __future__ import annotations

WEIGHTS: tuple[float, ...] = (
    1.4716, -0.6106, 0.1210, 0.2541, 0.9557, -0.1034, -0.0847, -0.8808,
    -1.1122, -0.1537, 0.4062, -0.5588, -0.3552, 0.1449, -0.5395, 0.8629,
    2.6452, 0.1931, 0.6783, 0.5799, 0.1773, 0.6935, -1.8153, -1.1848,
)  # fmt: skip

BENDS: tuple[float, ...] = (
    0.3003, 0.0754, -0.0402, -0.7486, -0.2461, -0.9351, 0.1171, -0.7716,
    -0.5763, -0.2525, -0.4568, -0.1644, -0.1841, -0.3235, 0.2818, 0.0225,
    -0.5853, -1.5234, 0.3860, 0.0670, 0.0377, 0.1541, -0.9524, -0.4157,
)  # fmt: skip
"""Weights of the squares."""

MIDDLES: tuple[float, ...] = (
    0.3921, 0.4091, 0.7942, 1.6900, 0.0891, 0.2598, 0.6959, 1.0766,
    0.3760, 1.0063, 0.7767, 1.1165, -0.5806, -0.4634, -0.1139, -0.4724,
    -0.0429, 0.1329, -0.9318, 0.1763, 0.6645, 0.4281, -0.0492, 0.1922,
)  # fmt: skip
"""Mean of each measure over all patches."""

WIDTHS: tuple[float, ...] = (
    0.1096, 0.2990, 0.5738, 0.6768, 0.1082, 0.8211, 0.5239, 0.6113,
    0.8091, 0.5039, 0.5473, 0.6787, 0.6444, 0.4235, 0.5165, 0.4004,
    0.5136, 0.1247, 0.6893, 0.1430, 0.4182, 0.9803, 0.1818, 0.1212,
)  # fmt: skip
"""Standard deviation of each measure over all patches."""
