"""Draw the light, the backgrounds and what stands in the way for the eye finder's pictures."""

from __future__ import annotations

import cv2
import numpy as np
from eye_animals import tint
from numpy.typing import NDArray

from haltere.scene.lighting import Lamp, Lighting

Array = NDArray[np.float64]
Light = NDArray[np.float32]


def lights(rng: np.random.Generator) -> Lighting:
    """Draw some lighting: a main window from above or beside, weak ones, a sky."""
    lamps = []
    for k in range(3):
        way = rng.normal(0.0, 1.0, 3) + np.array([0.0, -0.8, -0.7 if k < 2 else 0.3])
        way /= np.linalg.norm(way)
        power = rng.uniform(0.7, 1.4) if k == 0 else rng.uniform(0.05, 0.5)
        warm = 1.0 + rng.uniform(-0.12, 0.12)
        lamps.append(
            Lamp(
                (float(way[0]), float(way[1]), float(way[2])),
                float(rng.uniform(0.15, 0.7)), float(rng.uniform(0.15, 0.7)),
                (power * warm, power, power / warm), float(rng.uniform(0.1, 0.5)),
            )
        )  # fmt: skip
    up, down = rng.uniform(0.05, 0.5), rng.uniform(0.03, 0.25)
    return Lighting(tuple(lamps), (up, up, up * 1.05), (down, down, down * 0.9))


def behind(rng: np.random.Generator, h: int, w: int) -> Light:
    """Draw a far background of some kind, linear light."""
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = (x - w / 2) / w, (y - h / 2) / w
    level = float(np.exp(rng.uniform(np.log(0.004), np.log(0.9))))

    def colour() -> Light:
        return np.asarray(tint(rng, 0.3, 1.0) * level * rng.uniform(0.4, 1.6), np.float32)

    out = np.empty((h, w, 3), np.float32)
    lean = rng.normal(0.0, 0.6, 2)
    out[:] = colour() * np.clip(1 + lean[0] * x + lean[1] * y, 0.2, 2.0)[..., None]
    kind = rng.choice(5, p=[0.4, 0.2, 0.15, 0.15, 0.1])
    if kind <= 1:
        for _ in range(int(rng.integers(2, 8) if kind == 0 else rng.integers(10, 60))):
            size = rng.uniform(0.15, 0.5) if kind == 0 else rng.uniform(0.01, 0.12)
            d = np.hypot(x - rng.uniform(-0.6, 0.6), (y - rng.uniform(-0.5, 0.5))) / size
            edge = rng.uniform(3, 7) if kind == 0 else rng.uniform(6, 40)
            alpha = (rng.uniform(0.3, 0.9) / (1 + np.exp(np.clip((d - 1) * edge, -40, 40))))[
                ..., None
            ]
            out = out * (1 - alpha) + colour() * 2 * alpha
    elif kind == 2:  # a flower
        cx, cy, n = rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5), int(rng.integers(5, 24))
        r, a = np.hypot(x - cx, y - cy), np.arctan2(y - cy, x - cx)
        petal = np.abs(np.cos(a * n / 2 + rng.uniform(0, 6))) * rng.uniform(0.3, 0.9)
        heart = rng.uniform(0.05, 0.2)
        alpha = (r < petal)[..., None] * np.float32(1.0)
        shade = (0.5 + 0.5 * np.cos(a * n))[..., None]
        out = out * (1 - alpha) + alpha * (colour() * 2 * shade + colour() * (1 - shade))
        out = np.where((r < heart)[..., None], colour() * 2, out)
    elif kind == 3:  # blades
        for _ in range(int(rng.integers(4, 30))):
            p = rng.uniform(-0.7, 0.7, 4) * np.array([w, h, w, h]) + np.array([w, h, w, h]) / 2
            c = colour() * 2
            cv2.line(out, (int(p[0]), int(p[1])), (int(p[2]), int(p[3])),
                     [float(v) for v in c], int(rng.integers(2, 30)))  # fmt: skip
    else:  # bark, sand
        for k in range(5):
            n = 3 * 2**k
            grain = rng.normal(0.0, 0.35, (n, n)).astype(np.float32)
            out *= np.exp(cv2.resize(grain, (w, h), interpolation=cv2.INTER_CUBIC))[..., None]
    if kind >= 2:
        soft = float(np.exp(rng.uniform(np.log(0.8), np.log(25.0)))) * w / 480
        out = cv2.GaussianBlur(out, (0, 0), soft)
    return np.ascontiguousarray(out, np.float32)


def balls_on(light: Light, clear: Array, rng: np.random.Generator) -> Light:
    """Add drops, buds and berries where they don't lie on an eye."""
    h, w = light.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    for _ in range(int(rng.integers(1, 6))):
        r = float(np.exp(rng.uniform(np.log(0.008), np.log(0.09)))) * w
        cx, cy = rng.uniform(0, w), rng.uniform(0, h)
        if any(np.hypot(cx - e[0], cy - e[1]) < 1.4 * e[2] + r for e in clear if e[3] > 0):
            continue
        dx, dy = (x - cx) / r, (y - cy) / r * rng.uniform(0.8, 1.25)
        d2 = dx**2 + dy**2
        z = np.sqrt(np.clip(1 - d2, 0.0, 1.0))
        soft = float(np.exp(rng.uniform(np.log(0.7), np.log(6.0))))
        alpha = (d2 < 1).astype(np.float32) * float(rng.choice(np.array([0.4, 0.9, 1.0])))
        shade = 0.15 + 0.85 * np.clip(-0.4 * dx - 0.6 * dy + 0.7 * z, 0.0, 1.0)
        glint = np.exp(-((dx + 0.35) ** 2 + (dy + 0.4) ** 2) / rng.uniform(0.005, 0.05))
        ball = tint(rng, 0.02, 0.8) * shade[..., None] + (glint * rng.uniform(0, 0.8))[..., None]
        layer = np.dstack([ball * alpha[..., None], alpha]).astype(np.float32)
        layer = cv2.GaussianBlur(layer, (0, 0), soft)
        light = light * (1 - layer[..., 3:]) + layer[..., :3]
    return np.asarray(light, np.float32)


def blades_before(rng: np.random.Generator, h: int, w: int) -> Light:
    """Draw blades and stalks between lens and animal: colour and cover (h, w, 4)."""
    layer = np.zeros((h, w, 4), np.float32)
    for _ in range(int(rng.integers(1, 4))):
        angle, wide = rng.uniform(0, np.pi), float(np.exp(rng.uniform(np.log(0.008), np.log(0.1))))
        way = np.array([np.cos(angle), np.sin(angle)]) * 1.5 * w
        side = np.array([-np.sin(angle), np.cos(angle)]) * wide * w / 2
        middle = np.array([rng.uniform(0.1, 0.9) * w, rng.uniform(0.1, 0.9) * h])
        taper = rng.uniform(0.5, 1.5)
        corners = np.array([
            middle - way - side, middle - way + side, middle + way + taper * side,
            middle + way - taper * side,
        ])  # fmt: skip
        colour = [float(c) for c in tint(rng, 0.02, 0.7)]
        one = np.zeros((h, w, 4), np.float32)
        cv2.fillConvexPoly(one, np.round(corners * 8).astype(np.int32), [*colour, 1.0],
                           cv2.LINE_8, 3)  # fmt: skip
        one = cv2.GaussianBlur(one, (0, 0), float(np.exp(rng.uniform(np.log(0.7), np.log(8.0)))))
        layer = layer * (1 - one[..., 3:]) + one
    return np.asarray(layer, np.float32)
