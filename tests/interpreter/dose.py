"""What a program burns, integrated from its moves, for tests only: energy of each move, and where it is put.

Shares no code with evenburn; the bench's power curve is looked up by straight lines once more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interpreter.language import Move

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """How the laser answers its word: rising (share of full power, W) pairs from (0, 0) on, and the word of a whole share."""

    curve: tuple[tuple[float, float], ...]
    word_of_all: float

    def watts(self, words: Sequence[float]) -> FloatArray:
        """Return the power on the work. [W]"""
        shares, watts = np.array(self.curve, dtype=np.float64).T
        return np.asarray(np.interp(np.array(words, np.float64) / self.word_of_all, shares, watts), np.float64)


def energies_J(moves: Sequence[Move], times_s: Sequence[float], light: Light) -> FloatArray:
    """Return the energy of every move. [J]"""
    return np.asarray(light.watts([move.word for move in moves]) * np.array(times_s, np.float64), np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Raster:
    """Square places on the bed: lower left corner, side, rows upwards and columns to the right. [mm]"""

    x0_mm: float
    y0_mm: float
    side_mm: float
    rows: int
    columns: int


def rastered_J(
    moves: Sequence[Move], energies: FloatArray, places: Raster, *, axis: str, early_mm: float
) -> tuple[FloatArray, float]:
    """Return the energy put on each place (rows, columns), and what fell on none of them. [J]

    Only moves that burn along the axis count. Their light comes on late by what they are commanded early: each is moved
    on by `early_mm` in its direction first. A line belongs to the row (or column) whose middle it runs along.
    """
    count = (places.rows, places.columns) if axis == "x" else (places.columns, places.rows)
    got = np.zeros(count)
    lost = 0.0
    begin, across0 = (places.x0_mm, places.y0_mm) if axis == "x" else (places.y0_mm, places.x0_mm)
    for move, energy in zip(moves, energies.tolist(), strict=True):
        if energy == 0.0:
            continue
        if axis == "x":
            a, b, across, drift = move.x0_mm, move.x1_mm, move.y0_mm, move.y1_mm - move.y0_mm
        else:
            a, b, across, drift = move.y0_mm, move.y1_mm, move.x0_mm, move.x1_mm - move.x0_mm
        row = (across - across0) / places.side_mm - 0.5
        if drift != 0.0 or abs(row - round(row)) > 0.5 or not 0 <= round(row) < count[0]:
            lost += energy
            continue
        shift = early_mm if b > a else -early_mm
        low, high = (min(a, b) + shift - begin) / places.side_mm, (max(a, b) + shift - begin) / places.side_mm
        first, last = int(np.floor(low)), int(np.ceil(high))
        edges = np.clip(np.arange(first, last + 1), low, high)
        parts = np.diff(edges) * energy / (high - low)
        inside = np.arange(first, last)
        kept = (inside >= 0) & (inside < count[1])
        got[round(row), inside[kept]] += parts[kept]
        lost += float(parts[~kept].sum())
    return (got if axis == "x" else got.T), lost
