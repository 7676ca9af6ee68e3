"""Render `boathouse.jpg` and `starter.jpg` (a part, larger) of the demo batch: an invented boathouse on an invented river, as a plate camera of 1911 saw it.

    python tools/make_demo_photo.py [--to FOLDER]

Everything is computed from a fixed seed; no photograph goes in.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

Grey = NDArray[np.float32]
WIDTH, HEIGHT, FINE = 1600, 1100, 2
STARTER = (884, 486, 1404, 876)
WATER_Y, HORIZON_Y, FAR_X = 728.0, 640.0, 2500.0
HOME = Path(__file__).resolve().parent.parent / "src" / "evenburn" / "assets" / "demo" / "art"
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


def mask(*polygons: list[tuple[float, float]], soft: float = 0.0) -> Grey:
    """Return 1 inside polygons given in plate pixels."""
    image = Image.new("L", (WIDTH * FINE, HEIGHT * FINE))
    for polygon in polygons:
        ImageDraw.Draw(image).polygon([(x * FINE, y * FINE) for x, y in polygon], fill=255)
    made = np.asarray(image, np.float32) / 255
    return ndimage.gaussian_filter(made, soft * FINE) if soft else made


def strokes(lines: list[tuple[tuple[float, float], tuple[float, float], float]]) -> Grey:
    """Return 1 on straight lines (from, to, width)."""
    image = Image.new("L", (WIDTH * FINE, HEIGHT * FINE))
    pen = ImageDraw.Draw(image)
    for (x0, y0), (x1, y1), width in lines:
        pen.line([x0 * FINE, y0 * FINE, x1 * FINE, y1 * FINE], fill=255, width=max(1, round(width * FINE)))
    return np.asarray(image, np.float32) / 255


def lay(under: Grey, shape: Grey, tone: Grey | float) -> Grey:
    """Return the picture with a tone laid where the shape is 1."""
    return np.asarray(under * (1 - shape) + shape * tone, dtype=np.float32)


def crown(picture: Grey, middle: tuple[float, float], size: tuple[float, float], *, leaves: int, lit: float, dark: float, leaf: float) -> Grey:
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
        o *= (np.minimum(np.linalg.norm(o, axis=1, keepdims=True), 1.7) / np.linalg.norm(o, axis=1, keepdims=True)) * radius * np.array([1.0, 0.72, 1.0])
        clump_light = np.clip(0.5 + 0.5 * (c @ light) + 0.12 * CHANCE.standard_normal(), 0, 1)
        for q in o[np.argsort(o[:, 2])]:
            x, y = middle[0] + size[0] * (c[0] + q[0]), middle[1] + size[1] * (c[1] + q[1])
            face = np.clip(0.45 + 0.55 * (q @ light) / radius / 1.3, 0, 1)
            tone = dark + (lit - dark) * (0.5 * clump_light + 0.5 * face) * (0.75 + 0.5 * CHANCE.random())
            r = leaf * CHANCE.uniform(0.5, 1.3)
            pen.ellipse([(x - r * 1.2) * FINE, (y - r * 0.7) * FINE, (x + r * 1.2) * FINE, (y + r * 0.7) * FINE], fill=int(np.clip(tone, 0, 1) * 255))
    painted = np.asarray(image, np.float32) / 255
    leafy = ndimage.gaussian_filter((np.abs(painted - picture) > 0.006).astype(np.float32), 1.5)
    return lay(picture, leafy, ndimage.gaussian_filter(painted, 0.9))


def trunk(picture: Grey, foot: tuple[float, float], top: tuple[float, float], width: float, tone: float) -> Grey:
    """Paint a trunk that forks."""
    lines = []

    def grow(a: tuple[float, float], b: tuple[float, float], w: float, depth: int) -> None:
        lines.append((a, b, w))
        if depth:
            for side in (-1, 1):
                d = np.array(b) - np.array(a)
                turn = side * CHANCE.uniform(0.25, 0.6)
                e = np.array([d[0] * np.cos(turn) - d[1] * np.sin(turn), d[0] * np.sin(turn) + d[1] * np.cos(turn)]) * CHANCE.uniform(0.6, 0.8)
                grow(b, (b[0] + e[0], b[1] + e[1]), w * 0.62, depth - 1)

    grow(foot, top, width, 3)
    return lay(picture, strokes(lines), tone)


def sky_and_far_bank() -> Grey:
    """Paint the sky and the far trees in the haze."""
    cloud = noise(grain_x=520, grain_y=210, octaves=7)
    picture = 0.86 - 0.10 * (1 - YY / 700) + 0.035 * np.tanh(cloud) + 0.02 * (XX / WIDTH)
    for base, height, tone, grain in ((690, 62, 0.70, 190), (696, 84, 0.58, 150), (704, 60, 0.46, 100)):
        edge = noise(grain_x=grain, grain_y=grain * 0.8, octaves=6, fall=0.62)
        profile = ndimage.gaussian_filter1d(edge[HEIGHT], 3)
        rise = base - height * (0.55 + 0.30 * profile) - 70 * np.clip((XX - 1150) / 450, 0, 1) ** 1.3
        inside = np.clip((YY - rise + 7 * edge) / 3, 0, 1)
        picture = lay(picture, np.asarray(inside, np.float32), np.asarray(tone + 0.045 * edge + 0.05 * (YY - rise) / 90, np.float32))
    return np.asarray(picture, np.float32)


def receding(x0: float, y0: float, *, x: float) -> tuple[float, float]:
    """Return the point at x on the line from (x0, y0) to the vanishing point."""
    return x, y0 + (HORIZON_Y - y0) * (x - x0) / (FAR_X - x0)


def boathouse(picture: Grey) -> Grey:
    """Paint the boathouse: shaded side, roof, boarded gable, doors, balcony, flag."""
    left, right, floor, eaves, apex_y, end = 418.0, 802.0, 697.0, 468.0, 338.0, 1062.0
    mid = (left + right) / 2
    grain, blotch = noise(grain_x=90, grain_y=5, octaves=5, fall=0.8), noise(grain_x=150, grain_y=120)
    # the side in shade: boards run to the vanishing point
    side = mask([(right, eaves), receding(right, eaves, x=end), receding(right, floor, x=end), (right, floor)])
    v = (YY - HORIZON_Y) / (1 - (XX - right) / (FAR_X - right)) + HORIZON_Y
    board = (v - eaves) / 11.5
    lap = board - np.floor(board)
    wall = 0.25 + 0.02 * np.sin(np.floor(board) * 12.9) - 0.10 * (lap < 0.16) + 0.02 * grain + 0.02 * blotch
    picture = lay(picture, side, np.asarray(wall, np.float32))
    for x0, x1 in ((850, 890), (930, 966), (1000, 1032)):
        frame = mask([receding(right, 520, x=x0), receding(right, 520, x=x1), receding(right, 606, x=x1), receding(right, 606, x=x0)])
        pane = mask([receding(right, 526, x=x0 + 5), receding(right, 526, x=x1 - 5), receding(right, 600, x=x1 - 5), receding(right, 600, x=x0 + 5)])
        bars = strokes([(receding(right, 526, x=(x0 + x1) / 2), receding(right, 600, x=(x0 + x1) / 2), 3),
                        (receding(right, 562, x=x0), receding(right, 562, x=x1), 3)])
        picture = lay(lay(lay(picture, frame, 0.52), pane, np.asarray(0.12 + 0.16 * (blotch > 0.6), np.float32)), bars * frame, 0.5)
    # roof
    over, drop = 30.0, 19.0
    slope = (eaves - apex_y) / (right - mid)
    low = (right + over, eaves + slope * over)
    ridge = (mid, apex_y)
    far_ridge = receding(mid, apex_y, x=mid + 318)
    far_low = receding(low[0], low[1], x=end + 26)
    roof = mask([ridge, far_ridge, far_low, low])
    down = ((YY - apex_y) - 0.16 * (XX - mid)) / (low[1] - apex_y)
    row = down * 17
    course = np.floor(row)
    tile = np.sin((XX + 7 * (course % 2) - 0.55 * (YY - apex_y)) / 2.4)
    tone = 0.40 + 0.05 * np.sin(course * 37.7) - 0.10 * (row - course < 0.2) - 0.035 * (tile > 0.8) + 0.055 * blotch + 0.02 * grain - 0.05 * down
    picture = lay(picture, roof, np.asarray(tone, np.float32))
    picture = lay(picture, mask([low, far_low, (far_low[0], far_low[1] + 26), (low[0], low[1] + 34)], soft=7) * side, 0.11)
    picture = lay(picture, strokes([(low, far_low, 6)]), 0.56)
    # gable front, boarded, lit from the left
    front = mask([(left, eaves), (mid, apex_y), (right, eaves), (right, floor), (left, floor)])
    board = (YY - apex_y) / 11.5
    lap = board - np.floor(board)
    joint = (np.abs(((XX + 71 * np.floor(board)) % 190) - 95) < 0.8) * 0.10
    front_tone = 0.67 + 0.028 * np.sin(np.floor(board) * 78.2) - 0.20 * (lap < 0.15) + 0.04 * (lap > 0.85) + 0.022 * grain + 0.028 * blotch - joint - 0.05 * (XX - left) / 384
    picture = lay(picture, front, np.asarray(front_tone, np.float32))
    drip = noise(grain_x=14, grain_y=260, octaves=3)
    picture = lay(picture, front * np.asarray(np.clip(drip - 0.9, 0, 1), np.float32) * 0.35, 0.36)
    for sx in (-1, 1):
        out = (mid + sx * (right - mid + over), eaves + slope * over)
        shade = mask([(mid, apex_y + 14), out, (out[0], out[1] + 34), (mid, apex_y + 54)], soft=4)
        picture = lay(picture, shade * front * 0.62, 0.16)
        picture = lay(picture, mask([(mid, apex_y - 12), out, (out[0], out[1] + drop), (mid, apex_y + drop - 6)]), 0.80 if sx < 0 else 0.70)
        picture = lay(picture, strokes([((mid, apex_y + drop - 6), (out[0], out[1] + drop), 1.6)]), 0.28)
        picture = lay(picture, strokes([((mid, apex_y - 13), (out[0], out[1] - 1), 3.0)]), 0.24)
    picture = lay(picture, strokes([((x, eaves + 20), (x, floor), 11) for x in (left + 5, right - 5)]), 0.74)
    # first floor: doors to the balcony, two windows, the round window
    for x0, x1, y0, y1, cols, rows in ((578, 642, 424, 530, 2, 3), (474, 530, 452, 512, 2, 2), (690, 746, 452, 512, 2, 2)):
        picture = lay(picture, mask([(x0 - 7, y0 - 8), (x1 + 7, y0 - 8), (x1 + 7, y1 + 4), (x0 - 7, y1 + 4)]), 0.82)
        glass = mask([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        picture = lay(picture, glass, np.asarray(0.10 + 0.22 * np.clip((XX - x0 - 0.6 * (y1 - YY)) / (x1 - x0) + 0.1 * blotch, 0, 1), np.float32))
        bars = [((x0 + (x1 - x0) * k / cols, y0), (x0 + (x1 - x0) * k / cols, y1), 3.5) for k in range(1, cols)]
        bars += [((x0, y0 + (y1 - y0) * k / rows), (x1, y0 + (y1 - y0) * k / rows), 2.6) for k in range(1, rows)]
        picture = lay(picture, strokes(bars), 0.80)
    for r, t in ((19, 0.82), (14, 0.15)):
        picture = lay(picture, np.asarray(np.clip(r - np.hypot(XX - mid, YY - 388) + 0.5, 0, 1), np.float32), t)
    picture = lay(picture, strokes([((mid - 14, 388), (mid + 14, 388), 2.4), ((mid, 374), (mid, 402), 2.4)]), 0.8)
    # ground floor: two open doorways with the racks inside
    for x0, x1 in ((448, 598), (622, 772)):
        picture = lay(picture, mask([(x0 - 6, 566), (x1 + 6, 566), (x1 + 6, floor), (x0 - 6, floor)]), 0.72)
        dark = mask([(x0, 572), (x1, 572), (x1, floor), (x0, floor)])
        picture = lay(picture, dark, np.asarray(0.035 + 0.10 * np.clip((YY - 640) / 60, 0, 1) ** 2 + 0.01 * grain, np.float32))
        racks = [((x0 + 6, y), (x1 - 6, y), 2.4) for y in (604, 636, 666)] + [((x, 574), (x, floor), 3.4) for x in (x0 + 44, x0 + 104)]
        picture = lay(picture, strokes(racks), 0.15)
        for y in (596, 628, 658):
            for x in (x0 + 24, x0 + 74, x0 + 126):
                hull = np.clip(1.4 - np.hypot((XX - x) / 17, (YY - y - 3) / 7.5) * 1.4, 0, 1) * (YY > y - 3)
                shine = 0.10 + 0.30 * np.clip(1 - np.hypot((XX - x + 6) / 8, (YY - y - 2) / 4), 0, 1)
                picture = lay(picture, np.asarray(np.clip(hull * 3, 0, 1), np.float32) * 0.9, np.asarray(shine, np.float32))
    for hinge, x1 in ((448, 424), (772, 797)):
        leaf = mask([(hinge, 572), (x1, 579), (x1, floor + 5), (hinge, floor)])
        picture = lay(picture, leaf, np.asarray(0.40 + 0.04 * grain - 0.12 * ((XX % 9) < 1.4), np.float32))
    # balcony with its shadow, and the name
    picture = lay(picture, mask([(left - 4, 562), (right + 4, 562), (right + 2, 590), (left + 10, 590)], soft=5) * front * 0.65, 0.12)
    picture = lay(picture, mask([(left - 16, 540), (right + 16, 540), (right + 16, 563), (left - 16, 563)]), 0.84)
    picture = lay(picture, strokes([((left - 16, 540), (right + 16, 540), 2.2), ((left - 16, 563), (right + 16, 563), 2.2)]), 0.3)
    rail = [((left - 14, y), (right + 14, y), 4.2) for y in (498, 534)]
    rail += [((x, 500), (x, 534), 2.2) for x in np.arange(left - 10, right + 12, 9.6)]
    rail += [((x, 490), (x, 540), 6.0) for x in (left - 12, mid - 64, mid + 64, right + 12)]
    picture = lay(picture, np.roll(strokes(rail), (10, 8), (0, 1)) * front * 0.55, 0.3)
    picture = lay(picture, strokes(rail), 0.86)
    picture = lay(picture, strokes([((x, 563), (x + d, 603), 5.0) for x, d in ((left - 10, 20), (right + 10, -20))]), 0.7)
    plate = Image.new("L", (WIDTH * FINE, HEIGHT * FINE))
    ImageDraw.Draw(plate).text((mid * FINE, 552 * FINE), "S E D G E H O L M   R O W I N G   C L U B", fill=255, anchor="mm",
                               font=ImageFont.load_default(size=15 * FINE))
    picture = lay(picture, np.asarray(plate, np.float32) / 255, 0.14)
    # flag
    picture = lay(picture, strokes([((mid, apex_y - 8), (mid, 168), 4.0)]), 0.66)
    u = np.clip((XX - mid) / 84, 0, 1)
    wave = 9 * u * np.sin(u * 7.5)
    flag = ((XX > mid) & (XX < mid + 84) & (np.abs(YY - 198 - wave - 6 * u) < 25 - 11 * u)).astype(np.float32)
    stripe = np.abs(YY - 198 - wave - 6 * u) < 7 - 3 * u
    flag *= (np.abs(YY - 198 - wave - 6 * u) > (XX - mid - 62) * 0.62)
    return lay(picture, ndimage.gaussian_filter(flag, 1.2), np.asarray(np.where(stripe, 0.74, 0.30) + 0.10 * np.cos(u * 7.5), np.float32))


def person(picture: Grey, x: float, y: float, *, tall: float, jacket: float, oar: bool = False) -> Grey:
    """Paint a standing rower in a straw hat."""
    s = tall / 100
    at = [(x - 8 * s, y), (x - 9 * s, y - 46 * s), (x - 1 * s, y - 48 * s), (x, y - 12 * s), (x + 1 * s, y - 48 * s), (x + 10 * s, y - 46 * s), (x + 8 * s, y)]
    picture = lay(picture, mask(at, soft=0.7), 0.74)
    body = [(x - 12 * s, y - 44 * s), (x - 14 * s, y - 76 * s), (x - 5 * s, y - 82 * s), (x + 5 * s, y - 82 * s), (x + 14 * s, y - 76 * s), (x + 12 * s, y - 44 * s)]
    picture = lay(picture, mask(body, soft=0.8), np.asarray(jacket - 0.12 * np.clip((XX - x) / (14 * s), -1, 1), np.float32))
    arms = [((x - 13 * s, y - 75 * s), (x - 16 * s, y - 47 * s), 6 * s), ((x + 13 * s, y - 75 * s), (x + 19 * s, y - 58 * s) if oar else (x + 16 * s, y - 47 * s), 6 * s)]
    picture = lay(picture, ndimage.gaussian_filter(strokes(arms), 1.2), jacket - 0.10)
    if oar:
        picture = lay(picture, strokes([((x + 20 * s, y + 2), (x + 21 * s, y - 122 * s), 3.2 * s)]), 0.60)
        picture = lay(picture, mask([(x + 17 * s, y - 122 * s), (x + 16 * s, y - 157 * s), (x + 26 * s, y - 157 * s), (x + 25 * s, y - 122 * s)], soft=0.8), 0.78)
    picture = lay(picture, np.asarray(np.clip(6.6 * s - np.hypot(XX - x, (YY - y + 90 * s) * 0.85) + 0.5, 0, 1), np.float32), 0.50)
    hat = [(x - 11 * s, y - 94 * s), (x - 6 * s, y - 95 * s), (x - 6 * s, y - 101 * s), (x + 6 * s, y - 101 * s), (x + 6 * s, y - 95 * s), (x + 11 * s, y - 94 * s), (x + 11 * s, y - 92 * s), (x - 11 * s, y - 92 * s)]
    picture = lay(picture, mask(hat, soft=0.5), 0.84)
    return lay(picture, strokes([((x - 6 * s, y - 96 * s), (x + 6 * s, y - 96 * s), 2.2 * s)]), 0.25)


def shore(picture: Grey) -> Grey:
    """Paint grass, slipway and jetty down to the water."""
    rough = noise(grain_x=60, grain_y=26, octaves=6, fall=0.75)
    blades = noise(grain_x=5, grain_y=34, octaves=3)
    top = 692 + 4 * rough[HEIGHT][None, :]
    grass = np.clip((YY - top) / 3, 0, 1) * (YY < WATER_Y + 2 * rough[HEIGHT + 60][None, :])
    picture = lay(picture, np.asarray(grass, np.float32), np.asarray(0.30 + 0.06 * rough + 0.055 * blades - 0.0035 * (YY - 692), np.float32))
    slip = mask([(436, 697), (784, 697), (842, WATER_Y + 1), (386, WATER_Y + 1)])
    row = (YY - 697) / 5.2
    picture = lay(picture, slip, np.asarray(0.60 - 0.22 * (row - np.floor(row) < 0.22) + 0.03 * rough - 0.006 * (YY - 697), np.float32))
    picture = lay(picture, mask([(860, 702), (1270, 702), (1290, 713), (850, 713)]), np.asarray(0.70 - 0.16 * ((XX % 13) < 1.5) + 0.03 * rough, np.float32))
    picture = lay(picture, mask([(850, 713), (1290, 713), (1290, 719), (850, 719)]), 0.24)
    posts = [((x, 700 - (16 if k % 2 else 0)), (x, WATER_Y), 8.0) for k, x in enumerate((866, 940, 1014, 1088, 1162, 1236, 1280))]
    return lay(picture, strokes(posts), np.asarray(0.26 + 0.05 * blades, np.float32))


def reflect(scene: Grey) -> Grey:
    """Return the plate with the river below the waterline: the scene upside down, stirred, darker towards the camera."""
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


def skiff(picture: Grey, x: float, y: float, length: float) -> Grey:
    """Paint a moored skiff with its reflection."""
    a, b = x, x + length
    u = np.clip((XX - a) / length, 0, 1)
    sheer = y - 25 - 18 * (2 * u - 0.96) ** 2 * 1.5
    keel = y - 17 * np.abs(2 * u - 1) ** 7
    wobble = 1.2 * np.sin(YY / 2.1 + XX / 31) * (YY > y)
    mirrored = y + (y - YY) * 1.0
    for row, dim in ((mirrored + wobble, 0.5), (YY, 1.0)):
        inside = ((XX > a) & (XX < b) & (row > sheer) & (row < keel)).astype(np.float32)
        plank = (row - sheer) / np.maximum(keel - sheer, 1) * 4
        tone = 0.62 - 0.22 * (plank - np.floor(plank) < 0.16) - 0.055 * plank - 0.18 * u
        picture = lay(picture, ndimage.gaussian_filter(inside, 1.2), np.asarray(tone * dim + (1 - dim) * 0.14, np.float32))
        rail = ((XX > a) & (XX < b) & (np.abs(row - sheer) < 2.6)).astype(np.float32)
        picture = lay(picture, ndimage.gaussian_filter(rail, 1.0), 0.84 * dim)
        well = ((XX > a + 16) & (XX < b - 14) & (row < sheer - 2.2) & (row > sheer - 8 * np.sin(np.pi * u) - 1)).astype(np.float32)
        picture = lay(picture, ndimage.gaussian_filter(well, 1.0), 0.13 * dim + 0.04)
    shade = np.exp(-(((YY - y - 3) / 3.5) ** 2)) * ((XX > a + 22) & (XX < b - 16))
    return lay(picture, np.asarray(shade * 0.7, np.float32), 0.07)


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
    for x0, y0, dx, dy in ((250, 0, 16, 560), (2710, 900, -12, 800)):
        pen.line([x0, y0, x0 + dx, y0 + dy], fill=60, width=2)
    dust = np.asarray(marks.resize((width, height), Image.Resampling.BOX), np.float32) / 255
    seen = seen * (1 - dust) + dust * 0.93
    return np.uint8(np.clip(seen, 0, 1) * 255)


def main() -> None:
    """Render the two photographs."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--to", type=Path, default=HOME)
    told = ask.parse_args()
    picture = sky_and_far_bank()
    for foot, top, width, crowns in (
        ((270, 705), (262, 560), 26, (((255, 400), (190, 205), 95000), ((95, 520), (120, 130), 36000), ((165, 330), (110, 110), 30000), ((340, 400), (115, 130), 34000), ((330, 520), (100, 95), 22000))),
        ((930, 690), (936, 575), 20, (((945, 385), (150, 150), 60000), ((870, 330), (80, 80), 20000), ((1075, 455), (115, 115), 40000), ((1020, 340), (90, 75), 24000))),
    ):
        picture = trunk(picture, foot, top, width, 0.15)
        for middle, size, leaves in crowns:
            picture = crown(picture, middle, size, leaves=leaves, lit=0.56, dark=0.07, leaf=1.6)
    picture = boathouse(picture)
    picture = shore(picture)
    for middle, size, leaves in (((70, 668), (135, 62), 26000), ((330, 688), (95, 28), 9000), ((1105, 690), (70, 22), 7000), ((1420, 672), (210, 48), 30000), ((1560, 640), (120, 70), 20000)):
        picture = crown(picture, middle, size, leaves=leaves, lit=0.50, dark=0.08, leaf=1.7)
    for x, y, tall, jacket, oar in ((566, 712, 84, 0.80, True), (676, 709, 82, 0.22, False), (1136, 708, 84, 0.24, False)):
        picture = person(picture, x, y, tall=tall, jacket=jacket, oar=oar)
    picture = np.asarray(np.where(YY > WATER_Y, 0.2, picture), np.float32)
    picture = reflect(picture)
    picture = skiff(picture, 1010, 776, 250)
    near = picture[STARTER[1] * FINE : STARTER[3] * FINE, STARTER[0] * FINE : STARTER[2] * FINE]
    for name, seen, width, height in (("boathouse.jpg", picture, WIDTH, HEIGHT), ("starter.jpg", near, near.shape[1], near.shape[0])):
        file = told.to / name
        Image.fromarray(plate(seen, width=width, height=height)).save(file, quality=88, optimize=True, dpi=(254, 254))
        print(f"{name}, {file.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
