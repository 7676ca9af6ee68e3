"""Recipes to choose from along the trade-off of time, smoothness and sharpness: a few that nothing beats in all three.

The front is computed over the whole grid of the search. Whatever is offered lies on it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.recipe import Alternative, Recipe
from evenburn.core.planning.candidates import CONSTRAINTS, Found, Index, Table
from evenburn.core.planning.mark_plan import recipe_of
from evenburn.core.planning.recipe import tables_of
from evenburn.core.planning.wish import Wish
from evenburn.core.tone.vision import UNSEEN_L, unseen_banding_L
from evenburn.core.units import duration_text

FloatArray = NDArray[np.float64]

NB = "\u00a0"
HARD = ("warp", "known range", "photo range", "char", "tone", "run-up", "power")  # what no choice may give up
STEP = 1.05  # a twentieth more or less of a quantity is the least that anybody would choose by: own choice
STEP_LEAST_s = 1.0  # nor by less than a second
SMOOTH_SHARE = 0.5  # of the banding that goes unseen: what is smoother than that need not become smoother yet
STEP_SHARE = 0.25  # of the banding that goes unseen: the least difference in it that counts
LEAST_L = STEP_SHARE * STEP_SHARE * UNSEEN_L  # of banding: what is smoother is all alike
COARSER = 4.0 / 3.0  # so much coarser than the wished sharpness, or finer than what is recommended, is still of use
SEEN = 2.0  # banding of twice what goes unseen shows when one looks for it
LONGER = 2.5  # nobody waits longer than so many times the recommended recipe for what a choice adds
FEWEST, MOST = 3, 5
WEIGHED: tuple[Callable[[Table], FloatArray], ...] = (
    lambda table: table.time_s,
    lambda table: table.got["banding"],
    lambda table: table.detail_mm,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Front:
    """Recipes that no other beats in time, banding and detail at once; the fields are (N,), quickest first."""

    found: tuple[Found, ...]
    time_s: FloatArray
    ripple_L: FloatArray
    detail_mm: FloatArray


def front_of(wish: Wish) -> Front:
    """Return the front of time, banding and detail over all recipes that can be burnt and hold their tone.

    Of recipes that differ by less than a twentieth in banding and in detail the quickest stands for the others. Empty
    where no recipe meets the constraints that no choice may give up.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md: least time in each bin, and a bin counts if it is quicker than all that
    are no coarser and no rougher; so nothing on the whole grid beats it.
    """
    tables = tables_of(wish)
    keep = np.uint16(sum(1 << CONSTRAINTS.index(name) for name in HARD))
    where = [np.nonzero((table.broken & keep) == 0) for table in tables]
    time, ripple, detail = (
        np.concatenate([table.picked(of(table), index) for table, index in zip(tables, where, strict=True)])
        for of in WEIGHED
    )
    if time.size == 0:
        return Front(found=(), time_s=time, ripple_L=ripple, detail_mm=detail)
    best = _front(time, ripple, detail)
    return Front(
        found=tuple(_found_at(tables, where, int(i)) for i in best),
        time_s=time[best],
        ripple_L=ripple[best],
        detail_mm=detail[best],
    )


def _front(time: FloatArray, ripple: FloatArray, detail: FloatArray) -> NDArray[np.intp]:
    """Return which candidates lie on the front, quickest first."""
    rough = _bins(np.maximum(ripple, LEAST_L))
    coarse = _bins(detail)
    columns = int(coarse.max()) + 1
    bins = rough * columns + coarse
    least = np.full((int(rough.max()) + 1) * columns, np.inf)
    np.minimum.at(least, bins, time)
    quickest = np.flatnonzero(time == least[bins])
    # of equals in time the smoothest, then the sharpest, stands for its bin
    quickest = quickest[np.lexsort((detail[quickest], ripple[quickest], bins[quickest]))]
    _, first = np.unique(bins[quickest], return_index=True)
    stands = quickest[first]
    grid = least.reshape(-1, columns)
    no_worse = np.minimum.accumulate(np.minimum.accumulate(grid, axis=0), axis=1)
    before = np.full(grid.shape, np.inf)
    before[1:] = no_worse[:-1]
    before[:, 1:] = np.minimum(before[:, 1:], no_worse[:, :-1])
    on_it = stands[(grid < before).ravel()[bins[stands]]]
    return np.asarray(on_it[np.argsort(time[on_it], kind="stable")])


def _bins(values: FloatArray) -> NDArray[np.intp]:
    """Return the bin of each value, a twentieth wide, counted from the least."""
    return np.asarray(np.floor(np.log(values / values.min()) / math.log(STEP)), dtype=np.intp)


def _found_at(tables: Sequence[Table], where: Sequence[Index], i: int) -> Found:
    """Return a candidate by its place in all tables' candidates, one table after the other."""
    for table, index in zip(tables, where, strict=True):
        if i < index[0].size:
            return table.found_at(tuple(side[i : i + 1] for side in index))
        i -= index[0].size
    raise IndexError(i)


