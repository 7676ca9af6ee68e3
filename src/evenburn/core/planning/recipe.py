"""The recipe search: least time over direction, speed, line spacing, focus offset, passes and scan axis, power solved.

Everything is computed on one grid of candidates at once; each constraint is a mask over it. Where no candidate meets
all, constraints give way in a stated order, and which gave way is told, with by how much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
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
from evenburn.core.nouns.mark import Axis, Direction
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, ripple_factor
from evenburn.core.planning.doubt import CurveDoubt, doubt_at
from evenburn.core.planning.over_lines import (
    FAR_decades,
    FLAT_L_per_decade,
    Met,
    OverLines,
    SECANT_decades,
    coarsely_set,
    half_tone_share,
    met_tone,
    over_lines,
)
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import exposure_shift, exposures_for_tones, tone_L, tone_range_L
from evenburn.core.tone.ripple import averaged_tone_L, ripple_of
from evenburn.core.tone.vision import unseen_banding_L

FloatArray = NDArray[np.float64]
Index = tuple[NDArray[np.intp], ...]

SPACINGS_mm = np.array([0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.10, 0.11, 0.12, 0.14, 0.16, 0.18, 0.20, 0.25, 0.30])
SPEED_STEP_mm_per_s = 5.0
SPEED_LEAST_mm_per_s = 10.0
OFFSET_STEP_mm = 0.5  # stand-offs are set with gauge blocks
OFFSET_RAYLEIGHS = 4.0  # offsets are searched up to four Rayleigh lengths, where the spot is four times the waist
PASSES = (1, 2)
AXES: tuple[Axis, ...] = ("x", "y")
DIRECTIONS: tuple[Direction, ...] = ("both ways", "one way")
TONE_HOLDS_L = 2.3  # a change below it is not noticed [mahy1994]
TOLD_L = 0.05  # what is less than the last digit that is told is not told
NEAR_BEST = 0.01  # among recipes within one percent of the least time the sharpest is taken
SLACK = 1e-9  # of a constraint, for rounding
EXCEEDED_ALIKE = 0.02  # what exceeds a constraint by so much more than the least of it counts as the least

# in the order in which they give way: what costs looks first, what cannot be burnt last
CONSTRAINTS = (
    "detail",
    "sharpness",
    "banding",
    "warp",
    "known range",
    "photo range",
    "char",
    "tone",
    "run-up",
    "power",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """What a constraint that gave way comes to, in its own unit; `nearest` is the least of it that any recipe has."""

    constraint: str
    got: float
    nearest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The best candidate: its settings, what it takes, and which constraints had to give way, with their amounts.

    `ripple_L` is the banding where the blank brings the surface nearest to focus, `banding_L` the same on a curve as steep
    as its uncertainty leaves it: what the constraint is judged by. `decades_to_char` is how far the hottest place of the
    board stays below the char limit, in factors of ten of power.
    """

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
    direction: Direction = "both ways"
    amounts: tuple[Amount, ...] = ()
    decades_to_char: float = math.inf
    banding_L: float = 0.0

    def rank(self) -> int:
        """Return a number that grows with the importance of the worst constraint that gave way. Definition."""
        return sum(1 << CONSTRAINTS.index(name) for name in self.gave_way)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Candidate values, one vector for each dimension of (direction, passes, spacing, offset, speed)."""

    one_way: NDArray[np.bool_]
    passes: FloatArray
    spacing_mm: FloatArray
    offset_mm: FloatArray
    speed_mm_per_s: FloatArray


def _grid(wish: Wish, *, axis: Axis) -> Grid:
    machine, hold = wish.machine, wish.hold
    if hold.speed_mm_per_s is not None:
        speeds = np.array([hold.speed_mm_per_s])
    else:
        fits = np.floor(speed_limit_mm_per_s(machine, axis=axis, room_mm=min(wish.room_mm[axis])))
        regular = np.arange(SPEED_LEAST_mm_per_s, machine.speed_max_mm_per_s, SPEED_STEP_mm_per_s)
        speeds = np.unique([*regular, machine.speed_max_mm_per_s, *([fits] if fits >= 1.0 else [])])
        speeds = speeds[(speeds <= machine.speed_max_mm_per_s) & (speeds > 0.0)]
    return Grid(
        one_way=np.array([name == "one way" for name in directions(wish)]),
        passes=np.array([hold.passes] if hold.passes is not None else PASSES, dtype=np.float64),
        spacing_mm=_spacings_mm(wish),
        offset_mm=_offsets_mm(wish),
        speed_mm_per_s=speeds,
    )


def _spacings_mm(wish: Wish) -> FloatArray:
    if wish.hold.line_spacing_mm is not None:
        return np.array([wish.hold.line_spacing_mm])
    spacings = SPACINGS_mm[SPACINGS_mm >= wish.least_spacing_mm]
    return spacings if spacings.size else np.array([wish.least_spacing_mm])


def _offsets_mm(wish: Wish) -> FloatArray:
    offset = wish.hold.focus_offset_mm if wish.hold.focus_offset_mm is not None else wish.common_offset_mm
    return offsets_mm(wish.beam) if offset is None else np.array([offset])


def directions(wish: Wish) -> tuple[Direction, ...]:
    """Return the directions that are searched: one way only where it could win, which a trusted reversal rules out."""
    if wish.hold.direction is not None:
        return (wish.hold.direction,)
    return DIRECTIONS if wish.machine.reversal_sd_mm > 0.0 else DIRECTIONS[:1]


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
        hops_s = (profile.islands - 1) * travel_time_s(
            machine, dx_mm=hop_mm / math.sqrt(2), dy_mm=hop_mm / math.sqrt(2)
        )
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
    relaxed : names of CONSTRAINTS to leave out, for asking what one of them costs; "power" leaves out the person's cap
        but not the tube's, "least power" halves the power from which the laser fires.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md.
    """
    tables = tables_of(wish, relaxed=relaxed)
    least = min(int(table.broken.min()) for table in tables)
    found = [f for f in (table.best(least) for table in tables) if f is not None]
    return min(found, key=lambda f: f.time_s)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """All candidates of one axis; each quantity broadcasts to `shape`, (direction, passes, spacing, offset, speed).

    `got` is what each constraint comes to in its own unit, `excess` by how much that is too much, at most 0 where it
    holds. `broken` has bit i set where CONSTRAINTS[i] does not hold: the smaller the number, the less important what gives.
    """

    axis: Axis
    grid: Grid
    shape: tuple[int, ...]
    power_W: FloatArray
    time_s: FloatArray
    ripple_L: FloatArray
    detail_mm: FloatArray
    got: dict[str, FloatArray]
    excess: dict[str, FloatArray]
    broken: NDArray[np.uint16]

    def best(self, broken: int) -> Found | None:
        """Return the quickest of the candidates that break just this; what gives way is exceeded least, the worst first.

        Artwork finer than anything sharp enough keeps is not chased: its detail gives way without being minimised.
        """
        index: Index = np.nonzero(self.broken == broken)
        if index[0].size == 0:
            return None
        all_of_them = index
        gave_way = tuple(name for i, name in enumerate(CONSTRAINTS) if broken >> i & 1)
        for name in reversed(gave_way):
            if name != "detail":
                excess = self.picked(self.excess[name], index)
                index = _kept(index, excess <= float(excess.min()) * (1.0 + EXCEEDED_ALIKE) + 1e-12)
        time = self.picked(self.time_s, index)
        index = _kept(index, time <= float(time.min()) * (1.0 + NEAR_BEST))
        keys = [self.picked(a, index) for a in (self.time_s, self.ripple_L, self.detail_mm)]
        first = int(np.lexsort(keys)[0])
        at = tuple(i[first : first + 1] for i in index)
        amounts = tuple(
            Amount(
                constraint=name,
                got=float(self.picked(self.got[name], at)[0]),
                nearest=self._nearest(name, all_of_them),
            )
            for name in gave_way
        )
        return replace(self.found_at(at), gave_way=gave_way, amounts=amounts)

    def picked(self, values: FloatArray, index: Index) -> FloatArray:
        """Return one of the quantities for some candidates, (N,). Definition."""
        return np.asarray(np.broadcast_to(values, self.shape)[index], dtype=np.float64)

    def _nearest(self, name: str, index: Index) -> float:
        excess = self.picked(self.excess[name], index)
        return float(self.picked(self.got[name], index)[int(excess.argmin())])

    def found_at(self, at: Index) -> Found:
        """Return one candidate, given by an index of one element a dimension, as if nothing gave way. Definition."""
        d, n, p, z, v = (int(i[0]) for i in at)
        return Found(
            decades_to_char=-float(self.picked(self.excess["char"], at)[0]),
            axis=self.axis,
            speed_mm_per_s=float(self.grid.speed_mm_per_s[v]),
            line_spacing_mm=float(self.grid.spacing_mm[p]),
            focus_offset_mm=float(self.grid.offset_mm[z]),
            passes=int(self.grid.passes[n]),
            power_W=float(self.picked(self.power_W, at)[0]),
            time_s=float(self.picked(self.time_s, at)[0]),
            ripple_L=float(self.picked(self.ripple_L, at)[0]),
            detail_mm=float(self.picked(self.detail_mm, at)[0]),
            gave_way=(),
            direction=DIRECTIONS[int(self.grid.one_way[d])],
            banding_L=float(self.picked(self.got["banding"], at)[0]),
        )


