"""The recipe search: least time over speed, line spacing, focus offset, passes and scan axis, power solved for tone.

Everything is computed on one grid of candidates at once; each constraint is a mask over it. Where no candidate meets
all, constraints give way in a stated order, and which gave way is told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.art.ink import InkProfile
from evenburn.core.motion.profile import move_time_s, speed_within_mm_per_s, time_to_speed_s
from evenburn.core.motion.raster import room_needed_mm
from evenburn.core.motion.timing import accel_mm_per_s2, travel_time_s
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, power_for_dose_W, ripple_factor
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.wish import Wish
from evenburn.core.proof.look import averaged_tone_L
from evenburn.core.response.curve import exposure_shift, exposures_for_tones, tone_L, tone_range_L
from evenburn.core.tone.vision import unseen_banding_L

FloatArray = NDArray[np.float64]

SPACINGS_mm = np.array([0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.10, 0.11, 0.12, 0.14, 0.16, 0.18, 0.20, 0.25, 0.30])
SPEED_STEP_mm_per_s = 5.0
SPEED_LEAST_mm_per_s = 10.0
OFFSET_STEP_mm = 0.5  # stand-offs are set with gauge blocks
OFFSET_RAYLEIGHS = 4.0  # offsets are searched up to four Rayleigh lengths, where the spot is four times the waist
PASSES = (1, 2)
AXES: tuple[Axis, ...] = ("x", "y")
TONE_HOLDS_L = 2.3  # a change below it is not noticed [mahy1994]
NEAR_BEST = 0.01  # among recipes within one percent of the least time the sharpest is taken

# in the order in which they give way: what costs looks first, what cannot be burnt last
CONSTRAINTS = ("detail", "sharpness", "banding", "warp", "photo range", "char", "tone", "run-up", "power")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The best candidate: its settings, what it takes, and which constraints had to give way."""

    axis: Axis
    speed_mm_per_s: float
    line_spacing_mm: float
    focus_offset_mm: float
    passes: int
    power_W: float
    time_s: float
    ripple_L: float
    detail_mm: float
    gave_way: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """Candidate values, one vector for each dimension of (passes, spacing, offset, speed)."""

    passes: FloatArray
    spacing_mm: FloatArray
    offset_mm: FloatArray
    speed_mm_per_s: FloatArray


def _grid(wish: Wish, *, axis: Axis) -> _Grid:
    machine, hold = wish.machine, wish.hold
    if hold.speed_mm_per_s is not None:
        speeds = np.array([hold.speed_mm_per_s])
    else:
        fits = np.floor(speed_limit_mm_per_s(machine, axis=axis, room_mm=min(wish.room_mm[axis])))
        regular = np.arange(SPEED_LEAST_mm_per_s, machine.speed_max_mm_per_s, SPEED_STEP_mm_per_s)
        speeds = np.unique([*regular, machine.speed_max_mm_per_s, *([fits] if fits >= 1.0 else [])])
        speeds = speeds[(speeds <= machine.speed_max_mm_per_s) & (speeds > 0.0)]
    offsets = offsets_mm(wish.beam)
    offset = hold.focus_offset_mm if hold.focus_offset_mm is not None else wish.common_offset_mm
    spacings = SPACINGS_mm[SPACINGS_mm >= wish.least_spacing_mm]
    if spacings.size == 0:
        spacings = np.array([wish.least_spacing_mm])
    return _Grid(
        passes=np.array([hold.passes] if hold.passes is not None else PASSES, dtype=np.float64),
        spacing_mm=spacings if hold.line_spacing_mm is None else np.array([hold.line_spacing_mm]),
        offset_mm=offsets if offset is None else np.array([offset]),
        speed_mm_per_s=speeds,
    )


def offsets_mm(beam: Beam) -> FloatArray:
    """Return the focus offsets that are searched, from the waist outward in steps of a gauge block. [mm] Definition."""
    far = OFFSET_RAYLEIGHS * beam.rayleigh_length_mm
    return np.round(np.arange(0.0, far + OFFSET_STEP_mm, OFFSET_STEP_mm), 6)


