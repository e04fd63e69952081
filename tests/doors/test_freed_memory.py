from __future__ import annotations

import platform
import subprocess
import sys

import pytest

WORK = """
import resource
import cv2, numpy as np
{first}
picture = np.zeros((1000, 1600), np.float32)
for _ in range(5):
    cv2.GaussianBlur(picture, (0, 0), 1.0)
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(40):
    cv2.GaussianBlur(cv2.GaussianBlur(picture, (0, 0), 1.0), (0, 0), 1.0)
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""
KEEP = "from haltere.doors.freed_memory import keep_freed_memory; keep_freed_memory()"


def pages_fetched(first: str) -> int:
    words = [sys.executable, "-c", WORK.format(first=first)]
    return int(subprocess.run(words, check=True, capture_output=True, text=True).stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="of the GNU C library")
def test_what_pictures_free_is_not_fetched_anew() -> None:
    assert pages_fetched(KEEP) < 0.2 * pages_fetched("")
