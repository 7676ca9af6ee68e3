"""What a stopwatch tells of a bench: acceleration and the controller's overhead, from rasters of known extents.

Each raster is timed from its first move to its last. Long quick lines take their turns, short ones never reach their
speed; together they tell acceleration and overhead apart. The clock is the planner's own, run backwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.errors import InvalidInput
from evenburn.core.motion.profile import speed_within_mm_per_s
from evenburn.core.motion.raster import Line, Run, run_events
from evenburn.core.motion.timing import accel_mm_per_s2, program_time_s
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]

BELIEVED_DECADES = 0.5  # a stated acceleration may be three times too high or low
BELIEVED_OVERHEAD_s = 0.05
CREDIBLE = 4.0  # standard deviations by which a time may miss before it is doubted


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MotionFit:
    """What the times say.

    Attributes
    ----------
    accel_x_mm_per_s2, accel_y_mm_per_s2, line_overhead_s : for the machine file.
    accel_x_sd_mm_per_s2, accel_y_sd_mm_per_s2, line_overhead_sd_s : standard deviations.
    residual_s : (N,) measured less reckoned.
    doubtful : numbers of the rasters whose time fits none of it.
    """

    accel_x_mm_per_s2: float
    accel_y_mm_per_s2: float
    line_overhead_s: float
    accel_x_sd_mm_per_s2: float
    accel_y_sd_mm_per_s2: float
    line_overhead_sd_s: float
    residual_s: FloatArray
    doubtful: tuple[int, ...]


def fit_motion(
    machine: Machine, *, programs: Sequence[Sequence[Event]], measured_s: Sequence[float], reaction_sd_s: float
) -> MotionFit:
    """Return acceleration of both axes and overhead for each line, as measured times of programs say.

    Parameters
    ----------
    machine : what is believed so far; its speeds and jerk are taken as they are.
    reaction_sd_s : standard deviation of a time taken by hand. [s]

    Raises
    ------
    InvalidInput
        If the times are too few, or one is no time.

    Source
    ------
    `program_time_s` solved for the machine by least squares, with wide beliefs about the machine as it is stated.
    """
    if len(programs) != len(measured_s) or len(programs) < 2:
        raise InvalidInput({"times": f"{len(measured_s)} times for {len(programs)} rasters; at least two are needed"})
    if not all(math.isfinite(t) and t > 0.0 for t in measured_s):
        raise InvalidInput({"times": "every time has to be a number above 0, in seconds"})
    measured = np.asarray(measured_s, dtype=np.float64)
    stated = np.array([math.log10(machine.accel_x_mm_per_s2), math.log10(machine.accel_y_mm_per_s2)])

    def machine_at(at: FloatArray) -> Machine:
        return replace(
            machine,
            accel_x_mm_per_s2=float(10.0 ** at[0]),
            accel_y_mm_per_s2=float(10.0 ** at[1]),
            line_overhead_s=float(at[2]),
        )

    def times(at: FloatArray) -> FloatArray:
        bench = machine_at(at)
        return np.array([program_time_s(bench, events) for events in programs])

    def off(at: FloatArray) -> FloatArray:
        beliefs = np.append((at[:2] - stated) / BELIEVED_DECADES, at[2] / BELIEVED_OVERHEAD_s)
        return np.concatenate(((times(at) - measured) / reaction_sd_s, beliefs))

    start = np.append(stated, machine.line_overhead_s)
    low, high = np.append(stated - 2.0, 0.0), np.append(stated + 2.0, 5.0)
    start = np.clip(start, low + 1e-9, high - 1e-9)
    best = least_squares(off, start, bounds=(low, high), loss="soft_l1", x_scale=[0.1, 0.1, 0.01], max_nfev=60)
    residual = measured - times(best.x)
    jacobian = np.asarray(best.jac, dtype=np.float64)
    sd = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)))
    found = machine_at(best.x)
    return MotionFit(
        accel_x_mm_per_s2=found.accel_x_mm_per_s2,
        accel_y_mm_per_s2=found.accel_y_mm_per_s2,
        line_overhead_s=found.line_overhead_s,
        accel_x_sd_mm_per_s2=float(sd[0]) * math.log(10.0) * found.accel_x_mm_per_s2,
        accel_y_sd_mm_per_s2=float(sd[1]) * math.log(10.0) * found.accel_y_mm_per_s2,
        line_overhead_sd_s=float(sd[2]),
        residual_s=residual,
        doubtful=tuple(int(i) for i in np.flatnonzero(np.abs(residual) > CREDIBLE * reaction_sd_s)),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TimedRaster:
    """A raster to be timed: what it is for, and its events, the laser off."""

    name: str
    events: tuple[Event, ...]


LINES = 200  # so many turns make a reaction time small beside them
LONG_mm, SHORT_mm, STEP_mm = 60.0, 5.0, 0.5
SLOW_mm_per_s = 50.0


def stopwatch_rasters(machine: Machine) -> tuple[TimedRaster, ...]:
    """Return three rasters in the middle of the bed: quick lines along either axis, and short slow ones.

    The quick ones are as quick as the bed has run-up for; the slow ones hold hardly more than the overhead.

    Source
    ------
    Own choice: times that depend on acceleration alone, and on overhead alone, as far as may be.
    """
    quick: list[TimedRaster] = []
    beds: tuple[tuple[Axis, float], ...] = (("x", machine.bed_x_mm), ("y", machine.bed_y_mm))
    for axis, bed in beds:
        room = 0.5 * (bed - LONG_mm) - 1.0
        speed = min(
            machine.speed_max_mm_per_s,
            speed_within_mm_per_s(
                room, accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis), jerk_mm_per_s3=machine.jerk_mm_per_s3
            ),
        )
        if speed >= 2.0 * SLOW_mm_per_s:
            events = _off(machine, axis=axis, length_mm=LONG_mm, speed_mm_per_s=math.floor(speed))
            quick.append(TimedRaster(name=f"quick along {axis}", events=events))
    slow = min(SLOW_mm_per_s, machine.speed_max_mm_per_s)
    events = _off(machine, axis="x", length_mm=SHORT_mm, speed_mm_per_s=slow)
    return (*quick, TimedRaster(name="short and slow", events=events))


def _off(machine: Machine, *, axis: Axis, length_mm: float, speed_mm_per_s: float) -> tuple[Event, ...]:
    """Return lines to and fro about the middle of the bed, with their run-up, the laser off."""
    middle = (0.5 * machine.bed_x_mm, 0.5 * machine.bed_y_mm)
    along, across = middle if axis == "x" else middle[::-1]
    step = min(STEP_mm, (2.0 * across - 2.0) / LINES)
    lines = tuple(
        Line(
            cross_mm=across + (number - 0.5 * (LINES - 1)) * step,
            edges_mm=np.array([along - 0.5 * length_mm, along + 0.5 * length_mm]),
            power_W=np.zeros(1),
        )
        for number in range(LINES)
    )
    run = Run(lines=lines, forward=True)
    return tuple(run_events(machine, [run], axis=axis, speed_mm_per_s=speed_mm_per_s))