def choice(wish: Wish, found: Found, *, recommended: Recipe) -> tuple[Alternative, ...]:
    """Return three to five recipes to choose from, quickest first, the recommended one marked.

    Fewer where held settings or the wood leave no more that differ enough to be told apart; none but the recommended where
    that itself gives way in what no choice may give up.

    Parameters
    ----------
    found, recommended : what `search` found for the wish, and the recipe made of it.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md: points of `front_of` with least time under bounds on banding and detail.
    """
    own = _Point(found=found, unseen_L=_unseen_L(wish, found))
    picked = {"recommended": own}
    if not {*HARD} & {*found.gave_way}:
        picked |= _picks(wish, own)
    return tuple(
        Alternative(
            name=name,
            recipe=recommended if point is own else _recipe(wish, point.found, recommended=recommended),
            time_s=point.found.time_s,
            ripple_L=point.found.banding_L,
            detail_mm=point.found.detail_mm,
            text=_own_text(own) if point is own else _text(own, point),
            recommended=point is own,
        )
        for name, point in sorted(picked.items(), key=lambda item: item[1].found.time_s)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Point:
    """One recipe of the front, and the banding that goes unseen at its line spacing."""

    found: Found
    unseen_L: float

    def gains(self, other: _Point) -> set[str]:
        """Return in what this recipe is better than another by so much that somebody would choose by it."""
        mine, theirs = self.found, other.found
        unseen_L = min(self.unseen_L, other.unseen_L)
        better = {
            "quicker": mine.time_s * STEP < theirs.time_s and mine.time_s + STEP_LEAST_s < theirs.time_s,
            "sharper": mine.detail_mm * STEP < theirs.detail_mm,
            "smoother": mine.banding_L + STEP_SHARE * unseen_L < theirs.banding_L,
        }
        return {name for name, is_so in better.items() if is_so}


def _unseen_L(wish: Wish, found: Found) -> float:
    return float(
        unseen_banding_L(tone=wish.tone_L, period_mm=found.line_spacing_mm, distance_mm=wish.reading_distance_mm)
    )


def _picks(wish: Wish, own: _Point) -> dict[str, _Point]:
    """Return what is offered beside the recommended recipe, by name, in the order in which it is wanted."""
    at = own.found
    pool = [_Point(found=f, unseen_L=_unseen_L(wish, f)) for f in front_of(wish).found]
    pool = [point for point in pool if _sensible(wish, own, point)]
    fine = [p for p in pool if p.found.banding_L <= max(p.unseen_L * wish.banding_factor, _if_seen_L(wish, own))]
    keeps = [p for p in pool if p.found.detail_mm <= at.detail_mm]
    picked: dict[str, _Point] = {}

    def offer(name: str, point: _Point | None, *, gains: str) -> None:
        if point is None or len(picked) == MOST - 1 or gains not in point.gains(own):
            return
        if all(point.gains(other) and other.gains(point) for other in picked.values()):
            picked[name] = point

    quickest = _least_time(pool)
    offer("quicker", quickest, gains="quicker")
    sharper = _least_time([p for p in fine if p.found.detail_mm * COARSER <= at.detail_mm])
    sharper = sharper or min(fine, key=lambda p: (p.found.detail_mm, p.found.time_s), default=None)
    offer("sharper", sharper, gains="sharper")
    smooth = _least_time([p for p in keeps if p.found.banding_L <= SMOOTH_SHARE * at.banding_L])
    if at.banding_L > SMOOTH_SHARE * own.unseen_L:
        offer("smoother", smooth, gains="smoother")
    if quickest is not None:
        between = math.sqrt(quickest.found.detail_mm * at.detail_mm)
        offer("a little quicker", _least_time([p for p in fine if p.found.detail_mm <= between]), gains="quicker")
        offer("quicker, as sharp", _least_time(keeps), gains="quicker")
    if len(picked) < FEWEST - 1 and sharper is not None:
        between = math.sqrt(sharper.found.detail_mm * at.detail_mm)
        offer("a little sharper", _least_time([p for p in fine if p.found.detail_mm <= between]), gains="sharper")
        offer("smoother", smooth, gains="smoother")
    return picked


def _if_seen_L(wish: Wish, own: _Point) -> float:
    """Return the banding of the recommended recipe where it shows, so that others may show as much; else none."""
    return own.found.banding_L if own.found.banding_L > own.unseen_L * wish.banding_factor else 0.0


def _least_time(pool: Sequence[_Point]) -> _Point | None:
    return min(pool, key=lambda point: point.found.time_s, default=None)


def _sensible(wish: Wish, own: _Point, point: _Point) -> bool:
    """Return whether somebody could want a recipe: no lines that jump to the eye, no lost artwork, no endless wait."""
    widths = [w for w in (wish.widths.stroke_mm, wish.widths.gap_mm) if w is not None]
    coarsest = min([COARSER * wish.sharpness_mm, *widths])
    if {"detail", "sharpness"} & {*own.found.gave_way}:
        coarsest = max(coarsest, own.found.detail_mm)
    roughest = max(SEEN * wish.banding_factor * point.unseen_L, own.found.banding_L)
    return (
        point.found.detail_mm <= coarsest
        and point.found.banding_L <= roughest
        and point.found.time_s <= LONGER * own.found.time_s
    )


def _recipe(wish: Wish, found: Found, *, recommended: Recipe) -> Recipe:
    recipe = recipe_of(wish, found, air_kPa=recommended.air_kPa)
    # dots of one power, where the recommended recipe makes a photograph of them
    if recommended.power_low_W is not None:
        return recipe
    return replace(recipe, power_low_W=None, power_low_fraction=None)


def _own_text(own: _Point) -> str:
    at = own.found
    told = "Comes nearest to what you asked" if at.gave_way else "Keeps all that you asked for in the least time"
    shows = "which shows" if at.banding_L > own.unseen_L else "unseen"
    return f"{told}: finest stroke {at.detail_mm:.2f}{NB}mm, banding at most {_tenths(at.banding_L)}{NB}L*, {shows}."


def _tenths(banding_L: float) -> str:
    return "0.1" if banding_L < 0.1 else f"{banding_L:.1f}"  # it is said to be at most that


def _text(own: _Point, point: _Point) -> str:
    """Return how a recipe differs from the recommended one, gains and losses alike."""
    here, there = point.found, own.found
    late_s = here.time_s - there.time_s
    same = abs(late_s) < (STEP - 1.0) * there.time_s
    parts = ["takes as long" if same else f"{duration_text(abs(late_s))} {'slower' if late_s > 0.0 else 'quicker'}"]
    if f"{here.detail_mm:.2f}" != f"{there.detail_mm:.2f}":
        parts.append(f"finest stroke {here.detail_mm:.2f} instead of {there.detail_mm:.2f}{NB}mm")
    shows = [p.found.banding_L > p.unseen_L for p in (point, own)]
    if _tenths(here.banding_L) != _tenths(there.banding_L) or shows[0] != shows[1]:
        which = {(True, False): ", which shows", (False, True): ", unseen"}.get((shows[0], shows[1]), "")
        parts.append(f"banding at most {_tenths(here.banding_L)} instead of {_tenths(there.banding_L)}{NB}L*{which}")
    if here.direction != there.direction:
        parts.append(f"burnt {here.direction}")
    text = "; ".join(parts)
    return text[0].upper() + text[1:] + "."
