"""Every number explains itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from haltere.errors import UsageError
from haltere.kit import Kit
from haltere.plan import as_dict, explanations, make_plan, why, wishes_of
from haltere.plan.why import at_path, key_named
from tests.plan.invented_kits import SMALL
from tests.plan.test_plan import FLASH

KIT = replace(SMALL, close_up_dpt=8.0, engraved_focal_mm=70.0, **FLASH)
WISHES = wishes_of(
    {
        "magnification": 1.5,
        "depth_mm": 3,
        "latitude_deg": 41.0,
        "longitude_deg": 9.0,
        "time_zone": "UTC",
    }
)
# what a kit without limits leaves open
MAY_BE_NULL = {"flash.frames_before_lag"}


def numbers(part: Any, path: str = "") -> Iterator[str]:
    if isinstance(part, dict):
        for key, inner in part.items():
            yield from numbers(inner, f"{path}.{key}" if path else key)
    elif isinstance(part, list):
        if part and isinstance(part[0], (int, float)):
            yield path
    elif isinstance(part, (int, float)) and not isinstance(part, bool):
        yield path


def test_every_number_of_the_answer_has_an_explanation() -> None:
    known = explanations()
    told = as_dict(make_plan(KIT, WISHES))
    found = list(numbers(told))
    assert len(found) > 100
    for path in found:
        assert key_named(path, known) in known


def test_every_explanation_is_of_a_number_that_is_there() -> None:
    told = as_dict(make_plan(KIT, WISHES))
    assert {key for key in explanations() if at_path(told, key) is None} <= MAY_BE_NULL


@pytest.mark.parametrize("key", list(explanations()))
def test_an_explanation_puts_numbers_in_and_names_source_and_assumption(key: str) -> None:
    one = explanations()[key]
    plan = make_plan(KIT, WISHES)
    filled = one.filled(plan)
    assert any(letter.isdigit() for letter in filled)
    assert "nan" not in filled
    assert len(one.title) > 8
    assumption = one.assumption
    assert len(assumption if isinstance(assumption, str) else assumption(plan)) > 8
    assert len(one.source) > 5
    assert len(one.inputs) <= 8


def test_the_depth_of_field_answers_to_its_inputs_as_the_formula_says() -> None:
    kit = replace(SMALL, magnification_max=2.0)
    told = why(kit, wishes_of({"magnification": 1.0, "f_number": 8.0}), "geometric")
    moves = {move.name: move for move in told.moves}
    assert told.key == "depth_of_field_mm.geometric"
    assert told.value == pytest.approx(0.48)
    assert moves["kit.coc_mm"].up == pytest.approx(0.48 * 1.1)
    assert moves["wishes.f_number"].down == pytest.approx(0.48 * 0.9)
    assert moves["wishes.magnification"].up == pytest.approx(2 * 0.015 * 8 * 2.1 / 1.1**2)


def test_inputs_that_matter_move_their_number() -> None:
    for key in ("push_mm_s", "flash.power", "burst.frame_chance", "sweep.hand_step_mm"):
        told = why(KIT, WISHES, key)
        assert any(move.up != move.down for move in told.moves), key


def test_the_number_of_a_setting_is_explained_at_its_own_f_number() -> None:
    plan = make_plan(KIT, WISHES)
    told = why(KIT, WISHES, "settings.single.effective_megapixels")
    assert told.value == pytest.approx(plan.single.sharpness.effective_megapixels)


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("f_number", "f_number_marked"),
        ("push-mm-s", "push_mm_s"),
        ("print_width_mm", "crop.print_width_mm"),
    ],
)
def test_a_word_is_enough_where_it_is_unique(word: str, key: str) -> None:
    assert key_named(word, explanations()) == key


def test_an_unknown_word_is_answered_with_near_ones() -> None:
    with pytest.raises(UsageError, match="airy_um"):
        key_named("airy_mm", explanations())


@pytest.mark.parametrize("word", ["nonsense", "xyzzy", "the depth of the animal"])
def test_a_word_that_resembles_nothing_is_sent_to_the_list(word: str) -> None:
    with pytest.raises(UsageError, match="--json lists them"):
        key_named(word, explanations())


def test_the_last_part_of_a_key_may_be_misspelt() -> None:
    with pytest.raises(UsageError, match=r"flash\.recycle_s"):
        key_named("recylce_s", explanations())


def test_the_room_before_a_close_up_lens_needs_no_measuring() -> None:
    assert "measure" not in why(KIT, WISHES, "working_distance_mm").assumption
    bare = why(SMALL, wishes_of({"magnification": 1.0}), "working_distance_mm")
    assert "measure it once" in bare.assumption


def test_a_kit_without_flash_says_so_when_asked_for_its_power(kit: Kit = SMALL) -> None:
    told = why(kit, wishes_of({"magnification": 1.0}), "flash.power")
    assert told.value is None
    assert "guide number" in told.filled
