"""Where the ink of an artwork lies, summed up for the recipe search along either axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class InkProfile:
    """What lines along one axis meet: lengths and areas, independent of the line spacing.

    Attributes
    ----------
    hull_mm2 : area between each line's first and last ink. [mm²]
    rows_mm : extent across the lines that holds ink. [mm]
    wander_mm : mean of how far the first and the last ink wander in all, from line to line. [mm]
    islands : in how many parts it is swept, one after the other; all sums are over them.
    hops_mm : the way from each island to the next, in all. [mm]
    parted : the same ink swept in more islands, shorter in hull for more lines.
    """

    axis: Axis
    hull_mm2: float
    rows_mm: float
    wander_mm: float
    islands: int = 1
    hops_mm: float = 0.0
    parted: tuple[InkProfile, ...] = ()


def ink_box_mm(ink: NDArray[np.bool_], *, x0_mm: float, y0_mm: float, pixel_mm: float) -> Box | None:
    """Return the box of all ink, (x0, y0, x1, y1), row 0 lowest; None where there is none. [mm] Definition."""
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    if rows.size == 0:
        return None
    return (
        x0_mm + float(columns[0]) * pixel_mm,
        y0_mm + float(rows[0]) * pixel_mm,
        x0_mm + float(columns[-1] + 1) * pixel_mm,
        y0_mm + float(rows[-1] + 1) * pixel_mm,
    )


def ink_profile(ink: NDArray[np.bool_], *, axis: Axis, pixel_mm: float) -> InkProfile:
    """Return the profile of ink for lines along an axis.

    Parameters
    ----------
    ink : (rows=y, columns=x) True where something burns.

    Source
    ------
    Definition.
    """
    lines = ink if axis == "x" else ink.T
    filled = lines[lines.any(axis=1)]
    if filled.size == 0:
        return InkProfile(axis=axis, hull_mm2=0.0, rows_mm=0.0, wander_mm=0.0)
    first = filled.argmax(axis=1)
    last = filled.shape[1] - filled[:, ::-1].argmax(axis=1)
    wander_px = 0.5 * float(np.abs(np.diff(first)).sum() + np.abs(np.diff(last)).sum())
    return InkProfile(
        axis=axis,
        hull_mm2=float((last - first).sum()) * pixel_mm**2,
        rows_mm=filled.shape[0] * pixel_mm,
        wander_mm=wander_px * pixel_mm,
    )
