"""Compiled loops of registration."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

_SUMS = """
import numpy as np
from haltere.align.loops import cell_motion, similarity_sums
draw = np.random.default_rng(5)
one, other = draw.normal(0.0, 5.0, (2, 96, 131)).astype(np.float32)
light, shade = draw.uniform(0.0, 30.0, (2, 96, 131)).astype(np.float32)
seen = np.ones((96, 131), np.float32)
told = [*similarity_sums(one, other, seen, light, shade, 3.0)]
told.append(cell_motion(one, seen, other, seen, 6, 8, 16))
print(b"".join(part.tobytes() for part in told).hex())
"""


def test_loops_just_compiled_give_the_same_bits_as_loops_read_from_the_disk(tmp_path: Path) -> None:
    kept = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    command = [sys.executable, "-c", _SUMS]
    first, later = (
        subprocess.run(command, env=kept, check=True, capture_output=True, text=True).stdout
        for _ in range(2)
    )
    assert any(tmp_path.rglob("*.nbi"))
    assert first == later