@lru_cache(maxsize=4096)
def speed_limit_mm_per_s(machine: Machine, *, axis: Axis, room_mm: float) -> float:
    """Return the greatest speed whose run-up and lead fit into a room. [mm/s]

    Source
    ------
    Own derivation: run-up and lead both grow with speed; solved by bisection below the run-up's own limit.
    """
    accel, jerk = accel_mm_per_s2(machine, axis=axis), machine.jerk_mm_per_s3
    high = speed_within_mm_per_s(room_mm, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)
    if high <= 0.0 or room_needed_mm(machine, axis=axis, speed_mm_per_s=high) <= room_mm:
        return high
    low = 0.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        if room_needed_mm(machine, axis=axis, speed_mm_per_s=middle) <= room_mm:
            low = middle
        else:
            high = middle
    return low


def raster_time_s(
    wish: Wish,
    *,
    axis: Axis,
    speed_mm_per_s: FloatArray,
    line_spacing_mm: FloatArray,
    passes: FloatArray,
    one_way: ArrayLike = False,
) -> FloatArray:
    """Return the estimated time of a raster from the artwork's profile: in one go, or in islands where that is quicker. [s]

    Parameters
    ----------
    one_way : whether each line is burnt in the same direction, the head coming back at rapid. They all broadcast.

    Source
    ------
    Own derivation: hull area over swept area per second, plus two run-ups, a step and the overhead for each line; with
    lines one way the way back, too. Islands have less hull, more lines, and ways from one to the next.
    """
    machine, whole = wish.machine, wish.profiles[axis]
    ramp = time_to_speed_s(
        speed_mm_per_s, accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis), jerk_mm_per_s3=machine.jerk_mm_per_s3
    )
    step = np.array(
        [
            travel_time_s(machine, dx_mm=0.0 if axis == "x" else p, dy_mm=p if axis == "x" else 0.0)
            for p in np.ravel(line_spacing_mm)
        ]
    ).reshape(np.shape(line_spacing_mm))

    def swept_s(profile: InkProfile) -> FloatArray:
        lines = profile.rows_mm / line_spacing_mm
        mean_mm = profile.hull_mm2 / max(profile.rows_mm, 1e-9)
        way_mm = mean_mm + speed_mm_per_s * ramp  # the line and both run-ups
        back = np.where(one_way, np.maximum(_travel_s(machine, way_mm, axis=axis) - step, 0.0), 0.0)
        each = 2.0 * ramp + step + back + machine.line_overhead_s
        hop_mm = profile.hops_mm / max(profile.islands - 1, 1)
        hops_s = (profile.islands - 1) * travel_time_s(machine, dx_mm=hop_mm / math.sqrt(2), dy_mm=hop_mm / math.sqrt(2))
        burning_s = profile.hull_mm2 / (line_spacing_mm * speed_mm_per_s) + profile.wander_mm / speed_mm_per_s
        return np.asarray(passes * (burning_s + lines * each + hops_s))

    least = swept_s(whole)
    for profile in whole.parted:
        least = np.minimum(least, swept_s(profile))
    return np.asarray(least)


def _travel_s(machine: Machine, way_mm: FloatArray, *, axis: Axis) -> FloatArray:
    """Return the time of rapids along an axis. [s] Source: `move_time_s`."""
    return move_time_s(
        way_mm,
        speed_mm_per_s=machine.rapid_mm_per_s,
        accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis),
        jerk_mm_per_s3=machine.jerk_mm_per_s3,
    )


