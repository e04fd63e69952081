"""Which of several answers to one question stands."""

from __future__ import annotations

from pathlib import Path

import msgspec

from haltere.fieldbook import (
    answers_in,
    keep_frames,
    open_book,
    place_outing,
    record,
    renew,
    step_key,
)
from haltere.fieldbook.answers import newest_answers
from haltere.frames import find_frames
from haltere.keepers.verdict import Keepers
from tests.standins import card, card_made, made_keepers

__all__ = ["card", "card_made"]


def test_an_older_answer_that_is_asked_for_again_stands_and_keeps_its_number(
    card: Path, tmp_path: Path
) -> None:
    frames = find_frames([card]).frames[:4]
    first, second = made_keepers(frames), made_keepers(frames[::-1])
    with open_book(tmp_path / "book") as book:
        outing = place_outing(book, card, "meadow", in_place=True)
        keep_frames(book, outing, frames)
        for number, answer in enumerate((first, second)):
            key = step_key("keepers", frames, {"eye": number})
            record(book, outing, "keepers", "run-01", key, {"eye": number}, answer)
        asked = "SELECT id, key FROM step ORDER BY id"
        numbers = [tuple(row) for row in book.connection.execute(asked)]

        def standing() -> tuple[object, Keepers]:
            (newest,) = newest_answers(book, "keepers", Keepers)
            return answers_in(book, outing)["keepers", "run-01"].params["eye"], newest.result

        assert standing() == (1, second)
        renew(book, outing, "keepers", "run-01", msgspec.json.encode(first).decode())
        assert standing() == (0, first)
        assert [tuple(row) for row in book.connection.execute(asked)] == numbers
        third = step_key("keepers", frames, {"eye": 2})
        record(book, outing, "keepers", "run-01", third, {"eye": 2}, second)
        assert standing() == (2, second)
