"""What was measured goes into a kit, and no kit is lost."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from haltere.calibration import RuleScale, SweepScale, as_kit, check_new, kit_lines, write_new_kit
from haltere.errors import UsageError
from haltere.kit import Kit, read_kit

FLAT = RuleScale("rule.jpg", 1.0234567, 0.0023, 0.0039, 2.0, 17, False)
KIT = Kit(name="meadow", sensor_width_mm=17.3, focal_mm=60.0, f_number=11.0, magnification=1.0)


def test_a_flat_picture_sets_the_magnification_alone() -> None:
    new = as_kit(KIT, FLAT)
    assert new == replace(KIT, magnification=1.0235, magnification_sigma=0.0023)


def test_a_sweep_sets_everything_it_measured(measured: dict[str, SweepScale]) -> None:
    sweep = measured["retrofocus"]
    new = as_kit(KIT, None, sweep, 8.0)
    assert new.magnification == pytest.approx(sweep.magnification, rel=1e-4)
    assert new.pupil_distance_mm == pytest.approx(sweep.pupil_distance_mm, rel=1e-4)
    assert new.pupil_distance_sigma_mm == pytest.approx(sweep.pupil_distance_sigma_mm, rel=0.06)
    assert new.measured_effective_f_number == pytest.approx(sweep.effective_f_number, rel=1e-4)
    assert new.push_mm_s == pytest.approx(sweep.push.mm_s, rel=5e-3)
    # the effective f-number belongs to the opening of the pictures
    assert new.f_number == 8.0
    assert (new.name, new.focal_mm) == (KIT.name, KIT.focal_mm)


def test_a_push_hardly_known_stays_out_of_the_kit(measured: dict[str, SweepScale]) -> None:
    sweep = measured["retrofocus"]
    doubtful = replace(sweep, push=replace(sweep.push, mm_s=3.0, mm_s_sigma=3.0))
    new = as_kit(KIT, None, doubtful, 8.0)
    assert (new.push_mm_s, new.push_unevenness) == (None, None)
    assert new.pupil_distance_mm is not None


def test_the_lines_hold_what_changed_and_nothing_else() -> None:
    lines = tomllib.loads(kit_lines(KIT, as_kit(KIT, FLAT)))
    assert lines == {
        "lens": {"magnification": 1.0235},
        "calibration": {"magnification_sigma": 0.0023},
    }
    assert kit_lines(KIT, KIT) == ""


def test_the_new_kit_is_read_back(tmp_path: Path, measured: dict[str, SweepScale]) -> None:
    new = as_kit(KIT, FLAT, measured["telephoto"], 5.6)
    write_new_kit(tmp_path / "new.toml", new)
    assert read_kit(tmp_path / "new.toml") == new


def test_a_kit_that_is_there_is_not_overwritten(tmp_path: Path) -> None:
    there = tmp_path / "kit.toml"
    there.write_text("name = 'mine'", encoding="utf-8")
    for attempt in (lambda: check_new(there), lambda: write_new_kit(there, KIT)):
        with pytest.raises(UsageError, match="not overwritten"):
            attempt()
    assert there.read_text(encoding="utf-8") == "name = 'mine'"