def search(wish: Wish, *, relaxed: frozenset[str] = frozenset()) -> Found:
    """Return the recipe of least time that meets the wish.

    Parameters
    ----------
    relaxed : names of CONSTRAINTS to leave out, for asking what one of them costs.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md.
    """
    axes = AXES if wish.hold.scan_axis is None else (wish.hold.scan_axis,)
    tables = [_evaluate(wish, axis=axis, relaxed=relaxed) for axis in axes]
    least = min(int(table.broken.min()) for table in tables)
    found = [f for f in (table.best(least) for table in tables) if f is not None]
    return min(found, key=lambda f: f.time_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """All candidates of one axis, each quantity broadcast to (passes, spacing, offset, speed).

    `broken` has bit i set where CONSTRAINTS[i] does not hold: the smaller the number, the less important what gives.
    """

    axis: Axis
    grid: _Grid
    power_W: FloatArray
    time_s: FloatArray
    ripple_L: FloatArray
    detail_mm: FloatArray
    excess: dict[str, FloatArray]
    broken: NDArray[np.int64]

    def best(self, broken: int) -> Found | None:
        """Return the quickest of the candidates that break just this; the worst broken constraint is exceeded least.

        Artwork finer than anything sharp enough keeps is not chased: its detail gives way without being minimised.
        """
        good = self.broken == broken
        if not good.any():
            return None
        gave_way = tuple(name for i, name in enumerate(CONSTRAINTS) if broken >> i & 1)
        if gave_way and gave_way[-1] != "detail":
            worst = self.excess[gave_way[-1]]
            good &= worst <= float(worst[good].min()) * 1.02 + 1e-12
        least_s = float(self.time_s[good].min())
        good &= self.time_s <= least_s * (1.0 + NEAR_BEST)
        keys = (self.time_s[good], self.ripple_L[good], self.detail_mm[good])
        n, p, z, v = (int(i) for i in np.argwhere(good)[np.lexsort(keys)[0]])
        at = (n, p, z, v)
        return Found(
            axis=self.axis,
            speed_mm_per_s=float(self.grid.speed_mm_per_s[v]),
            line_spacing_mm=float(self.grid.spacing_mm[p]),
            focus_offset_mm=float(self.grid.offset_mm[z]),
            passes=int(self.grid.passes[n]),
            power_W=float(self.power_W[at]),
            time_s=float(self.time_s[at]),
            ripple_L=float(self.ripple_L[at]),
            detail_mm=float(self.detail_mm[at]),
            gave_way=gave_way,
        )


def _evaluate(wish: Wish, *, axis: Axis, relaxed: frozenset[str]) -> _Table:
    """Return every quantity and constraint on the grid of one axis."""
    curve, machine = wish.curve, wish.machine
    grid = _grid(wish, axis=axis)
    n = grid.passes[:, None, None, None]
    p = grid.spacing_mm[None, :, None, None]
    z = grid.offset_mm[None, None, :, None]
    v = grid.speed_mm_per_s[None, None, None, :]
    radius = beam_radius_mm(wish.beam, offset_mm=z)
    sharp = beam_radius_mm(wish.beam, offset_mm=np.maximum(np.abs(z) - wish.unevenness_mm, 0.0))
    soft = beam_radius_mm(wish.beam, offset_mm=np.abs(z) + wish.unevenness_mm)
    shift = exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=v), passes=n)

    wished = float(exposures_for_tones(curve, wish.tone_L))
    if wish.hold.power_W is None:
        exposure: FloatArray = np.full((1, 1, 1, 1), wished)
        power = power_for_dose_W(
            dose_J_per_mm2=10.0 ** (exposure - shift), speed_mm_per_s=v, line_spacing_mm=p, passes=n
        )
        off_tone: FloatArray = np.zeros((1, 1, 1, 1))
    else:
        power = np.broadcast_to(wish.hold.power_W, np.broadcast_shapes(n.shape, p.shape, z.shape, v.shape))
        exposure = np.log10(n * power / (v * p)) + shift
        off_tone = np.abs(tone_L(curve, exposure) - wish.tone_L) - TONE_HOLDS_L
    shape = np.broadcast_shapes(power.shape, n.shape, p.shape, z.shape, v.shape)

    to_sharp = curve.kappa * np.log10(sharp / radius)
    to_soft = curve.kappa * np.log10(soft / radius)
    top, bottom = (ripple_factor(beam_radius_mm=sharp, line_spacing_mm=p, phase=u) for u in (0.0, 0.5))
    with np.errstate(divide="ignore"):
        on_line, between = np.log10(top), np.log10(bottom)
    ripple = np.abs(tone_L(curve, exposure + to_sharp + on_line) - tone_L(curve, exposure + to_sharp + between))
    unseen = unseen_banding_L(tone=wish.tone_L, period_mm=p, distance_mm=wish.reading_distance_mm)

    middle = tone_L(curve, exposure)
    warp = np.maximum(
        np.abs(tone_L(curve, exposure + to_soft) - middle), np.abs(tone_L(curve, exposure + to_sharp) - middle)
    )
    half = float(exposures_for_tones(curve, 0.5 * (curve.bare_L + wish.tone_L)))
    detail = narrowest_kept_mm(
        beam_radius_mm=soft,
        smear_mm=v * machine.rise_time_s,
        line_spacing_mm=p,
        half_tone_dose_fraction=float(10.0 ** min(half - wished, -1e-3)),
    )
    least_W, most_W = power_window_W(machine)
    if "power" in relaxed:
        most_W = machine.power_max_W
    powers_W = np.maximum(least_W - power, power - most_W)
    faint = np.zeros((1, 1, 1, 1))
    if wish.faint_L is not None:
        ratio = 10.0 ** (float(exposures_for_tones(curve, wish.faint_L)) - wished)
        faint = least_W - power * ratio
    limit = speed_limit_mm_per_s(machine, axis=axis, room_mm=min(wish.room_mm[axis]))
    excess = {
        "detail": detail - wish.finest_mm(),
        "sharpness": detail - wish.sharpness_mm,
        "banding": ripple - unseen * wish.banding_factor,
        "warp": warp - TONE_HOLDS_L,
        "photo range": faint,
        "char": exposure + to_sharp + on_line - curve.x_char,
        "tone": off_tone,
        "run-up": v - limit,
        "power": powers_W,
    }
    for name in relaxed - {"power"}:
        excess[name] = np.full((1, 1, 1, 1), -1.0)
    broken = np.zeros(shape, dtype=np.int64)
    for bit, name in enumerate(CONSTRAINTS):
        broken |= (excess[name] > 1e-9).astype(np.int64) << bit
    time = raster_time_s(wish, axis=axis, speed_mm_per_s=v, line_spacing_mm=p, passes=n)
    return _Table(
        axis=axis,
        grid=grid,
        power_W=np.broadcast_to(power, shape),
        time_s=np.broadcast_to(time, shape),
        ripple_L=np.broadcast_to(ripple, shape),
        detail_mm=np.broadcast_to(detail, shape),
        excess={name: np.broadcast_to(value, shape) for name, value in excess.items()},
        broken=broken,
    )


