"""What close-up lenses, tubes and teleconverters do to a lens."""

from __future__ import annotations

import math

_MM_PER_M = 1000.0


def close_up_focal_mm(power_dpt: float) -> float:
    """Give the focal length of a close-up lens of some power, 1000/P.

    Parameters
    ----------
    power_dpt : float
        Power, dioptres, above 0; powers of close-up lenses screwed together add.

    Returns
    -------
    float
        Focal length, mm.
    """
    return _MM_PER_M / power_dpt


def close_up_power_dpt(focal_mm: float) -> float:
    """Give the power of a close-up lens of some focal length, 1000/fc.

    Parameters
    ----------
    focal_mm : float
        Focal length of the close-up lens, mm, above 0.

    Returns
    -------
    float
        Power, dioptres (Clerc, Photography Theory and Practice).
    """
    return _MM_PER_M / focal_mm


def with_close_up(
    focal_mm: float, bare_magnification: float, power_dpt: float, separation_mm: float
) -> float:
    """Give the magnification with a close-up lens on, m0 + (f (1 + m0) - m0 d) / fc.

    The f-number that the sensor sees stays that of the bare lens at its own focus, whatever the
    total; so take the effective f-number from `bare_magnification`, depth and aperture from the
    total.

    Parameters
    ----------
    focal_mm : float
        Focal length of the lens at this focus setting, mm.
    bare_magnification : float
        Magnification of the lens alone, m0; 0 when it is set to infinity.
    power_dpt : float
        Power of the close-up lens, dioptres; 0 changes nothing.
    separation_mm : float
        Close-up lens to front principal point of the lens, mm; negative where that point lies
        before the glass (long telephoto designs). At the infinity setting it drops out.

    Returns
    -------
    float
        Size on the sensor over size on the animal (derived; checked by ray trace of two designs;
        thin close-up lens, whose rim does not cut the cone).
    """
    reach = focal_mm * (1.0 + bare_magnification) - bare_magnification * separation_mm
    return bare_magnification + reach * power_dpt / _MM_PER_M


def bare_magnification_for(
    focal_mm: float, magnification: float, power_dpt: float, separation_mm: float
) -> float:
    """Give the setting of the lens alone that makes a total magnification with a close-up lens.

    Parameters
    ----------
    focal_mm : float
        Focal length of the lens at that setting, mm.
    magnification : float
        Total magnification wanted.
    power_dpt : float
        Power of the close-up lens, dioptres.
    separation_mm : float
        Close-up lens to front principal point, mm; may be negative.

    Returns
    -------
    float
        Magnification of the lens alone; below 0 means that even the infinity setting shows the
        animal larger than wanted.
    """
    power = power_dpt / _MM_PER_M
    return (magnification - focal_mm * power) / (1.0 + (focal_mm - separation_mm) * power)


def subject_to_close_up_mm(
    focal_mm: float, bare_magnification: float, power_dpt: float, separation_mm: float
) -> float:
    """Give the distance from the animal to the close-up lens, 1/so = 1/fc + 1/(f (1 + 1/m0) - d).

    Parameters
    ----------
    focal_mm : float
        Focal length of the lens at this focus setting, mm.
    bare_magnification : float
        Magnification of the lens alone; 0 at the infinity setting, where the distance is fc.
    power_dpt : float
        Power of the close-up lens, dioptres.
    separation_mm : float
        Close-up lens to front principal point, mm; may be negative.

    Returns
    -------
    float
        Distance, mm; infinite with no power at the infinity setting (derived; checked by ray
        trace).
    """
    reach = focal_mm * (1.0 + bare_magnification) - bare_magnification * separation_mm
    vergence = power_dpt / _MM_PER_M + bare_magnification / reach
    return 1.0 / vergence if vergence else math.inf


def pupil_through_close_up_mm(pupil_behind_mm: float, power_dpt: float) -> float:
    """Give where the entrance pupil seems to lie through a close-up lens, e / (1 - e/fc).

    Plane of focus to entrance pupil is then the animal's distance to the close-up lens plus this.

    Parameters
    ----------
    pupil_behind_mm : float
        Entrance pupil of the lens alone, mm behind the close-up lens.
    power_dpt : float
        Power of the close-up lens, dioptres.

    Returns
    -------
    float
        Mm behind the close-up lens; infinite when the pupil lies in its focus, negative beyond
        (nearer things then look smaller) (derived; checked by ray trace).
    """
    rest = 1.0 - pupil_behind_mm * power_dpt / _MM_PER_M
    return pupil_behind_mm / rest if rest else math.inf


def with_tube(magnification: float, extension_mm: float, focal_mm: float) -> float:
    """Give the magnification with a tube or bellows behind the lens, m + x/f.

    Parameters
    ----------
    magnification : float
        Magnification without the tube.
    extension_mm : float
        Length of the tube, mm.
    focal_mm : float
        Focal length at this focus setting, mm.

    Returns
    -------
    float
        Size on the sensor over size on the animal (Jacobson, Lens FAQ, Q5).
    """
    return magnification + extension_mm / focal_mm


def converter_factor(distance_before_image_mm: float, focal_mm: float) -> float:
    """Give how much a teleconverter enlarges, 1 / (1 - a/f).

    Magnification and effective f-number both grow by it.

    Parameters
    ----------
    distance_before_image_mm : float
        Converter to the image that the lens alone would make, mm; below the focal length.
    focal_mm : float
        Focal length of the (diverging) converter, mm; its sign does not matter.

    Returns
    -------
    float
        Factor (thin lens, derived; checked by ray trace).
    """
    return 1.0 / (1.0 - distance_before_image_mm / abs(focal_mm))


def converter_extension(factor: float, focal: float) -> float:
    """Give how far behind a teleconverter the image lies, f (M - 1).

    Parameters
    ----------
    factor : float
        Enlargement M.
    focal : float
        Focal length of the converter in any unit; its sign does not matter.

    Returns
    -------
    float
        Distance in the same unit (The Sinclair Handbook of Photography).
    """
    return abs(focal) * (factor - 1.0)


def converter_factor_at(extension: float, focal: float) -> float:
    """Give how much a teleconverter enlarges by the image's distance behind it, 1 + E/f.

    Parameters
    ----------
    extension : float
        Converter to sensor, in any unit.
    focal : float
        Focal length of the converter in the same unit; its sign does not matter.

    Returns
    -------
    float
        Factor.
    """
    return 1.0 + extension / abs(focal)


def two_lens_focal(first: float, second: float, separation: float) -> float:
    """Give the focal length of two thin lenses one behind the other, f1 f2 / (f1 + f2 - d).

    Parameters
    ----------
    first, second : float
        Focal lengths in any one unit.
    separation : float
        Distance between the lenses in the same unit.

    Returns
    -------
    float
        Focal length in that unit; infinite when the pair only changes the width of a beam.
    """
    rest = first + second - separation
    return first * second / rest if rest else math.inf
