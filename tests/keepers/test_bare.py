from types import SimpleNamespace

import numpy as np
import pytest

from haltere.focus.smear import NO_SMEAR
from haltere.keepers.faults import faults_of
from haltere.keepers.judge import _Burst
from haltere.keepers.numbers import NUMBERS

FREQUENCIES = np.linspace(0.03, 0.41, 25)


def bare(detail: np.ndarray) -> bool:
    """Whether three frames with so much detail over noise are said to show nothing."""
    burst = _Burst.__new__(_Burst)
    burst.usable = np.ones(3, bool)
    fine = (FREQUENCIES > 0.06) & (FREQUENCIES < 0.2)
    energy = np.where(fine[None, None, :, None], detail[:, None, None, None], 1.0)
    patches = SimpleNamespace(
        energy=np.broadcast_to(energy, (3, 2, 25, 6)).astype(np.float32), frequencies=FREQUENCIES
    )
    return burst._shows_nothing(SimpleNamespace(patches=patches, place=np.zeros((2, 2))))


@pytest.mark.parametrize(("most", "nothing"), [(0.25, True), (4.0, False)])
def test_only_an_eye_that_no_frame_shows_is_bare(most: float, nothing: bool) -> None:
    assert bare(NUMBERS.bare * np.array([0.2, 0.1, most])) is nothing


def test_frames_in_which_the_eye_was_not_seen_say_nothing() -> None:
    assert bare(NUMBERS.bare * np.array([np.nan, np.nan, np.nan])) is False
    assert bare(NUMBERS.bare * np.array([np.nan, 0.1, 2.0])) is False


def test_a_distance_that_is_a_guess_is_not_told_as_a_fault() -> None:
    def told(sigma_dof: float) -> str:
        faults = faults_of(
            SimpleNamespace(width_px=400, height_px=300), (200.0, 150.0),
            picture=np.full((300, 400), 90.0, np.float32), scale=1.0, radius_px=20.0,
            offset_dof=3.0, sigma_dof=sigma_dof, smear=NO_SMEAR, smear_px=0.0, level=1.0,
            offset_mm=None, likeness=None, blurred=False,
        )  # fmt: skip
        return next(f.detail for f in faults if f.kind == "defocus")

    assert "3.0 depths of field" in told(0.3)
    assert "3.0" not in told(2 * NUMBERS.untold_dof)
