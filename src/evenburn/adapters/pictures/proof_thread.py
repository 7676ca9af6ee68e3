"""The thread that ties an enlargement to its place on the board: a rectangle, and a line that keeps off the art."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ImageDraw

from evenburn.adapters.pictures.proof_layout import Box

Picture = NDArray[np.float32]
Point = tuple[int, int]

DEED, CASING = "#0E5266", "#FFFFFF"
LENGTH_COST = 0.012  # of a pixel of thread, where crossing a pixel of burnt wood costs 1
BEND_COST = 4.0
ASIDE_px = 14  # a bend beside the window keeps so far from it
KEEP_OFF_px = 12  # from the ends of the enlargement's side
LEAST_SIDE_px = 8
ART_L = 0.09  # a share of full brightness that a pixel must be off the bare wood to count as art


def art_cost(grey: Picture, coverage: Picture) -> Picture:
    """Return what it costs a thread to cross each pixel of the board: 1 on art, 0 on bare wood and off the board."""
    on_board = coverage > 0.5
    bare = float(np.median(grey[on_board])) if on_board.any() else 0.0
    smooth = np.asarray(cv2.blur(grey, (3, 3)), np.float32)
    art = ((np.abs(smooth - bare) > ART_L) & on_board).astype(np.float32)
    return np.asarray(cv2.dilate(art, np.ones((7, 7), np.uint8)), np.float32)


def thread(cost: Picture, board: Box, *, window: Box, goal: Box, below: bool) -> tuple[Point, ...]:
    """Return the corners of the cheapest thread from a window on the board to the near side of an enlargement.

    It bends twice at most, and reaches the goal's left side, or its top where the goal is below the board.
    """
    if below:
        turned = thread(cost.T, _flipped(board), window=_flipped(window), goal=_flipped(goal), below=False)
        return tuple((y, x) for x, y in turned)
    middle = (window.left + window.width // 2, window.top + window.height // 2)
    column = min(max(middle[0] - board.left, 0), board.width - 1)
    row = min(max(middle[1] - board.top, 0), board.height - 1)
    priced = cost + np.float32(LENGTH_COST)
    low = max(goal.top + KEEP_OFF_px - board.top, 0)
    high = max(min(goal.bottom - KEEP_OFF_px - board.top, board.height), low + 1)
    rows = np.arange(low, min(high, board.height))
    rest = np.cumsum(priced[:, ::-1], axis=1)[:, ::-1][rows]  # from each column to the board's right edge
    down = np.abs(np.cumsum(priced, axis=0)[rows] - np.cumsum(priced, axis=0)[row])
    first = np.cumsum(priced[row])
    aside = np.abs(first - first[column])
    # out of the window's side to a column, up or down it to a row, along that to the goal
    price = aside[None, :] + down + rest + np.float32(2.0 * BEND_COST)
    inside = slice(max(window.left - board.left - ASIDE_px, 0), max(window.right - board.left + ASIDE_px, 0))
    price[:, inside] = np.inf
    price[:, column] = down[:, column] + rest[:, column] + np.float32(BEND_COST)  # out of its top or lower edge
    level = (rows >= window.top - board.top) & (rows < window.bottom - board.top)
    price[level] = np.inf
    price[level, column] = rest[level, column] + 1e-3 * np.abs(rows[level] - row)  # straight out of its side
    at, over = np.unravel_index(int(np.argmin(price)), price.shape)
    end, bend = board.top + int(rows[at]), board.left + int(over)
    if bool(level[at]):
        return (window.right, end), (goal.left, end)
    if int(over) == column:
        return (bend, window.top if end < window.top else window.bottom), (bend, end), (goal.left, end)
    return (
        (window.left if bend < window.left else window.right, middle[1]),
        (bend, middle[1]),
        (bend, end),
        (goal.left, end),
    )


def _flipped(box: Box) -> Box:
    return Box(left=box.top, top=box.left, width=box.height, height=box.width)


def draw_thread(canvas: ImageDraw.ImageDraw, window: Box, corners: tuple[Point, ...]) -> None:
    """Draw the window's outline and its thread in one colour with a white casing, seen on any wood."""
    for colour, extra in ((CASING, 1), (DEED, 0)):
        for (x0, y0), (x1, y1) in pairwise(corners):
            left, right, top, low = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
            canvas.rectangle((left - extra, top - extra, right + 1 + extra, low + 1 + extra), fill=colour)
    for colour, reach in ((CASING, 3), (DEED, 2), (DEED, 1), (CASING, 0)):
        canvas.rectangle(
            (window.left - reach, window.top - reach, window.right - 1 + reach, window.bottom - 1 + reach),
            outline=colour,
        )
