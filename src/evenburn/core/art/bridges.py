"""Bridges: short stretches of a cut outline where the laser stays off, so that the part does not drop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.path import Polyline

FloatArray = NDArray[np.float64]

TRIES = 41  # places looked at for each bridge
SHIFT = 0.4  # a bridge may move by so much of the distance to its neighbour to find a straight place
CLEAR = 0.5  # of its width, which a bridge keeps from a corner where it can
ROOM = 0.5  # all bridges together take at most so much of the outline


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BridgeSpans:
    """Where the laser stays off, (M, 2) distances along the path from its first point, in order, and how many found
    no place. [mm]
    """

    spans: FloatArray
    missed: int


def _bend_deg(around: FloatArray, at: FloatArray, low: float, high: float) -> float:
    """Return by how much a closed path turns between two distances along it. [°]"""
    inside = at[(at > low) & (at < high)]
    places = np.concatenate(([low], inside, [high]))
    x, y = (np.interp(places, at, around[:, k]) for k in (0, 1))
    headings = np.unwrap(np.arctan2(np.diff(y), np.diff(x)))
    return float(np.degrees(np.abs(np.diff(headings)).sum())) if headings.size > 1 else 0.0


def bridge_spans(path: Polyline, *, count: int, width_mm: float, kerf_mm: float) -> BridgeSpans:
    """Return where a closed path is left uncut.

    Bridges are spread evenly and each moves to the straightest place near by, clear of corners; the laser stays off over a kerf more than
    the width that is to stay, because half a kerf is taken from either side. The first point, where the path is
    entered, is kept clear.

    Parameters
    ----------
    count : how many are wished; where they would take more than half of the outline, fewer are set and told.

    Source
    ------
    Own choice; the width follows from the kerf by definition.
    """
    if not path.closed:
        return BridgeSpans(spans=np.zeros((0, 2)), missed=0)
    around = np.vstack([path.points_mm, path.points_mm[:1]])
    at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(around, axis=0).T))))
    length, off = float(at[-1]), width_mm + kerf_mm
    fits = min(count, int(ROOM * length / off))
    if fits < 1:
        return BridgeSpans(spans=np.zeros((0, 2)), missed=count)
    pitch = length / fits
    reach = max(0.0, min(SHIFT * pitch, 0.5 * (pitch - off)))
    tripled = np.concatenate([at[:-1] - length, at[:-1], at + length])
    looped = np.vstack([around[:-1], around[:-1], around])
    spans = []
    for number in range(fits):
        middle = (number + 0.5) * pitch
        tries = middle + reach * np.linspace(-1.0, 1.0, TRIES)
        tries = tries[(tries - 0.5 * off > 0.0) & (tries + 0.5 * off < length)]
        own, clear = (
            np.array([_bend_deg(looped, tripled, t - reach_mm, t + reach_mm) for t in tries])
            for reach_mm in (0.5 * off, (0.5 + CLEAR) * off)
        )
        cost = 10.0 * np.round(own, 1) + np.round(clear, 1) + 1e-3 * np.abs(tries - middle) / pitch
        best = float(tries[int(np.argmin(cost))])
        spans.append((best - 0.5 * off, best + 0.5 * off))
    return BridgeSpans(spans=np.array(spans), missed=count - fits)
