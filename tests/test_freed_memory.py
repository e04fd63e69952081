from __future__ import annotations

import platform
import subprocess
import sys

import pytest

GLIBC = pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="of the GNU C library")
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
KEEP = "from haltere.freed_memory import keep_freed_memory; keep_freed_memory()"

HOLD = """
import mmap
from pathlib import Path
import numpy as np
from haltere.freed_memory import empty_pages, give_back_freed, keep_freed_memory

def resident_mib():
    return int(Path("/proc/self/statm").read_text().split()[1]) * mmap.PAGESIZE >> 20

keep_freed_memory()
"""
FREED = """
small = [np.ones(1 << 20, np.uint8) for _ in range(120)]
last = np.ones(1 << 20, np.uint8)
full = resident_mib()
del small
give_back_freed()
print(full - resident_mib())
"""
EMPTIED = """
large = np.ones((1000, 100_000), np.uint8)
full = resident_mib()
empty_pages(large)
print(full - resident_mib())
"""


def said_by(program: str) -> int:
    words = [sys.executable, "-c", program]
    return int(subprocess.run(words, check=True, capture_output=True, text=True).stdout)


@GLIBC
def test_what_pictures_free_is_not_fetched_anew() -> None:
    assert said_by(WORK.format(first=KEEP)) < 0.2 * said_by(WORK.format(first=""))


@GLIBC
def test_what_was_kept_goes_back_when_asked() -> None:
    assert said_by(HOLD + FREED) > 100


@GLIBC
def test_pages_nobody_reads_any_more_go_back() -> None:
    assert said_by(HOLD + EMPTIED) > 90
