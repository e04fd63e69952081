"""Random sweeps are what their plan says: complete, holed, to and fro, with a limb that moves."""

from __future__ import annotations

import json
from functools import cache
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.scene.limbs import find_limbs, turned
from haltere.scene.pushing import Push, Pushing, draw_push, lay_holes
from haltere.scene.render import Naming, render_run
from haltere.scene.rocking import PLANS
from haltere.scene.sets import _naming
from haltere.scene.stage import animal_depths
from haltere.scene.sweeping import Sweeping, SweepingRun, plan_sweeping
from haltere.scene.truth import find_gaps

EVEN = np.linspace(0.0, 1.0, 4001)  # an animal with as much surface at every depth
SEEDS = st.integers(0, 10**6)


def drawn(seed: int, habits: Pushing) -> Push:
    rng = np.random.default_rng(seed)
    return lay_holes(rng, draw_push(rng, habits), EVEN, habits)


def true_gaps(push: Push) -> list[float]:
    surface = push.near + EVEN * (push.far - push.near)
    return [g.to_mm - g.from_mm for g in find_gaps(surface, push.position[push.usable], 1.0)]


@cache
def sweep(seed: int) -> SweepingRun:
    return plan_sweeping(seed, 160, 120)


@settings(max_examples=150, deadline=None)
@given(SEEDS)
def test_a_sweep_planned_complete_has_no_gap_of_half_a_depth_of_field(seed: int) -> None:
    push = drawn(seed, Pushing(complete=1.0))
    assert push.sort == "complete"
    assert max(true_gaps(push), default=0.0) < 0.5


@settings(max_examples=150, deadline=None)
@given(SEEDS)
def test_a_complete_sweep_never_steps_over_more_than_a_depth_of_field(seed: int) -> None:
    push = drawn(seed, Pushing(complete=1.0))
    assert np.diff(np.sort(push.position[push.usable])).max() <= 1.0


@settings(max_examples=150, deadline=None)
@given(SEEDS)
def test_every_hole_that_was_asked_for_is_a_gap_of_the_size_allowed(seed: int) -> None:
    rng = np.random.default_rng(seed)
    habits = Pushing(complete=0.0, ends=0.0)
    before = draw_push(rng, habits)
    push = lay_holes(rng, before, EVEN, habits)
    if before.sort == "holed":
        large = [g for g in true_gaps(push) if g >= 0.5]
        assert len(large) == len(before.holes)
        assert max(large) <= habits.hole[1] + 1e-6


@settings(max_examples=100, deadline=None)
@given(SEEDS)
def test_a_missing_end_is_missing_by_half_a_depth_of_field_at_least(seed: int) -> None:
    push = drawn(seed, Pushing(complete=0.0, ends=1.0))
    usable = push.position[push.usable]
    assert max(usable.min() - push.near, push.far - usable.max()) >= 1.0


@settings(max_examples=100, deadline=None)
@given(SEEDS)
def test_each_pass_goes_the_other_way_than_the_one_before(seed: int) -> None:
    push = drawn(seed, Pushing())
    ways = []
    for k in range(int(push.number.max()) + 1):
        at = push.position[push.number == k]
        ways.append(np.sign(np.polyfit(np.arange(len(at)), at, 1)[0]))
    assert all(a == -b for a, b in pairwise(ways))


@settings(max_examples=100, deadline=None)
@given(SEEDS)
def test_frames_lost_and_frames_in_all_stay_within_their_ranges(seed: int) -> None:
    habits = Pushing(complete=1.0)
    push = drawn(seed, habits)
    n = len(push.number)
    assert habits.frames[0] <= n <= habits.frames[1]
    assert push.smeared.sum() <= habits.smeared * n
    assert push.dark.sum() <= habits.dark * n
    assert not (push.smeared & push.dark).any()


def test_about_half_of_the_sweeps_have_a_gap_that_must_be_found() -> None:
    largest = [max(true_gaps(drawn(s, Pushing())), default=0.0) for s in range(300)]
    assert 0.3 < np.mean([g >= 1.25 for g in largest]) < 0.6


def test_some_frames_fall_back_and_steps_are_uneven() -> None:
    steps = [drawn(s, Pushing(complete=1.0)).steps() for s in range(100)]
    assert 0.01 < np.mean(np.concatenate(steps) < 0) < 0.2
    assert 0.2 < np.median([s.std() / s.mean() for s in steps]) < 0.6


