"""What the photographer owns and how a run was taken with it.

A kit file, options and what the pictures say come in; one `Capture` that turns pixels into
millimetres goes out. This room must not know picture files, runs or pixels.
"""

from haltere.kit.capture import Capture, ScaleSource
from haltere.kit.keys import KEYS, Key
from haltere.kit.kit import Kit, kit_from_text, kit_text, read_kit, with_numbers, write_kit
from haltere.kit.limits import DEFAULTS, FORMATS, KitDefaults
from haltere.kit.setting import LensSetting, f_number_factor_at, focal_at, lens_at, reach
from haltere.kit.taken import (
    blur_px_per_mm,
    capture,
    depth_of_field_mm,
    effective_f_number_of,
    mm_per_px,
)

__all__ = [
    "DEFAULTS",
    "FORMATS",
    "KEYS",
    "Capture",
    "Key",
    "Kit",
    "KitDefaults",
    "LensSetting",
    "ScaleSource",
    "blur_px_per_mm",
    "capture",
    "depth_of_field_mm",
    "effective_f_number_of",
    "f_number_factor_at",
    "focal_at",
    "kit_from_text",
    "kit_text",
    "lens_at",
    "mm_per_px",
    "reach",
    "read_kit",
    "with_numbers",
    "write_kit",
]
