"""Motion events: the one stream that writer, clock, bounds check, dose map and drawing all read.

All coordinates are bed coordinates in mm: origin lower left, y away from the operator.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comment:
    """A remark for whoever reads the program."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """A rapid to a point, laser off, from rest to rest."""

    to_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """One straight pass along an axis at constant commanded speed, from rest to rest, its power changing on the way.

    Attributes
    ----------
    axis, cross_mm : the axis it runs along, and its place on the other one. [mm]
    start_mm, end_mm : where the head starts from rest and comes to rest, run-up included. [mm]
    edges_mm : (N+1,) places where the power changes, in the direction of travel. [mm]
    power_W : (N,) power from each edge to the next; 0 is off. [W]
    """

    axis: Axis
    cross_mm: float
    start_mm: float
    end_mm: float
    speed_mm_per_s: float
    edges_mm: FloatArray
    power_W: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """One path followed without a stop in between, from rest to rest, its power following the speed.

    The head slows for corners by itself; the path is cut into pieces short enough that one power serves each.

    Attributes
    ----------
    points_mm : (N+1, 2) places in the order of travel; a closed path repeats its first place at the end. [mm]
    speed_mm_per_s : commanded, reached where the path is straight for long enough.
    power_W : (N,) power from each place to the next; 0 is off (a bridge). [W]
    """

    points_mm: FloatArray
    speed_mm_per_s: float
    power_W: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Dwell:
    """A rest with the laser off."""

    time_s: float


Event = Comment | Travel | Sweep | Trace | Dwell
