"""Registration of hand-held frames, with uncertainty.

Grey analysis pictures of a run come in; each frame's pose against a reference comes out, and from
it where any point at any depth falls in any frame.  This room must not know what a burst, a sweep
or a millimetre is: depths are relative to the distance from plane of focus to entrance pupil.
"""

from haltere.align.lumas import Lumas
from haltere.align.pair import Registration, register_pair
from haltere.align.pose import homography, plane_depth, project
from haltere.align.run import Chain, chain_run, choose_pairs
from haltere.align.solve import Solution, make_grid, solve_poses

__all__ = [
    "Chain",
    "Lumas",
    "Registration",
    "Solution",
    "chain_run",
    "choose_pairs",
    "homography",
    "make_grid",
    "plane_depth",
    "project",
    "register_pair",
    "solve_poses",
]
