"""All sweeps of a mark in three flat arrays, sorted across the lines, so that a window visits only lines that reach into it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.events import Event, Sweep
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineTable:
    """Sweeps, the lowest across first; places on the bed in mm, powers in W.

    Attributes
    ----------
    cross_mm : (N,) rising; forward : (N,) whether burnt in the + direction.
    first : (N+1,) where each line's edges begin.
    edges_mm : (M,) places along the axis, rising within each line; float32 holds them to 0.04 µm on any bed.
    power_W : (M,) from each edge to the next, 0 after a line's last.
    """

    axis: Axis
    speed_mm_per_s: float
    cross_mm: FloatArray
    forward: NDArray[np.bool_]
    first: NDArray[np.int64]
    edges_mm: NDArray[np.float32]
    power_W: NDArray[np.float32]

    def size_bytes(self) -> int:
        """Return how much memory it takes. Definition."""
        return sum(a.nbytes for a in (self.cross_mm, self.forward, self.first, self.edges_mm, self.power_W))

    def box_mm(self) -> Box | None:
        """Return (x0, y0, x1, y1) of all that burns, lines without width, None where nothing does. Definition."""
        if self.cross_mm.size == 0:
            return None
        low, high = float(self.edges_mm.min()), float(self.edges_mm.max())
        near, far = float(self.cross_mm[0]), float(self.cross_mm[-1])
        return (low, near, high, far) if self.axis == "x" else (near, low, far, high)

    def near(self, low_mm: float, high_mm: float) -> tuple[int, int]:
        """Return the first line and the one after the last between two places across. Definition."""
        low, high = np.searchsorted(self.cross_mm, (low_mm, high_mm))
        return int(low), int(high)


def line_table(events: Iterable[Event], *, reversal_offset_mm: float) -> LineTable | None:
    """Return the sweeps of a stream of events, None where there is none.

    Parameters
    ----------
    reversal_offset_mm : the machine's; lines land by half of it further on in their own direction. [mm]

    Source
    ------
    Definition; as `collect` takes them.
    """
    sweeps = sorted((e for e in events if isinstance(e, Sweep)), key=lambda sweep: sweep.cross_mm)
    if not sweeps:
        return None
    counts = np.array([sweep.edges_mm.size for sweep in sweeps])
    first = np.concatenate(([0], np.cumsum(counts)))
    edges = np.empty(int(first[-1]), np.float32)
    power = np.zeros(int(first[-1]), np.float32)
    forward = np.array([sweep.end_mm > sweep.start_mm for sweep in sweeps])
    for index, sweep in enumerate(sweeps):
        sign = 1 if forward[index] else -1
        here = slice(int(first[index]), int(first[index + 1]))
        edges[here] = (sweep.edges_mm + sign * 0.5 * reversal_offset_mm)[::sign]
        power[here.start : here.stop - 1] = sweep.power_W[::sign]
    return LineTable(
        axis=sweeps[0].axis,
        speed_mm_per_s=sweeps[0].speed_mm_per_s,
        cross_mm=np.array([sweep.cross_mm for sweep in sweeps]),
        forward=forward,
        first=first.astype(np.int64),
        edges_mm=edges,
        power_W=power,
    )
