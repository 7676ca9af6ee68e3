"""What a stopwatch tells of a bench: acceleration, jerk and the controller's overhead, from rasters of known extents.

The head runs to and fro on one line, the laser off, a counted number of times: long strokes that reach full speed, and short
ones that never do. Their times tell acceleration, jerk and what the controller adds apart. A stroke that turns back comes to
rest whatever the controller does with corners, so nothing but these three is in the times. The clock is the planner's own,
run backwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.errors import InvalidInput
from evenburn.core.motion.profile import move_time_s, run_up_mm, speed_within_mm_per_s
from evenburn.core.motion.timing import accel_mm_per_s2, program_time_s
from evenburn.core.nouns.events import Dwell, Event, Sweep, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]

BELIEVED_DECADES = 0.5  # a stated acceleration or jerk may be three times too high or low
UNSTATED_DECADES = 1.5  # of a jerk that nobody stated, about …
UNSTATED_RAMP_s = 0.02  # … so long for the acceleration to build up
BELIEVED_OVERHEAD_s = 0.05
CREDIBLE = 4.0  # standard deviations by which a time may miss before it is doubted
HAND_SD_s = 0.15  # of one time by hand, start and stop together: common practice, no source
HAND_KNOWN_AS = 6.0  # … believed as firmly as if so many times had shown it
NOTICED = 2.0  # a jerk limit is told apart from none where its effect is so many standard deviations
NOTICED_RAMP_s = 0.004  # … and no less than this, which changes no plan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MotionFit:
    """What the times say.

    Attributes
    ----------
    accel_x_mm_per_s2, accel_y_mm_per_s2, line_overhead_s : for the machine file.
    accel_x_sd_mm_per_s2, accel_y_sd_mm_per_s2, line_overhead_sd_s : standard deviations.
    jerk_mm_per_s3 : None where the times show no limit.
    jerk_sd_mm_per_s3 : its standard deviation; 0 where there is none.
    hand_sd_s : standard deviation of one time, as the takes show it.
    residual_s : (N,) measured less reckoned.
    doubtful : numbers of the times that fit none of it, from 0 on.
    """

    accel_x_mm_per_s2: float
    accel_y_mm_per_s2: float
    line_overhead_s: float
    accel_x_sd_mm_per_s2: float
    accel_y_sd_mm_per_s2: float
    line_overhead_sd_s: float
    jerk_mm_per_s3: float | None
    jerk_sd_mm_per_s3: float
    hand_sd_s: float
    residual_s: FloatArray
    doubtful: tuple[int, ...]

    def machine(self, believed: Machine) -> Machine:
        """Return a bench that moves as the times say, all else as it was. Definition."""
        return replace(
            believed,
            accel_x_mm_per_s2=self.accel_x_mm_per_s2,
            accel_y_mm_per_s2=self.accel_y_mm_per_s2,
            jerk_mm_per_s3=self.jerk_mm_per_s3,
            line_overhead_s=self.line_overhead_s,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TimedRaster:
    """A raster to be timed: what it is for, strokes to and fro on one line, and its events, the laser off."""

    name: str
    axis: Axis
    strokes: int
    length_mm: float
    speed_mm_per_s: float
    events: tuple[Event, ...]


ROUND_s = 104.0  # one take of all four; two takes stay below four minutes
# share of that time; a short stroke's length, over that of the long one
KINDS = (("x", 0.42, 1.0), ("x", 0.18, 0.08), ("y", 0.28, 1.0), ("y", 0.12, 0.02))
NAMES = ("long strokes along x", "short strokes along x", "long strokes along y", "very short strokes along y")
CRUISE_mm = 6.0  # of a long stroke are run at full speed
SHORTEST_mm = 1.0
MOST_STROKES = 600
FROM_EDGE_mm = 2.0


def stopwatch_rasters(machine: Machine) -> tuple[TimedRaster, ...]:
    """Return four rasters about the middle of the bed: long and short strokes along either axis, the laser off.

    Long strokes reach the greatest speed that the bed has run-up for. Numbers of strokes are even, so that each raster ends
    where it began.

    Source
    ------
    Own choice: lengths and shares of time that made acceleration surest, over benches as ordinary machine files describe
    them, by the inverse of the information matrix.
    """
    found = []
    for name, (axis, share, part) in zip(NAMES, KINDS, strict=True):
        along: Axis = "x" if axis == "x" else "y"
        bed = machine.bed_x_mm if along == "x" else machine.bed_y_mm
        accel, jerk = accel_mm_per_s2(machine, axis=along), machine.jerk_mm_per_s3
        room = max(SHORTEST_mm, bed - 2.0 * FROM_EDGE_mm)
        within = speed_within_mm_per_s(0.5 * (room - CRUISE_mm), accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)
        speed = float(math.floor(min(machine.speed_max_mm_per_s, machine.rapid_mm_per_s, max(within, 1.0))))
        long_mm = min(room, 2.0 * float(run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)) + CRUISE_mm)
        length = float(max(SHORTEST_mm, round(part * long_mm)))
        one_s = float(move_time_s(length, speed_mm_per_s=speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))
        strokes = min(MOST_STROKES, max(10, 2 * round(0.5 * share * ROUND_s / (one_s + machine.line_overhead_s))))
        found.append(
            TimedRaster(
                name=name,
                axis=along,
                strokes=strokes,
                length_mm=length,
                speed_mm_per_s=speed,
                events=strokes_to_and_fro(machine, axis=along, length_mm=length, speed_mm_per_s=speed, count=strokes),
            )
        )
    return tuple(found)


def strokes_to_and_fro(
    machine: Machine, *, axis: Axis, length_mm: float, speed_mm_per_s: float, count: int
) -> tuple[Event, ...]:
    """Return strokes to and fro about the middle of the bed, the laser off, after the way to the first. Definition."""
    middle = (0.5 * machine.bed_x_mm, 0.5 * machine.bed_y_mm)
    along, across = (round(v, 3) for v in (middle if axis == "x" else middle[::-1]))
    low, high = round(along - 0.5 * length_mm, 3), round(along + 0.5 * length_mm, 3)
    events: list[Event] = [Travel(to_mm=(low, across) if axis == "x" else (across, low))]
    for number in range(count):
        if number:
            events.append(Dwell(time_s=0.0))  # a full stop, however the controller takes corners
        start, end = (low, high) if number % 2 == 0 else (high, low)
        events.append(
            Sweep(
                axis=axis,
                cross_mm=across,
                start_mm=start,
                end_mm=end,
                speed_mm_per_s=speed_mm_per_s,
                edges_mm=np.array([start + 0.25 * (end - start), start + 0.75 * (end - start)]),
                power_W=np.zeros(1),
            )
        )
    return tuple(events)


def fit_motion(
    machine: Machine,
    *,
    programs: Sequence[Sequence[Event]],
    measured_s: Sequence[float],
    reaction_sd_s: float = HAND_SD_s,
) -> MotionFit:
    """Return acceleration of both axes, jerk, and overhead for each line, as measured times of programs say.

    Parameters
    ----------
    machine : what is believed so far; its speeds are taken as they are.
    programs : one for each time; a program timed twice stands twice.
    reaction_sd_s : believed standard deviation of a time taken by hand; takes of one program correct it. [s]

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
    unlike = list({id(p): p for p in programs}.values())
    which = np.array([next(n for n, p in enumerate(unlike) if p is q) for q in programs])
    hand_sd_s = _hand_sd_s(measured, which, believed_s=reaction_sd_s)
    stated, decades = _beliefs(machine)

    def machine_at(at: FloatArray) -> Machine:
        return replace(
            machine,
            accel_x_mm_per_s2=float(10.0 ** at[0]),
            accel_y_mm_per_s2=float(10.0 ** at[1]),
            jerk_mm_per_s3=float(10.0 ** at[2]),
            line_overhead_s=float(at[3]),
        )

    def times(at: FloatArray) -> FloatArray:
        bench = machine_at(at)
        return np.asarray(np.array([program_time_s(bench, events) for events in unlike])[which], dtype=np.float64)

    def off(at: FloatArray) -> FloatArray:
        beliefs = np.append((at[:3] - stated) / decades, at[3] / BELIEVED_OVERHEAD_s)
        return np.asarray(np.concatenate(((times(at) - measured) / hand_sd_s, beliefs)))

    start = np.append(stated, machine.line_overhead_s)
    reach = np.array([2.0, 2.0, 4.0])  # decades
    low, high = np.append(stated - reach, 0.0), np.append(stated + reach, 5.0)
    start = np.clip(start, low + 1e-9, high - 1e-9)
    best = least_squares(off, start, bounds=(low, high), loss="soft_l1", x_scale=[0.1, 0.1, 0.1, 0.01], max_nfev=100)
    residual = measured - times(best.x)
    jacobian = np.asarray(best.jac, dtype=np.float64)
    sd = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)))
    found = machine_at(best.x)
    jerk = float(10.0 ** best.x[2])
    jerk_share = float(sd[2]) * math.log(10.0)
    ramp_s = found.accel_x_mm_per_s2 / jerk
    limited = ramp_s > NOTICED_RAMP_s and NOTICED * jerk_share < 1.0
    if machine.jerk_mm_per_s3 is not None and ramp_s > NOTICED_RAMP_s:
        limited = True  # it is stated, and nothing speaks against it
    return MotionFit(
        accel_x_mm_per_s2=found.accel_x_mm_per_s2,
        accel_y_mm_per_s2=found.accel_y_mm_per_s2,
        line_overhead_s=found.line_overhead_s,
        accel_x_sd_mm_per_s2=float(sd[0]) * math.log(10.0) * found.accel_x_mm_per_s2,
        accel_y_sd_mm_per_s2=float(sd[1]) * math.log(10.0) * found.accel_y_mm_per_s2,
        line_overhead_sd_s=float(sd[3]),
        jerk_mm_per_s3=jerk if limited else None,
        jerk_sd_mm_per_s3=jerk_share * jerk if limited else 0.0,
        hand_sd_s=hand_sd_s,
        residual_s=residual,
        doubtful=tuple(int(i) for i in np.flatnonzero(np.abs(residual) > CREDIBLE * max(reaction_sd_s, 1e-9))),
    )


