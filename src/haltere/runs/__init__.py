"""Which frames belong together, and whether the photographer shot a burst or a sweep.

Frames in order of time and an open decoder come in; runs with their passes go out. This room
knows nothing of eyes, millimetres or merged pictures.
"""

from haltere.runs.run import Direction, Pass, Run, RunKind
from haltere.runs.split import Splitting, Taker, split_runs

__all__ = ["Direction", "Pass", "Run", "RunKind", "Splitting", "Taker", "split_runs"]
