"""The field card: the plan's own numbers, its cautions, and nothing beyond the paper."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from html import unescape
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.kit import Kit
from haltere.plan import Wishes, as_dict, make_plan, wishes_of
from haltere.show import make_card
from haltere.show.card import MAGNIFICATIONS, ROWS, Card, Column, card_of
from haltere.show.card_html import card_html
from haltere.show.card_page import HEIGHT, WIDTH, card_page, typeset, width_pt, wrapped
from haltere.show.card_pdf import PRINT, card_pdf
from haltere.show.card_words import CAUTIONS, figures, share, signed
from haltere.show.colours import contrast
from haltere.show.drawing import Box, Drawing, Line, Text

MEADOW = Kit(
    name="Meadow kit",
    sensor_width_mm=17.3,
    sensor_height_mm=13.0,
    width_px=5184,
    focal_mm=60.0,
    engraved_focal_mm=70.0,
    magnification_max=1.0,
    f_number_min=2.8,
    f_number_max=22.0,
    close_up_dpt=5.0,
    guide_number_m=12.0,
    smallest_power=1 / 128,
    power_step_stops=1 / 3,
    recycle_s=2.0,
    sync_s=1 / 250,
)
HEATH = Kit(
    name="Heath kit with a strong close-up lens",
    sensor_width_mm=23.5,
    sensor_height_mm=15.6,
    width_px=6000,
    focal_mm=90.0,
    magnification_max=1.0,
    close_up_dpt=8.0,
)
POND = Kit(
    name="Pond kit",
    sensor_width_mm=36.0,
    sensor_height_mm=24.0,
    width_px=6000,
    focal_mm=100.0,
    magnification_max=1.0,
    tube_mm=25.0,
    guide_number_m=3.0,
    recycle_s=9.0,
)
ENDLESS = replace(POND, name="No end known", magnification_max=None, tube_mm=None)
KITS = (MEADOW, HEATH, POND, ENDLESS)


@cache
def card(kit: Kit) -> Card:
    return card_of(kit, wishes_of({}))


def column(kit: Kit, magnification: float) -> Column:
    return card(kit).columns[MAGNIFICATIONS.index(magnification)]


def number(found: Column, part: str, label: str) -> str:
    (at,) = (i for i, row in enumerate(ROWS) if row.part == part and row.label.startswith(label))
    return found.cells[at].text.split(" ")[0]


def drawn_words(pdf: bytes) -> str:
    """Everything that the page's uncompressed drawing writes, in the order of writing."""
    octal = re.compile(rb"\\(\d{3})")
    written = [
        octal.sub(lambda m: bytes([int(m[1], 8)]), one)
        .replace(rb"\(", b"(")
        .replace(rb"\)", b")")
        .decode("cp1252")
        for one in re.findall(rb"\(((?:\\.|[^()\\])*)\) Tj", pdf)
    ]
    return " ".join(written)


def extent(text: Text) -> tuple[float, float, float, float]:
    wide = width_pt(text.words, text.size, text.bold)
    left = text.x - {"start": 0.0, "middle": wide / 2, "end": wide}[text.anchor]
    return left, text.y - 0.74 * text.size, left + wide, text.y + 0.22 * text.size


def assert_on_paper(page: Drawing) -> None:
    edge = 8.0  # a home printer leaves about 3 mm white
    for mark in page.marks:
        if isinstance(mark, Text):
            x0, y0, x1, y1 = extent(mark)
        else:
            assert isinstance(mark, (Box, Line))
            x0, y0, x1, y1 = mark.x0, mark.y0, mark.x1, mark.y1
        assert edge <= x0
        assert x1 <= WIDTH - edge
        assert edge <= y0
        assert y1 <= HEIGHT - edge


