"""Where dust can't be looked for, the reason is the right one."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from haltere.evening.dust_of_merge import without_dust


@dataclass
class _Source:
    folder: Path | None


@pytest.mark.parametrize(
    ("folder", "said"),
    [(None, "only a merge can be searched"), (Path("merged"), "views.json is gone); merge it")],
)
def test_a_lone_picture_and_a_merge_that_forgot_its_frames_are_told_apart(
    folder: Path | None, said: str
) -> None:
    light = np.zeros((4, 4, 3), np.float32)
    found = without_dust(_Source(folder), None, light, None, None)  # type: ignore[arg-type]
    assert said in found.text
    assert found.light is light
