"""Every number of a kit: its place in the file, its option, what it may be, what it says."""

from __future__ import annotations

import math
from dataclasses import dataclass

from haltere.errors import UsageError
from haltere.kit.limits import DEFAULTS


@dataclass(frozen=True, slots=True)
class Key:
    """One number of a kit.

    Attributes
    ----------
    section, key : str
        Where it stands in the file.
    field : str
        Attribute of `Kit`.
    option : str
        Name of the option on the command line, without dashes.
    unit : str
        Unit, for the help.
    low, high : float
        What it may be.
    says : str
        What it is, in a few words.
    whole : bool
        Whole numbers only.
    fraction : bool
        May also be written "1/200".
    """

    section: str
    key: str
    field: str
    option: str
    unit: str
    low: float
    high: float
    says: str
    whole: bool = False
    fraction: bool = False

    @property
    def shown(self) -> str:
        """Name as in the file."""
        return f"{self.section}.{self.key}" if self.section else self.key

    def take(self, value: object, shown: str) -> float | int:
        """Turn what was written into the number it means.

        Parameters
        ----------
        value : object
            As read from a file or an option.
        shown : str
            How to name it in an error.

        Returns
        -------
        float or int
            The number, int where `whole`.

        Raises
        ------
        UsageError
            When it is no number, or out of range.
        """
        number = self._number(value)
        if number is None or not self.low <= number <= self.high:
            written = ', or "1/200"' if self.fraction else ""
            kind = "whole number" if self.whole else "number"
            in_unit = f", in {self.unit}" if self.unit else ""
            raise UsageError(
                f"{shown}: expected a {kind} from {self.low:g} to {self.high:g}{written} "
                f"({self.says}{in_unit}), got {value!r}"
            )
        return int(number) if self.whole else number

    def _number(self, value: object) -> float | None:
        if isinstance(value, str):
            above, _, below = value.partition("/")
            if below and not self.fraction:
                return None
            try:
                number = float(above) / float(below or 1)
            except (ValueError, ZeroDivisionError):
                return None
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            number = float(value)
        else:
            return None
        if not math.isfinite(number) or (self.whole and number != int(number)):
            return None
        return number


_MOST = DEFAULTS.max_magnification

