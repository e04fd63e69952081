"""Numbers that steer the watching of a folder, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WatchNumbers:
    """Numbers that steer `watch`; assumed where nothing else is said.

    Attributes
    ----------
    look_s : float
        Time between two looks at the folder: a quarter of a second is soon after a pause of one,
        and listing a folder of a thousand files over a network costs a few hundredths.
    pause_s : float
        No new frame for so long ends a run. Slow cameras fire some three times a second and slow
        cables part two files by half a second; nobody goes back to the animal sooner.
    least_pause_s, most_pause_s : float
        Pauses that may be asked for: two looks at least, or a file could not be seen to rest.
    early_s : float
        Work on the solution begins after so long without news, and is dropped when there is more:
        most of it is done when the pause is over.
    rest_s : float
        A file without an end of its own to look for (TIFF, raw) is whole when it has not changed
        for so long.
    patience_s : float
        A file that has not changed for so long and still lacks its end is named.
    tail_bytes : int
        An end mark is looked for in so much of a file's end; what follows it are a few zeros, or
        small blocks that cameras append.
    kept_bytes : int
        Memory for decoded pictures: 150 frames of a 20-megapixel camera at analysis size.
    sweep_frames : int
        So many frames that follow each other may be a sweep, and its solution is begun before
        that is known; bursts are shorter as a rule.
    pass_s : float
        Another pass through the same animal follows within this time: to read the line, breathe
        and lean in again.
    same_share : float
        Share of the new frames that must find their place among those before to count as another
        pass.
    """

    look_s: float = 0.25
    pause_s: float = 1.2
    least_pause_s: float = 0.5
    most_pause_s: float = 60.0
    early_s: float = 0.3
    rest_s: float = 1.0
    patience_s: float = 10.0
    tail_bytes: int = 65536
    kept_bytes: int = 260 << 20
    sweep_frames: int = 16
    pass_s: float = 90.0
    same_share: float = 0.6


NUMBERS = WatchNumbers()
