"""A thousand spoilt files are read or refused in words; benchmarks/fuzz_frames.py does more."""

from __future__ import annotations

from pathlib import Path

from tests.frames.spoiled import read_all, sound_files, spoilt

CASES = 1000


def test_a_spoilt_file_is_read_or_refused_in_words(tmp_path: Path) -> None:
    sound = sound_files(tmp_path)
    folder = tmp_path / "card"
    folder.mkdir()
    read, refused, strange = read_all(folder, spoilt(sound, seed=1, count=CASES))
    assert strange == []
    assert read + refused == CASES
    assert read > 100
    assert refused > 100
