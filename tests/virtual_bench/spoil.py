"""What goes wrong in photographs: shine, shadow, fingers, shaking; and pictures of something else altogether."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
Picture = NDArray[np.uint8]


def glare(spot: tuple[float, float, float, float], x: Any, y: Any) -> Any:
    """Light that a shiny place adds: x, y, radius [mm], strength (1 is a perfect white)."""
    gx, gy, radius, strength = spot
    far = ((x - gx) / radius) ** 2 + ((y - gy) / (0.7 * radius)) ** 2
    return np.float32(strength) * np.exp(-0.5 * far**1.3)


def hard_shadow(edge: tuple[float, float, float, float], x: Any, y: Any) -> Any:
    """Light left on the dark side of a straight edge through x, y; the direction points into the dark, half a mm soft."""
    ex, ey, towards, left = edge
    a = np.deg2rad(towards)
    across = (x - ex) * np.cos(a) + (y - ey) * np.sin(a)
    return 1.0 - (1.0 - left) * (0.5 + 0.5 * np.tanh(across / 0.5))


def finger(picture: Float32, corners_px: FloatArray, rng: np.random.Generator) -> None:
    """Lay a fingertip over a marker, from the nearest edge of the picture."""
    rows, columns = picture.shape[:2]
    tip = corners_px.mean(axis=0)
    side = float(np.linalg.norm(corners_px[0] - corners_px[1]))
    ways = {"left": tip[0], "right": columns - tip[0], "top": tip[1], "bottom": rows - tip[1]}
    way = min(ways, key=lambda k: ways[k])
    lean = rng.uniform(-0.5, 0.5)
    start = {
        "left": (-2.0 * side, tip[1] + lean * side),
        "right": (columns + 2.0 * side, tip[1] + lean * side),
        "top": (tip[0] + lean * side, -2.0 * side),
        "bottom": (tip[0] + lean * side, rows + 2.0 * side),
    }[way]
    a, b = (
        np.array(start),
        tip + 0.2 * (tip - np.array(start)) / max(1.0, float(np.linalg.norm(tip - np.array(start)))) * side,
    )
    radius = 0.62 * side
    x, y = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    along = b - a
    t = np.clip(((x - a[0]) * along[0] + (y - a[1]) * along[1]) / float(along @ along), 0.0, 1.0)
    far = np.sqrt((x - a[0] - t * along[0]) ** 2 + (y - a[1] - t * along[1]) ** 2) / np.float32(radius)
    picture *= (1.0 - 0.45 * np.exp(-np.maximum(far - 1.0, 0.0) * 5.0))[..., None]
    body = np.clip((1.0 - far) * radius / 2.0, 0.0, 1.0)[..., None]
    round_ = (0.55 + 0.45 * np.sqrt(np.clip(1.0 - far**2, 0.0, 1.0)))[..., None]
    skin = np.array([0.52, 0.28, 0.19], np.float32) * np.float32(rng.uniform(0.4, 1.1))
    picture += (round_ * skin - picture) * body


def moved(picture: Float32, length_px: float, towards_deg: float) -> Float32:
    """A shaken picture."""
    n = int(np.ceil(length_px)) | 1
    kernel = np.zeros((n, n), np.float32)
    a, half = np.deg2rad(towards_deg), 0.5 * (n - 1)
    ends = [(round(half + s * half * np.cos(a)), round(half + s * half * np.sin(a))) for s in (-1.0, 1.0)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 1, cv2.LINE_AA)
    return np.asarray(cv2.filter2D(picture, -1, kernel / kernel.sum()), np.float32)


def defocused(picture: Float32, radius_px: float) -> Float32:
    """A picture out of focus: every point a disc."""
    n = int(np.ceil(radius_px))
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    disc = np.clip(radius_px + 0.5 - np.hypot(x, y), 0.0, 1.0).astype(np.float32)
    return np.asarray(cv2.filter2D(picture, -1, disc / disc.sum()), np.float32)


def something_else(kind: str, *, seed: int = 0, size_px: tuple[int, int] = (4000, 3000)) -> Picture:
    """A photograph that shows no mat: "desk", "text", "checks", "night" or "tiny" (2 by 2 pixels)."""
    rng = np.random.default_rng([seed, 99])
    wide, high = size_px
    if kind == "tiny":
        return rng.integers(0, 256, (2, 2, 3)).astype(np.uint8)
    small = (high // 4, wide // 4)
    field = cv2.GaussianBlur(rng.standard_normal(small).astype(np.float32), (0, 0), sigmaX=60.0, sigmaY=3.0)
    base = np.array([120.0, 92.0, 66.0]) + 14.0 * (field / field.std())[..., None]
    if kind == "night":
        base = base * 0.06
    elif kind == "text":
        base[:] = 232.0
        for line in range(40, small[0] - 40, 22):
            x = 60
            while x < small[1] - 120:
                w = int(rng.integers(8, 46))
                base[line : line + 9, x : x + w] = 60.0
                x += w + 7
    elif kind == "checks":
        y, x = np.mgrid[0 : small[0], 0 : small[1]]
        base = np.where((((x // 50) + (y // 50)) % 2)[..., None] > 0, 225.0, 35.0) * np.ones(3)
    canvas = np.clip(base, 0, 255).astype(np.uint8).copy()
    if kind == "desk":
        for _ in range(9):
            centre = (int(rng.integers(0, small[1])), int(rng.integers(0, small[0])))
            colour = tuple(int(v) for v in rng.integers(30, 230, 3))
            if rng.random() < 0.5:
                cv2.circle(canvas, centre, int(rng.integers(30, 110)), colour, -1, cv2.LINE_AA)
            else:
                box = cv2.boxPoints(
                    (centre, (float(rng.integers(60, 260)), float(rng.integers(40, 160))), float(rng.integers(0, 90)))
                )
                cv2.fillConvexPoly(canvas, box.astype(np.int32), colour, cv2.LINE_AA)
    big = cv2.resize(canvas, (wide, high), interpolation=cv2.INTER_CUBIC)
    noise = rng.standard_normal((512, 512, 3), dtype=np.float32) * 2.0
    tiles = np.tile(noise, (high // 512 + 1, wide // 512 + 1, 1))[:high, :wide]
    return np.asarray(np.clip(big + tiles, 0, 255), np.uint8)


def screenshot(inside: Picture, *, size_px: tuple[int, int] = (1170, 2532)) -> Picture:
    """A phone's screen that shows a picture, between two plain bars."""
    wide, high = size_px
    screen = np.full((high, wide, 3), 18, np.uint8)
    scale = min(wide / inside.shape[1], 0.8 * high / inside.shape[0])
    small = cv2.resize(inside, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    r, c = (high - small.shape[0]) // 2, (wide - small.shape[1]) // 2
    screen[r : r + small.shape[0], c : c + small.shape[1]] = small
    for n in range(4):
        cv2.circle(screen, (wide * (2 * n + 1) // 8, high - 90), 24, (200, 200, 200), 4, cv2.LINE_AA)
    cv2.putText(screen, "9:41", (70, 80), cv2.FONT_HERSHEY_SIMPLEX, 1.4, (240, 240, 240), 3, cv2.LINE_AA)
    return screen
