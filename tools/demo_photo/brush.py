"""Paint by numbers: tones from 0 to 1 on a plate of 1600 x 1100 pixels, worked at twice that."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage

Grey = NDArray[np.floating[Any]]
Spot = tuple[float, float]
Stroke = tuple[Spot, Spot, float]

WIDTH, HEIGHT, FINE = 1600, 1100, 2
WATER_Y = 728.0
CHANCE = np.random.default_rng(1911)
YY, XX = np.mgrid[0 : HEIGHT * FINE, 0 : WIDTH * FINE].astype(np.float32) / FINE


def noise(*, grain_x: float, grain_y: float, octaves: int = 5, fall: float = 0.55) -> Grey:
    """Return fractal noise over the plate, mean 0, deviation 1; the first grain is in pixels."""
    total = np.zeros((HEIGHT * FINE, WIDTH * FINE), np.float32)
    for k in range(octaves):
        h = max(4, int(HEIGHT / grain_y * 2**k) + 3)
        w = max(4, int(WIDTH / grain_x * 2**k) + 3)
        if h > HEIGHT * FINE or w > WIDTH * FINE:
            break
        coarse = Image.fromarray(CHANCE.standard_normal((h, w)).astype(np.float32))
        total += fall**k * np.asarray(coarse.resize((WIDTH * FINE, HEIGHT * FINE), Image.Resampling.BICUBIC))
    return np.asarray((total - total.mean()) / total.std(), dtype=np.float32)


def mask(*polygons: Sequence[Spot], soft: float = 0.0) -> Grey:
    """Return 1 inside polygons given in plate pixels."""
    image = Image.new("L", (WIDTH * FINE, HEIGHT * FINE))
    for polygon in polygons:
        ImageDraw.Draw(image).polygon([(x * FINE, y * FINE) for x, y in polygon], fill=255)
    made = np.asarray(image, np.float32) / 255
    return np.asarray(ndimage.gaussian_filter(made, soft * FINE), np.float32) if soft else made


def strokes(lines: Sequence[Stroke]) -> Grey:
    """Return 1 on straight lines (from, to, width)."""
    image = Image.new("L", (WIDTH * FINE, HEIGHT * FINE))
    pen = ImageDraw.Draw(image)
    for (x0, y0), (x1, y1), width in lines:
        pen.line([x0 * FINE, y0 * FINE, x1 * FINE, y1 * FINE], fill=255, width=max(1, round(width * FINE)))
    return np.asarray(image, np.float32) / 255


def lay(under: Grey, shape: Grey, tone: Grey | float) -> Grey:
    """Return the picture with a tone laid where the shape is 1."""
    return np.asarray(under * (1 - shape) + shape * tone, dtype=np.float32)


def crown(
    picture: Grey,
    middle: Spot,
    size: Spot,
    *,
    leaves: int,
    lit: float,
    dark: float,
    leaf: float,
) -> Grey:
    """Paint one tree's leaves, clump by clump, the light from the upper left."""
    image = Image.fromarray(np.uint8(np.clip(picture, 0, 1) * 255))
    pen = ImageDraw.Draw(image)
    clumps = int(leaves / 130)
    v = CHANCE.standard_normal((clumps, 3))
    v *= (CHANCE.uniform(0.2, 1.25, (clumps, 1)) ** 0.5) / np.linalg.norm(v, axis=1, keepdims=True)
    order = np.argsort(v[:, 2])
    light = np.array([-0.55, -0.68, 0.48])
    for c in v[order]:
        radius = CHANCE.uniform(0.10, 0.24)
        o = CHANCE.standard_normal((130, 3))
        o *= (
            (np.minimum(np.linalg.norm(o, axis=1, keepdims=True), 1.7) / np.linalg.norm(o, axis=1, keepdims=True))
            * radius
            * np.array([1.0, 0.72, 1.0])
        )
        clump_light = np.clip(0.5 + 0.5 * (c @ light) + 0.12 * CHANCE.standard_normal(), 0, 1)
        for q in o[np.argsort(o[:, 2])]:
            x, y = middle[0] + size[0] * (c[0] + q[0]), middle[1] + size[1] * (c[1] + q[1])
            face = np.clip(0.45 + 0.55 * (q @ light) / radius / 1.3, 0, 1)
            tone = dark + (lit - dark) * (0.5 * clump_light + 0.5 * face) * (0.75 + 0.5 * CHANCE.random())
            r = leaf * CHANCE.uniform(0.5, 1.3)
            pen.ellipse(
                [(x - r * 1.2) * FINE, (y - r * 0.7) * FINE, (x + r * 1.2) * FINE, (y + r * 0.7) * FINE],
                fill=int(np.clip(tone, 0, 1) * 255),
            )
    painted = np.asarray(image, np.float32) / 255
    leafy = ndimage.gaussian_filter((np.abs(painted - picture) > 0.006).astype(np.float32), 1.5)
    return lay(picture, leafy, ndimage.gaussian_filter(painted, 0.9))


