"""A lit relief as a picture: shades of depth, hatched where no depth is known, with a key."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from haltere.show.colours import DAY, UNKNOWN_RGB, depth_shades
from haltere.show.drawing import Box, Text
from haltere.show.paint import Canvas

WIDE, EDGE = 1040.0, 24.0


def relief_png(light: NDArray[np.float32], depth: NDArray[np.float32], unit: str) -> bytes:
    """Draw a relief.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W)
        0 in the shade to 1 facing the light, NaN where unknown.
    depth : ndarray of float32, shape (H, W)
        NaN where unknown.
    unit : {"mm", "dof"}
        Of the depth.

    Returns
    -------
    bytes
        A PNG file.
    """
    known = np.isfinite(light) & np.isfinite(depth)
    low, high = np.percentile(depth[known], (1, 99))
    place = np.clip((np.nan_to_num(depth) - low) / max(high - low, 1e-9), 0, 1)
    shades = depth_shades(256)[np.rint(255 * place).astype(int)].astype(np.float32)
    # lit as plaster would be: the shade never black, so that colour still tells depth
    lit = shades * (0.35 + 0.85 * np.nan_to_num(light))[..., None]
    rows, columns = np.indices(depth.shape)
    step = max(9, round(9 * depth.shape[1] / WIDE))
    hatch = np.array(UNKNOWN_RGB, np.uint8)[((rows + columns) % step < step // 4).astype(int)]
    rgb = np.where(known[..., None], np.clip(lit, 0, 255).astype(np.uint8), hatch)
    zoom = max(1, min(3, round(depth.shape[1] / WIDE)))
    high_units = WIDE * depth.shape[0] / depth.shape[1]
    canvas = Canvas(WIDE + 2 * EDGE, high_units + 2 * EDGE + 46, DAY, zoom)
    y = EDGE + canvas.paste(Image.fromarray(rgb), EDGE, EDGE, WIDE) + 14
    ramp = depth_shades(64)
    strip = Image.fromarray(np.repeat(ramp[None], 4, axis=0))
    canvas.paste(strip.resize((320, 16)), EDGE, y, 320)
    name = "mm" if unit == "mm" else "depths of field"
    canvas.mark(Text(EDGE, y + 32, f"{low:.2f}", 13, "soft"))
    canvas.mark(Text(EDGE + 320, y + 32, f"{high:.2f} {name}", 13, "soft", "end"))
    share = float(1 - known.mean())
    patch = Image.fromarray(np.ascontiguousarray(hatch[:48, :72]))
    if patch.width == 72:
        canvas.paste(patch, EDGE + 360, y - 2, 30)
    canvas.mark(Box(EDGE + 360, y - 2, EDGE + 390, y + 18, outline="line"))
    words = f"no depth known ({100 * share:.0f} % of the picture)"
    canvas.mark(Text(EDGE + 398, y + 13, words, 13, "soft"))
    words = "light from the upper left; pale is near, dark is far"
    canvas.mark(Text(EDGE + WIDE, y + 13, words, 13, "soft", "end"))
    buffer = io.BytesIO()
    canvas.image.save(buffer, "PNG", compress_level=6)
    return buffer.getvalue()