@pytest.mark.parametrize("seed", range(8))
def test_the_animal_lies_where_the_push_wants_it(seed: int) -> None:
    made = sweep(seed)
    run, push = made.run, made.push
    lens = run.outfit.lens
    depths = animal_depths(run.stage, lens) / lens.depth_of_field_mm
    zero = push.position[run.reference_index]
    deep = push.far - push.near
    assert depths.min() == pytest.approx(push.near - zero, abs=0.05 * deep)
    assert depths.max() == pytest.approx(push.far - zero, abs=0.05 * deep)


@pytest.mark.parametrize("seed", range(8))
def test_a_whole_sweep_planned_complete_is_so_on_its_animal(seed: int) -> None:
    made = sweep(seed)
    lens = made.run.outfit.lens
    planes = np.array([t.position_mm for t in made.run.takes if not t.faults])
    gaps = find_gaps(animal_depths(made.run.stage, lens), planes, lens.depth_of_field_mm)
    largest = max((g.to_mm - g.from_mm for g in gaps), default=0.0) / lens.depth_of_field_mm
    if made.push.sort == "complete":
        assert largest < 0.5
    else:
        assert largest > 0.0


@pytest.mark.parametrize("seed", range(8))
def test_the_reference_take_is_a_good_one_with_the_limb_at_rest(seed: int) -> None:
    run = sweep(seed).run
    take = run.takes[run.reference_index]
    assert take.position_mm == 0.0
    assert take.faults == ()
    assert take.pose == 0


def test_sweeps_take_all_five_kinds_in_turn() -> None:
    assert {sweep(s).run.plan for s in range(5)} == set(PLANS)


def test_the_same_seed_plans_the_same_sweep() -> None:
    again = plan_sweeping(3, 160, 120).run
    first = sweep(3).run
    assert [t.position_mm for t in again.takes] == [t.position_mm for t in first.takes]
    assert np.array_equal(again.stage.verts, first.stage.verts)


def test_a_limb_is_a_chain_of_pieces_and_a_lone_piece_is_none() -> None:
    a, b, c, d = (np.array([x, 0.0, 0.0]) for x in (0.0, 0.2, 0.4, 0.6))
    limbs = find_limbs([(4, a, b), (5, b, c), (7, d, a)])
    assert [one.parts for one in limbs] == [(4, 5)]


@settings(max_examples=50, deadline=None)
@given(st.floats(-170, 170), st.integers(0, 10**6))
def test_a_turned_limb_keeps_its_size_and_hangs_on_at_its_base(angle: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    points, base, axis = rng.normal(size=(9, 3)), rng.normal(size=3), rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    out = turned(np.vstack([points, base]), base, axis, angle)
    assert out[-1] == pytest.approx(base)
    assert np.linalg.norm(out[1:] - out[:-1], axis=1) == pytest.approx(
        np.linalg.norm(np.diff(np.vstack([points, base]), axis=0), axis=1)
    )
    assert (out - base) @ axis == pytest.approx((np.vstack([points, base]) - base) @ axis, abs=1e-9)


def test_only_the_limb_moves_and_the_truth_tells_when(tmp_path: Path) -> None:
    habits = Sweeping(moving=1.0, pushing=Pushing(frames=(14, 20)))
    run = next(r for s in range(40) if (r := plan_sweeping(s, 160, 120, habits=habits).run).limb)
    assert run.limb is not None
    moved = np.any(run.stage.verts != run.moved[0].verts, axis=1)
    own = np.zeros(len(moved), bool)
    own[run.stage.limbs[run.limb.number].verts] = True
    assert moved.any()
    assert not (moved & ~own).any()
    naming: Naming = _naming(1, len(run.takes))
    render_run(run, tmp_path, tmp_path, naming, views=4)
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert [f["pose"] for f in truth["frames"]] == [t.pose for t in run.takes]
    assert max(f["pose"] for f in truth["frames"]) == len(truth["limb"]["angle_deg"]) - 1
    assert truth["limb"]["angle_deg"][0] == 0.0
    seen = cv2.imread(str(tmp_path / "limb.png"), cv2.IMREAD_UNCHANGED)
    assert seen is not None
    assert {1, 2} <= set(np.unique(seen).tolist())


def test_the_truth_of_a_sweep_names_its_passes_where_it_turns(tmp_path: Path) -> None:
    run = next(r for s in range(40) if (r := sweep(s).run).takes[-1].pass_number > 0)
    naming: Naming = _naming(1, len(run.takes))
    render_run(run, tmp_path, tmp_path, naming, views=4)
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    at = np.array([f["position_mm"] for f in truth["frames"]])
    number = np.array([f["pass"] for f in truth["frames"]])
    ways = [np.sign(at[number == k][-1] - at[number == k][0]) for k in np.unique(number)]
    assert len(ways) > 1
    assert all(a == -b for a, b in pairwise(ways))
