"""Numbers that steer how picture files are read, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FrameLimits:
    """Bounds for reading picture files.

    Attributes
    ----------
    max_px : int
        Largest picture that is read. 150 million pixels is above every camera sold for handheld
        work (the largest make about 100), and its 16-bit colour decode still fits `memory_mib`.
    memory_mib : int
        Address space of one decoding process (POSIX only). The libraries alone reserve 280 MiB;
        developing a raw file of 20 megapixels peaks at 510 MiB, of 60 at 1200 MiB (measured), so
        `max_px` of raw still fits.
    developing_bytes : int
        A pixel of a raw file while it is developed: four colours of 16 bit, then the three of the
        picture beside them. What the sensor saw is given up by then, and the picture is moved to
        where it is handed over.
    job_s : float
        Longest time one picture may take. Developing 20 megapixels of raw takes 1.2 s (measured);
        fifty times that is a hang, not a slow file.
    start_s : float
        Longest time a decoding process may take to start: 0.2 s normally, much more when a virus
        scanner or a sleeping disk is in the way.
    min_pitch_mm, max_pitch_mm : float
        Believable width of one pixel: the smallest phone pixels are 0.56 um wide; a picture
        reduced to 1200 px from a 36 mm wide sensor has 30 um.
    min_sensor_mm, max_sensor_mm : float
        Believable long side of the sensor that pitch and size together imply: a 1/4 inch chip
        to a digital back.
    aspect_slack : float
        Two sizes are the same picture reduced, not cropped, when their side ratios agree to this.
        Rounding 3:2 to 300 px gives 0.5 %.
    iso_shape_px : float
        A reduced size is taken when its short side misses the exact one by no more than this, so
        that one `scale` holds for both axes.
    iso_shape_search : float
        Share of the asked size given up at most to find such a size.
    max_header_bytes : int
        Junk tolerated between JPEG markers before the file is called broken.
    head_bytes : int
        Head of a JPEG in which its small pictures are looked for: three segments of full length.
    look_bytes : int
        Largest small picture inside a JPEG that is read: those of 1920 px take a tenth of it.
    analysis_px : int
        Longest side of the pictures that sweeps are solved on: a circle of confusion is then some
        1.4 px, so that focus still shows, and twenty megapixels cost no more than two. It stands
        here so that reading can begin before all that solving needs is loaded.
    ahead : int
        Most frames that are read before anybody asks for them, 2.3 MB each.
    bar_level : float
        Mean level (0 to 255) up to which the stripe beside a small picture is a black bar.
    """

    max_px: int = 150_000_000
    memory_mib: int = 4096
    developing_bytes: int = 14
    job_s: float = 60.0
    start_s: float = 60.0
    min_pitch_mm: float = 0.0005
    max_pitch_mm: float = 0.030
    min_sensor_mm: float = 3.0
    max_sensor_mm: float = 70.0
    aspect_slack: float = 0.01
    iso_shape_px: float = 0.02
    iso_shape_search: float = 0.02
    max_header_bytes: int = 65536
    head_bytes: int = 3 << 16
    look_bytes: int = 8 << 20
    analysis_px: int = 1600
    ahead: int = 64
    bar_level: float = 12.0


LIMITS = FrameLimits()
