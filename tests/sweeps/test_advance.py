"""Work ahead of the last frame changes nothing but the wait."""

import pytest

from haltere.errors import FrameError
from haltere.sweeps import solve_sweep
from haltere.sweeps.advance import NUMBERS, Advance
from tests.sweeps.conftest import taken


@pytest.fixture
def advance():
    made = Advance(whole=True)
    yield made
    made.close()


def test_a_sweep_begun_in_advance_is_answered_as_any_other(rendered, solved, decoder, advance):
    frames, truth = rendered
    for frame in frames[:13]:
        advance.add(frame, decoder)
    sweep = solve_sweep(frames, decoder, taken(truth, truth["magnification"]), advance=advance)
    assert sweep.lumas is advance.lumas
    assert sweep.coverage == solved[0].coverage


def test_what_was_worked_out_of_other_frames_is_not_used(rendered, decoder, advance):
    frames, _ = rendered
    for frame in frames[1:4]:
        advance.add(frame, decoder)
    assert advance.done_of(frames) is None
    assert advance.done_of(frames[1:]) == 3
    assert advance.done_of(frames[1:3]) is None


def test_a_frame_is_worked_on_once(rendered, decoder, advance):
    frames, _ = rendered
    for frame in (*frames[:3], *frames[:4]):
        advance.add(frame, decoder)
    assert len(advance.lumas) == advance.done_of(frames) == 4


class Unreadable:
    def luma(self, frame, longest_px):
        raise FrameError(f"{frame.name}: is spoilt")


def test_a_frame_that_cant_be_read_ends_the_work_ahead(rendered, decoder, advance):
    frames, _ = rendered
    advance.add(frames[0], decoder)
    advance.add(frames[1], Unreadable())
    advance.add(frames[2], decoder)
    assert advance.done_of(frames) is None


def test_no_more_than_so_many_frames_are_worked_on(rendered, decoder, advance, monkeypatch):
    frames, _ = rendered
    monkeypatch.setattr("haltere.sweeps.advance.NUMBERS", type(NUMBERS)(most=2))
    for frame in frames[:5]:
        advance.add(frame, decoder)
    assert advance.done_of(frames) == 2


def test_a_solution_that_fails_leaves_the_work_ahead_to_the_next(rendered, decoder, advance):
    frames, truth = rendered
    for frame in frames:
        advance.add(frame, decoder)

    class Dropped(Exception):
        pass

    def drop(*_):
        raise Dropped

    with pytest.raises(Dropped):
        solve_sweep(frames, decoder, taken(truth, 2.0), advance=advance, progress=drop)
    assert advance.done_of(frames) == len(frames)
    assert advance.lumas.full(0).shape == advance.lumas.shape
