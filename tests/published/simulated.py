"""What a program burns, by brute force: the beam moved along each line in steps of 1 µm, its dose added up on a 5 µm grid.

It starts from the text of a program, as the second reader of the service tests understands it, and shares no code with
evenburn: power follows its S word with a first-order response, step by step; the beam is [siegman1986]'s Gaussian.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from service.second_reader import Stroke

FloatArray = NDArray[np.float64]
STEP_mm, GRID_mm = 0.001, 0.005
REACH_RADII = 3.0  # e⁻¹⁸ of the middle is left there
REACH_RISES = 15.0  # e⁻¹⁵ of what was commanded there is still on its way


@dataclass(frozen=True, kw_only=True)
class Window:
    """Places on the bed where the dose is wanted, 5 µm apart; x along the scan lines, y across."""

    x_mm: FloatArray
    y_mm: FloatArray


def window(x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float) -> Window:
    return Window(x_mm=np.arange(x0_mm, x1_mm, GRID_mm), y_mm=np.arange(y0_mm, y1_mm, GRID_mm))


def burnt_J_per_mm2(
    strokes: Sequence[Stroke], at: Window, *, watts_per_word: float, beam_radius_mm: float, rise_time_s: float
) -> FloatArray:
    """Dose of a program scanned along x, (y, x)."""
    dose = np.zeros((at.y_mm.size, at.x_mm.size))
    pad = REACH_RADII * beam_radius_mm
    speed = max(s.speed_mm_per_s for s in strokes if not s.rapid)
    before = pad + REACH_RISES * speed * rise_time_s
    along = np.arange(at.x_mm[0] - before, at.x_mm[-1] + before + STEP_mm, STEP_mm)
    kernel_at = np.arange(-round(pad / STEP_mm), round(pad / STEP_mm) + 1) * STEP_mm
    kernel = np.exp(-2.0 * (kernel_at / beam_radius_mm) ** 2)
    kernel /= kernel.sum()
    for rapid, moves in groupby(strokes, key=lambda s: s.rapid):
        run = list(moves)
        if rapid or not any(s.power_word > 0.0 for s in run):
            continue
        y = run[0].start[1]
        if not at.y_mm[0] - pad <= y <= at.y_mm[-1] + pad:
            continue
        power_W = _answered_W(run, along, watts_per_word=watts_per_word, rise_time_s=rise_time_s)
        line_J_per_mm = np.convolve(power_W / run[0].speed_mm_per_s, kernel, mode="same")
        across = np.exp(-2.0 * ((at.y_mm - y) / beam_radius_mm) ** 2) * math.sqrt(2.0 / math.pi) / beam_radius_mm
        dose += across[:, None] * np.interp(at.x_mm, along, line_J_per_mm)[None, :]
    return dose


def _answered_W(run: list[Stroke], along: FloatArray, *, watts_per_word: float, rise_time_s: float) -> FloatArray:
    """Power on the work at places along a line: the laser follows its word with a first-order response."""
    forward = run[-1].end[0] > run[0].start[0]
    places = along if forward else along[::-1]
    edges = [s.end[0] for s in run[:-1]]
    words = np.array([s.power_word for s in run])
    index = np.searchsorted(edges, places) if forward else np.searchsorted(np.negative(edges), -places)
    wished = (words[index] * watts_per_word).tolist()
    if rise_time_s > 0.0:
        keeps = math.exp(-STEP_mm / (run[0].speed_mm_per_s * rise_time_s))
        now = 0.0
        for i, wish in enumerate(wished):
            now = wish + (now - wish) * keeps
            wished[i] = now
    answered = np.array(wished)
    return answered if forward else answered[::-1]
