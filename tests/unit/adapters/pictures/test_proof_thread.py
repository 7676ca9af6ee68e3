"""The thread between board and enlargement starts at the window, ends at the enlargement and keeps off the art."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from evenburn.adapters.pictures.proof_layout import Box
from evenburn.adapters.pictures.proof_thread import art_cost, thread

BOARD = Box(left=28, top=150, width=400, height=300)
BESIDE = Box(left=456, top=150, width=1000, height=300)
BELOW = Box(left=28, top=478, width=1544, height=400)
WINDOW = Box(left=100, top=290, width=24, height=12)


def _free() -> np.ndarray:
    return np.zeros((BOARD.height, BOARD.width), np.float32)


def _crossed(cost: np.ndarray, corners: tuple[tuple[int, int], ...]) -> float:
    total = 0.0
    for (x0, y0), (x1, y1) in pairwise(corners):
        rows = slice(min(y0, y1) - BOARD.top, max(y0, y1) - BOARD.top + 1)
        columns = slice(max(min(x0, x1) - BOARD.left, 0), max(x0, x1) - BOARD.left + 1)
        total += float(cost[rows, columns].sum())
    return total


def test_over_bare_wood_it_runs_straight() -> None:
    assert thread(_free(), BOARD, window=WINDOW, goal=BESIDE, below=False) == ((124, 296), (456, 296))
    assert thread(_free(), BOARD, window=WINDOW, goal=BELOW, below=True) == ((112, 302), (112, 478))


@pytest.mark.parametrize("gap", [20, 150, 260])
def test_it_takes_the_gap_in_a_wall_of_art(gap: int) -> None:
    cost = _free()
    cost[:, 200:260] = 1.0
    cost[gap : gap + 15, 200:260] = 0.0
    corners = thread(cost, BOARD, window=WINDOW, goal=BESIDE, below=False)
    assert _crossed(cost, corners) == 0.0
    assert corners[-1][0] == BESIDE.left
    assert BOARD.top + gap <= corners[-1][1] < BOARD.top + gap + 15


def test_it_bends_twice_where_once_would_cross_art() -> None:
    cost = _free()
    cost[100:130, 40:140] = 1.0  # art above and below the window, and a wall with its gap at the top
    cost[170:200, 40:140] = 1.0
    cost[40:, 300:310] = 1.0
    corners = thread(cost, BOARD, window=WINDOW, goal=BESIDE, below=False)
    assert len(corners) == 4
    assert _crossed(cost, corners) == 0.0


@pytest.mark.parametrize(
    "window",
    [
        Box(left=20, top=140, width=30, height=14),  # beyond the board's corner
        Box(left=410, top=430, width=40, height=30),
        Box(left=28, top=150, width=400, height=300),  # the whole board
    ],
)
@pytest.mark.parametrize("below", [True, False])
def test_windows_at_the_edge_have_a_thread_too(window: Box, *, below: bool) -> None:
    corners = thread(_free(), BOARD, window=window, goal=BELOW if below else BESIDE, below=below)
    assert len(corners) >= 2
    assert corners[-1][1] == BELOW.top if below else corners[-1][0] == BESIDE.left


def test_art_costs_and_bare_wood_does_not() -> None:
    grey = np.full((100, 100), 0.7, np.float32)
    grey[40:60, 40:60] = 0.3
    coverage = np.ones((100, 100), np.float32)
    coverage[:, 80:] = 0.0
    grey[:, 80:] = 0.44
    cost = art_cost(grey, coverage)
    assert cost[50, 50] == 1.0
    assert cost[10, 10] == 0.0
    assert cost[50, 95] == 0.0  # off the board
