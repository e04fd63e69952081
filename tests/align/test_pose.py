"""Laws that poses keep, whatever the numbers."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from haltere.align.pose import apply, homography, jacobian, plane_depth, project

FOCAL_PX = 16000.0
POINTS = np.array([[0.0, 0.0], [500.0, -300.0], [-700.0, 420.0], [33.0, 580.0]])

poses = st.tuples(
    st.floats(-60, 60),
    st.floats(-60, 60),
    st.floats(-0.1, 0.1),
    st.floats(-90, 90),
    st.floats(-90, 90),
    st.floats(-0.05, 0.05),
).map(np.array)
depths = st.floats(-0.08, 0.08)


@given(poses, depths)
def test_a_plane_seen_through_the_homography_is_the_projection_of_its_points(pose, depth):
    expected = project(pose, POINTS, depth, FOCAL_PX)

    assert np.allclose(apply(homography(pose, depth, FOCAL_PX), POINTS), expected, atol=1e-6)


@given(depths)
def test_the_reference_sees_every_point_where_it_is(depth):
    assert np.allclose(project(np.zeros(6), POINTS, depth, FOCAL_PX), POINTS, atol=1e-9)


@given(st.floats(-0.1, 0.1))
def test_a_push_along_the_axis_scales_by_the_thin_lens_law(push):
    pose = np.array([0.0, 0.0, push, 0.0, 0.0, 0.0])

    # a point in the reference's plane lies `push` nearer or farther than the frame's own plane
    assert np.allclose(project(pose, POINTS, 0.0, FOCAL_PX), POINTS / (1 - push), rtol=1e-9)


@given(st.floats(-0.1, 0.1))
def test_the_plane_of_focus_travels_with_the_camera(push):
    pose = np.array([12.0, -7.0, push, 0.0, 0.0, 0.01])

    assert np.allclose(plane_depth(pose, POINTS, FOCAL_PX), push, atol=1e-9)


@given(poses, depths)
def test_the_derivative_predicts_a_small_step(pose, depth):
    step = np.array([0.3, -0.2, 2e-5, 0.25, 0.4, 1e-5])

    moved = project(pose + step, POINTS, depth, FOCAL_PX) - project(pose, POINTS, depth, FOCAL_PX)

    predicted = jacobian(pose, POINTS, depth, FOCAL_PX) @ step
    assert np.allclose(moved, predicted, atol=2e-3)