def _beliefs(machine: Machine) -> tuple[FloatArray, FloatArray]:
    """Return the logarithms of acceleration x, y and jerk as stated, and by how many decades each may be off."""
    accel = machine.accel_x_mm_per_s2
    jerk, decades = machine.jerk_mm_per_s3, BELIEVED_DECADES
    if jerk is None:
        jerk, decades = accel / UNSTATED_RAMP_s, UNSTATED_DECADES
    stated = np.log10([accel, machine.accel_y_mm_per_s2, jerk])
    return stated, np.array([BELIEVED_DECADES, BELIEVED_DECADES, decades])


def _hand_sd_s(measured: FloatArray, which: NDArray[np.int64], *, believed_s: float) -> float:
    """Return the standard deviation of one time: what is believed, corrected by how takes of one program differ. [s]"""
    squares, freedom = HAND_KNOWN_AS * believed_s**2, HAND_KNOWN_AS
    for number in np.unique(which):
        takes = measured[which == number]
        off = np.minimum(np.square(takes - np.median(takes)), (CREDIBLE * believed_s) ** 2)  # a blunder is no scatter
        squares += float(off.sum()) * (takes.size / max(1, takes.size - 1) if takes.size == 2 else 1.0)
        freedom += takes.size - 1
    return math.sqrt(squares / freedom)


def overhead_of_burning_s(
    reckoned_s: float, *, lines: int, measured_s: Sequence[float], hand_sd_s: float
) -> tuple[float, float]:
    """Return what the controller adds to each line that burns, and its standard deviation. [s]

    Parameters
    ----------
    reckoned_s : time of the program without overhead, with acceleration and jerk as fitted. [s]
    lines : how many of its lines burn.

    Source
    ------
    Definition: time measured less time reckoned, over the lines.
    """
    share = (float(np.mean(measured_s)) - reckoned_s) / lines
    return max(0.0, share), hand_sd_s / math.sqrt(len(measured_s)) / lines
