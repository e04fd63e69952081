"""Airy disc and contrast, sharp and defocused, agree with diffraction computed by prysm."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from haltere import optics

WAVELENGTH_UM = 0.55
EFFECTIVE = 16.0
PUPIL_MM = 10.0
SAMPLES = 256


def wavefront(waves: float, wavelength_um: float = WAVELENGTH_UM) -> Any:
    """A round pupil with so many waves of defocus at its edge."""
    from prysm.coordinates import cart_to_polar, make_xy_grid
    from prysm.geometry import circle
    from prysm.propagation import Wavefront

    x, y = make_xy_grid(SAMPLES, diameter=PUPIL_MM)
    r, _ = cart_to_polar(x, y)
    edge = PUPIL_MM / 2
    phase_nm = 1000 * wavelength_um * waves * (r / edge) ** 2
    pupil = circle(edge, r).astype(float)
    return Wavefront.from_amp_and_phase(pupil, phase_nm, wavelength_um, x[0, 1] - x[0, 0])


def transfer(waves: float, frequency_per_mm: Any, wavelength_um: float = WAVELENGTH_UM) -> Any:
    from prysm.otf import mtf_from_psf

    psf = wavefront(waves, wavelength_um).focus(EFFECTIVE * PUPIL_MM, Q=2).intensity
    return mtf_from_psf(psf).exact_x(frequency_per_mm)


@pytest.mark.parametrize("waves", [0.0, 0.25, 0.5, 1.0, 2.0])
def test_contrast_at_every_frequency_is_that_of_prysm(waves: float) -> None:
    cutoff = optics.cutoff_per_mm(EFFECTIVE, WAVELENGTH_UM / 1000)
    frequency = np.linspace(1, 0.98 * cutoff, 60)
    ours = np.abs(optics.defocus_otf(frequency / cutoff, waves))
    assert np.abs(transfer(waves, frequency) - ours).max() < 0.005  # 0.0008 measured


@pytest.mark.parametrize("waves", [0.25, 1.0])
def test_the_fast_transfer_is_near_that_of_prysm(waves: float) -> None:
    cutoff = optics.cutoff_per_mm(EFFECTIVE, WAVELENGTH_UM / 1000)
    frequency = np.linspace(1, 0.98 * cutoff, 60)
    ours = np.abs(optics.defocus_otf_fast(frequency / cutoff, waves))
    assert np.abs(transfer(waves, frequency) - ours).max() < 0.018


@pytest.mark.parametrize("magnification", [0.5, 1.0, 3.0])
def test_defocus_on_the_animal_s_side_is_that_of_prysm_on_the_sensor_s(
    magnification: float,
) -> None:
    from prysm.thinlens import image_displacement_to_defocus

    off_mm = 0.01
    na = optics.numerical_aperture(magnification, EFFECTIVE)
    behind_um = 1000 * magnification**2 * off_mm  # depth is magnified by the square
    expected = image_displacement_to_defocus(behind_um, EFFECTIVE, WAVELENGTH_UM)
    assert optics.defocus_waves(off_mm, na, WAVELENGTH_UM / 1000) == pytest.approx(expected)


@pytest.mark.parametrize("off_mm", [0.0, 0.3, 0.8])
def test_contrast_in_white_light_is_the_mean_of_prysm_s_over_the_colours(off_mm: float) -> None:
    from prysm.thinlens import image_displacement_to_defocus

    frequency = np.linspace(2, 90, 45)
    colours = np.arange(0.46, 0.68, 0.02)
    weights = optics.luminous_efficiency(1000 * colours)
    white = sum(
        weight * transfer(image_displacement_to_defocus(1000 * off_mm, EFFECTIVE, c), frequency, c)
        for weight, c in zip(weights / weights.sum(), colours, strict=True)
    )
    ours = optics.photopic_otf(frequency, EFFECTIVE, off_mm, 1.0)
    # prysm gives the size of the contrast only: compare where no colour has reversed yet
    kept = np.minimum.accumulate(ours) > 0.1
    assert kept.sum() > 5
    assert np.abs(white - ours)[kept].max() < 0.02


def test_the_airy_disc_is_as_wide_as_prysm_draws_it() -> None:
    step_um, count = 0.05, 1024
    spread = wavefront(0.0).focus_fixed_sampling(EFFECTIVE * PUPIL_MM, step_um, count)
    line = spread.intensity.data[count // 2, count // 2 :]
    dark = 1 + int(np.argmax((line[1:-1] < line[:-2]) & (line[1:-1] < line[2:])))
    radius_um = 1000 * optics.airy_diameter_mm(EFFECTIVE, WAVELENGTH_UM / 1000) / 2
    assert dark * step_um == pytest.approx(radius_um, rel=0.01)
