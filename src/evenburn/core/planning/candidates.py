"""The candidates of the recipe search: what is tried along each dimension, what a candidate comes to, and the best of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.mark import Axis, Direction
from evenburn.core.optics.beam import Beam
from evenburn.core.planning.raster_time import speed_limit_mm_per_s
from evenburn.core.planning.wish import Wish

FloatArray = NDArray[np.float64]
Index = tuple[NDArray[np.intp], ...]

SPACINGS_mm = np.array([0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.10, 0.11, 0.12, 0.14, 0.16, 0.18, 0.20, 0.25, 0.30])
SPEED_STEP_mm_per_s = 5.0
SPEED_LEAST_mm_per_s = 10.0
OFFSET_STEP_mm = 0.5  # stand-offs are set with gauge blocks
OFFSET_RAYLEIGHS = 4.0  # offsets are searched up to four Rayleigh lengths, where the spot is four times the waist
WAIST_SHARE = 0.04  # of the waist's radius: what one step may add to the spot's
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


def grid_of(wish: Wish, *, axis: Axis) -> Grid:
    """Return what is tried along one scan axis: what is held alone, otherwise all that the machine has. Definition."""
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
        spacing_mm=spacings_mm(wish),
        offset_mm=offsets_asked_mm(wish),
        speed_mm_per_s=speeds,
    )


def spacings_mm(wish: Wish) -> FloatArray:
    """Return the line spacings that are tried: the one held, or the trade's steps from the least allowed. [mm] Definition."""
    if wish.hold.line_spacing_mm is not None:
        return np.array([wish.hold.line_spacing_mm])
    spacings = SPACINGS_mm[SPACINGS_mm >= wish.least_spacing_mm]
    return spacings if spacings.size else np.array([wish.least_spacing_mm])


def offsets_asked_mm(wish: Wish) -> FloatArray:
    """Return the focus offsets that are tried: the one held or shared, or all of `offsets_mm`. [mm] Definition."""
    offset = wish.hold.focus_offset_mm if wish.hold.focus_offset_mm is not None else wish.common_offset_mm
    return offsets_mm(wish.beam) if offset is None else np.array([offset])


def directions(wish: Wish) -> tuple[Direction, ...]:
    """Return the directions that are searched: one way only where it could win, which a trusted reversal rules out."""
    if wish.hold.direction is not None:
        return (wish.hold.direction,)
    return DIRECTIONS if wish.machine.reversal_sd_mm > 0.0 else DIRECTIONS[:1]


def offsets_mm(beam: Beam) -> FloatArray:
    """Return the focus offsets that are searched, from the waist outward in steps of a gauge block. [mm]

    A very long waist is searched in as many whole steps at a time as change the spot by no more than WAIST_SHARE of it.

    Source
    ------
    Definition; a beam widens by at most its waist over a Rayleigh length, [iso11146-1].
    """
    far = OFFSET_RAYLEIGHS * beam.rayleigh_length_mm
    step = OFFSET_STEP_mm * max(1, math.floor(WAIST_SHARE * beam.rayleigh_length_mm / OFFSET_STEP_mm))
    return np.round(np.arange(0.0, far + step, step), 6)


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
