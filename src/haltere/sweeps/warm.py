"""Loads what solving a sweep needs, so that the first answer does not wait for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from haltere.errors import HaltereError
from haltere.frames import Decoder, Pixels
from haltere.frames.decoder import Member
from haltere.frames.frame import Frame, Shooting
from haltere.kit import capture
from haltere.sweeps.solve import solve_sweep

FRAMES, WIDTH_PX, HEIGHT_PX = 8, 320, 240
"""A made-up sweep just large enough to walk through every step."""


def warm_up() -> None:
    """Solve a tiny made-up sweep and forget it: half a second of loading is then over."""
    made = [
        Frame(Path(f"{k}"), f"{k}", "jpeg", WIDTH_PX, HEIGHT_PX, 1, Shooting())
        for k in range(FRAMES)
    ]
    taken = capture(
        magnification=1.0, focal_mm=60.0, f_number=8.0, pixel_pitch_mm=0.05,
        picture_px=(WIDTH_PX, HEIGHT_PX),
    )  # fmt: skip
    with _MadeUp(workers=1) as decoder:
        try:
            solve_sweep(made, decoder, taken).close()
        except HaltereError:
            return  # what it needs is loaded all the same


class _MadeUp(Decoder):
    """Gives a texture that comes nearer and is sharp in one column after the other."""

    def stream(
        self,
        frames: Iterable[Frame],
        what: Literal["luma", "rgb"] = "luma",
        longest_px: int | None = None,
        ahead: int = 2,
        member: Member = "jpeg",
        *,
        marked: bool = False,
    ) -> Iterator[tuple[Frame, Pixels]]:
        noise = np.random.default_rng(0).normal(128.0, 40.0, (HEIGHT_PX, WIDTH_PX))
        soft = np.asarray(cv2.GaussianBlur(noise, (0, 0), 4.0))
        across = np.linspace(0.0, FRAMES - 1.0, WIDTH_PX)
        for k, frame in enumerate(frames):
            share = np.exp(-((across - k) ** 2))
            size = 1.0 + 0.005 * k
            turn = cv2.getRotationMatrix2D((WIDTH_PX / 2, HEIGHT_PX / 2), 0.0, size)
            mixed = share * noise + (1.0 - share) * soft
            grown = cv2.warpAffine(mixed, turn, (WIDTH_PX, HEIGHT_PX))
            yield frame, Pixels(np.clip(grown, 0, 255).astype(np.uint8), 1.0, False, None)