def _kept(index: Index, mask: NDArray[np.bool_]) -> Index:
    return tuple(i[mask] for i in index)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Asked:
    """What a wish asks of its curve, and what lines leave whatever their speed: reckoned once for both axes.

    `met` is None where a held power, not the tone, says what is burnt.
    """

    exposure: float
    faint_share: float | None
    doubt: CurveDoubt
    lines: OverLines
    met: Met | None


def _asked(wish: Wish) -> _Asked:
    curve = wish.curve
    spacing = _spacings_mm(wish)[None, None, :, None, None]
    lines = over_lines(wish, spacing_mm=spacing, offset_mm=_offsets_mm(wish)[None, None, None, :, None])
    faint = [] if wish.faint_L is None else [wish.faint_L]
    wished, *rest = exposures_for_tones(curve, np.array([wish.tone_L, *faint])).tolist()
    return _Asked(
        exposure=wished,
        faint_share=float(10.0 ** (rest[0] - wished)) if rest else None,
        doubt=doubt_at(curve, exposure=wished),
        lines=lines,
        met=None if wish.hold.power_W is not None else met_tone(wish, exposure=wished, lines=lines, spacing_mm=spacing),
    )


def tables_of(wish: Wish, *, relaxed: frozenset[str] = frozenset()) -> tuple[Table, ...]:
    """Return every quantity and constraint on the grid of each axis that is searched.

    Parameters
    ----------
    relaxed : as for `search`.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md.
    """
    asked = _asked(wish)
    axes = AXES if wish.hold.scan_axis is None else (wish.hold.scan_axis,)
    tables = [_evaluate(wish, asked, axis=axis, relaxed=relaxed) for axis in axes]
    if "known range" in relaxed:
        return tuple(tables)
    return _judged_by_known_range(tables)


