"""Focus measures that compare like with like, and the faults of a frame.

Registered frames come in; how the detail of each place rises and falls comes out, with the depth
at which it peaks.  This room must not know what is asked of a burst or a sweep.
"""

from haltere.focus.curves import Peaks, Stack, curve_shape, find_peaks, focus_stack
from haltere.focus.depths import believed, cell_depths, estimate_depth_of_field
from haltere.focus.fault import Fault, FaultKind
from haltere.focus.run_optics import RunOptics, run_optics

__all__ = [
    "Fault",
    "FaultKind",
    "Peaks",
    "RunOptics",
    "Stack",
    "believed",
    "cell_depths",
    "curve_shape",
    "estimate_depth_of_field",
    "find_peaks",
    "focus_stack",
    "run_optics",
]
