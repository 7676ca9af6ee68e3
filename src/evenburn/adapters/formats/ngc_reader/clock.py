"""How long the moves take, from their lengths, speeds and the machine's accelerations alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.formats.ngc_reader.bends import (
    STRAIGHT_MM,
    accel_in_the_mean,
    speed_in_reach,
    times_through_bends_s,
)
from evenburn.adapters.formats.ngc_reader.findings import Limits
from evenburn.adapters.formats.ngc_reader.geometry import BoolArray, FloatArray, Path
from evenburn.adapters.formats.ngc_reader.machine_state import FEED, RAPID, Moves
from evenburn.adapters.formats.ngc_reader.scales import S_PER_MIN

_STRAIGHT_SINE = 0.03  # in a run without bends, however short the moves, no joint above this


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """What the clock says: of all moves together, dwells apart, and of each move that burns; 0 of all others. [s]"""

    total_s: float
    burning_s: FloatArray


def rest_to_rest_s(
    length_mm: FloatArray, speed_mm_per_s: FloatArray, *, accel_mm_per_s2: FloatArray, jerk_mm_per_s3: float | None
) -> FloatArray:
    """Return the time of straight moves that begin and end at rest.

    Parameters
    ----------
    length_mm, speed_mm_per_s, accel_mm_per_s2 : (N,) float64
        All above 0. [mm], [mm/s], [mm/s²]
    jerk_mm_per_s3 : float or None
        None: acceleration may step (trapezoid). [mm/s³]

    Returns
    -------
    (N,) float64
        [s]

    Source
    ------
    [biagiotti2008], sec. 3.2 (trapezoid) and 3.4 (double S, initial and final speed 0).

    Checked by
    ----------
    tests/unit/adapters/formats/test_ngc_reader_clock.py, against ruckig
    """
    length, speed, accel = length_mm, speed_mm_per_s, accel_mm_per_s2
    if jerk_mm_per_s3 is None:
        reached = length >= speed**2 / accel
        return np.where(reached, length / speed + speed / accel, 2 * np.sqrt(length / accel))
    jerk = jerk_mm_per_s3
    corner_speed = accel**2 / jerk  # below it the acceleration never reaches its limit
    ramp_s = np.where(speed >= corner_speed, speed / accel + accel / jerk, 2 * np.sqrt(speed / jerk))
    onset_s = accel / jerk
    # the peak solves  peak²/a + peak a/j = length  where the acceleration's limit is met on the way
    peak = accel / 2 * (np.sqrt(onset_s**2 + 4 * length / accel) - onset_s)
    short = np.where(peak >= corner_speed, 2 * (peak / accel + onset_s), 4 * np.cbrt(length / (2 * jerk)))
    return np.where(length >= speed * ramp_s, length / speed + ramp_s, short)


def clock(path: Path, moves: Moves, *, limits: Limits) -> Timed:
    """Return the time of all moves, dwells apart, and of each that burns.

    Moves of one kind and one feed that follow one another in one line run through, from rest to rest. Feed moves run
    through bends as well, as fast as each bend allows, and rest where they turn back. Anything else stops between them,
    and so does switching the laser. What burns somewhere between two rests adds the controller's overhead. A move from
    an unknown start, or without a feed, counts for nothing.

    Source
    ------
    Own derivation; per-axis accelerations are projected on the direction.
    """
    speed = np.where(path.kind == RAPID, limits.rapid_mm_per_s, path.feed_mm_per_min / S_PER_MIN)
    timed = (path.length_mm > 0) & (speed > 0)  # a NaN feed is not above 0
    burning_s = np.zeros(path.kind.size)
    lit_arcs = [at for at in moves.arcs if timed[at] and path.power_word[at] > 0]
    burning_s[lit_arcs] = path.length_mm[lit_arcs] / speed[lit_arcs]
    total = _arcs_s(path, moves, speed, timed, limits)
    straight = np.flatnonzero(timed & (path.kind <= FEED))
    if not straight.size:
        return Timed(total_s=total, burning_s=burning_s)
    way = _Way.of(path, moves, straight, speed[straight], limits)
    bent = way.bent()
    if bent.any():
        part = way.only(bent)
        times, from_rest = times_through_bends_s(
            np.stack([path.x_mm[part.at], path.y_mm[part.at]], axis=1),
            np.stack([path.dx_mm[part.at], path.dy_mm[part.at]], axis=1),
            opens=part.opens_chain,
            feed_mm_per_s=part.speed,
            accel_mm_per_s2=part.accel,
            limits=limits,
        )
        total += float(times.sum()) + limits.line_overhead_s * _lit_groups(part.power, from_rest)
        lit = part.power > 0
        burning_s[part.at[lit]] = times[lit]
        way = way.only(~bent)
    if way.at.size:
        total += _runs_s(way, limits)
        lit = (way.power > 0) & way.is_feed
        burning_s[way.at[lit]] = _within_runs_s(way, lit, limits)
    return Timed(total_s=total, burning_s=burning_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """Straight moves in order, in columns; runs are in one line, chains are feed moves that may bend."""

    at: NDArray[np.intp]
    dx: FloatArray
    dy: FloatArray
    length: FloatArray
    speed: FloatArray
    accel: FloatArray
    power: FloatArray
    is_feed: BoolArray
    opens_run: BoolArray
    opens_chain: BoolArray

    @staticmethod
    def of(path: Path, moves: Moves, at: NDArray[np.intp], speed: FloatArray, limits: Limits) -> _Way:
        """Take the moves with these numbers, and find where the head stops between them."""
        kind, feed, length = path.kind[at], path.feed_mm_per_min[at], path.length_mm[at]
        dx, dy = path.dx_mm[at], path.dy_mm[at]
        holds = _holds(path, moves)[at]
        same = (kind[1:] == kind[:-1]) & (holds[1:] == holds[:-1]) & ((kind[1:] == RAPID) | (feed[1:] == feed[:-1]))
        cross = np.abs(dx[1:] * dy[:-1] - dy[1:] * dx[:-1])
        longer, shorter = np.maximum(length[1:], length[:-1]), np.minimum(length[1:], length[:-1])
        in_line = (cross <= STRAIGHT_MM * longer) & (cross <= _STRAIGHT_SINE * longer * shorter)
        in_line &= dx[1:] * dx[:-1] + dy[1:] * dy[:-1] > 0
        is_feed = kind == FEED
        return _Way(
            at=at,
            dx=dx,
            dy=dy,
            length=length,
            speed=speed,
            accel=_accel_mm_per_s2(dx, dy, limits),
            power=path.power_word[at],
            is_feed=is_feed,
            opens_run=np.concatenate(([True], ~(same & in_line))),
            opens_chain=np.concatenate(([True], ~(same & is_feed[1:]))),
        )

    def only(self, some: BoolArray) -> _Way:
        """Return some of the moves, whole chains and rapids only."""
        return _Way(**{name: getattr(self, name)[some] for name in self.__slots__})

    def bent(self) -> BoolArray:
        """Return which moves belong to a chain that does not run in one line from its first point to its last."""
        first = np.flatnonzero(self.opens_chain)
        chain = np.cumsum(self.opens_chain) - 1
        joint = np.maximum.reduceat((self.opens_run & ~self.opens_chain).astype(np.int8), first) > 0
        x, y = _since(self.dx, first, chain), _since(self.dy, first, chain)
        last = np.append(first[1:], chain.size) - 1
        span_x, span_y = x[last], y[last]
        off = np.abs(x * span_y[chain] - y * span_x[chain])
        bowed = np.maximum.reduceat(off, first) > STRAIGHT_MM * np.hypot(span_x, span_y)
        return np.asarray((joint | bowed)[chain] & self.is_feed, dtype=np.bool_)


def _lit_groups(power: FloatArray, opens: BoolArray) -> int:
    """Return how many groups of moves, each begun where `opens` tells, burn somewhere."""
    return int(np.count_nonzero(np.maximum.reduceat(power, np.flatnonzero(opens)) > 0))


def _since(steps: FloatArray, first: NDArray[np.intp], group: NDArray[np.intp]) -> FloatArray:
    """Return sums of steps up to and with each, begun anew where a group begins."""
    sums = np.cumsum(steps)
    return np.asarray(sums - (sums[first] - steps[first])[group], dtype=np.float64)


def _holds(path: Path, moves: Moves) -> NDArray[np.int32]:
    """Return for each move how often the head has been brought to rest before it by something other than a bend."""
    held = np.zeros(path.kind.size + 1, dtype=np.int32)
    held[moves.stops] = 1
    held[list(moves.arcs)] = 1
    held[[at + 1 for at in moves.arcs]] = 1
    return np.asarray(np.cumsum(held)[: path.kind.size], dtype=np.int32)


def _runs_s(way: _Way, limits: Limits) -> float:
    """Return the time of all runs, each from rest to rest, with the overhead of those that burn."""
    first = np.flatnonzero(way.opens_run)
    length, accel = np.add.reduceat(way.length, first), np.minimum.reduceat(way.accel, first)
    jerk = limits.jerk_mm_per_s3
    total = float(rest_to_rest_s(length, way.speed[first], accel_mm_per_s2=accel, jerk_mm_per_s3=jerk).sum())
    burns = np.maximum.reduceat(way.power, first) > 0
    return total + limits.line_overhead_s * int(np.count_nonzero(burns & way.is_feed[first]))


def _within_runs_s(way: _Way, some: BoolArray, limits: Limits) -> FloatArray:
    """Return the time of some moves of runs: at their feed, or longer where the head speeds up or slows down."""
    first, run = np.flatnonzero(way.opens_run), np.cumsum(way.opens_run) - 1
    length, accel = np.add.reduceat(way.length, first), np.minimum.reduceat(way.accel, first)
    jerk = limits.jerk_mm_per_s3
    peak = speed_in_reach(length, way.speed[first], accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)
    accel = accel_in_the_mean(accel, peak, jerk_mm_per_s3=jerk)
    room = 0.5 * peak**2 / accel
    leave = _since(way.length, first, run)
    enter = leave - way.length
    times = way.length / way.speed
    ramping = np.flatnonzero(some & ((enter < room[run]) | (leave > (length - room)[run])))
    run = run[ramping]
    length, peak, accel, room = length[run], peak[run], accel[run], room[run]

    def ramp_s(to_mm: FloatArray) -> FloatArray:
        """Return the time from rest to a place, as if there were no slowing down."""
        even_s = (to_mm - room) / peak
        ramp = np.sqrt(2.0 * np.maximum(to_mm, 0.0) / accel)
        return np.asarray(np.where(to_mm < room, ramp, peak / accel + even_s), dtype=np.float64)

    def passed_s(to_mm: FloatArray) -> FloatArray:
        """Return the time to a place: up to the middle by the ramp at the one end, beyond it by that at the other."""
        half = 0.5 * length
        behind = 2.0 * ramp_s(half) - ramp_s(length - to_mm)
        return np.asarray(np.where(to_mm <= half, ramp_s(to_mm), behind), dtype=np.float64)

    times[ramping] = passed_s(leave[ramping]) - passed_s(enter[ramping])
    return np.asarray(times[some], dtype=np.float64)


def _accel_mm_per_s2(dx: FloatArray, dy: FloatArray, limits: Limits) -> FloatArray:
    chord = np.hypot(dx, dy)
    with np.errstate(divide="ignore", over="ignore"):
        return np.minimum(
            limits.accel_x_mm_per_s2 * chord / np.abs(dx),
            limits.accel_y_mm_per_s2 * chord / np.abs(dy),
        )


def _arcs_s(path: Path, moves: Moves, speed: FloatArray, timed: BoolArray, limits: Limits) -> float:
    """Return the time of the arcs: each from rest to rest, no faster than the slower axis can hold the curve."""
    numbers = [at for at in moves.arcs if timed[at]]
    if not numbers:
        return 0.0
    accel = np.full(len(numbers), min(limits.accel_x_mm_per_s2, limits.accel_y_mm_per_s2))
    radius = np.array([moves.arcs[at].radius_mm for at in numbers])
    curve_speed = np.minimum(speed[numbers], np.sqrt(accel * radius))
    jerk = limits.jerk_mm_per_s3
    time = rest_to_rest_s(path.length_mm[numbers], curve_speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)
    return float(time.sum()) + limits.line_overhead_s * int(np.count_nonzero(path.power_word[numbers] > 0))