def _evaluate(wish: Wish, asked: _Asked, *, axis: Axis, relaxed: frozenset[str]) -> Table:
    """Return the table of one axis, its known range not yet judged: that takes all axes."""
    curve, machine = wish.curve, wish.machine
    grid = _grid(wish, axis=axis)
    one_way = grid.one_way[:, None, None, None, None]
    n = grid.passes[None, :, None, None, None]
    p = grid.spacing_mm[None, None, :, None, None]
    v = grid.speed_mm_per_s[None, None, None, None, :]
    lines = asked.lines
    dwell = dwell_ms(beam_radius_mm=lines.radius_mm, speed_mm_per_s=v)
    shift = exposure_shift(curve, dwell_ms=dwell, passes=n)

    if asked.met is not None:
        exposure: FloatArray = np.full((1, 1, 1, 1, 1), asked.exposure)
        power = 10.0 ** (exposure - shift) * (v / n) * p
        middle, share = tone_L(curve, exposure), asked.met.half_tone_share
    else:
        power = np.full((1, 1, 1, 1, 1), wish.hold.power_W)
        exposure = np.log10(n * power / (v * p)) + shift
        middle = tone_L(curve, exposure)
        share = half_tone_share(curve, exposure=exposure, tone=middle)
    crest, trough = (tone_L(curve, exposure + lines.to_sharp + at) for at in (lines.on_line, lines.between))
    ripple = np.abs(crest - trough)
    doubt = asked.doubt.ripple_doubt_L(ripple_L=ripple, decades=lines.on_line - lines.between)
    banding = np.minimum(ripple + doubt, np.maximum(ripple, abs(curve.bare_L - curve.full_L)))
    unseen = unseen_banding_L(tone=wish.tone_L, period_mm=p, distance_mm=wish.reading_distance_mm)
    warp = np.maximum(
        *(np.abs(tone_L(curve, exposure + to_there) - middle) for to_there in (lines.to_soft, lines.to_sharp))
    )
    edges = {
        "beam_radius_mm": edge_radius_mm(machine, beam_radius_mm=lines.soft_mm, one_way=one_way),
        "smear_mm": v * machine.rise_time_s,
        "line_spacing_mm": p,
    }
    detail = narrowest_kept_mm(**edges, half_tone_dose_fraction=share)
    if asked.met is not None:
        detail = _at_settable_power(wish, asked.met, detail, edges=edges, power_W=power)
    hottest = exposure + lines.hottest()
    least_W, most_W = power_window_W(machine)
    if "power" in relaxed:
        most_W = machine.power_max_W
    if "least power" in relaxed:
        least_W *= 0.5
    got = {
        "detail": detail,
        "sharpness": detail,
        "banding": banding,
        "warp": warp,
        "known range": asked.doubt.tone_L_sd(dwell_ms=dwell, passes=n),
        "photo range": power * (asked.faint_share or 0.0),
        "char": hottest,
        "tone": middle,
        "run-up": v,
        "power": power,
    }
    excess = {
        "detail": detail - wish.finest_mm(),
        "sharpness": detail - wish.sharpness_mm,
        "banding": banding - unseen * wish.banding_factor,
        "warp": warp - TONE_HOLDS_L,
        "known range": np.full((1, 1, 1, 1, 1), -1.0),
        "photo range": np.full((1, 1, 1, 1, 1), -1.0) if asked.faint_share is None else least_W - got["photo range"],
        "char": hottest - curve.x_char,
        "tone": np.full((1, 1, 1, 1, 1), -1.0)
        if wish.hold.power_W is None
        else np.abs(middle - wish.tone_L) - TONE_HOLDS_L,
        "run-up": v - speed_limit_mm_per_s(machine, axis=axis, room_mm=min(wish.room_mm[axis])),
        "power": np.maximum(least_W - power, power - most_W),
    }
    for name in relaxed & frozenset(CONSTRAINTS) - {"power"}:
        excess[name] = np.full((1, 1, 1, 1, 1), -1.0)
    shape = (grid.one_way.size, grid.passes.size, grid.spacing_mm.size, grid.offset_mm.size, grid.speed_mm_per_s.size)
    time = raster_time_s(wish, axis=axis, speed_mm_per_s=v, line_spacing_mm=p, passes=n, one_way=one_way)
    return Table(
        axis=axis,
        grid=grid,
        shape=shape,
        power_W=power,
        time_s=time,
        ripple_L=ripple,
        detail_mm=detail,
        got=got,
        excess=excess,
        broken=_broken(excess, shape),
    )