def solve_power_W(
    wish: Wish, *, speed_mm_per_s: float, line_spacing_mm: float, focus_offset_mm: float, passes: int, guess_W: float
) -> float:
    """Return the power at which the tone, averaged over the ripple, is the wished one. [W]

    Source
    ------
    Own derivation: secant steps in log power from the power for an even dose, inside the usable range.
    """
    low, high = sorted(tone_range_L(wish.curve))
    target = min(max(wish.tone_L, low), high)
    log_power = np.log10(guess_W)
    step = 1e-3
    for _ in range(12):
        here, there = (
            predicted_tone_L(
                wish,
                power_W=float(10.0**lp),
                speed_mm_per_s=speed_mm_per_s,
                line_spacing_mm=line_spacing_mm,
                focus_offset_mm=focus_offset_mm,
                passes=passes,
            )
            for lp in (log_power, log_power + step)
        )
        slope = (there - here) / step
        if abs(here - target) < 1e-4 or abs(slope) < 1.0:
            break
        log_power += float(np.clip((target - here) / slope, -0.1, 0.1))
    return float(10.0**log_power)


def predicted_tone_L(
    wish: Wish,
    *,
    power_W: float,
    speed_mm_per_s: float,
    line_spacing_mm: float,
    focus_offset_mm: float,
    passes: int,
) -> float:
    """Return the tone of a wide even area, averaged over its ripple as reflectance. [L*] Source: `averaged_tone_L`."""
    radius = float(beam_radius_mm(wish.beam, offset_mm=focus_offset_mm))
    dose = passes * power_W / (speed_mm_per_s * line_spacing_mm)
    exposure = np.log10(dose) + exposure_shift(
        wish.curve, dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed_mm_per_s), passes=passes
    )
    return float(averaged_tone_L(wish.curve, exposure, beam_radius_mm=radius, line_spacing_mm=line_spacing_mm))


def without_room_limit(wish: Wish) -> Wish:
    """Return the wish with endless room on every side. Definition."""
    return replace(wish, room_mm=dict.fromkeys(wish.room_mm, (1000000000.0, 1000000000.0)))


def banding_L(wish: Wish, *, focus_offset_mm: float, line_spacing_mm: float) -> float:
    """Return the banding at the wished tone for an offset and a spacing, peak to valley. [L*] Source: `search`."""
    radius = float(beam_radius_mm(wish.beam, offset_mm=focus_offset_mm))
    exposure = float(exposures_for_tones(wish.curve, wish.tone_L))
    factors = ripple_factor(beam_radius_mm=radius, line_spacing_mm=line_spacing_mm, phase=np.array([0.0, 0.5]))
    with np.errstate(divide="ignore"):
        crest, trough = tone_L(wish.curve, exposure + np.log10(factors))
    return float(abs(crest - trough))
