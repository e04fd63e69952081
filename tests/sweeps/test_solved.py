"""A rendered sweep is solved as its truth says (simulator, small pictures)."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from haltere.errors import SweepError, UsageError
from haltere.sweeps import Sweep, solve_sweep
from haltere.sweeps.again import solved_bytes, sweep_again
from haltere.sweeps.focusing import Focusing
from tests.sweeps.conftest import taken


def test_planes_lie_where_the_truth_has_them(solved):
    sweep, truth = solved
    true = {f["file"]: f["position_mm"] for f in truth["frames"]}
    planes = {p.frame: p.position_mm for p in sweep.coverage.planes}
    zero = true[sweep.coverage.reference]

    errors = [planes[n] - (true[n] - zero) for n in planes]

    # a tenth of a depth of field: small against the step between planes
    assert np.sqrt(np.mean(np.square(errors))) < 0.1 * truth["depth_of_field_mm"]


def test_the_gap_is_found_where_it_is_and_nowhere_else(solved):
    sweep, truth = solved
    zero = next(f["position_mm"] for f in truth["frames"] if f["file"] == sweep.coverage.reference)
    inside = [g for g in sweep.coverage.gaps if g.kind == "inside"]

    assert len(inside) == 1
    true = truth["gaps"][0]
    assert inside[0].from_mm == pytest.approx(true["from_mm"] - zero, abs=0.05)
    assert inside[0].to_mm == pytest.approx(true["to_mm"] - zero, abs=0.05)
    assert sweep.coverage.complete is False


def test_every_frame_of_one_push_is_one_pass_away(solved):
    sweep, _ = solved

    assert [p.direction for p in sweep.coverage.passes] == ["away"]
    assert len(sweep.coverage.passes[0].frames) == 16


def test_without_a_kit_millimetres_are_left_open_and_order_holds(rendered, decoder):
    frames, truth = rendered
    sweep = solve_sweep(frames, decoder, taken(truth, None))
    sweep.close()
    planes = sweep.coverage.planes

    assert all(p.position_mm is None for p in planes)
    assert np.all(np.diff([p.position_dof for p in planes]) > 0)
    assert sweep.coverage.scale_source == "unknown"


def test_an_unknown_reference_is_refused_by_name(rendered, decoder):
    frames, truth = rendered
    with pytest.raises(UsageError, match=r"nowhere\.jpg"):
        solve_sweep(frames, decoder, taken(truth, 2.0), reference="nowhere.jpg")


def test_two_frames_are_no_sweep(rendered, decoder):
    frames, truth = rendered
    with pytest.raises(SweepError, match="at least three"):
        solve_sweep(frames[:2], decoder, taken(truth, 2.0))


def test_each_frame_names_the_places_that_are_in_focus_in_it(
    solved: tuple[Sweep, dict[str, Any]],
) -> None:
    sweep, _ = solved
    rows, columns = sweep.trusted.shape
    holders = np.zeros((rows, columns), int)
    middles = []
    for plane in sweep.coverage.planes:
        assert (plane.sharp is None) == (plane.position_dof is None)
        if plane.sharp is None or plane.position_dof is None:
            continue
        places = np.zeros((rows, columns), bool)
        for row, first, end in plane.sharp.runs:
            places[row, first:end] = True
        assert not (places & ~sweep.trusted).any()
        holders += places
        if places.any():
            off = sweep.peaks.depth[places] / sweep.dof - plane.position_dof
            assert np.abs(off).max() <= 0.5 + 1e-6
            middles.append((plane.position_dof, float(np.median(sweep.peaks.depth[places]))))
    assert len(middles) > 10
    assert np.corrcoef(np.array(middles).T)[0, 1] > 0.99
    in_gap = np.zeros((rows, columns), bool)
    for gap in sweep.coverage.gaps:
        assert gap.cells is not None
        for row, first, end in gap.cells.runs:
            in_gap[row, first:end] = True
    assert not (in_gap & (holders > 0)).any()
    at_dof = np.array([place for place, _ in middles])
    depth_dof = sweep.peaks.depth / sweep.dof
    between = sweep.trusted & (depth_dof > at_dof.min()) & (depth_dof < at_dof.max())
    left = between & ~in_gap & (holders == 0)
    assert left.sum() < 0.05 * between.sum()


def test_a_turned_ring_that_is_brought_back_still_has_no_scale(solved, rendered, decoder):
    sweep, truth = solved
    focusing = Focusing("turned", 9.0, 2.0, "made")
    data = solved_bytes(replace(sweep, coverage=replace(sweep.coverage, focusing=focusing)))
    again = sweep_again(data, rendered[0], decoder, taken(truth, truth["magnification"]))
    assert again is not None
    again.close()
    assert again.capture.magnification is None
    assert not again.near_told and sweep.near_told
