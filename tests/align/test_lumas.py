"""Grey frames that wait on the disk."""

from __future__ import annotations

import ast
import time
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from haltere.align.lumas import Lumas


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_frames_on_the_disk_come_back_as_they_were_added(depth: type[np.unsignedinteger]) -> None:
    values = np.arange(12 * 30).astype(depth).reshape(12, 30)
    with Lumas() as lumas:
        first, turned = lumas.add(values), lumas.add(np.ascontiguousarray(values.T).T)
        for index in (first, turned):
            np.testing.assert_array_equal(lumas.stored(index), values)
            assert lumas.stored(index).dtype == depth
            most = 65535 if depth is np.uint16 else 255
            np.testing.assert_allclose(lumas.full(index), values * (255.0 / most), rtol=1e-6)


def test_no_text_is_parsed_to_read_one_since_two_threads_may_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("parsed")

    with Lumas() as lumas:
        index = lumas.add(np.zeros((4, 6), np.uint8))
        monkeypatch.setattr(ast, "parse", refuse)
        assert lumas.full(index).shape == lumas.stored(index).shape == (4, 6)


class Hesitating(OrderedDict):  # type: ignore[type-arg]
    """Lets other threads run between being asked and being taken from."""

    def __contains__(self, key: object) -> bool:
        found = super().__contains__(key)
        time.sleep(0.0005)
        return found


def test_threads_may_ask_for_small_frames_beside_each_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with Lumas(keep=1) as lumas:
        for level in (10, 20):
            lumas.add(np.full((8, 8), level, np.uint8))
        wanted = [lumas.small(k, 2).copy() for k in range(2)]
        monkeypatch.setattr(lumas, "_held", Hesitating())

        def ask(first: int) -> None:
            for k in range(60):
                index = (first + k // 3) % 2
                np.testing.assert_array_equal(lumas.small(index, 2), wanted[index])

        with ThreadPoolExecutor(4) as pool:
            list(pool.map(ask, range(4)))