@pytest.mark.parametrize("magnification", [0.5, 1.0, 1.5])
def test_numbers_are_those_of_the_plan_at_that_magnification(magnification: float) -> None:
    plan = as_dict(make_plan(MEADOW, wishes_of({"magnification": magnification, "light": "sun"})))
    one, pushed = plan["settings"]["single"], plan["settings"]["sweep"]
    found = column(MEADOW, magnification)
    assert number(found, "shot", "One shot") == f"{one['f_number']:g}"
    assert number(found, "shot", "sharp depth") == figures(one["depth_of_field_mm"])
    assert number(found, "shot", "daylight: sun") == signed(one["ambient_stops"])
    assert number(found, "sweep", "Sweep") == f"{pushed['f_number']:g}"
    assert number(found, "sweep", "step") == figures(pushed["step_mm"])
    assert number(found, "sweep", "push") == figures(pushed["push_mm_s"])
    assert number(found, "sweep", "frames for") == f"{pushed['frames']}"
    assert number(found, "sweep", "passes") == f"{pushed['passes']}"
    assert number(found, "frame", "room") == figures(plan["working_distance_mm"])


def test_flash_power_is_told_for_the_shot_and_for_the_sweep() -> None:
    plan = make_plan(MEADOW, wishes_of({"magnification": 1.0}))
    assert plan.single.flash is not None
    assert plan.sweep.flash is not None
    found = column(MEADOW, 1.0)
    at = [i for i, row in enumerate(ROWS) if row.label == "flash power"]
    said = [found.cells[i].text.removesuffix(" *") for i in at]
    assert said == [plan.single.flash.power_name, plan.sweep.flash.power_name]


def test_the_asked_for_magnification_and_light_change_nothing() -> None:
    asked = card_of(MEADOW, wishes_of({"magnification": 1.2, "light": "dusk", "f_number": 4}))
    assert asked.columns == card(MEADOW).columns


def test_beyond_reach_stands_no_number_but_the_reason_and_a_cure() -> None:
    found = column(POND, 3.0)
    assert found.cells == ()
    assert "1.25:1" in found.reason
    assert "tube" in found.reason
    assert "close-up lens" in found.reason


def test_below_reach_it_says_what_to_take_off() -> None:
    found = column(HEATH, 0.5)
    assert found.cells == ()
    assert "0.72:1" in found.reason
    assert "close-up lens" in found.reason


@pytest.mark.parametrize("kit", [HEATH, POND], ids=lambda kit: kit.name)
def test_reasons_out_of_reach_are_on_paper_and_page(kit: Kit) -> None:
    paper, page = drawn_words(card_pdf(card(kit))), unescape(card_html(card(kit)))
    for found in card(kit).columns:
        assert found.reason in page
        assert " ".join(wrapped(found.reason, 6.6, 999)) in paper


def test_an_estimated_distance_is_marked_and_the_mark_explained() -> None:
    plain = replace(MEADOW, close_up_dpt=None)
    made = card_of(plain, wishes_of({}))
    assert number(made.columns[1], "frame", "room").startswith("~")
    assert any(note.startswith("~") for note in made.notes)
    measured = card_of(replace(plain, working_distance_mm=80.0), wishes_of({}))
    assert not number(measured.columns[1], "frame", "room").startswith("~")
    assert not any(note.startswith("~") for note in measured.notes)


@pytest.mark.parametrize("kit", KITS, ids=lambda kit: kit.name)
def test_every_sign_beside_a_number_is_explained(kit: Kit) -> None:
    said = {
        cell.text.split(" ")[-1] for c in card(kit).columns for cell in c.cells if " " in cell.text
    }
    for sign in said & {"!", "*", "†", "‡"}:
        assert any(note.startswith(sign) for note in card(kit).notes)


def test_a_weak_and_slow_flash_is_told() -> None:
    notes = " ".join(card(POND).notes)
    assert "too weak" in notes
    assert "slower than the camera" in notes


