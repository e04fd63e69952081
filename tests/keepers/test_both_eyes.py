from types import SimpleNamespace

from haltere.focus.blur import Blur
from haltere.keepers.eye import Spot
from haltere.keepers.judge import _Burst
from haltere.keepers.look import Found

FIRST, SECOND = Spot(0.0, 0.0, 20.0, 0.5), Spot(50.0, 0.0, 20.0, 0.45)
DEPTHS = {FIRST: 0.10, SECOND: 0.05}


class Measured(_Burst):
    """A burst that knows how deep its spots lie."""

    def __init__(self, sigma: float = 0.001) -> None:
        self.blur = Blur(0.01, 2.0)
        self.sigma = {FIRST: 0.001, SECOND: sigma}

    def _measure(self, spot: Spot) -> SimpleNamespace:  # type: ignore[override]
        depth = SimpleNamespace(depth=DEPTHS[spot], sigma=self.sigma[spot])
        return SimpleNamespace(spot=spot, depth=depth)


def test_of_two_eyes_the_nearer_is_judged_and_the_other_told() -> None:
    eye, other = Measured()._eyes(Found(FIRST, 0.95, (SECOND,)), None)
    assert eye.spot == SECOND
    assert other is not None and other.spot == FIRST


def test_a_place_that_is_hardly_an_eye_does_not_take_the_place_of_the_likeliest() -> None:
    eye, other = Measured()._eyes(Found(FIRST, 0.6, (SECOND,)), None)
    assert eye.spot == FIRST
    assert other is None


def test_an_eye_of_which_nothing_tells_the_depth_does_not_take_the_other_ones_place() -> None:
    eye, other = Measured(sigma=0.016)._eyes(Found(FIRST, 0.95, (SECOND,)), None)
    assert eye.spot == FIRST
    assert other is None