def _at_settable_power(
    wish: Wish, met: Met, detail_mm: FloatArray, *, edges: dict[str, FloatArray], power_W: FloatArray
) -> FloatArray:
    """Return the detail that is kept, mended where the S word has coarse steps: few candidates, for erf is dear to invert."""
    coarse, shares = coarsely_set(wish, met, power_W=power_W)
    if not shares.size:
        return detail_mm
    mended = np.broadcast_to(detail_mm, np.broadcast_shapes(detail_mm.shape, coarse.shape)).copy()
    at = np.broadcast_to(coarse, mended.shape)
    picked = {name: np.broadcast_to(values, mended.shape)[at] for name, values in edges.items()}
    each = np.zeros(coarse.shape)
    each[coarse] = shares
    mended[at] = narrowest_kept_mm(**picked, half_tone_dose_fraction=np.broadcast_to(each, mended.shape)[at])
    return mended


def edge_radius_mm(machine: Machine, *, beam_radius_mm: ArrayLike, one_way: ArrayLike) -> FloatArray:
    """Return the 1/e² radius that stands for the beam where edges are judged: wider by what is not known of the reversal.

    Parameters
    ----------
    beam_radius_mm : on the surface; one_way : whether all lines are burnt in one direction. They broadcast. [mm]

    Source
    ------
    Own derivation, docs/how-it-works/detail.md: neighbouring lines half an offset either way, the offset Gaussian, leave
    in the mean the dose of a beam whose variance w²/4 is larger by a quarter of the offset's.
    """
    apart_mm = np.where(one_way, 0.0, machine.reversal_sd_mm)
    return np.asarray(np.hypot(np.asarray(beam_radius_mm), apart_mm), dtype=np.float64)


