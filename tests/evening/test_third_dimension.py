from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from haltere.errors import SweepError, UsageError
from haltere.evening import file_merge
from haltere.evening.third_dimension import _at_ends, show_depth
from haltere.frames import Decoder
from haltere.merge import merge_sweep
from tests.merge.made import DOF, turned, two_depths


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("deep")
    sweep, _ = two_depths(place)
    with Decoder(1) as decoder, sweep.lumas:
        file_merge(merge_sweep(sweep, decoder, place / "out"), place / "out", ())
    return place / "out"


def test_everything_is_made_and_the_profile_tells_both_depths(merged: Path, tmp_path: Path) -> None:
    deep = show_depth(merged, tmp_path, line=((20.0, 50.0), (140.0, 50.0)), angle_deg=3.0)
    assert deep.stereo is not None and deep.profile is not None and deep.relief is not None
    with Image.open(tmp_path / deep.stereo.pair) as pair, Image.open(merged / "picture.jpg") as one:
        assert pair.size == (2 * one.width, one.height)
    for name in (deep.stereo.red_cyan, deep.relief, deep.profile.picture):
        with Image.open(tmp_path / name) as picture:
            picture.load()
    told = np.array([np.nan if d is None else d for d in deep.profile.depth])
    assert np.nanmedian(told[:40]) == pytest.approx(DOF * 90, abs=0.3 * DOF * 90)
    assert np.nanmedian(told[80:]) == pytest.approx(5 * DOF * 90, abs=0.3 * DOF * 90)
    assert len(told) == len(deep.profile.distance_px) == len(deep.profile.confidence) == 121


def test_the_angle_sets_the_parallax(merged: Path, tmp_path: Path) -> None:
    small = show_depth(merged, tmp_path / "a", relief=False, angle_deg=2.0).stereo
    large = show_depth(merged, tmp_path / "b", relief=False, angle_deg=4.0).stereo
    assert small is not None and large is not None
    assert large.parallax_share == pytest.approx(2 * small.parallax_share, rel=0.01)


def test_crossed_eyes_get_the_views_the_other_way_round(merged: Path, tmp_path: Path) -> None:
    show_depth(merged, tmp_path / "a", relief=False, angle_deg=8.0)
    show_depth(merged, tmp_path / "b", relief=False, angle_deg=8.0, crossed=True)
    halves = []
    for name in "ab":
        with Image.open(tmp_path / name / "pair.jpg") as pair:
            pixels = np.asarray(pair.convert("L"), float)
        halves.append(np.split(pixels, 2, axis=1))
    same = np.abs(halves[0][0] - halves[1][1]).mean()
    other = np.abs(halves[0][0] - halves[1][0]).mean()
    assert same < 0.3 * other


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"angle_deg": 0.0}, "angle"),
        ({"angle_deg": float("nan")}, "angle"),
        ({"longest_px": 3}, "longest"),
        ({"line": ((0.0, 0.0), (900.0, 0.0))}, "outside"),
    ],
)
def test_what_makes_no_sense_is_refused(
    merged: Path, tmp_path: Path, wrong: dict[str, object], words: str
) -> None:
    with pytest.raises(UsageError, match=words):
        show_depth(merged, tmp_path, **wrong)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def swapped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Merge of a turned ring."""
    place = tmp_path_factory.mktemp("swapped")
    sweep, _ = two_depths(place)
    with Decoder(1) as decoder, sweep.lumas:
        file_merge(merge_sweep(turned(sweep), decoder, place / "out"), place / "out", ())
    return place / "out"


def test_where_near_and_far_may_be_swapped_no_view_in_depth_is_made(
    swapped: Path, tmp_path: Path
) -> None:
    with pytest.raises(SweepError, match="near and far may be swapped"):
        show_depth(swapped, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_where_near_and_far_may_be_swapped_a_line_is_read_in_depths_of_field(
    swapped: Path, tmp_path: Path
) -> None:
    deep = show_depth(swapped, tmp_path, line=((20.0, 50.0), (140.0, 50.0)))
    assert (deep.stereo, deep.relief, deep.depth_unit) == (None, None, "dof")
    assert deep.remark.count("ear and far may be swapped") == 1
    assert deep.profile is not None and deep.profile.distance_mm is None
    told = np.array([np.nan if d is None else d for d in deep.profile.depth])
    assert np.nanmedian(told[80:]) == pytest.approx(5.0, abs=0.3)


def test_a_folder_without_a_merge_is_told_so(tmp_path: Path) -> None:
    with pytest.raises(SweepError, match="haltere merge"):
        show_depth(tmp_path, tmp_path / "out")


def test_what_lies_at_the_ends_of_the_sweep_is_counted() -> None:
    depth = np.full((10, 10), 5.0, np.float32)
    depth[:2] = 1.0
    depth[2] = np.nan
    depth[9] = 9.0
    assert _at_ends(depth, 0.5) == pytest.approx(0.3)
