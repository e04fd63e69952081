"""Planning on the bench: the same numbers, words and cautions as on the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from haltere.doors.bench.page_words import on_page
from haltere.doors.bench.plans import MADE_UP
from haltere.doors.cli import run
from haltere.fieldbook import keep_kit, kept_plans, kits, open_book
from haltere.kit import kit_from_text, write_kit
from haltere.plan import explanations, warnings
from haltere.plan.why import key_named
from tests.doors.bench.conftest import MadeBook

READINGS = Path(__file__).parents[3] / "web" / "src" / "lib" / "readings.ts"


CAUTIONS: list[tuple[str, dict[str, str]]] = [
    ("sun-and-eyes", {"light": "sun"}),
    ("sun-on-animal", {"light": "sun", "f_number": "16"}),
    ("very-close", {"working_distance_mm": "20", "magnification": "2"}),
    ("aperture-beyond-useful", {"f_number": "22", "depth_mm": "0.3"}),
    ("flash-too-weak", {"guide_number_m": "1", "f_number": "22"}),
    ("flash-too-strong", {"flash_distance_mm": "15", "f_number": "2.8"}),
    ("magnification-not-reachable", {"magnification": "4"}),
    ("sync-speed", {"shutter_s": "1/1000"}),
    ("iso-below-camera", {"iso": "50"}),
    ("f-number-not-marked", {"f_number": "32"}),
    ("ambient-overexposes", {"light": "sun", "f_number": "2.8", "shutter_s": "1/10"}),
    ("ambient-ghost", {"light": "shade", "f_number": "5.6"}),
    ("flash-longer-than-shutter", {"t05_s": "1/60", "flash_kind": "voltage"}),
    ("animal-too-deep", {"depth_mm": "400", "magnification": "2", "f_number": "2.8"}),
    ("recycle-too-slow", {"recycle_s": "20", "f_number": "16", "depth_mm": "5"}),
    ("buffer-too-small", {"buffer_frames": "2", "depth_mm": "5"}),
    ("sweep-too-slow", {"burst_fps": "1", "depth_mm": "5"}),
]


def planned(page: TestClient, **said: Any) -> Any:
    answer = page.get("/api/plan", params=said)
    assert answer.status_code == 200, answer.text
    return answer.json()


def on_the_command_line(folder: Path, *words: str) -> None:
    write_kit(folder / "kit.toml", MADE_UP)
    assert run(["plan", "--kit", str(folder / "kit.toml"), *words, "--json"]) == 0


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({}, ()),
        (
            {"magnification": "1.3", "depth_mm": "3", "f_number": "8", "light": "sun"},
            ("--magnification", "1.3", "--depth", "3", "--f-number", "8", "--light", "sun"),
        ),
        (
            {"flash_distance_mm": "140", "shutter_s": "1/160", "close_up_dpt": "8"},
            ("--flash-distance", "140", "--shutter", "1/160", "--close-up", "8"),
        ),
    ],
)
def test_a_plan_on_the_page_is_the_one_of_the_command_line(
    page: TestClient,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    said: dict[str, str],
    words: tuple[str, ...],
) -> None:
    on_the_command_line(tmp_path, *words)
    assert planned(page, **said)["answer"] == on_page(json.loads(capsys.readouterr().out))


@pytest.mark.parametrize(("code", "said"), CAUTIONS)
def test_a_caution_stands_on_the_page_too(
    page: TestClient, code: str, said: dict[str, str]
) -> None:
    assert code in {one["code"] for one in planned(page, **said)["answer"]["warnings"]}


def test_a_caution_names_the_field_as_the_page_labels_it(
    page: TestClient, worked: MadeBook
) -> None:
    bare = "[sensor]\nformat = '23.5x15.6'\nwidth_px = 6000\n[lens]\nfocal_mm = 90\n"
    with open_book(worked.folder) as book:
        keep_kit(book, kit_from_text(f"name = 'no flash'\n{bare}"))
    desk = page.get("/api/plan/desk").json()
    (mine,) = (one["id"] for one in desk["kits"] if one["name"] == "no flash")
    answer = planned(page, kit=mine, magnification=1, iso=50)["answer"]
    (unknown,) = (one["text"] for one in answer["warnings"] if one["code"] == "flash-unknown")
    (field,) = (one["label"] for one in desk["keys"] if one["field"] == "guide_number_m")
    assert f"“{field}”" in unknown
    assert "--" not in json.dumps(answer)


def test_every_caution_of_the_plan_is_held_here() -> None:
    source = Path(warnings.__file__).read_text("utf-8")
    known = set(re.findall(r'^ +"([a-z]+(?:-[a-z]+)+)"(?:,$| if )', source, re.MULTILINE))
    assert len(known) > 15
    held = {code for code, _said in CAUTIONS}
    assert known - held == {"flash-unknown", "working-distance-estimated"}  # of a bare kit, below


def test_every_number_of_the_page_explains_itself() -> None:
    text = READINGS.read_text("utf-8")
    single, sweep = text.partition("OF_SETTINGS")[2], text.partition("OF_PUSH")[2]
    plain = re.findall(r'key: "([^"]+)"', text.partition("OF_SETTINGS")[0])
    under = [f"settings.single.{key}" for key in re.findall(r'key: "([^"]+)"', single)]
    under += [f"settings.sweep.{key}" for key in re.findall(r'key: "([^"]+)"', sweep)]
    assert len(plain) > 20
    known = explanations()
    assert all(key_named(key, known) in known for key in (*plain, *under))


def test_an_explanation_speaks_of_the_kit_of_the_page(page: TestClient) -> None:
    said = page.get("/api/plan/why", params={"key": "flash.distance_mm", "flash_distance_mm": 140})
    assert "140 mm" in said.json()["filled"]
    assert said.json()["source"]


def test_a_kit_of_the_book_is_planned_with(page: TestClient, worked: MadeBook) -> None:
    sensor = "[sensor]\nformat = '23.5x15.6'\nwidth_px = 6000\n"
    with open_book(worked.folder) as book:
        keep_kit(book, kit_from_text(f"name = 'pond kit'\n{sensor}[lens]\nfocal_mm = 90\n"))
    (mine,) = (
        one for one in page.get("/api/plan/desk").json()["kits"] if one["name"] == "pond kit"
    )
    missing = page.get("/api/plan", params={"kit": mine["id"]})
    assert (missing.status_code, "magnification" in missing.json()["error"]) == (404, True)
    answer = planned(page, kit=mine["id"], magnification=1)
    assert answer["kit"] == "pond kit"
    assert answer["answer"]["field_mm"][0] == pytest.approx(23.5)
    assert answer["drawn"]["flash_mm"] is None
    codes = {one["code"] for one in answer["answer"]["warnings"]}
    assert {"flash-unknown", "working-distance-estimated"} <= codes


def test_a_kit_put_together_on_the_page_is_kept(page: TestClient, worked: MadeBook) -> None:
    asked = {"name": "evening kit", "said": {"focal_mm": "80", "light": "sun"}}
    kept = page.post("/api/kits", json=asked).json()
    with open_book(worked.folder) as book:
        row = next(one for one in kits(book) if one.id == kept["id"])
    assert kit_from_text(row.text).focal_mm == 80
    assert row.name == "evening kit"


def test_a_plan_is_kept_with_its_answer_and_forgotten(page: TestClient, worked: MadeBook) -> None:
    said = {"magnification": "1.2", "depth_mm": "4"}
    kept = page.post("/api/plan/kept", json={"name": " robber  flies ", "said": said}).json()
    with open_book(worked.folder) as book:
        (stored,) = kept_plans(book)
    assert (stored.name, stored.said) == ("robber flies", said)
    assert on_page(stored.answer) == planned(page, **said)["answer"]
    assert page.post(f"/api/plan/kept/{kept['id']}/forget").status_code == 200
    assert page.get("/api/plan/desk").json()["kept"] == []
    assert page.post(f"/api/plan/kept/{kept['id']}/restore").status_code == 200
    assert [one["id"] for one in page.get("/api/plan/desk").json()["kept"]] == [kept["id"]]


def test_the_card_of_the_page_is_the_one_of_the_command_line(
    page: TestClient, tmp_path: Path
) -> None:
    on_the_command_line(tmp_path, "--depth", "3", "--card", str(tmp_path / "card.pdf"))
    answer = page.get("/api/plan/card.pdf", params={"depth_mm": 3})
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content == (tmp_path / "card.pdf").read_bytes()
    words = [mark.get("words") for mark in page.get("/api/plan/card").json()["marks"]]
    assert "a made-up kit" in words


@pytest.mark.parametrize(
    "said",
    [
        {"depth_mm": "-1"},
        {"depth_mm": "nan"},
        {"f_number": "inf"},
        {"kit": "99"},
        {"kit": "../1"},
        {"kit": "\u0661"},
        {"nonsense": "1"},
        {"light": "moon"},
        {"date": "tomorrow"},
        {"name": "x" * 500},
        {"sensor_format": "1x1"},
    ],
)
@pytest.mark.parametrize("path", ["", "/why", "/curves", "/card", "/card.pdf"])
def test_what_makes_no_sense_is_refused_in_a_sentence(
    page: TestClient, path: str, said: dict[str, str]
) -> None:
    key = {"key": "frames"} if path == "/why" else {}
    answer = page.get(f"/api/plan{path}", params={**said, **key})
    assert answer.status_code == 404
    assert len(answer.json()["error"]) > 15
    assert "--" not in answer.json()["error"]
