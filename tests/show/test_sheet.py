"""The sheet: complete in itself, readable, and saying what was found."""

from __future__ import annotations

import base64
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from haltere.frames import Decoder
from haltere.runs.run import Pass, Run
from haltere.show import Outing, make_sheet
from haltere.show.outing import WorkedRun
from haltere.sweeps.coverage import Coverage
from haltere.sweeps.focusing import Focusing
from tests.show.reader import read


@pytest.fixture
def page(outing: Outing, tmp_path: Path) -> str:
    with Decoder() as decoder:
        return make_sheet(outing, decoder, tmp_path).html.read_text(encoding="utf-8")


def test_every_tag_is_closed_in_order(page: str) -> None:
    assert read(page).open == []


def test_nothing_is_fetched_from_outside(page: str) -> None:
    for url in read(page).urls:
        assert url.startswith(("data:image/", "#", "run-02/")), url
    assert "http:" not in page
    assert "https:" not in page
    assert "@import" not in page
    assert "url(" not in page


def test_there_is_no_script(page: str) -> None:
    assert "script" not in read(page).tags
    assert "javascript:" not in page


def test_all_pictures_decode_and_have_words_for_those_who_do_not_see_them(page: str) -> None:
    images = read(page).images
    assert len(images) >= 7  # four eyes, a look, a merged picture, its depths
    for image in images:
        head, data = str(image["src"]).split(",", 1)
        picture = Image.open(io.BytesIO(base64.b64decode(data)))
        picture.load()
        assert head in ("data:image/jpeg;base64", "data:image/png;base64")
        assert picture.size == (int(str(image["width"])), int(str(image["height"])))
        assert image["alt"]


def test_links_inside_the_page_lead_somewhere(page: str) -> None:
    reader = read(page)
    inside = [url[1:] for url in reader.urls if url.startswith("#")]
    assert inside
    assert set(inside) <= set(reader.ids)


def test_each_run_and_each_skipped_file_is_named(page: str, outing: Outing) -> None:
    reader = read(page)
    text = " ".join(reader.text)
    assert {worked.run.id for worked in outing.runs} <= set(reader.ids)
    assert "notes <b>.txt" in text
    assert "is no picture & never was" in text
    assert "M_0010.JPG: can't be decoded." in text


def test_the_words_of_the_engine_are_repeated(page: str) -> None:
    text = " ".join(read(page).text)
    assert "M_0001.JPG has the eye sharp." in text
    assert "nothing sharp from 0.10 to 0.40 mm" in text
    assert "One stretch holds no usable plane." in text
    assert "too dark" in text
    assert "smeared by motion" in text


def test_day_night_paper_and_phone_have_their_own_rules(page: str) -> None:
    for rule in ("prefers-color-scheme:dark", "@media print", "max-width:640px"):
        assert rule in page


def test_the_overview_is_a_png_that_opens(outing: Outing, tmp_path: Path) -> None:
    with Decoder() as decoder:
        overview = make_sheet(outing, decoder, tmp_path).overview
    with Image.open(overview) as picture:
        picture.load()
        assert picture.format == "PNG"
        assert picture.width > 1000
        assert len(picture.convert("L").resize((40, 40)).getcolors(256) or ()) > 20


def test_a_sheet_can_be_drawn_when_merged_files_are_gone(outing: Outing, tmp_path: Path) -> None:
    (tmp_path / "run-02" / "merged.jpg").unlink()
    (tmp_path / "run-02" / "origin.tif").write_bytes(b"no picture")
    with Decoder() as decoder:
        page = make_sheet(outing, decoder, tmp_path).html.read_text(encoding="utf-8")
    assert "nothing sharp from 0.10 to 0.40 mm" in page


def test_a_sheet_can_be_drawn_of_an_empty_outing(tmp_path: Path) -> None:
    with Decoder() as decoder:
        drawn = make_sheet(Outing("nothing", (), (), {}), decoder, tmp_path)
    assert "Nothing on this card could be worked on." in drawn.html.read_text(encoding="utf-8")


def test_unknown_scale_and_unplaced_frames_are_drawn_in_depths_of_field(
    outing: Outing, tmp_path: Path
) -> None:
    burst, sweep, _ = outing.runs
    assert burst.keepers is not None
    assert sweep.gaps is not None
    unplaced = tuple(
        replace(f, eye_offset_mm=None, eye_offset_dof=None, uncertainty_dof=None, eye_px=None)
        for f in burst.keepers.frames
    )
    gaps = tuple(replace(gap, from_mm=None, to_mm=None) for gap in sweep.gaps.gaps)
    planes = tuple(replace(p, position_mm=None, uncertainty_mm=None) for p in sweep.gaps.planes)
    coverage = replace(
        sweep.gaps, gaps=gaps, planes=planes, depth_of_field_mm=None, mm_per_px=None, complete=None
    )
    runs = (
        WorkedRun(burst.run, keepers=replace(burst.keepers, eye=None, frames=unplaced)),
        WorkedRun(sweep.run, gaps=coverage, merge=sweep.merge),
    )
    with Decoder() as decoder:
        drawn = make_sheet(replace(outing, runs=runs), decoder, tmp_path)
    text = " ".join(read(drawn.html.read_text(encoding="utf-8")).text)
    assert "nothing sharp from 0.5 to 2.0 depths of field" in text
    assert "place not known" in text


@pytest.mark.parametrize(("how", "way"), [("pushed", "away"), ("turned", "unknown")])
def test_the_passes_of_a_turned_ring_have_no_way(how: Any, way: str) -> None:
    names = ("a.jpg", "b.jpg", "c.jpg")
    run = Run("run-01", "sweep", names, (Pass("away", names),), "made up")
    said = Coverage(
        "b.jpg", None, "", 0.015, None, "given", (), (), (), None, "made up",
        focusing=Focusing(how, 9.0, 2.0, "made up"),
    )  # fmt: skip
    worked = WorkedRun(run).covered(said)
    assert worked.gaps == said
    assert [one.direction for one in worked.run.passes] == [way]
