from __future__ import annotations

import cv2
import pytest

from haltere.align.ahead import calls_alone


def test_opencv_works_in_the_calling_thread_and_then_as_before() -> None:
    before = cv2.getNumThreads()
    with pytest.raises(RuntimeError), calls_alone():
        assert cv2.getNumThreads() == 1
        raise RuntimeError
    assert cv2.getNumThreads() == before