@pytest.mark.parametrize(
    "topic",
    [
        "Leave it where it is", "Stop when it is disturbed", "roost", "moulting", "mating", "nest",
        "Protected", "places", "permit", "law of the place", "Ticks", "Water", "optical finder",
        "sun", "eyes of people", "vertebrates",
    ],
)  # fmt: skip
def test_cautions_speak_of(topic: str) -> None:
    assert any(topic in f"{one.about} {one.words}" for one in CAUTIONS)


@pytest.mark.parametrize("one", CAUTIONS, ids=lambda one: one.about)
@pytest.mark.parametrize("kit", KITS, ids=lambda kit: kit.name)
def test_every_caution_stands_on_paper_and_page(kit: Kit, one: object) -> None:
    caution = next(c for c in CAUTIONS if c is one)
    assert f"{caution.about} {caution.words}" in drawn_words(card_pdf(card(kit)))
    page = card_html(card(kit)).split("<main>")[1]
    assert f"<b>{caution.about}</b> {caution.words}" in unescape(page)


@settings(max_examples=30, deadline=None)
@given(st.text(st.characters(codec="utf-8"), max_size=90))
def test_no_name_is_too_long_or_too_foreign_for_the_paper(name: str) -> None:
    assert_on_paper(card_page(replace(card(MEADOW), name=name)))
    assert card_pdf(replace(card(MEADOW), name=name)).startswith(b"%PDF")


@pytest.mark.parametrize("kit", KITS, ids=lambda kit: kit.name)
def test_nothing_is_drawn_outside_the_paper(kit: Kit) -> None:
    assert_on_paper(card_page(card(kit)))


def test_the_longest_notes_still_leave_room_for_the_cautions() -> None:
    from haltere.show import card_words

    notes = (*card_words.ATTENTION.values(), card_words.ESTIMATED, card_words.NO_END)
    assert_on_paper(card_page(replace(card(POND), notes=notes + card(POND).notes[-1:])))


@pytest.mark.parametrize("kit", KITS, ids=lambda kit: kit.name)
def test_no_words_on_the_paper_touch_others(kit: Kit) -> None:
    page = card_page(card(kit))
    greys = [m for m in page.marks if isinstance(m, Box) and m.fill == "card"]
    hidden = [(m.x0, m.x1) for m in greys]
    texts = [m for m in page.marks if isinstance(m, Text) and m.words]
    shown = []
    for number_, text in enumerate(texts):
        x0, y0, x1, y1 = extent(text)
        under = any(a < text.x < b and text.anchor == "middle" for a, b in hidden)
        if not (under and text.ink == "ink"):  # the column's own head lies below the grey
            shown.append((x0, y0 + 0.5, x1, y1 - 0.5, number_))
    for a, b in combinations(shown, 2):
        apart = a[2] <= b[0] + 0.01 or b[2] <= a[0] + 0.01 or a[3] <= b[1] or b[3] <= a[1]
        assert apart, (texts[a[4]].words, texts[b[4]].words)


@pytest.mark.parametrize("kit", KITS, ids=lambda kit: kit.name)
def test_letters_are_large_enough_to_read_in_the_hand(kit: Kit) -> None:
    sizes = [mark.size for mark in card_page(card(kit)).marks if isinstance(mark, Text)]
    assert min(sizes) >= 5.2


@pytest.mark.parametrize(("ink", "ground"), [("ink", "paper"), ("soft", "card"), ("ink", "card")])
def test_print_stands_out_in_full_sun(ink: str, ground: str) -> None:
    assert contrast(PRINT[ink], PRINT[ground]) >= 7  # type: ignore[index]


def test_the_paper_is_one_a6_page_and_the_same_each_time() -> None:
    first, second = card_pdf(card(MEADOW)), card_pdf(card_of(MEADOW, wishes_of({})))
    assert first == second
    (box,) = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", first)
    assert [float(side) * 25.4 / 72 for side in box] == pytest.approx([105, 148], abs=0.01)


