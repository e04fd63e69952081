"""Which frame of a burst is sharp on the eye, and by how much the others miss it.

Frames of one burst, an open decoder and how it was taken come in; judged frames and a verdict go
out. This room knows nothing of sweeps, merging or field books.
"""

from haltere.keepers.judge import judge_burst
from haltere.keepers.verdict import Crop, Eye, FocusMap, JudgedFrame, Keepers, Verdict

__all__ = ["Crop", "Eye", "FocusMap", "JudgedFrame", "Keepers", "Verdict", "judge_burst"]
