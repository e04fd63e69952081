"""Close-up geometry of a lens focused by moving it: where things are and how much light is lost."""

from __future__ import annotations

import math


def magnification_at(focal_mm: float, image_distance_mm: float) -> float:
    """Give the magnification at an image distance, v/f - 1.

    Parameters
    ----------
    focal_mm : float
        Focal length, mm.
    image_distance_mm : float
        Rear principal point to sensor, mm.

    Returns
    -------
    float
        Size on the sensor over size on the animal (Jacobson, Lens FAQ, Q5).
    """
    return image_distance_mm / focal_mm - 1.0


def image_distance_mm(focal_mm: float, magnification: float) -> float:
    """Give the rear principal point's distance from the sensor, f (1 + m).

    Parameters
    ----------
    focal_mm : float
        Focal length, mm.
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    float
        Distance, mm.
    """
    return focal_mm * (1.0 + magnification)


def effective_f_number(
    f_number: float, magnification: float, pupil_magnification: float = 1.0
) -> float:
    """Give the f-number that the sensor sees, N (1 + m/p).

    Parameters
    ----------
    f_number : float
        Marked f-number.
    magnification : float
        Size on the sensor over size on the animal, of the lens itself (without close-up lens).
    pupil_magnification : float, optional
        Exit pupil over entrance pupil.

    Returns
    -------
    float
        Effective f-number (Kingslake, Optics in Photography, 1992; checked by ray trace).
    """
    return f_number * (1.0 + magnification / pupil_magnification)


def exposure_factor(magnification: float, pupil_magnification: float = 1.0) -> float:
    """Give how many times longer the exposure gets at close focus, (1 + m/p)^2.

    Parameters
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    pupil_magnification : float, optional
        Exit pupil over entrance pupil.

    Returns
    -------
    float
        Factor on the exposure time.
    """
    return (1.0 + magnification / pupil_magnification) ** 2


def exposure_stops(magnification: float, pupil_magnification: float = 1.0) -> float:
    """Give the light lost at close focus in stops, 2 log2(1 + m/p).

    Parameters
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    pupil_magnification : float, optional
        Exit pupil over entrance pupil.

    Returns
    -------
    float
        Stops.
    """
    return math.log2(exposure_factor(magnification, pupil_magnification))


def plane_to_pupil_mm(
    focal_mm: float, magnification: float, pupil_magnification: float = 1.0
) -> float:
    """Give the distance from the plane of focus to the entrance pupil, f (1/m + 1/p).

    Parameters
    ----------
    focal_mm : float
        Focal length at this focus setting, mm.
    magnification : float
        Size on the sensor over size on the animal.
    pupil_magnification : float, optional
        Exit pupil over entrance pupil.

    Returns
    -------
    float
        Distance, mm (derived; checked by ray trace of four designs).
    """
    return focal_mm * (1.0 / magnification + 1.0 / pupil_magnification)


def aperture_diameter_mm(focal_mm: float, f_number: float) -> float:
    """Give the diameter of the entrance pupil, f/N.

    Parameters
    ----------
    focal_mm : float
        Focal length, mm.
    f_number : float
        Marked f-number.

    Returns
    -------
    float
        Diameter, mm.
    """
    return focal_mm / f_number


def numerical_aperture(magnification: float, effective: float) -> float:
    """Give the numerical aperture on the animal's side in air, m / (2 Ne).

    Parameters
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    effective : float
        Effective f-number.

    Returns
    -------
    float
        Numerical aperture (paraxial).
    """
    return magnification / (2.0 * effective)


def scale_at(distance_mm: float, nearer_mm: float) -> float:
    """Give the image scale of a point before the plane of focus, relative to in it: s/(s - dz).

    The same law gives how a feature grows when the camera is pushed forward; the centre of that
    scaling is the entrance pupil.

    Parameters
    ----------
    distance_mm : float
        Plane of focus to entrance pupil, mm.
    nearer_mm : float
        How much nearer than the plane the point lies, mm; negative behind it.

    Returns
    -------
    float
        Scale, above 1 for a nearer point (derived; checked by ray trace).
    """
    return distance_mm / (distance_mm - nearer_mm)


def subject_to_sensor_mm(
    focal_mm: float, magnification: float, principal_separation_mm: float = 0.0
) -> float:
    """Give the distance from the animal to the sensor, f (2 + m + 1/m) + HH'.

    Parameters
    ----------
    focal_mm : float
        Focal length at this focus setting, mm.
    magnification : float
        Size on the sensor over size on the animal.
    principal_separation_mm : float, optional
        Rear minus front principal point, mm; may be negative.

    Returns
    -------
    float
        Distance, mm.
    """
    return focal_mm * (2.0 + magnification + 1.0 / magnification) + principal_separation_mm


def working_distance_mm(
    focal_mm: float, magnification: float, front_focal_point_mm: float
) -> float:
    """Give the distance from the animal to the front glass, f/m - F.

    Parameters
    ----------
    focal_mm : float
        Focal length at this focus setting, mm.
    magnification : float
        Size on the sensor over size on the animal.
    front_focal_point_mm : float
        Front focal point, mm behind the front vertex (negative before it).

    Returns
    -------
    float
        Distance, mm.
    """
    return focal_mm / magnification - front_focal_point_mm


def field_mm(sensor_mm: float, magnification: float) -> float:
    """Give how much of the animal's world one sensor side covers.

    Parameters
    ----------
    sensor_mm : float
        Side of the sensor, mm.
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    float
        Side of the field, mm.
    """
    return sensor_mm / magnification
