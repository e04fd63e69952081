from functools import cache
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
import pytest

from haltere.frames import Pixels
from haltere.keepers import eye
from haltere.keepers.eye import Spot, alike, animal_box, encoded, eyes_in, gather, look_for
from haltere.scene import render_single


@cache
def rendered(plan: str, seed: int = 320001) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A simulated picture, where its two eyes are, and its mask."""
    with TemporaryDirectory() as folder:
        truth = render_single(
            seed, Path(folder), plan=plan, width_px=640, height_px=480, views=12
        )  # fmt: skip
        bgr = cv2.imread(str(Path(folder) / "frame_000.jpg"))
        mask = cv2.imread(str(Path(folder) / "mask.png"), cv2.IMREAD_GRAYSCALE)
    return np.ascontiguousarray(bgr[..., ::-1]), truth.frames[0].eyes_px, mask


def portrait(plan: str) -> tuple[np.ndarray, np.ndarray]:
    """A simulated picture, and where its two eyes are."""
    return rendered(plan)[:2]


def cut_out(plan: str) -> np.ndarray:
    """A simulated animal without its plant: its colours, and 255 where it is."""
    rgb, _, mask = rendered(plan)
    own = np.where(mask >= 2, np.uint8(255), np.uint8(0))
    x, y, w, h = cv2.boundingRect(own)
    return np.dstack([rgb, own])[y : y + h, x : x + w]


def pasted(rgb: np.ndarray, animal: np.ndarray, long_px: int, left: int, top: int) -> np.ndarray:
    """The picture with an animal on it, its box so long and there."""
    scale = long_px / max(animal.shape[:2])
    small = cv2.resize(animal, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    cover = small[..., 3:] / 255.0
    out = rgb.astype(float)
    cut = out[top : top + small.shape[0], left : left + small.shape[1]]
    cut[:] = cut * (1 - cover) + small[..., :3] * cover
    return out.astype(np.uint8)


def seen(rgb: np.ndarray, scale: float = 1.0) -> Pixels:
    return Pixels(rgb, scale, False, None)


def off(spot: Spot, eyes: np.ndarray) -> float:
    return float(np.hypot(eyes[:, 0] - spot.x_px, eyes[:, 1] - spot.y_px).min())


@pytest.mark.parametrize("plan", ["fly", "spider", "beetle", "wasp", "hopper"])
def test_the_likeliest_spot_lies_on_the_head(plan: str) -> None:
    rgb, eyes = portrait(plan)
    spots = eyes_in(seen(rgb))
    # these animals fill most of the frame: a tenth of it is below 15 % of a body
    assert off(spots[0], eyes) < 0.1 * rgb.shape[1]


def test_the_likeliest_spot_of_a_big_eye_lies_in_it_and_is_as_large() -> None:
    rgb, eyes = portrait("fly")
    best = eyes_in(seen(rgb))[0]
    assert off(best, eyes) < best.radius_px
    assert 0.02 * rgb.shape[1] < best.radius_px < 0.15 * rgb.shape[1]


def test_a_badly_blurred_head_is_still_found() -> None:
    rgb, eyes = portrait("spider")
    soft = cv2.GaussianBlur(rgb, (0, 0), 8.0)
    assert off(eyes_in(seen(soft))[0], eyes) < 0.1 * rgb.shape[1]


def test_a_plain_big_eye_is_told_with_confidence() -> None:
    assert eyes_in(seen(portrait("fly")[0]))[0].chance > 0.7


def test_an_eye_near_the_edge_of_the_frame_is_told_with_confidence_too() -> None:
    rgb, _ = portrait("fly")
    best = eyes_in(seen(rgb))[0]
    left, right = max(0, int(best.x_px) - 60), min(640, int(best.x_px) + 60)
    side = rgb[:, left:] if best.x_px < 320 else rgb[:, :right]
    again = eyes_in(seen(np.ascontiguousarray(side)))[0]
    assert again.chance > 0.5
    moved = again.x_px + (left if best.x_px < 320 else 0)
    assert np.hypot(moved - best.x_px, again.y_px - best.y_px) < best.radius_px


def test_chances_of_all_spots_and_of_none_stay_below_one() -> None:
    told = look_for(seen(portrait("fly")[0]))
    chances = [s.chance for s in told.spots]
    assert chances == sorted(chances, reverse=True)
    assert 0.5 < sum(chances) + told.no_eye <= 1.0 + 1e-9


def test_the_same_picture_gets_the_same_answer() -> None:
    rgb, _ = portrait("fly")
    assert look_for(seen(rgb)) == look_for(seen(rgb.copy()))


def test_answers_are_in_full_size_pixels() -> None:
    rgb, _ = portrait("fly")
    full, half = look_for(seen(rgb)), look_for(seen(rgb, 0.5))
    assert half.spots[0].x_px + 0.5 == pytest.approx(2 * (full.spots[0].x_px + 0.5))
    assert half.spots[0].radius_px == pytest.approx(2 * full.spots[0].radius_px)
    assert half.box is not None and full.box is not None
    assert half.box == pytest.approx([2 * v for v in full.box])


def test_a_mirrored_picture_gets_a_mirrored_answer() -> None:
    rgb, _ = portrait("fly")
    there = eyes_in(seen(rgb))[0]
    back = eyes_in(seen(np.ascontiguousarray(rgb[:, ::-1])))[0]
    assert rgb.shape[1] - 1 - back.x_px == pytest.approx(there.x_px, abs=8)
    assert back.y_px == pytest.approx(there.y_px, abs=8)


def test_sixteen_bits_say_what_eight_say() -> None:
    rgb, _ = portrait("fly")
    deep = rgb.astype(np.uint16) * 257
    assert eyes_in(seen(deep))[0].x_px == pytest.approx(eyes_in(seen(rgb))[0].x_px, abs=1)


def test_linear_light_is_lifted_before_it_is_looked_at() -> None:
    middle = np.full((4, 4, 3), round(0.2176 * 65535), np.uint16)
    lifted = encoded(Pixels(middle, 1.0, True, None))
    assert lifted.dtype == np.uint8
    assert abs(int(lifted[0, 0, 0]) - 127) <= 1


def test_an_upright_frame_is_searched_as_well() -> None:
    rgb, eyes = portrait("fly")
    left = int(np.clip(eyes[:, 0].mean() - 180, 0, 640 - 360))
    tall = np.ascontiguousarray(rgb[:, left : left + 360])
    assert off(eyes_in(seen(tall))[0], eyes - [left, 0]) < 0.1 * rgb.shape[1]


def test_the_box_holds_the_proposed_eye_and_leaves_out_most_of_the_background() -> None:
    rgb, _ = portrait("beetle")
    told = look_for(seen(rgb))
    assert told.box is not None
    left, top, right, bottom = told.box
    assert left <= told.spots[0].x_px <= right and top <= told.spots[0].y_px <= bottom
    assert 0.2 < (right - left) * (bottom - top) / rgb.shape[0] / rgb.shape[1] < 0.98


@pytest.mark.parametrize("other", ["fly", "spider", "beetle"])
def test_a_second_animal_well_apart_is_noticed(other: str) -> None:
    meadow = np.full((480, 640, 3), (70, 95, 60), np.uint8)
    alone = pasted(meadow, cut_out("hopper"), 300, 320, 150)
    both = pasted(alone, cut_out(other), 80, 80, 80)
    assert animal_box(seen(alone))[1] == 1
    box, animals = animal_box(seen(both))
    assert animals == 2
    # and the smaller one is not boxed with the main one
    assert box is not None and box[0] > 240


def test_the_larger_of_two_animals_is_the_main_one() -> None:
    meadow = np.full((480, 640, 3), (70, 95, 60), np.uint8)
    for left, right in ((300, 150), (150, 300)):
        picture = pasted(meadow, cut_out("fly"), left, 20, 130)
        picture = pasted(picture, cut_out("fly")[:, ::-1], right, 620 - right, 130)
        told = look_for(seen(picture))
        assert told.others == 1
        assert (told.spots[0].x_px < 320) == (left > right)


@pytest.mark.parametrize(("plan", "where"), [("fly", 250), ("spider", 420), ("hopper", 420)])
def test_what_a_blade_cuts_off_is_no_second_animal(plan: str, where: int) -> None:
    rgb, _ = portrait(plan)
    cut = rgb.copy()
    cv2.line(cut, (where, 0), (where + 60, 479), (60, 110, 40), 50, cv2.LINE_AA)
    assert animal_box(seen(cut))[1] == 1


def test_an_empty_picture_has_no_animal_and_no_sure_eye() -> None:
    grey = np.full((480, 640, 3), 90, np.uint8)
    assert animal_box(seen(grey)) == (None, 0)
    assert all(s.chance < 0.3 for s in eyes_in(seen(grey)))


@pytest.mark.parametrize("shape", [(12, 16, 3), (40, 900, 3), (333, 517, 3)])
def test_odd_sizes_are_taken(shape: tuple[int, int, int]) -> None:
    noise = np.random.default_rng(0).integers(0, 255, shape, np.uint8)
    for s in eyes_in(seen(noise)):
        assert -shape[1] < s.x_px < 2 * shape[1] and np.isfinite(s.radius_px)


def test_the_network_ships_and_stays_small() -> None:
    model = files("haltere.keepers").joinpath("eye.onnx").read_bytes()
    assert 100_000 < len(model) < 10_000_000


def test_spots_of_several_frames_that_lie_on_each_other_become_one() -> None:
    spots = [Spot(100, 100, 20, 0.6), Spot(104, 98, 22, 0.8), Spot(300, 100, 20, 0.3)]
    joined = gather(spots, 2)
    assert len(joined) == 2
    assert joined[0].chance == pytest.approx(0.7)
    assert joined[0].x_px == pytest.approx((0.6 * 100 + 0.8 * 104) / 1.4)


def test_eyes_of_one_animal_are_alike_in_size_and_colour_and_lie_apart() -> None:
    one = Spot(100, 100, 20, 0.6, (40.0, 10.0, 5.0))
    assert alike(one, Spot(150, 105, 18, 0.3, (42.0, 11.0, 5.0)))
    assert not alike(one, Spot(150, 105, 8, 0.3, (42.0, 11.0, 5.0)))
    assert not alike(one, Spot(150, 105, 18, 0.3, (80.0, 10.0, 5.0)))
    assert not alike(one, Spot(104, 100, 18, 0.3, (42.0, 11.0, 5.0)))


def test_only_a_doubtful_picture_is_looked_at_closer(monkeypatch: pytest.MonkeyPatch) -> None:
    looks: list[tuple[int, ...]] = []
    answer = eye._answer
    monkeypatch.setattr(eye, "_answer", lambda cut: looks.append(cut.shape) or answer(cut))
    look_for(seen(portrait("fly")[0]))
    sure = len(looks)
    looks.clear()
    leaves = np.random.default_rng(3).integers(60, 120, (30, 40, 3), np.uint8)
    look_for(seen(cv2.resize(leaves, (640, 480), interpolation=cv2.INTER_CUBIC)))
    assert sure == 3
    assert len(looks) == 3 + 2 * len(eye.FINDER.closest)