def test_the_page_is_one_file_without_scripts_or_anything_from_outside() -> None:
    page = card_html(card(MEADOW))
    assert page == card_html(card_of(MEADOW, wishes_of({})))
    assert "<script" not in page
    assert "http" not in page
    assert "url(" not in page
    assert "src=" not in page
    assert set(re.findall(r'href="(.)', page)) == {"#"}


def test_the_page_prints_on_a6_and_knows_dark_screens() -> None:
    page = card_html(card(MEADOW))
    assert "@page{size:105mm 148mm" in page
    assert "prefers-color-scheme:dark" in page
    assert 'content="width=device-width' in page


def test_a_name_is_never_taken_for_markup() -> None:
    page = card_html(replace(card(MEADOW), name="<b>& kit"))
    assert "<b>& kit" not in page
    assert "&lt;b&gt;&amp; kit" in page


def test_every_number_on_the_page_explains_itself_in_the_plans_words() -> None:
    from haltere.plan import explanations

    known = explanations()
    page = unescape(card_html(card(MEADOW)))
    reached = [found for found in card(MEADOW).columns if found.cells]
    assert page.count("<details>") == len(reached)
    for row in ROWS:
        one = known[row.key]
        assert page.count(f"{one.title}: {one.formula}.") >= len(reached)


def test_an_explanation_of_the_shot_holds_the_shots_numbers() -> None:
    plan = make_plan(MEADOW, wishes_of({"magnification": 1.0, "light": "sun"}))
    (at,) = (i for i, row in enumerate(ROWS) if row.label == "sharp depth")
    said = column(MEADOW, 1.0).whys[at].filled
    assert f"{plan.single.sharpness.geometric_mm:.2g}" in said


@pytest.mark.parametrize("suffix", [".pdf", ".html", ".PDF"])
def test_the_suffix_chooses_paper_or_page(tmp_path: Path, suffix: str) -> None:
    path = make_card(MEADOW, Wishes(), tmp_path / f"card{suffix}")
    start = b"%PDF" if suffix.lower() == ".pdf" else b"<!doctype html>"
    assert path.read_bytes().startswith(start)


@pytest.mark.parametrize("name", ["card.png", "card", "card.htm"])
def test_another_suffix_is_refused_with_the_cure(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match=r"\.pdf or \.html"):
        make_card(MEADOW, Wishes(), tmp_path / name)


def test_a_kit_without_a_sensor_gets_a_sentence_and_no_card(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="sensor"):
        make_card(replace(MEADOW, sensor_width_mm=None), Wishes(), tmp_path / "card.pdf")
    assert not (tmp_path / "card.pdf").exists()


@given(st.floats(1e-3, 1e3))
def test_figures_are_right_to_five_percent(value: float) -> None:
    assert float(figures(value)) == pytest.approx(value, rel=0.055)
    assert "e" not in figures(value)


@given(st.floats(0, 1))
def test_no_chance_is_called_sure(chance: float) -> None:
    assert share(chance) not in ("0 %", "100 %")


@pytest.mark.parametrize(("stops", "said"), [(1.04, "+1.0"), (-1.04, "\u22121.0"), (-0.04, "0")])
def test_stops_carry_their_sign(stops: float, said: str) -> None:
    assert signed(stops) == said


@given(st.text(max_size=60), st.floats(20, 300))
def test_broken_lines_fit_and_lose_no_letter(said: str, width: float) -> None:
    lines = wrapped(said, 7.0, width)
    assert "".join(lines).replace(" ", "") == "".join(typeset(said).split())
    assert all(width_pt(line, 7.0) <= width for line in lines)


def test_a_sweep_that_the_sun_alone_overexposes_is_marked() -> None:
    plan = make_plan(MEADOW, wishes_of({"magnification": 1.0, "light": "sun"}))
    assert plan.sweep.ambient.overexposes
    assert not plan.single.ambient.overexposes
    found = column(MEADOW, 1.0)
    at = [i for i, row in enumerate(ROWS) if row.label == "in sun, shade by"]
    assert [found.cells[i].text.endswith(" !") for i in at] == [False, True]
