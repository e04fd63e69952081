"""What can be wrong with one frame, said once and used by keepers and sweeps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FaultKind = Literal["defocus", "motion", "dark", "clipped", "ghost", "cut", "hidden", "off-frame"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one frame.

    Attributes
    ----------
    kind : str
        One of `FaultKind`.
    confidence : float
        0 to 1; 0.5 and more is said aloud.
    detail : str
        One short sentence with the figure behind it.
    """

    kind: FaultKind
    confidence: float
    detail: str
