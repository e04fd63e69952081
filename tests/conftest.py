"""What tests of several rooms share: real pictures with open licences, and an open decoder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from haltere.frames import Decoder

# how busy the machine is must fail no test
settings.register_profile("any", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any")


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Answer the folder of real pictures; tests/data/open/LICENSES.md says whose they are."""
    return Path(__file__).parent / "data" / "open"


@pytest.fixture(scope="session")
def decoder() -> Iterator[Decoder]:
    """Keep two decoding processes open for all tests."""
    with Decoder(workers=2) as opened:
        yield opened