# fmt: off
KEYS: tuple[Key, ...] = (
    Key("", "coc_mm", "coc_mm", "coc", "mm", 0.0005, 0.5, "circle of confusion on the sensor"),
    Key("sensor", "width_mm", "sensor_width_mm", "sensor-width", "mm", 2, 100, "its long side"),
    Key("sensor", "height_mm", "sensor_height_mm", "sensor-height", "mm", 2, 100, "its short side"),
    Key(
        "sensor", "width_px", "width_px", "pixels-wide", "px", 16, 40000,
        "long side of an uncropped picture", whole=True,
    ),
    Key(
        "sensor", "height_px", "height_px", "pixels-high", "px", 16, 40000,
        "short side of an uncropped picture", whole=True,
    ),
    Key(
        "lens", "focal_mm", "focal_mm", "focal", "mm", 1, 2000,
        "focal length where you use it, at the close setting",
    ),
    Key(
        "lens", "engraved_focal_mm", "engraved_focal_mm", "engraved-focal", "mm", 1, 2000,
        "focal length engraved on a lens that gets shorter when it comes close",
    ),
    Key("lens", "f_number", "f_number", "f-number", "", 0.7, 128, "the marked f-number"),
    Key("lens", "f_number_min", "f_number_min", "widest", "", 0.7, 128, "widest marked f-number"),
    Key(
        "lens", "f_number_max", "f_number_max", "smallest", "", 0.7, 128,
        "largest marked f-number, the smallest opening",
    ),
    Key(
        "lens", "magnification", "magnification", "magnification", "", 0.01, _MOST,
        "size on the sensor over size on the animal, 2 for 2:1",
    ),
    Key(
        "lens", "magnification_max", "magnification_max", "largest-magnification", "", 0.01, _MOST,
        "the largest of the lens alone",
    ),
    Key(
        "lens", "pupil_magnification", "pupil_magnification", "pupil-magnification", "", 0.1, 10,
        "exit over entrance pupil, 1 if unknown",
    ),
    Key(
        "lens", "pupil_distance_mm", "pupil_distance_mm", "pupil-distance", "mm", 1, 5000,
        "plane of focus to entrance pupil",
    ),
    Key(
        "lens", "working_distance_mm", "working_distance_mm", "working-distance", "mm", 1, 5000,
        "animal to front glass of the lens alone at its largest magnification",
    ),
    Key(
        "attached", "close_up_dpt", "close_up_dpt", "close-up", "dpt", 0.1, 40,
        "power of the close-up lens in front",
    ),
    Key(
        "attached", "close_up_separation_mm", "close_up_separation_mm", "close-up-separation",
        "mm", -200, 300, "close-up lens to the lens's front principal point",
    ),
    Key(
        "attached", "tube_mm", "tube_mm", "tube", "mm", 1, 500,
        "length of the tubes between lens and camera",
    ),
    Key(
        "attached", "converter", "converter", "converter", "", 1, 4,
        "factor of the teleconverter, next to the camera",
    ),
    Key(
        "flash", "guide_number_m", "guide_number_m", "guide-number", "m", 0.5, 200,
        "guide number at ISO 100 in metres, at the zoom you use",
    ),
    Key("flash", "zoom_mm", "flash_zoom_mm", "flash-zoom", "mm", 8, 300, "zoom of the flash head"),
    Key(
        "flash", "distance_mm", "flash_distance_mm", "flash-distance", "mm", 5, 5000,
        "diffuser's front to the animal",
    ),
    Key(
        "flash", "diffuser_stops", "diffuser_stops", "diffuser-loss", "stops", 0, 8,
        "light that the diffuser eats",
    ),
    Key(
        "flash", "diffuser_radius_mm", "diffuser_radius_mm", "diffuser-radius", "mm", 5, 500,
        "half the width of the diffuser",
    ),
    Key(
        "flash", "smallest_power", "smallest_power", "smallest-power", "", 1 / 1024, 1,
        "smallest share of full power", fraction=True,
    ),
    Key(
        "flash", "power_step_stops", "power_step_stops", "power-step", "stops", 0.1, 1,
        "step of the power dial", fraction=True,
    ),
    Key(
        "flash", "t05_s", "t05_s", "t05", "s", 1e-06, 0.1,
        "time above half of the peak, at full power", fraction=True,
    ),
    Key(
        "flash", "t01_s", "t01_s", "t01", "s", 1e-06, 0.3,
        "time above a tenth of the peak, at full power", fraction=True,
    ),
    Key(
        "flash", "recycle_s", "recycle_s", "recycle", "s", 0.01, 60,
        "time to recycle after full power",
    ),
    Key(
        "camera", "sync_s", "sync_s", "sync", "s", 0.0001, 1, "shortest shutter time with flash",
        fraction=True,
    ),
    Key(
        "camera", "burst_fps", "burst_fps", "burst-rate", "1/s", 0.1, 240,
        "frames a second that flash can follow, shutter-wise",
    ),
    Key(
        "camera", "silent_fps", "silent_fps", "silent-rate", "1/s", 0.1, 1000,
        "frames a second with the electronic shutter, without flash",
    ),
    Key(
        "camera", "buffer_frames", "buffer_frames", "buffer", "frames", 1, 10000,
        "frames before the burst slows down", whole=True,
    ),
    Key(
        "camera", "stabilisation_stops", "stabilisation_stops", "stabilisation", "stops", 0, 9,
        "gain that the maker states",
    ),
    Key("camera", "iso_min", "iso_min", "base-iso", "", 10, 6400, "lowest ISO speed"),
    Key(
        "calibration", "magnification_sigma", "magnification_sigma", "magnification-error", "", 0,
        5, "one sigma of a measured magnification",
    ),
    Key(
        "calibration", "pupil_distance_sigma_mm", "pupil_distance_sigma_mm",
        "pupil-distance-error", "mm", 0, 1000, "one sigma of a measured pupil distance",
    ),
    Key(
        "calibration", "effective_f_number", "measured_effective_f_number",
        "measured-effective-f-number", "", 0.7, 1000,
        "effective f-number measured at lens.f_number and lens.magnification",
    ),
    Key(
        "calibration", "effective_f_number_sigma", "measured_effective_f_number_sigma",
        "measured-effective-f-number-error", "", 0, 500, "its one sigma",
    ),
    Key(
        "calibration", "push_mm_s", "push_mm_s", "push", "mm/s", 0.001, 1000,
        "how fast you push the camera in a sweep",
    ),
    Key(
        "calibration", "push_unevenness", "push_unevenness", "unevenness", "", 0, 3,
        "spread of your steps over their mean",
    ),
)
# fmt: on
