"""Dust is what stays when all else moves."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from haltere.finish.dust import Spot, find_spots, frames_apart, heal
from haltere.frames import encode, to_linear
from haltere.frames.frame import Pixels
from haltere.merge.views import View, Views

SIZE = (240, 180)
DUST = ((60.0, 50.0, 5.0), (150.0, 120.0, 4.0), (200.0, 30.0, 6.0))


def world(seed: int = 3) -> np.ndarray:
    """A large scene with detail of all sizes, and dark spots of its own."""
    rng = np.random.default_rng(seed)
    out = np.full((420, 480), 0.3, np.float32)
    for sigma, height in ((1.0, 0.05), (4.0, 0.4), (15.0, 2.0)):
        out += height * cv2.GaussianBlur(rng.standard_normal(out.shape).astype("f4"), (0, 0), sigma)
    for _ in range(40):
        at = (int(rng.integers(0, 480)), int(rng.integers(0, 420)))
        cv2.circle(out, at, int(rng.integers(2, 7)), 0.08, -1)
    return np.clip(cv2.GaussianBlur(out, (0, 0), 0.8), 0.03, 0.9)


def frame(scene: np.ndarray, shift: tuple[int, int], *, dusty: bool, seed: int) -> np.ndarray:
    x0, y0 = 100 + shift[0], 100 + shift[1]
    out = scene[y0 : y0 + SIZE[1], x0 : x0 + SIZE[0]].copy()
    if dusty:
        y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
        for cx, cy, r in DUST:
            out *= 1.0 - 0.25 / (1.0 + np.exp((np.hypot(x - cx, y - cy) - r) / 0.7))
    rng = np.random.default_rng(seed)
    return (out * (1.0 + 0.01 * rng.standard_normal(out.shape))).astype(np.float32)


def shifts(step: int = 9, count: int = 10) -> list[tuple[int, int]]:
    rng = np.random.default_rng(1)
    return [(k * step - 45, int(rng.integers(-30, 30))) for k in range(count)]


def stack(*, dusty: bool) -> list[np.ndarray]:
    scene = world()
    return [frame(scene, one, dusty=dusty, seed=k) for k, one in enumerate(shifts())]


def views_of(moves: list[tuple[int, int]]) -> Views:
    """Views of a flat scene that only slid across."""
    poses = [(float(x), float(y), 0.0, 0.0, 0.0, 0.0) for x, y in moves]
    views = tuple(View(f"{k}.jpg", f"{k}.jpg", None, p, 1.0) for k, p in enumerate(poses))
    return Views(SIZE, (0, 0, *SIZE), SIZE, 5000.0, 0.002, 1.0, False, views)


def test_spots_that_stay_are_found_and_nothing_else() -> None:
    spots = find_spots(stack(dusty=True), 1.0)
    assert len(spots) == len(DUST)
    for cx, cy, r in DUST:
        near = min(spots, key=lambda one: np.hypot(one.x_px - cx, one.y_px - cy))
        assert np.hypot(near.x_px - cx, near.y_px - cy) < 1.5
        assert r <= near.radius_px < 2.5 * r + 3
        assert near.dark == pytest.approx(0.22, abs=0.07)


def test_a_clean_sensor_has_no_spots() -> None:
    assert find_spots(stack(dusty=False), 1.0) == ()


def test_a_subject_that_stands_still_is_no_dust() -> None:
    """Without movement nothing can be told, so no frame is used."""
    assert (
        frames_apart(views_of([(0, 0), (2, 1), (1, 3), (3, 0), (2, 2), (0, 4), (1, 1)]), 1.0) == ()
    )
    assert len(frames_apart(views_of(shifts()), 1.0)) == 10


def test_what_lies_at_the_very_border_is_not_taken_for_dust() -> None:
    frames = stack(dusty=False)
    for one in frames:
        cv2.circle(one, (60, 2), 3, 0.02, -1)
        cv2.circle(one, (60, 40), 3, 0.02, -1)
    assert [round(one.y_px) for one in find_spots(frames, 1.0)] == [40]


def test_few_frames_tell_nothing() -> None:
    assert find_spots(stack(dusty=True)[:4], 1.0) == ()


def test_a_hair_that_kept_its_place_is_not_taken_for_dust() -> None:
    frames = stack(dusty=False)
    for one in frames:
        cv2.line(one, (40, 90), (110, 94), 0.02, 2)
    assert find_spots(frames, 1.0) == ()


def test_dust_is_filled_from_a_frame_that_saw_the_place_clean() -> None:
    moves = shifts()
    views = views_of(moves)
    scene = world()
    clean, dusty = (frame(scene, moves[5], dusty=d, seed=5) for d in (False, True))
    # the merged picture here is frame 5 alone, carried to the reference view
    matrix = views.to_frame(5)
    merged, true = (
        cv2.warpPerspective(one, matrix, SIZE, flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP)
        for one in (dusty, clean)
    )
    codes = np.rint(np.clip(merged, 0, 1)[..., None].repeat(3, 2) * 65535).astype(np.uint16)
    origin = np.full(SIZE[::-1], 5, np.uint16)
    spots = tuple(Spot(x, y, 1.8 * r + 2, 0.25) for x, y, r in DUST)

    def pixels(index: int) -> Pixels:
        light = frame(scene, moves[index], dusty=True, seed=index)
        linear = np.rint(np.clip(light, 0, 1)[..., None].repeat(3, 2) * 65535).astype(np.uint16)
        return Pixels(linear, 1.0, True, None)

    coded = encode(codes.astype(np.float32) / 65535, None, 16)
    healed = heal(coded, origin, views, spots, pixels)
    light = to_linear(healed.codes, None, False)[..., 0]
    inside = cv2.warpPerspective(np.ones(SIZE[::-1], np.float32), matrix, SIZE,
                                 flags=cv2.WARP_INVERSE_MAP) > 0.99  # fmt: skip
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    back = np.linalg.inv(matrix)
    shown = 0
    for cx, cy, r in DUST:
        at = back @ [cx, cy, 1.0]
        disc = (np.hypot(x - at[0] / at[2], y - at[1] / at[2]) < r) & inside
        if not disc.any():
            continue
        shown += 1
        if (healed.codes == coded)[disc].all():
            continue
        before = np.abs(merged - true)[disc].mean()
        after = np.abs(light - true)[disc].mean()
        assert after < 0.25 * before, (before, after)
    assert shown >= 2
    assert healed.spots >= 2
    assert healed.spots + healed.left == shown
    assert healed.same == 0
    far = cv2.dilate((np.abs(healed.codes.astype(int) - coded)[..., 0] > 0).astype("u1"),
                     np.ones((3, 3), "u1"))  # fmt: skip
    assert far.mean() < 0.5  # the rest stays as it was


def test_a_dark_place_of_the_animal_is_left_as_it_is() -> None:
    """What another frame shows as dark is no dust, whatever was found."""
    moves = shifts()
    views = views_of(moves)
    scene = world()
    matrix = views.to_frame(5)
    merged = cv2.warpPerspective(
        frame(scene, moves[5], dusty=False, seed=5), matrix, SIZE,
        flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP,
    )  # fmt: skip
    codes = np.rint(np.clip(merged, 0, 1)[..., None].repeat(3, 2) * 65535).astype(np.uint16)
    coded = encode(codes.astype(np.float32) / 65535, None, 16)
    origin = np.full(SIZE[::-1], 5, np.uint16)
    spots = tuple(Spot(x, y, 1.8 * r + 2, 0.25) for x, y, r in DUST)

    def pixels(index: int) -> Pixels:
        light = frame(scene, moves[index], dusty=False, seed=index)
        linear = np.rint(np.clip(light, 0, 1)[..., None].repeat(3, 2) * 65535).astype(np.uint16)
        return Pixels(linear, 1.0, True, None)

    healed = heal(coded, origin, views, spots, pixels)
    assert healed.spots == 0
    assert healed.same >= 2
    np.testing.assert_array_equal(healed.codes, coded)


def maps(moves: list[tuple[int, int]]) -> list[np.ndarray]:
    """From the scene to each frame."""
    return [np.array([[1.0, 0, -100 - x], [0, 1, -100 - y], [0, 0, 1]]) for x, y in moves]


def test_faint_spots_are_found_once_the_animal_is_taken_off() -> None:
    scene = world()
    moves = shifts()
    taken = [frame(scene, one, dusty=True, seed=k) for k, one in enumerate(moves)]
    faint = [np.sqrt(light * clean) for light, clean in zip(
        taken, [frame(scene, one, dusty=False, seed=k) for k, one in enumerate(moves)], strict=True
    )]  # fmt: skip
    with_views = find_spots(faint, 1.0, maps(moves))
    assert len(with_views) >= len(find_spots(faint, 1.0))
    for cx, cy, _ in DUST:
        assert min(np.hypot(one.x_px - cx, one.y_px - cy) for one in with_views) < 2.0
    clean = [frame(scene, one, dusty=False, seed=k) for k, one in enumerate(moves)]
    assert find_spots(clean, 1.0, maps(moves)) == ()


def test_an_animal_that_keeps_its_place_is_not_taken_for_dust() -> None:
    scene = world()
    still = [frame(scene, (0, 0), dusty=False, seed=k) for k in range(10)]
    pretended = maps(shifts())  # the views moved, what is seen here did not
    assert find_spots(still, 1.0)  # the medians alone are taken in
    assert find_spots(still, 1.0, pretended) == ()
