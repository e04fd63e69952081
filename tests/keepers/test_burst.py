"""Whether a small rendered burst is judged by the truth about it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haltere.errors import UsageError
from haltere.frames import Decoder, Frame, find_frames
from haltere.keepers import Keepers, judge_burst
from haltere.kit import Capture, capture
from haltere.scene import render_burst


@dataclass(frozen=True)
class Shot:
    frames: list[Frame]
    taken: Capture
    truth: dict[str, Any]
    eye: tuple[float, float]
    near: int

    def offset_dof(self, name: str) -> float:
        told = {Path(f["file"]).name: f for f in self.truth["frames"]}
        return float(told[name]["eye_depth_offset_mm"][self.near] / self.truth["depth_of_field_mm"])


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Shot:
    folder = tmp_path_factory.mktemp("burst")
    render_burst(
        2001, folder, frames=8, misfires=(3,), smeared=(5,), width_px=800, height_px=600, views=12
    )
    truth = json.loads((folder / "truth.json").read_text())
    near = int(np.argmin([eye["point_mm"][2] for eye in truth["eyes"]]))
    x, y = truth["frames"][0]["eyes_px"][near]
    taken = capture(
        magnification=truth["magnification"],
        focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"],
        pixel_pitch_mm=truth["sensor_width_mm"] / truth["width_px"],
    )
    return Shot(list(find_frames([folder]).frames), taken, truth, (x, y), near)


@pytest.fixture(scope="module")
def said(shot: Shot, decoder: Decoder) -> Keepers:
    name = shot.frames[0].name
    return judge_burst(shot.frames, decoder, shot.taken, eye=shot.eye, eye_frame=name)


def test_every_frame_has_one_rank(shot: Shot, said: Keepers) -> None:
    assert [f.rank for f in said.frames] == list(range(1, len(shot.frames) + 1))
    assert {f.frame for f in said.frames} == {f.name for f in shot.frames}


def test_differences_of_offsets_are_those_of_the_planes(shot: Shot, said: Keepers) -> None:
    errors = [
        f.eye_offset_dof - shot.offset_dof(f.frame)
        for f in said.frames
        if f.eye_offset_dof is not None and not {x.kind for x in f.faults} & {"dark", "motion"}
    ]
    assert len(errors) >= 5
    assert np.std(errors) < 0.25


def test_the_misfire_is_dark_and_last_ranks_hold_the_spoiled(shot: Shot, said: Keepers) -> None:
    dark = {f.frame for f in said.frames if any(x.kind == "dark" for x in f.faults)}
    assert dark == {shot.frames[3].name}
    assert shot.frames[3].name in {f.frame for f in said.frames[-2:]}


def test_the_smeared_frame_is_no_keeper(shot: Shot, said: Keepers) -> None:
    smeared = next(f for f in said.frames if f.frame == shot.frames[5].name)
    assert any(x.kind == "motion" and x.confidence >= 0.5 for x in smeared.faults)
    assert not smeared.keeper


def test_the_eye_is_followed_through_the_burst(shot: Shot, said: Keepers) -> None:
    places = {f.frame: f.eye_px for f in said.frames}
    for told in shot.truth["frames"]:
        place = places[Path(told["file"]).name]
        if told["faults"] or place is None:
            continue
        assert np.hypot(*np.subtract(place, told["eyes_px"][shot.near])) < 6.0


def test_without_a_scale_millimetres_stay_unknown(shot: Shot, decoder: Decoder) -> None:
    bare = capture(focal_mm=shot.taken.focal_mm, f_number=shot.taken.f_number)
    loose = judge_burst(shot.frames, decoder, bare, eye=shot.eye, eye_frame=shot.frames[0].name)
    assert all(f.eye_offset_mm is None for f in loose.frames)
    assert any(f.eye_offset_dof is not None for f in loose.frames)


def test_a_single_frame_has_no_offset_but_a_verdict(shot: Shot, decoder: Decoder) -> None:
    alone = judge_burst(shot.frames[:1], decoder, shot.taken)
    assert alone.frames[0].eye_offset_dof is None
    assert alone.verdict.text


def test_a_point_outside_the_picture_is_a_wrong_call(shot: Shot, decoder: Decoder) -> None:
    with pytest.raises(UsageError, match="outside the picture"):
        judge_burst(shot.frames, decoder, shot.taken, eye=(900.0, 10.0))


def test_a_frame_of_another_run_is_a_wrong_call(shot: Shot, decoder: Decoder) -> None:
    with pytest.raises(UsageError, match="no frame of this run"):
        judge_burst(shot.frames, decoder, shot.taken, eye=(9.0, 9.0), eye_frame="other.jpg")