def trunk(picture: Grey, foot: Spot, top: Spot, width: float, tone: float) -> Grey:
    """Paint a trunk that forks."""
    lines: list[Stroke] = []

    def grow(a: Spot, b: Spot, w: float, depth: int) -> None:
        lines.append((a, b, w))
        if depth:
            for side in (-1, 1):
                d = np.array(b) - np.array(a)
                turn = side * CHANCE.uniform(0.25, 0.6)
                e = np.array(
                    [d[0] * np.cos(turn) - d[1] * np.sin(turn), d[0] * np.sin(turn) + d[1] * np.cos(turn)]
                ) * CHANCE.uniform(0.6, 0.8)
                grow(b, (b[0] + e[0], b[1] + e[1]), w * 0.62, depth - 1)

    grow(foot, top, width, 3)
    return lay(picture, strokes(lines), tone)


def reflect(scene: Grey) -> Grey:
    """Return the plate with the river below the waterline: the scene upside down, stirred, darker when near."""
    depth = np.clip(YY - WATER_Y, 0, None)
    near = 1 / (depth + 26)
    tile = CHANCE.standard_normal((512, 512)).astype(np.float32)
    total_x, total_y = np.zeros_like(scene), np.zeros_like(scene)
    for k, sigma in enumerate((1.6, 3.2, 7.0)):
        smooth = ndimage.gaussian_filter(tile, (sigma, sigma * 2.2), mode="wrap")
        smooth /= smooth.std()
        wx, wz = (XX - 800) * near * 95 + 40 * k, near * 26000 + 11 * k
        weight = (0.5, 0.8, 1.0)[k]
        total_y += weight * ndimage.map_coordinates(smooth, [wz % 512, wx % 512], order=1, mode="wrap")
        total_x += weight * ndimage.map_coordinates(smooth, [(wz + 200) % 512, (wx + 90) % 512], order=1, mode="wrap")
    reach = 1.0 + 0.058 * depth
    src_y = np.clip(WATER_Y - depth * 1.02 - np.abs(total_y) * reach * 1.9 + reach, 0, WATER_Y - 1)
    src_x = XX + total_x * reach * 0.32
    seen = ndimage.map_coordinates(scene, [src_y * FINE, np.clip(src_x, 0, WIDTH - 1) * FINE], order=1)
    streak = noise(grain_x=260, grain_y=9, octaves=4)
    water = 0.055 + seen * (0.80 - 0.00052 * depth) - 0.012 * total_y + 0.015 * streak
    breeze = np.clip(noise(grain_x=900, grain_y=22, octaves=3) - 0.85, 0, 1) * np.clip(depth / 40, 0, 1)
    water = water + breeze * 0.10
    below = np.clip((YY - WATER_Y) / 1.2, 0, 1)
    return lay(scene, np.asarray(below, np.float32), np.asarray(water - 0.09 * np.exp(-depth / 5), np.float32))


def plate(picture: Grey, *, width: int, height: int) -> NDArray[np.uint8]:
    """Return what the lens, the plate and a hundred years made of it."""
    small = np.asarray(Image.fromarray(picture.astype(np.float32)).resize((width, height), Image.Resampling.BOX))
    y, x = np.mgrid[0:height, 0:width]
    off = np.hypot(2 * x / width - 1, 2 * y / height - 1)
    sharp, soft = ndimage.gaussian_filter(small, 0.75), ndimage.gaussian_filter(small, 2.3)
    mix = np.clip((off - 0.55) / 0.8, 0, 1)
    seen = sharp * (1 - mix) + soft * mix
    seen = 0.90 * seen + 0.10 * ndimage.gaussian_filter(np.clip(seen - 0.35, 0, 1) * 1.4, 16)
    seen = seen * (1 - 0.20 * np.clip(off - 0.35, 0, 2) ** 1.7)
    seen = 0.04 + 0.93 / (1 + np.exp(-(seen - 0.45) * 6.0))
    grain = ndimage.gaussian_filter(CHANCE.standard_normal((height, width)), 0.8)
    seen = seen + grain / grain.std() * (0.006 + 0.015 * np.sqrt(np.clip(seen * (1 - seen), 0, 1)))
    stain = ndimage.gaussian_filter(CHANCE.standard_normal((height, width)), 130)
    seen = seen + 0.012 * stain / stain.std()
    marks = Image.new("L", (width * 2, height * 2))
    pen = ImageDraw.Draw(marks)
    for _ in range(46):
        cx, cy, r = CHANCE.uniform(0, width * 2), CHANCE.uniform(0, height * 2), CHANCE.uniform(0.8, 3.0)
        pen.ellipse([cx - r, cy - r, cx + r, cy + r], fill=int(CHANCE.uniform(70, 200)))
    for _ in range(2):
        x0, y0 = CHANCE.uniform(0, width * 2), CHANCE.uniform(0, height)
        pen.line([x0, y0, x0 + CHANCE.uniform(-16, 16), y0 + CHANCE.uniform(400, 900)], fill=60, width=2)
    dust = np.asarray(marks.resize((width, height), Image.Resampling.BOX), np.float32) / 255
    seen = seen * (1 - dust) + dust * 0.93
    return np.asarray(np.clip(seen, 0, 1) * 255, np.uint8)
