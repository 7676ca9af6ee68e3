"""One focus for a piece: never dearer than a focus for each mark."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.art.ink import InkProfile
from evenburn.core.nouns.mark import Hold
from evenburn.core.planning.focus import FOCUSING_s, search_together
from evenburn.core.planning.recipe import CONSTRAINTS, Found, offsets_mm, search
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
