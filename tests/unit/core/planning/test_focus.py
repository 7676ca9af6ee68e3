"""Shared foci: never dearer than a focus for each mark, and as cheap as any assignment where that can be tried."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.art.detail import Widths
from evenburn.core.art.ink import InkProfile
from evenburn.core.nouns.mark import Hold
from evenburn.core.nouns.recipe import FOCUSING_s
from evenburn.core.planning.batch import changes
from evenburn.core.planning.candidates import CONSTRAINTS, Found, offsets_mm
from evenburn.core.planning.focus import FocusAsk, agree_foci, assign_offsets
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wish import Wish
from unit.core.planning.wishes import AXES, WISH, wish

FINE = wish(widths=Widths(stroke_mm=0.2, gap_mm=0.2))
COARSE = wish(sharpness_mm=0.8, widths=Widths(stroke_mm=2.0, gap_mm=2.0))


def large(w: Wish, *, times: float) -> Wish:
    """Return a wish for an area so many times as large."""
    return replace(
        w, profiles={a: InkProfile(axis=a, hull_mm2=times * 3000.0, rows_mm=40.0, wander_mm=60.0) for a in AXES}
    )


PAIRS = {
    "a fine and a coarse mark": (FINE, COARSE),
    "a fine and a large coarse mark": (FINE, large(COARSE, times=40.0)),
    "three marks": (FINE, COARSE, wish(tone_L=60.0)),
    "one held": (wish(hold=Hold(focus_offset_mm=3.0)), FINE),
    "impossible detail": (wish(widths=Widths(stroke_mm=0.05, gap_mm=None)), COARSE),
}


def search_together(wishes: Sequence[Wish]) -> tuple[tuple[Wish, Found], ...]:
    """Return wishes and recipes of the marks of one piece, their foci agreed."""
    asks = [FocusAsk(thickness_mm=12.0, piece=0, wish=w, alone=search(w)) for w in wishes]
    return tuple(pair for pair in agree_foci(asks) if pair is not None)


def cost_s(found: list[Found]) -> float:
    return sum(f.time_s for f in found) + FOCUSING_s * (len({f.focus_offset_mm for f in found}) - 1)


def worst(found: list[Found]) -> int:
    return max(sum(1 << CONSTRAINTS.index(name) for name in f.gave_way) for f in found)


@pytest.mark.parametrize("name", PAIRS)
def test_together_is_never_dearer_than_apart_with_the_focus_set_again(name: str) -> None:
    wishes = PAIRS[name]
    alone = [search(w) for w in wishes]
    together = [f for _, f in search_together(wishes)]
    assert cost_s(together) <= cost_s(alone) + 1e-9
    assert worst(together) <= worst(alone)


@pytest.mark.parametrize("name", PAIRS)
def test_no_shared_offset_would_be_cheaper(name: str) -> None:
    wishes = PAIRS[name]
    chosen = cost_s([f for _, f in search_together(wishes)])
    alone = [search(w) for w in wishes]
    for offset in offsets_mm(WISH.beam):
        found = [search(replace(w, common_offset_mm=float(offset))) for w in wishes]
        if worst(found) <= worst(alone):
            assert chosen <= cost_s(found) + 1e-9


def test_small_marks_share_a_focus_and_large_ones_do_not() -> None:
    shared = search_together(PAIRS["a fine and a coarse mark"])
    assert search(FINE).focus_offset_mm != search(COARSE).focus_offset_mm  # apart they would not
    assert len({f.focus_offset_mm for _, f in shared}) == 1
    apart = search_together(PAIRS["a fine and a large coarse mark"])
    assert len({f.focus_offset_mm for _, f in apart}) == 2


def test_wishes_come_back_with_the_focus_that_was_agreed() -> None:
    for w, found in search_together(PAIRS["a fine and a coarse mark"]):
        assert w.common_offset_mm == found.focus_offset_mm
        assert search(w) == found


def test_a_held_focus_stays_held() -> None:
    held, _ = search_together(PAIRS["one held"])
    assert held[1].focus_offset_mm == 3.0


def test_a_single_mark_is_left_alone() -> None:
    ((w, found),) = search_together([FINE])
    assert w is FINE
    assert found == search(FINE)


# ---- over a batch ----------------------------------------------------------------------------------------------------


def ask(w: Wish, *, piece: int, thickness_mm: float = 12.0, takes_part: bool = True) -> FocusAsk:
    return FocusAsk(thickness_mm=thickness_mm, piece=piece, wish=w, alone=search(w), takes_part=takes_part)


def offsets(asks: list[FocusAsk]) -> list[float | None]:
    """Return the offset each mark comes out with; None where it has no wish."""
    return [None if pair is None else pair[1].focus_offset_mm for pair in agree_foci(asks)]


OWN_mm = (search(FINE).focus_offset_mm, search(COARSE).focus_offset_mm)


def test_pieces_of_one_thickness_share_a_focus_and_those_of_another_keep_theirs() -> None:
    assert OWN_mm[0] != OWN_mm[1]
    assert len(set(offsets([ask(FINE, piece=0), ask(COARSE, piece=1)]))) == 1
    assert offsets([ask(FINE, piece=0), ask(COARSE, piece=1, thickness_mm=6.0)]) == list(OWN_mm)


def test_large_pieces_keep_a_focus_of_their_own() -> None:
    assert len(set(offsets([ask(FINE, piece=0), ask(large(COARSE, times=40.0), piece=1)]))) == 2


def test_what_is_not_burnt_neither_moves_nor_is_waited_for() -> None:
    assert offsets([ask(FINE, piece=0), ask(COARSE, piece=1, takes_part=False)]) == list(OWN_mm)
    stuck = wish(hold=Hold(speed_mm_per_s=160.0), room_mm=dict.fromkeys(AXES, (0.1, 0.1)))
    assert "run-up" in search(stuck).gave_way
    assert offsets([ask(FINE, piece=0), ask(stuck, piece=1)])[1] == search(stuck).focus_offset_mm
    assert offsets([ask(FINE, piece=0), ask(stuck, piece=1)])[0] == OWN_mm[0]


def test_a_scanned_mark_takes_the_focus_of_a_line_that_has_to_be_set_anyway() -> None:
    line = FocusAsk(thickness_mm=12.0, piece=0, fixed_offset_mm=OWN_mm[0])
    assert offsets([line, ask(COARSE, piece=0)]) == [None, OWN_mm[0]]


def test_what_exceeds_its_limits_least_stays_where_it_does() -> None:
    """A mark whose banding gives way at any focus is not made worse to spare a setting."""
    seen = wish(hold=Hold(line_spacing_mm=0.3))
    assert {*search(seen).gave_way} - {"detail"}
    assert offsets([ask(seen, piece=0), ask(COARSE, piece=1)])[0] == search(seen).focus_offset_mm


def test_the_order_of_the_pieces_does_not_change_what_is_agreed() -> None:
    asks = [ask(FINE, piece=0), ask(COARSE, piece=1), ask(wish(tone_L=60.0), piece=2)]
    agreed = offsets(asks)
    for turned in itertools.permutations(range(3)):
        assert offsets([asks[i] for i in turned]) == [agreed[i] for i in turned]


Times = NDArray[np.float64]


def some_times(seed: int, *, several: bool) -> tuple[Times, list[int], list[int]]:
    """Return times of two to five marks at two to four offsets, their pieces, and the offset each takes by itself."""
    rng = np.random.default_rng(seed)
    marks, columns = int(rng.integers(2, 6)), int(rng.integers(2, 5))
    own = [int(c) for c in rng.integers(0, columns, marks)]
    times_s = 60.0 + rng.uniform(0.0, 400.0, (marks, columns)) * rng.choice([0.1, 0.5, 1.0], (marks, 1))
    times_s[rng.random((marks, columns)) < 0.15] = np.inf
    times_s[np.arange(marks), own] = 60.0
    pieces = sorted(int(p) for p in rng.integers(0, 4, marks)) if several else list(range(marks))
    return times_s, pieces, own


def set_and_burnt_s(times_s: Times, pieces: list[int], picked: tuple[int, ...]) -> float:
    """Return burning and setting in the best of all orders of the pieces, each tried."""
    runs: dict[int, list[tuple[float, float]]] = {}
    for piece, column in zip(pieces, picked, strict=True):
        runs.setdefault(piece, []).append((12.0, float(column)))
    settings = min(changes(order) for order in itertools.permutations(runs.values()))
    return float(times_s[np.arange(len(picked)), picked].sum()) + FOCUSING_s * settings


@pytest.mark.parametrize("several", [False, True])
@pytest.mark.parametrize("seed", range(40))
def test_no_other_assignment_is_cheaper(seed: int, *, several: bool) -> None:
    """Against every assignment and every order of the pieces; a microsecond of rounding."""
    times_s, pieces, own = some_times(seed, several=several)
    picked = assign_offsets(times_s, pieces=pieces, own=own, setting_s=FOCUSING_s)
    every = itertools.product(range(times_s.shape[1]), repeat=len(pieces))
    least_s = min(set_and_burnt_s(times_s, pieces, one) for one in every)
    assert set_and_burnt_s(times_s, pieces, picked) <= least_s + 1e-6


@pytest.mark.parametrize("seed", range(4))
def test_many_pieces_of_several_marks_are_never_worse_than_each_by_itself(seed: int) -> None:
    """Too many to try: still no dearer than all marks at their own offset, or than every piece at one."""
    rng = np.random.default_rng(seed)
    own = [int(c) for c in rng.integers(0, 3, 24)]
    times_s = 20.0 + np.abs(np.arange(3) - np.array(own)[:, None]) * rng.uniform(0.0, 200.0, (24, 1))
    pieces = [i // 2 for i in range(24)]
    picked = assign_offsets(times_s, pieces=pieces, own=own, setting_s=FOCUSING_s)

    def cost_of(columns: tuple[int, ...]) -> float:
        runs = [[(12.0, float(c)) for c in columns[i : i + 2]] for i in range(0, 24, 2)]
        runs.sort()  # equal runs beside each other: a fair order, not always the best
        return float(times_s[np.arange(24), columns].sum()) + FOCUSING_s * changes(runs)

    assert cost_of(picked) <= cost_of(tuple(own)) + 1e-6
    for column in range(3):
        assert cost_of(picked) <= cost_of((column,) * 24) + 1e-6
