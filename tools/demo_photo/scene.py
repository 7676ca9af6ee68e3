"""The boathouse in 1911: sky, trees, bank, people, skiff."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from demo_photo.brush import HEIGHT, WATER_Y, WIDTH, XX, YY, Grey, crown, lay, mask, noise, reflect, strokes, trunk
from demo_photo.house import boathouse


def boathouse_in_1911() -> Grey:
    """Return the scene, before lens and plate."""
    picture = sky_and_far_bank()
    for foot, top, width, crowns in (
        (
            (270, 705),
            (262, 560),
            26,
            (
                ((255, 400), (190, 205), 95000),
                ((95, 520), (120, 130), 36000),
                ((165, 330), (110, 110), 30000),
                ((340, 400), (115, 130), 34000),
                ((330, 520), (100, 95), 22000),
            ),
        ),
        (
            (930, 690),
            (936, 575),
            20,
            (
                ((945, 385), (150, 150), 60000),
                ((870, 330), (80, 80), 20000),
                ((1075, 455), (115, 115), 40000),
                ((1020, 340), (90, 75), 24000),
            ),
        ),
    ):
        picture = trunk(picture, foot, top, width, 0.15)
        for middle, size, leaves in crowns:
            picture = crown(picture, middle, size, leaves=leaves, lit=0.56, dark=0.07, leaf=1.6)
    picture = boathouse(picture)
    picture = shore(picture)
    for middle, size, leaves in (
        ((70, 668), (135, 62), 26000),
        ((330, 688), (95, 28), 9000),
        ((1105, 690), (70, 22), 7000),
        ((1420, 672), (210, 48), 30000),
        ((1560, 640), (120, 70), 20000),
    ):
        picture = crown(picture, middle, size, leaves=leaves, lit=0.50, dark=0.08, leaf=1.7)
    for x, y, tall, jacket, oar in (
        (566, 712, 84, 0.80, True),
        (676, 709, 82, 0.22, False),
        (1136, 708, 84, 0.24, False),
    ):
        picture = person(picture, x, y, tall=tall, jacket=jacket, oar=oar)
    picture = np.asarray(np.where(YY > WATER_Y, 0.2, picture), np.float32)
    picture = reflect(picture)
    return skiff(picture, 1010, 776, 250)


def sky_and_far_bank() -> Grey:
    """Paint the sky and the far trees in the haze."""
    cloud = noise(grain_x=520, grain_y=210, octaves=7)
    picture = 0.86 - 0.10 * (1 - YY / 700) + 0.035 * np.tanh(cloud) + 0.02 * (XX / WIDTH)
    for base, height, tone, grain in ((690, 62, 0.70, 190), (696, 84, 0.58, 150), (704, 60, 0.46, 100)):
        edge = noise(grain_x=grain, grain_y=grain * 0.8, octaves=6, fall=0.62)
        profile = ndimage.gaussian_filter1d(edge[HEIGHT], 3)
        rise = base - height * (0.55 + 0.30 * profile) - 70 * np.clip((XX - 1150) / 450, 0, 1) ** 1.3
        inside = np.clip((YY - rise + 7 * edge) / 3, 0, 1)
        picture = lay(
            picture,
            np.asarray(inside, np.float32),
            np.asarray(tone + 0.045 * edge + 0.05 * (YY - rise) / 90, np.float32),
        )
    return np.asarray(picture, np.float32)


def person(picture: Grey, x: float, y: float, *, tall: float, jacket: float, oar: bool = False) -> Grey:
    """Paint a standing rower in a straw hat."""
    s = tall / 100
    at = [
        (x - 8 * s, y),
        (x - 9 * s, y - 46 * s),
        (x - 1 * s, y - 48 * s),
        (x, y - 12 * s),
        (x + 1 * s, y - 48 * s),
        (x + 10 * s, y - 46 * s),
        (x + 8 * s, y),
    ]
    picture = lay(picture, mask(at, soft=0.7), 0.74)
    body = [
        (x - 12 * s, y - 44 * s),
        (x - 14 * s, y - 76 * s),
        (x - 5 * s, y - 82 * s),
        (x + 5 * s, y - 82 * s),
        (x + 14 * s, y - 76 * s),
        (x + 12 * s, y - 44 * s),
    ]
    picture = lay(
        picture, mask(body, soft=0.8), np.asarray(jacket - 0.12 * np.clip((XX - x) / (14 * s), -1, 1), np.float32)
    )
    arms = [
        ((x - 13 * s, y - 75 * s), (x - 16 * s, y - 47 * s), 6 * s),
        ((x + 13 * s, y - 75 * s), (x + 19 * s, y - 58 * s) if oar else (x + 16 * s, y - 47 * s), 6 * s),
    ]
    picture = lay(picture, ndimage.gaussian_filter(strokes(arms), 1.2), jacket - 0.10)
    if oar:
        picture = lay(picture, strokes([((x + 20 * s, y + 2), (x + 21 * s, y - 122 * s), 3.2 * s)]), 0.60)
        picture = lay(
            picture,
            mask(
                [
                    (x + 17 * s, y - 122 * s),
                    (x + 16 * s, y - 157 * s),
                    (x + 26 * s, y - 157 * s),
                    (x + 25 * s, y - 122 * s),
                ],
                soft=0.8,
            ),
            0.78,
        )
    picture = lay(
        picture, np.asarray(np.clip(6.6 * s - np.hypot(XX - x, (YY - y + 90 * s) * 0.85) + 0.5, 0, 1), np.float32), 0.50
    )
    hat = [
        (x - 11 * s, y - 94 * s),
        (x - 6 * s, y - 95 * s),
        (x - 6 * s, y - 101 * s),
        (x + 6 * s, y - 101 * s),
        (x + 6 * s, y - 95 * s),
        (x + 11 * s, y - 94 * s),
        (x + 11 * s, y - 92 * s),
        (x - 11 * s, y - 92 * s),
    ]
    picture = lay(picture, mask(hat, soft=0.5), 0.84)
    return lay(picture, strokes([((x - 6 * s, y - 96 * s), (x + 6 * s, y - 96 * s), 2.2 * s)]), 0.25)


def shore(picture: Grey) -> Grey:
    """Paint grass, slipway and jetty down to the water."""
    rough = noise(grain_x=60, grain_y=26, octaves=6, fall=0.75)
    blades = noise(grain_x=5, grain_y=34, octaves=3)
    top = 692 + 4 * rough[HEIGHT][None, :]
    grass = np.clip((YY - top) / 3, 0, 1) * (WATER_Y + 2 * rough[HEIGHT + 60][None, :] > YY)
    picture = lay(
        picture,
        np.asarray(grass, np.float32),
        np.asarray(0.30 + 0.06 * rough + 0.055 * blades - 0.0035 * (YY - 692), np.float32),
    )
    slip = mask([(436, 697), (784, 697), (842, WATER_Y + 1), (386, WATER_Y + 1)])
    row = (YY - 697) / 5.2
    picture = lay(
        picture,
        slip,
        np.asarray(0.60 - 0.22 * (row - np.floor(row) < 0.22) + 0.03 * rough - 0.006 * (YY - 697), np.float32),
    )
    picture = lay(
        picture,
        mask([(860, 702), (1270, 702), (1290, 713), (850, 713)]),
        np.asarray(0.70 - 0.16 * ((XX % 13) < 1.5) + 0.03 * rough, np.float32),
    )
    picture = lay(picture, mask([(850, 713), (1290, 713), (1290, 719), (850, 719)]), 0.24)
    posts = [
        ((x, 700 - (16 if k % 2 else 0)), (x, WATER_Y), 8.0)
        for k, x in enumerate((866, 940, 1014, 1088, 1162, 1236, 1280))
    ]
    return lay(picture, strokes(posts), np.asarray(0.26 + 0.05 * blades, np.float32))


def skiff(picture: Grey, x: float, y: float, length: float) -> Grey:
    """Paint a moored skiff with its reflection."""
    a, b = x, x + length
    u = np.clip((XX - a) / length, 0, 1)
    sheer = y - 25 - 18 * (2 * u - 0.96) ** 2 * 1.5
    keel = y - 17 * np.abs(2 * u - 1) ** 7
    wobble = 1.2 * np.sin(YY / 2.1 + XX / 31) * (y < YY)
    mirrored = y + (y - YY) * 1.0
    for row, dim in ((mirrored + wobble, 0.5), (YY, 1.0)):
        inside = ((a < XX) & (b > XX) & (row > sheer) & (row < keel)).astype(np.float32)
        plank = (row - sheer) / np.maximum(keel - sheer, 1) * 4
        tone = 0.62 - 0.22 * (plank - np.floor(plank) < 0.16) - 0.055 * plank - 0.18 * u
        picture = lay(
            picture, ndimage.gaussian_filter(inside, 1.2), np.asarray(tone * dim + (1 - dim) * 0.14, np.float32)
        )
        rail = ((a < XX) & (b > XX) & (np.abs(row - sheer) < 2.6)).astype(np.float32)
        picture = lay(picture, ndimage.gaussian_filter(rail, 1.0), 0.84 * dim)
        well = ((a + 16 < XX) & (b - 14 > XX) & (row < sheer - 2.2) & (row > sheer - 8 * np.sin(np.pi * u) - 1)).astype(
            np.float32
        )
        picture = lay(picture, ndimage.gaussian_filter(well, 1.0), 0.13 * dim + 0.04)
    shade = np.exp(-(((YY - y - 3) / 3.5) ** 2)) * ((a + 22 < XX) & (b - 16 > XX))
    return lay(picture, np.asarray(shade * 0.7, np.float32), 0.07)
