"""Measures a lens as it is used, from pictures of a rule.

Frames of a rule and the distance of its marks come in; magnification, pupil distance, effective
f-number, depth of field and push speed go out, each with its error, and the kit that holds them.
This room must not know animals, runs or plans.
"""

from haltere.calibration.believable import check_lens
from haltere.calibration.flat import RuleError, RuleScale, measure_rule
from haltere.calibration.push import Push, push_doubt
from haltere.calibration.stored import as_kit, check_new, kit_lines, write_new_kit
from haltere.calibration.sweep import SweepScale, measure_sweep

__all__ = [
    "Push",
    "RuleError",
    "RuleScale",
    "SweepScale",
    "as_kit",
    "check_lens",
    "check_new",
    "kit_lines",
    "measure_rule",
    "measure_sweep",
    "push_doubt",
    "write_new_kit",
]
