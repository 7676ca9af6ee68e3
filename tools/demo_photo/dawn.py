"""First light: a sculler in the mist."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from demo_photo.brush import (
    CHANCE,
    FINE,
    HEIGHT,
    WATER_Y,
    WIDTH,
    XX,
    YY,
    Grey,
    Stroke,
    lay,
    mask,
    noise,
    reflect,
    strokes,
)


def dawn() -> Grey:
    """Return a sculler in the mist at sunrise."""
    glow = np.exp(-(np.hypot((XX - 1120) / 520, (YY - 470) / 330) ** 1.5))
    picture = (
        0.62
        + 0.30 * glow
        - 0.14 * np.clip((300 - YY) / 300, 0, 1)
        + 0.02 * np.tanh(noise(grain_x=700, grain_y=70, octaves=5))
    )
    sun = np.clip((52 - np.hypot(XX - 1120, YY - 452)) / 3 + 0.5, 0, 1)
    picture = lay(np.asarray(picture, np.float32), np.asarray(sun, np.float32), 1.05)
    for base, height, tone, grain in ((706, 118, 0.66, 260), (716, 150, 0.52, 190), (728, 96, 0.36, 130)):
        edge = noise(grain_x=grain, grain_y=grain * 0.7, octaves=7, fall=0.74)
        profile = ndimage.gaussian_filter1d(edge[HEIGHT], 2)
        lift = np.clip(np.abs(XX - 1080) / 620, 0.12, 1.25)
        rise = base - height * lift * (0.85 + 0.20 * profile)
        mist = np.clip((YY - rise) / (base - rise + 1), 0, 1) ** 1.6
        inside = np.clip((YY - rise + 6 * edge) / 3, 0, 1) * (YY < WATER_Y + 4)
        picture = lay(
            picture,
            np.asarray(inside, np.float32),
            np.asarray(tone + 0.02 * edge + (0.74 - tone) * 0.8 * mist + 0.10 * glow, np.float32),
        )
    picture = reflect(picture)
    veil = np.exp(-(((YY - WATER_Y - 6) / 34) ** 2)) * (0.5 + 0.16 * np.tanh(noise(grain_x=420, grain_y=40, octaves=4)))
    picture = lay(picture, np.asarray(np.clip(veil, 0, 0.8), np.float32), 0.76)
    return reeds(sculler(picture, 640, 872))


def sculler(picture: Grey, x: float, y: float) -> Grey:
    """Paint a single sculler against the light, with the reflection."""
    hull = [
        (x - 330, y - 4),
        (x - 200, y - 13),
        (x - 60, y - 17),
        (x + 60, y - 17),
        (x + 210, y - 12),
        (x + 340, y - 3),
        (x + 200, y + 4),
        (x - 200, y + 4),
    ]
    back = [
        (x - 34, y - 14),
        (x - 52, y - 50),
        (x - 62, y - 88),
        (x - 56, y - 112),
        (x - 34, y - 118),
        (x - 18, y - 104),
        (x - 16, y - 70),
        (x - 2, y - 14),
    ]
    arm = [
        (x - 46, y - 108),
        (x - 30, y - 110),
        (x + 22, y - 72),
        (x + 66, y - 60),
        (x + 68, y - 50),
        (x + 14, y - 60),
        (x - 40, y - 90),
    ]
    legs = [
        (x - 22, y - 14),
        (x + 8, y - 42),
        (x + 34, y - 52),
        (x + 74, y - 22),
        (x + 84, y - 10),
        (x + 62, y - 8),
        (x + 32, y - 30),
        (x + 4, y - 12),
    ]
    t = np.linspace(0, 2 * np.pi, 40)
    head = [(float(x - 40 + 17 * np.cos(a)), float(y - 139 + 21 * np.sin(a))) for a in t]
    neck = [(x - 50, y - 124), (x - 32, y - 126), (x - 30, y - 108), (x - 52, y - 108)]
    cap = [
        (x - 58, y - 146),
        (x - 52, y - 160),
        (x - 36, y - 164),
        (x - 24, y - 154),
        (x - 10, y - 147),
        (x - 26, y - 144),
    ]
    blade = [(x - 196, y + 6), (x - 262, y + 12), (x - 268, y + 24), (x - 200, y + 13)]
    oar = [(x + 68, y - 57), (x + 68, y - 51), (x - 200, y + 12), (x - 200, y + 7)]
    far = [(x + 60, y - 56), (x + 60, y - 52), (x - 118, y - 26), (x - 118, y - 29)]
    rig = strokes([((x - 10, y - 14), (x + 4, y - 40), 4), ((x + 40, y - 14), (x + 4, y - 40), 4)])
    shape = np.clip(mask(hull, back, arm, legs, head, neck, cap, blade, oar, far, soft=0.8) + rig, 0, 1)
    wobble = 5.5 * np.sin(YY / 4.3 + 1.3 * np.sin(XX / 47)) * np.clip((YY - y) / 60, 0.15, 1.6)
    mirrored = ndimage.map_coordinates(
        shape,
        [np.clip((2 * y + 8 - YY) * FINE, 0, HEIGHT * FINE - 1), np.clip(XX + wobble, 0, WIDTH - 1) * FINE],
        order=1,
    ) * (y + 4 < YY)
    picture = lay(picture, np.asarray(ndimage.gaussian_filter(mirrored, 2.2) * 0.66, np.float32), 0.16)
    rings = np.zeros_like(picture)
    for cx, size in ((x - 232, 1.0), (x - 20, 0.8), (x + 214, 0.62), (x + 430, 0.45)):
        r = np.hypot((XX - cx) / (92 * size), (YY - y - 18) / (15 * size))
        rings += np.asarray(np.cos(r * 9.5) * np.exp(-((r - 0.55) ** 2) * 4.5), np.float32) * (y + 2 < YY)
    picture = np.asarray(picture + 0.13 * rings, np.float32)
    return lay(picture, np.asarray(shape, np.float32), 0.07)


def reeds(picture: Grey) -> Grey:
    """Paint reeds in the near corner, out of focus."""
    lines: list[Stroke] = []
    spikes: list[Stroke] = []
    for _ in range(95):
        foot = CHANCE.uniform(-40, 330) if CHANCE.random() < 0.72 else CHANCE.uniform(1330, 1640)
        tall, lean = CHANCE.uniform(150, 430), CHANCE.uniform(-60, 90)
        previous = (foot, 1110.0)
        for k in range(1, 13):
            u = k / 12
            here = (foot + lean * u**2.2, 1110 - tall * u * (1 - 0.10 * u * abs(lean) / 60))
            lines.append((previous, here, 5.2 * (1 - u) ** 0.8 + 0.8))
            previous = here
        if CHANCE.random() < 0.16:
            spikes.append((previous, (previous[0] + lean * 0.08, previous[1] - 42), 8.5))
    soft = ndimage.gaussian_filter(np.clip(strokes(lines) + strokes(spikes), 0, 1), 2.0)
    return lay(picture, np.asarray(soft * 0.94, np.float32), 0.08)
