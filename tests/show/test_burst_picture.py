"""A burst as a picture: every eye in rank order, repeats behind, the person's word beside."""

from __future__ import annotations

import base64
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from haltere.doors.cli import run
from haltere.errors import UsageError
from haltere.focus.fault import Fault
from haltere.frames import Decoder, find_frames
from haltere.frames.frame import Frame
from haltere.keepers.verdict import Crop, FocusMap, Keepers
from haltere.show import Outing, draw_burst, words
from haltere.show.burst_picture import common_folder
from haltere.show.colours import NIGHT
from haltere.show.eyes import kinds
from haltere.show.eyes_drawn import EyeStrip, middle_of, said_below
from haltere.show.outing import WorkedRun
from haltere.show.paint import Canvas
from haltere.show.rail import hung
from haltere.show.sheet import page
from haltere.show.table import rows, table, yours
from tests.show.reader import read
from tests.standins import made_keepers

CROP = Crop((40, 30, 240, 180), 0.03, 0.02, 290.0, 220.0, "keeps 0.03 of 0.12 megapixels")


@pytest.fixture
def frames(card: Path) -> tuple[Frame, ...]:
    return tuple(find_frames([card]).frames[:4])


@pytest.fixture
def judged(frames: tuple[Frame, ...]) -> Keepers:
    """Answer four frames: a keeper, one that repeats it, one beside, a smeared one without eye."""
    said = made_keepers(frames)
    first, second, third, last = said.frames
    smear = Fault("motion", 0.9, "smeared")
    told = (
        replace(first, crop=CROP),
        replace(second, like=first.frame),
        third,
        replace(last, eye_px=None, faults=(*last.faults, smear), smear_px=6.12, smear_deg=44.0),
    )
    at = FocusMap(first.frame, 20.0, tuple((0.1, -2.0, None, 3.0) * 4 for _ in range(12)))
    return replace(said, frames=told, eye_radius_px=12.0, focus_map=at)


def drawn(judged: Keepers, frames: tuple[Frame, ...], path: Path, **more: Any) -> Path:
    with Decoder() as decoder:
        return draw_burst(judged, frames, decoder, path, **more)


