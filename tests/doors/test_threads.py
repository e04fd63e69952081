"""How many threads the command takes for small matrices."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

_ASK = "import os; import haltere.doors.cli; print(os.environ['OPENBLAS_NUM_THREADS'])"


@pytest.mark.parametrize(("told", "taken"), [(None, "1"), ("3", "3")])
def test_small_matrices_take_one_thread_unless_more_are_asked_for(
    told: str | None, taken: str
) -> None:
    given = {key: value for key, value in os.environ.items() if key != "OPENBLAS_NUM_THREADS"}
    if told is not None:
        given["OPENBLAS_NUM_THREADS"] = told
    command = [sys.executable, "-c", _ASK]
    said = subprocess.run(command, env=given, check=True, capture_output=True, text=True)
    assert said.stdout.strip() == taken
