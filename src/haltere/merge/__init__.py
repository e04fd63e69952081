"""One deep picture of a sweep, with maps of where it comes from and how deep it lies.

A solved sweep comes in; a merged picture, its maps and an account of them go out.
"""

from haltere.merge.merged import LeftOut, Merge, Suspicious
from haltere.merge.preview import Preview, preview_sweep
from haltere.merge.sweep import merge_sweep

__all__ = ["LeftOut", "Merge", "Preview", "Suspicious", "merge_sweep", "preview_sweep"]
