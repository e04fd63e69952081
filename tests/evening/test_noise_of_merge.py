"""What a merge says of its noise, as finishing hears it."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np

from haltere.evening.noise_of_merge import averaged_of
from haltere.finish.source import sources_of
from haltere.frames import write_map
from tests.finish.test_delivery import merge


def test_a_merge_by_an_older_haltere_says_nothing(tmp_path: Path) -> None:
    assert averaged_of(sources_of(merge(tmp_path / "m"))[0]) is None


def test_a_patch_has_the_noise_of_one_frame(tmp_path: Path) -> None:
    folder = merge(tmp_path / "m")
    write_map(folder / "noise.tif", np.full((6, 8), 0.2, np.float32))
    origin = np.zeros((120, 160), np.uint16)
    write_map(folder / "origin.tif", origin)
    plain = averaged_of(sources_of(folder)[0])
    assert plain is not None
    assert (plain.share == np.float32(0.2)).all()
    (folder / "repaired").mkdir()
    shutil.copy(folder / "picture.tif", folder / "repaired" / "picture.tif")
    origin[:, 80:] = 3
    write_map(folder / "repaired" / "origin.tif", origin)
    patched = averaged_of(sources_of(folder)[0])
    assert patched is not None
    assert (patched.share[:, :4] == np.float32(0.2)).all()
    assert (patched.share[:, 4:] == 1.0).all()
