"""A merge that is killed leaves no picture or a whole one; benchmarks/merge_kills.py kills more."""

from __future__ import annotations

from pathlib import Path

from tests.merge.killed import kill_merges, sweep_folder


def test_a_killed_merge_leaves_no_picture_or_a_whole_one(tmp_path: Path) -> None:
    whole, none, trouble = kill_merges(sweep_folder(tmp_path), tmp_path, kills=4, seed=7)
    assert trouble == []
    assert whole + none == 4