def test_the_page_shows_every_eye_in_rank_order(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    text = drawn(judged, frames, tmp_path / "eyes.html").read_text("utf-8")
    assert read(text).open == []
    ranks = [int(n) for n in re.findall(r'<span class="rank">(\d+)</span>', text)]
    assert ranks == [1, 2, 3, 4]
    assert "no eye to show" in text
    assert text.count("The eye in ") == 3 + 1  # three crops and the heading


def test_crops_on_the_page_are_cut_at_full_size(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    text = drawn(judged, frames, tmp_path / "eyes.html").read_text("utf-8")
    (shown,) = [i for i in read(text).images if f"The eye in {frames[0].name}" in str(i["alt"])]
    data = base64.b64decode(str(shown["src"]).split(",", 1)[1])
    crop = np.asarray(Image.open(io.BytesIO(data)).convert("L"), float)
    whole = np.asarray(Image.open(frames[0].path).convert("L"), float)
    side = crop.shape[0]
    x, y = round(160.0 - side / 2), round(120.0 - side / 2)
    assert np.abs(crop - whole[y : y + side, x : x + side]).mean() < 3.0


def test_crops_in_the_png_are_not_resampled(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    picture = Image.open(drawn(judged, frames, tmp_path / "eyes.png"))
    assert picture.format == "PNG"
    shown = np.asarray(picture.convert("RGB"), np.int16)
    whole = np.asarray(Image.open(frames[0].path).convert("RGB"), np.int16)
    cut = whole[16:224, 56:264]  # 208 pixels about the eye at 160, 120
    tops = np.flatnonzero((shown[:, 48:256] == cut[0]).all((1, 2)))
    assert any((shown[top : top + 208, 48:256] == cut).all() for top in tops)


def test_repeats_are_tucked_behind_the_frame_they_repeat(judged: Keepers) -> None:
    told = [(first.rank, [one.rank for one in behind]) for first, behind in kinds(judged.frames)]
    assert told == [(1, [2]), (3, []), (4, [])]


def test_a_frame_that_repeats_an_unknown_one_stands_for_itself(judged: Keepers) -> None:
    lost = replace(judged.frames[0], like="gone.jpg")
    assert [first.rank for first, _ in kinds((lost, judged.frames[2]))] == [1, 3]


def test_repeats_are_hung_on_the_rail_only_after_all_others(judged: Keepers) -> None:
    both = replace(judged, frames=judged.frames[:3])
    assert [frame.rank for frame in hung(both, 2)] == [1, 3]
    assert [frame.rank for frame in hung(both, 5)] == [1, 2, 3]


def test_the_persons_word_stands_beside_the_verdict_and_not_instead(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    decided = {frames[0].name: "drop", frames[1].name: "undecided"}
    text = drawn(judged, frames, tmp_path / "e.html", decided=decided).read_text("utf-8")
    assert text.count("you: drop") == 1
    assert "you: undecided" not in text
    assert '<span class="good">keeper</span>' in text
    said = [line for _, line, _ in said_below(judged.frames[0], decided)]
    assert said[-1] == "you: drop"
    assert any(line.startswith("keeper") for line in said)


def test_a_smear_is_said_with_its_length_and_direction(judged: Keepers) -> None:
    assert "smeared by motion (6.1 px, down to the right)" in words.said_faults(judged.frames[3])


@pytest.mark.parametrize(
    ("degrees", "way"),
    [(0.0, "sideways"), (178.0, "sideways"), (90.0, "up and down"), (130.0, "up to the right")],
)
def test_directions_are_said_as_a_hand_shows_them(
    judged: Keepers, degrees: float, way: str
) -> None:
    assert way in words.said_faults(replace(judged.frames[3], smear_deg=degrees))


def test_the_print_words_and_the_map_stand_by_the_best_frame(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    text = drawn(judged, frames, tmp_path / "eyes.html").read_text("utf-8")
    assert "The crop keeps 0.03 of 0.12 megapixels." in text
    assert f"Hatched is sharp in {frames[0].name}." in text


def test_a_folder_that_all_names_share_is_left_out(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    place = f"{frames[0].path.parent}/"
    told = replace(
        judged,
        frames=tuple(
            replace(f, frame=place + f.frame, like=f.like and place + f.like) for f in judged.frames
        ),
        verdict=replace(judged.verdict, text=f"{place}M_0001.JPG has the eye sharp."),
        focus_map=None,
    )
    named = tuple(replace(f, name=place + f.name) for f in frames)
    decided = {named[0].name: "keep"}
    text = drawn(told, named, tmp_path / "e.html", decided=decided).read_text("utf-8")
    assert place not in text
    assert "M_0001.JPG has the eye sharp." in text
    assert "1 frame repeats it" in text
    assert "you: keep" in text
    assert text.count("<img") == 4


@pytest.mark.parametrize(
    ("names", "folder"),
    [
        (["a/b/x.jpg", "a/b/y.jpg"], "a/b/"),
        (["a/x.jpg", "b/x.jpg"], ""),
        (["x_1.jpg", "x_2.jpg"], ""),
        (["c\\x_1.jpg", "c\\x_2.jpg"], "c\\"),
        (["d/one.jpg"], "d/"),
        ([], ""),
    ],
)
def test_the_folder_of_all_names_is_found(names: list[str], folder: str) -> None:
    assert common_folder(names) == folder


@pytest.mark.parametrize("ending", [".html", ".png"])
def test_a_burst_without_the_newer_answers_is_drawn_all_the_same(
    frames: tuple[Frame, ...], tmp_path: Path, ending: str
) -> None:
    bare = made_keepers(frames)
    lost = replace(
        bare,
        eye=None,
        frames=tuple(replace(f, eye_px=None, eye_offset_dof=None) for f in bare.frames),
    )
    for said in (bare, lost, replace(lost, frames=())):
        assert drawn(said, frames, tmp_path / f"e{ending}").stat().st_size > 500


def test_measuring_a_strip_and_drawing_it_end_alike(judged: Keepers) -> None:
    strip = EyeStrip(judged, {}, {}, 208.0, 112.0)
    canvas = Canvas(1200, 2000, NIGHT, 1)
    assert strip.put(canvas, 0, 0, 1100, dry=True) == strip.put(canvas, 0, 0, 1100)


def test_the_middle_of_a_crop_is_cut_not_shrunk() -> None:
    crop = Image.fromarray(np.arange(208 * 208, dtype=np.uint32).reshape(208, 208).astype(np.uint8))
    middle = np.asarray(middle_of(crop, 112))
    assert (middle == np.asarray(crop)[48:160, 48:160]).all()


@pytest.mark.parametrize("name", ["eyes.jpg", "eyes", "eyes.tif"])
def test_a_name_that_says_another_kind_of_file_is_refused(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path, name: str
) -> None:
    with pytest.raises(UsageError, match=r"end in \.png or \.html"):
        drawn(judged, frames, tmp_path / name)


def test_a_frame_is_never_written_over(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    own = tmp_path / "M.PNG"
    own.write_bytes(b"an original by an odd name")
    with pytest.raises(UsageError, match="is one of the frames"):
        drawn(judged, (replace(frames[0], path=own),), own)
    assert own.read_bytes() == b"an original by an odd name"


def test_the_same_burst_gives_the_same_picture(
    judged: Keepers, frames: tuple[Frame, ...], tmp_path: Path
) -> None:
    one, other = (drawn(judged, frames, tmp_path / f"{k}.png").read_bytes() for k in (1, 2))
    assert one == other


# --------------------------------------------------------------- the outing


def with_burst(outing: Outing, judged: Keepers, decided: dict[str, str]) -> Outing:
    burst, *rest = outing.runs
    return replace(outing, runs=(WorkedRun(burst.run, keepers=judged), *rest), decided=decided)


def test_the_table_has_a_row_for_each_burst_and_single(outing: Outing, judged: Keepers) -> None:
    told = rows(with_burst(outing, judged, {judged.frames[0].frame: "keep"}))
    assert [(row.run, row.frames, row.verdict) for row in told] == [
        ("run-01", 4, "A keeper"),
        ("run-03", 1, "Could not be worked"),
    ]
    first = told[0]
    assert (first.repeats, first.print_size, first.you) == ("1", "29 x 22 cm", "keep 1")
    assert first.best == judged.frames[0].frame
    assert first.faults == "3 out of focus, 1 smeared by motion, 1 too dark"


def test_a_table_of_nothing_decided_has_no_column_for_it(outing: Outing, judged: Keepers) -> None:
    assert "<th>you</th>" not in table(with_burst(outing, judged, {}))
    assert "<th>you</th>" in table(with_burst(outing, judged, {judged.frames[1].frame: "maybe"}))


def test_a_sweep_alone_makes_no_table(outing: Outing) -> None:
    assert table(replace(outing, runs=outing.runs[1:2])) == ""


def test_decisions_are_counted_in_the_persons_words() -> None:
    assert yours(["keep", None, "drop", "drop", "undecided"]) == "keep 1, drop 2"
    assert yours(["drop"]) == "drop"
    assert yours([None]) == ""


def test_the_sheet_links_each_row_to_its_run(outing: Outing, judged: Keepers) -> None:
    text = page(with_burst(outing, judged, {}), {})
    assert '<td><a href="#run-01">01</a></td>' in text


# --------------------------------------------------------------- the door


def test_the_door_draws_the_burst_and_says_where(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    files = [str(path) for path in sorted(card.glob("M_*.JPG"))[:4]]
    out = tmp_path / "eyes.html"
    assert run(["keepers", *files, "--picture", str(out)]) == 0
    assert f"Written: {out}" in capsys.readouterr().out
    assert "<ol class=" in out.read_text("utf-8")


def test_the_door_refuses_a_wrong_name_before_any_work(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    files = [str(path) for path in sorted(card.glob("M_*.JPG"))[:4]]
    assert run(["keepers", *files, "--picture", str(tmp_path / "eyes.gif")]) == 2
    assert "end in .png or .html" in capsys.readouterr().err
    assert engine.asked == []


def test_json_stays_json_when_a_picture_is_drawn(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    files = [str(path) for path in sorted(card.glob("M_*.JPG"))[:4]]
    assert run(["keepers", *files, "--json", "--picture", str(tmp_path / "e.png")]) == 0
    assert len(json.loads(capsys.readouterr().out)["frames"]) == 4
    assert (tmp_path / "e.png").is_file()


def test_a_map_of_focus_is_one_line_a_row_in_json(judged: Keepers) -> None:
    from haltere.evening import answer, as_json

    text = as_json(answer(judged))
    assert json.loads(text) == json.loads(json.dumps(answer(judged)))
    assert sum("0.1, -2.0, null, 3.0" in line for line in text.splitlines()) == 12
