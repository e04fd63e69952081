"""Numbers that no lens has are refused before they reach a kit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from haltere.calibration import RuleError, SweepScale, check_lens
from haltere.kit import Kit, capture
from haltere.kit.capture import Capture

from .made import LENSES, TILTS


def taken(name: str, kit: Kit | None = None) -> Capture:
    lens = LENSES[name]
    return capture(kit or Kit(), focal_mm=lens.focal_mm, f_number=lens.f_number)


def with_rule_wrong(sweep: SweepScale, factor: float) -> SweepScale:
    """As a rule with marks `factor` times as far apart as they are would be measured."""
    return replace(
        sweep,
        magnification=sweep.magnification / factor,
        pupil_distance_mm=sweep.pupil_distance_mm * factor,
        effective_f_number=sweep.effective_f_number / factor,
    )


@pytest.mark.parametrize("lens", LENSES)
def test_real_lenses_pass(measured: dict[str, SweepScale], lens: str) -> None:
    check_lens(measured[lens], taken(lens), Kit(), 1.0, TILTS[lens])


@pytest.mark.parametrize("lens", LENSES)
@pytest.mark.parametrize("factor", [0.2, 0.5, 2.0, 5.0])
def test_a_rule_wrong_by_two_or_five_is_asked_for(
    measured: dict[str, SweepScale], lens: str, factor: float
) -> None:
    with pytest.raises(RuleError, match=r"is --rule 1 right"):
        check_lens(with_rule_wrong(measured[lens], factor), taken(lens), Kit(), 1.0)


def test_a_tilt_that_was_told_is_the_first_suspect(measured: dict[str, SweepScale]) -> None:
    wrong = replace(measured["retrofocus"], pupil_distance_mm=545.0)
    with pytest.raises(RuleError, match=r"is --tilt 45 or --rule 0.5 right"):
        check_lens(wrong, taken("retrofocus"), Kit(), 0.5, 45.0)


def test_an_effective_f_number_of_no_lens_is_refused(measured: dict[str, SweepScale]) -> None:
    wrong = replace(measured["retrofocus"], effective_f_number=201.0)
    nothing_but_f = replace(taken("retrofocus"), focal_mm=None)
    with pytest.raises(RuleError, match="effective f-number would be 201"):
        check_lens(wrong, nothing_but_f, Kit(), 1.0)


def test_what_is_not_known_is_not_checked(measured: dict[str, SweepScale]) -> None:
    wrong = replace(measured["retrofocus"], pupil_distance_mm=545.0, effective_f_number=201.0)
    check_lens(wrong, capture(Kit()), Kit(), 1.0)


def test_a_close_up_lens_moves_the_pupil_as_it_likes(measured: dict[str, SweepScale]) -> None:
    near = replace(measured["close"], pupil_distance_mm=30.0, effective_f_number=12.0)
    check_lens(near, taken("close"), Kit(close_up_dpt=10.0), 1.0)
    with pytest.raises(RuleError):
        check_lens(near, taken("close"), Kit(), 1.0)
