"""Picture files in and out: what they are, when they were taken, their pixels, their colour.

Paths come in; frames in order of exposure, upright pixels at any size, and written files go out.
This room knows nothing of bursts, sweeps, animals or millimetres on them.
"""

from haltere.frames.colour import encode, to_linear
from haltere.frames.decoder import Decoder
from haltere.frames.found import Found, find_frames
from haltere.frames.frame import FileKind, Frame, Pixels, Shooting, Skipped
from haltere.frames.icc import srgb_profile
from haltere.frames.shooting import read_shooting
from haltere.frames.writing import (
    make_folder,
    replacing,
    write_bytes,
    write_jpeg,
    write_map,
    write_picture,
)

__all__ = [
    "Decoder",
    "FileKind",
    "Found",
    "Frame",
    "Pixels",
    "Shooting",
    "Skipped",
    "encode",
    "find_frames",
    "make_folder",
    "read_shooting",
    "replacing",
    "srgb_profile",
    "to_linear",
    "write_bytes",
    "write_jpeg",
    "write_map",
    "write_picture",
]
