"""The boathouse itself: shaded side, roof, boarded gable, doors, balcony, flag."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

from demo_photo.brush import FINE, HEIGHT, WIDTH, XX, YY, Grey, Spot, Stroke, lay, mask, noise, strokes

HORIZON_Y, FAR_X = 640.0, 2500.0
LEFT, RIGHT, FLOOR, EAVES, APEX_Y, END = 418.0, 802.0, 697.0, 468.0, 338.0, 1062.0
MIDDLE = (LEFT + RIGHT) / 2


def receding(x0: float, y0: float, *, x: float) -> Spot:
    """Return the point at x on the line from (x0, y0) to the vanishing point."""
    return x, y0 + (HORIZON_Y - y0) * (x - x0) / (FAR_X - x0)


def boathouse(picture: Grey) -> Grey:
    """Paint the boathouse: shaded side, roof, boarded gable, doors, balcony, flag."""
    grain, blotch = noise(grain_x=90, grain_y=5, octaves=5, fall=0.8), noise(grain_x=150, grain_y=120)
    # the side in shade: boards run to the vanishing point
    side = mask([(RIGHT, EAVES), receding(RIGHT, EAVES, x=END), receding(RIGHT, FLOOR, x=END), (RIGHT, FLOOR)])
    v = (YY - HORIZON_Y) / (1 - (XX - RIGHT) / (FAR_X - RIGHT)) + HORIZON_Y
    board = (v - EAVES) / 11.5
    lap = board - np.floor(board)
    wall = 0.25 + 0.02 * np.sin(np.floor(board) * 12.9) - 0.10 * (lap < 0.16) + 0.02 * grain + 0.02 * blotch
    picture = lay(picture, side, np.asarray(wall, np.float32))
    for x0, x1 in ((850, 890), (930, 966), (1000, 1032)):
        frame = mask(
            [
                receding(RIGHT, 520, x=x0),
                receding(RIGHT, 520, x=x1),
                receding(RIGHT, 606, x=x1),
                receding(RIGHT, 606, x=x0),
            ]
        )
        pane = mask(
            [
                receding(RIGHT, 526, x=x0 + 5),
                receding(RIGHT, 526, x=x1 - 5),
                receding(RIGHT, 600, x=x1 - 5),
                receding(RIGHT, 600, x=x0 + 5),
            ]
        )
        bars = strokes(
            [
                (receding(RIGHT, 526, x=(x0 + x1) / 2), receding(RIGHT, 600, x=(x0 + x1) / 2), 3),
                (receding(RIGHT, 562, x=x0), receding(RIGHT, 562, x=x1), 3),
            ]
        )
        picture = lay(
            lay(lay(picture, frame, 0.52), pane, np.asarray(0.12 + 0.16 * (blotch > 0.6), np.float32)),
            bars * frame,
            0.5,
        )
    # roof
    over, drop = 30.0, 19.0
    slope = (EAVES - APEX_Y) / (RIGHT - MIDDLE)
    low = (RIGHT + over, EAVES + slope * over)
    ridge = (MIDDLE, APEX_Y)
    far_ridge = receding(MIDDLE, APEX_Y, x=MIDDLE + 318)
    far_low = receding(low[0], low[1], x=END + 26)
    roof = mask([ridge, far_ridge, far_low, low])
    down = ((YY - APEX_Y) - 0.16 * (XX - MIDDLE)) / (low[1] - APEX_Y)
    row = down * 17
    course = np.floor(row)
    tile = np.sin((XX + 7 * (course % 2) - 0.55 * (YY - APEX_Y)) / 2.4)
    tone = (
        0.40
        + 0.05 * np.sin(course * 37.7)
        - 0.10 * (row - course < 0.2)
        - 0.035 * (tile > 0.8)
        + 0.055 * blotch
        + 0.02 * grain
        - 0.05 * down
    )
    picture = lay(picture, roof, np.asarray(tone, np.float32))
    picture = lay(
        picture, mask([low, far_low, (far_low[0], far_low[1] + 26), (low[0], low[1] + 34)], soft=7) * side, 0.11
    )
    picture = lay(picture, strokes([(low, far_low, 6)]), 0.56)
    # gable front, boarded, lit from the left
    front = mask([(LEFT, EAVES), (MIDDLE, APEX_Y), (RIGHT, EAVES), (RIGHT, FLOOR), (LEFT, FLOOR)])
    board = (YY - APEX_Y) / 11.5
    lap = board - np.floor(board)
    joint = (np.abs(((XX + 71 * np.floor(board)) % 190) - 95) < 0.8) * 0.10
    front_tone = (
        0.67
        + 0.028 * np.sin(np.floor(board) * 78.2)
        - 0.20 * (lap < 0.15)
        + 0.04 * (lap > 0.85)
        + 0.022 * grain
        + 0.028 * blotch
        - joint
        - 0.05 * (XX - LEFT) / 384
    )
    picture = lay(picture, front, np.asarray(front_tone, np.float32))
    drip = noise(grain_x=14, grain_y=260, octaves=3)
    picture = lay(picture, front * np.asarray(np.clip(drip - 0.9, 0, 1), np.float32) * 0.35, 0.36)
    for sx in (-1, 1):
        out = (MIDDLE + sx * (RIGHT - MIDDLE + over), EAVES + slope * over)
        shade = mask([(MIDDLE, APEX_Y + 14), out, (out[0], out[1] + 34), (MIDDLE, APEX_Y + 54)], soft=4)
        picture = lay(picture, shade * front * 0.62, 0.16)
        picture = lay(
            picture,
            mask([(MIDDLE, APEX_Y - 12), out, (out[0], out[1] + drop), (MIDDLE, APEX_Y + drop - 6)]),
            0.80 if sx < 0 else 0.70,
        )
        picture = lay(picture, strokes([((MIDDLE, APEX_Y + drop - 6), (out[0], out[1] + drop), 1.6)]), 0.28)
        picture = lay(picture, strokes([((MIDDLE, APEX_Y - 13), (out[0], out[1] - 1), 3.0)]), 0.24)
    picture = lay(picture, strokes([((x, EAVES + 20), (x, FLOOR), 11) for x in (LEFT + 5, RIGHT - 5)]), 0.74)
    # first floor: doors to the balcony, two windows, the round window
    for x0, x1, y0, y1, cols, rows in (
        (578, 642, 424, 530, 2, 3),
        (474, 530, 452, 512, 2, 2),
        (690, 746, 452, 512, 2, 2),
    ):
        picture = lay(picture, mask([(x0 - 7, y0 - 8), (x1 + 7, y0 - 8), (x1 + 7, y1 + 4), (x0 - 7, y1 + 4)]), 0.82)
        glass = mask([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        picture = lay(
            picture,
            glass,
            np.asarray(0.10 + 0.22 * np.clip((XX - x0 - 0.6 * (y1 - YY)) / (x1 - x0) + 0.1 * blotch, 0, 1), np.float32),
        )
        glazing: list[Stroke] = [
            ((x0 + (x1 - x0) * k / cols, y0), (x0 + (x1 - x0) * k / cols, y1), 3.5) for k in range(1, cols)
        ]
        glazing += [((x0, y0 + (y1 - y0) * k / rows), (x1, y0 + (y1 - y0) * k / rows), 2.6) for k in range(1, rows)]
        picture = lay(picture, strokes(glazing), 0.80)
    for r, t in ((19, 0.82), (14, 0.15)):
        picture = lay(picture, np.asarray(np.clip(r - np.hypot(XX - MIDDLE, YY - 388) + 0.5, 0, 1), np.float32), t)
    picture = lay(
        picture, strokes([((MIDDLE - 14, 388), (MIDDLE + 14, 388), 2.4), ((MIDDLE, 374), (MIDDLE, 402), 2.4)]), 0.8
    )
    # ground floor: two open doorways with the racks inside
    for x0, x1 in ((448, 598), (622, 772)):
        picture = lay(picture, mask([(x0 - 6, 566), (x1 + 6, 566), (x1 + 6, FLOOR), (x0 - 6, FLOOR)]), 0.72)
        dark = mask([(x0, 572), (x1, 572), (x1, FLOOR), (x0, FLOOR)])
        picture = lay(
            picture, dark, np.asarray(0.035 + 0.10 * np.clip((YY - 640) / 60, 0, 1) ** 2 + 0.01 * grain, np.float32)
        )
        racks = [((x0 + 6, y), (x1 - 6, y), 2.4) for y in (604, 636, 666)] + [
            ((x, 574), (x, FLOOR), 3.4) for x in (x0 + 44, x0 + 104)
        ]
        picture = lay(picture, strokes(racks), 0.15)
        for y in (596, 628, 658):
            for x in (x0 + 24, x0 + 74, x0 + 126):
                hull = np.clip(1.4 - np.hypot((XX - x) / 17, (YY - y - 3) / 7.5) * 1.4, 0, 1) * (y - 3 < YY)
                shine = 0.10 + 0.30 * np.clip(1 - np.hypot((XX - x + 6) / 8, (YY - y - 2) / 4), 0, 1)
                picture = lay(
                    picture, np.asarray(np.clip(hull * 3, 0, 1), np.float32) * 0.9, np.asarray(shine, np.float32)
                )
    for hinge, x1 in ((448, 424), (772, 797)):
        leaf = mask([(hinge, 572), (x1, 579), (x1, FLOOR + 5), (hinge, FLOOR)])
        picture = lay(picture, leaf, np.asarray(0.40 + 0.04 * grain - 0.12 * ((XX % 9) < 1.4), np.float32))
    # balcony with its shadow, and the name
    picture = lay(
        picture,
        mask([(LEFT - 4, 562), (RIGHT + 4, 562), (RIGHT + 2, 590), (LEFT + 10, 590)], soft=5) * front * 0.65,
        0.12,
    )
    picture = lay(picture, mask([(LEFT - 16, 540), (RIGHT + 16, 540), (RIGHT + 16, 563), (LEFT - 16, 563)]), 0.84)
    picture = lay(
        picture, strokes([((LEFT - 16, 540), (RIGHT + 16, 540), 2.2), ((LEFT - 16, 563), (RIGHT + 16, 563), 2.2)]), 0.3
    )
    rail = [((LEFT - 14, y), (RIGHT + 14, y), 4.2) for y in (498, 534)]
    rail += [((x, 500), (x, 534), 2.2) for x in np.arange(LEFT - 10, RIGHT + 12, 9.6)]
    rail += [((x, 490), (x, 540), 6.0) for x in (LEFT - 12, MIDDLE - 64, MIDDLE + 64, RIGHT + 12)]
    picture = lay(picture, np.roll(strokes(rail), (10, 8), (0, 1)) * front * 0.55, 0.3)
    picture = lay(picture, strokes(rail), 0.86)
    picture = lay(
        picture, strokes([((x, 563), (x + d, 603), 5.0) for x, d in ((LEFT - 10, 20), (RIGHT + 10, -20))]), 0.7
    )
    plate = Image.new("L", (WIDTH * FINE, HEIGHT * FINE))
    ImageDraw.Draw(plate).text(
        (MIDDLE * FINE, 552 * FINE),
        "S E D G E H O L M   R O W I N G   C L U B",
        fill=255,
        anchor="mm",
        font=ImageFont.load_default(size=15 * FINE),
    )
    picture = lay(picture, np.asarray(plate, np.float32) / 255, 0.14)
    # flag
    picture = lay(picture, strokes([((MIDDLE, APEX_Y - 8), (MIDDLE, 168), 4.0)]), 0.66)
    u = np.clip((XX - MIDDLE) / 84, 0, 1)
    wave = 9 * u * np.sin(u * 7.5)
    flag = ((MIDDLE < XX) & (MIDDLE + 84 > XX) & (np.abs(YY - 198 - wave - 6 * u) < 25 - 11 * u)).astype(np.float32)
    stripe = np.abs(YY - 198 - wave - 6 * u) < 7 - 3 * u
    flag *= np.abs(YY - 198 - wave - 6 * u) > (XX - MIDDLE - 62) * 0.62
    return lay(
        picture,
        ndimage.gaussian_filter(flag, 1.2),
        np.asarray(np.where(stripe, 0.74, 0.30) + 0.10 * np.cos(u * 7.5), np.float32),
    )
