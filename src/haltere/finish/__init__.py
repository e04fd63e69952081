"""From a merged picture or a frame to what is shown, printed and given away.

A picture's pixels, how it was taken and what is wished come in; finished pixels, what a crop
carries, lengths and delivered files go out. This room must not know runs, the field book or pages.
"""

from haltere.finish.crop import CropBudget, crop_box, crop_budget
from haltere.finish.noise import Noise, measure_noise
from haltere.finish.restoring import Wanted, restore

__all__ = [
    "CropBudget",
    "Noise",
    "Wanted",
    "crop_box",
    "crop_budget",
    "measure_noise",
    "restore",
]