def _broken(excess: dict[str, FloatArray], shape: tuple[int, ...]) -> NDArray[np.uint16]:
    """Return the number of what does not hold for every candidate; constraints of one shape are added up first."""
    groups: dict[tuple[int, ...], NDArray[np.uint16]] = {}
    for bit, name in enumerate(CONSTRAINTS):
        bits = (excess[name] > SLACK).astype(np.uint16) << np.uint16(bit)
        before = groups.get(bits.shape)
        groups[bits.shape] = bits if before is None else before + bits
    total = np.zeros(shape, np.uint16)
    for bits in sorted(groups.values(), key=lambda b: b.size):
        total += bits
    return total


def _judged_by_known_range(tables: Sequence[Table]) -> tuple[Table, ...]:
    """Return tables in which leaving the dwell and passes at which the curve is known best counts.

    By what the tone's standard deviation grows above the least of all candidates that the machine can burn there has to
    stay below what is noticed. So where the bench is slow or weak it asks for what is known best within its reach.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md.
    """
    cannot = np.uint16(sum(1 << CONSTRAINTS.index(name) for name in ("run-up", "power")))
    burnable = []
    for table in tables:
        can = ((table.broken & cannot) == 0).any(axis=(0, 2))
        sd = table.got["known range"][0, :, 0]
        burnable += [sd[can[tuple(slice(0, s) for s in can.shape)]]] if can.any() else []
    known = np.concatenate(burnable) if burnable else np.concatenate([t.got["known range"].ravel() for t in tables])
    least = float(known.min())
    bit = np.uint16(1 << CONSTRAINTS.index("known range"))
    judged = []
    for table in tables:
        strayed = table.got["known range"] - least
        excess = strayed - TONE_HOLDS_L
        judged.append(
            replace(
                table,
                got={**table.got, "known range": strayed},
                excess={**table.excess, "known range": excess},
                broken=table.broken + bit * (excess > SLACK).astype(np.uint16),
            )
        )
    return tuple(judged)


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
            for lp in (log_power, log_power + SECANT_decades)
        )
        slope = (there - here) / SECANT_decades
        if abs(here - target) < 1e-4 or abs(slope) < FLAT_L_per_decade:
            break
        log_power += float(np.clip((target - here) / slope, -FAR_decades, FAR_decades))
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
    ripple = ripple_of(beam_radius_mm=radius, line_spacing_mm=line_spacing_mm)
    return float(averaged_tone_L(wish.curve, exposure, ripple=ripple))


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
