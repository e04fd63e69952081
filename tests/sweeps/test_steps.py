"""Each frame's step has a name and a reason."""

import pytest

from haltere.runs.run import Pass
from haltere.sweeps.steps import steps_of


def moved(planes, direction="away"):
    names = [f"f{k}.jpg" for k in range(len(planes))]
    at = {name: z for name, z in zip(names, planes, strict=True) if z is not None}
    return steps_of([Pass(direction, tuple(names))], at)


@pytest.mark.parametrize(
    ("planes", "kind", "said"),
    [
        ([0, 0.6], "on", "moves 0.6 depths of field on from f0.jpg"),
        ([0, 0.05], "still", "stands still at the plane of f0.jpg"),
        ([0, -0.4], "back", "falls back 0.4 depths of field behind f0.jpg"),
        ([0, 2.5], "jump", "1.5 depths of field between them are held by neither"),
    ],
)
def test_a_step_is_named_and_said(planes, kind, said):
    step = moved(planes)["f1.jpg"]
    assert step.moved == kind
    assert said in step.why


def test_toward_the_camera_a_nearer_plane_is_on():
    assert moved([0, -0.6], "toward")["f1.jpg"].moved == "on"


def test_catching_up_after_a_fall_back_is_no_jump():
    steps = moved([0, 1.0, -0.8, 1.6])
    assert [steps[f"f{k}.jpg"].moved for k in range(4)] == ["on", "on", "back", "on"]


def test_the_first_of_a_pass_has_no_way_yet():
    assert moved([0.0, 1.0])["f0.jpg"].dof is None


def test_a_frame_without_a_plane_has_no_step():
    assert set(moved([0, None, 1.2])) == {"f0.jpg", "f2.jpg"}
