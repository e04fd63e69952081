"""Where a sweep's planes lie, and what they miss.

Frames of one sweep come in, with how they were taken; planes in depth, passes, gaps and a verdict
come out.  This room must not know how pictures are merged or shown.
"""

from haltere.sweeps.coverage import Coverage, Gap, Plane
from haltere.sweeps.solve import solve_sweep
from haltere.sweeps.sweep import Sweep

__all__ = ["Coverage", "Gap", "Plane", "Sweep", "solve_sweep"]
