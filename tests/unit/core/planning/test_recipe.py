"""The recipe search against plain loops over the same candidates, and how constraints give way."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.nouns.mark import Hold
from evenburn.core.planning.recipe import (
    CONSTRAINTS,
    Found,
    banding_L,
    offsets_mm,
    predicted_tone_L,
    search,
    solve_power_W,
    speed_limit_mm_per_s,
    without_room_limit,
)
from evenburn.core.planning.wish import Wish
from unit.core.examples import SLATE, curve, machine
from unit.core.planning import brute
from unit.core.planning.wishes import BENCH, WISH, wish

NEAR_BEST = 0.01  # the search may take a sharper recipe at up to one percent more time
ROUNDING = 1e-6

FEASIBLE = {
    "plain": wish(),
    "hardly any room along x": wish(room_mm={"x": (1.5, 100.0), "y": (80.0, 90.0)}),
    "no room along x at all": wish(room_mm={"x": (-2.0, 100.0), "y": (80.0, 90.0)}),
    "fine artwork": wish(widths=Widths(stroke_mm=0.24, gap_mm=0.26)),
    "warped board": wish(unevenness_mm=0.8),
    "photograph": wish(faint_L=76.0, tone_L=34.0, widths=Widths(stroke_mm=None, gap_mm=None)),
    "slate": wish(curve=SLATE, tone_L=58.0),
    "little power": wish(machine=machine(speed_max_mm_per_s=160.0, power_cap_fraction=0.25)),
    "reciprocity failure the other way": wish(curve=curve(kappa=-0.2)),
    "limited jerk and a slow controller": wish(
        machine=machine(speed_max_mm_per_s=160.0, jerk_mm_per_s3=1e5, line_overhead_s=0.02)
    ),
    "late laser": wish(machine=machine(speed_max_mm_per_s=160.0, rise_time_s=0.0006, reversal_offset_mm=0.3)),
    "held spacing and focus": wish(hold=Hold(line_spacing_mm=0.1, focus_offset_mm=1.3)),
    "held power": wish(hold=Hold(power_W=12.0)),
    "focus shared by the piece": wish(common_offset_mm=2.0),
    "read from afar": wish(reading_distance_mm=1500.0, banding_factor=2.0),
}


def as_candidate(w: Wish, found: Found) -> brute.Candidate:
    """Return what the loops think of the very settings that the search found."""
    held = replace(
        w,
        hold=Hold(
            speed_mm_per_s=found.speed_mm_per_s,
            line_spacing_mm=found.line_spacing_mm,
            focus_offset_mm=found.focus_offset_mm,
            passes=found.passes,
            scan_axis=found.axis,
            power_W=w.hold.power_W,
        ),
    )
    (candidate,) = brute.candidates(held)
    return candidate


@pytest.mark.parametrize("name", FEASIBLE)
def test_the_search_is_as_quick_as_trying_everything(name: str) -> None:
    w = FEASIBLE[name]
    found = search(w)
    assert found.gave_way == ()
    best_s = min(c.time_s for c in brute.candidates(w) if not c.broken(slack=-brute.SLACK))
    loose_s = min(c.time_s for c in brute.candidates(w) if not c.broken(slack=brute.SLACK))
    assert found.time_s <= best_s * (1.0 + NEAR_BEST + ROUNDING)
    assert found.time_s >= loose_s * (1.0 - ROUNDING)  # nothing that meets the wish is quicker
    here = as_candidate(w, found)
    assert here.broken(slack=brute.SLACK) == ()
    assert found.time_s == pytest.approx(here.time_s, rel=ROUNDING)
    assert found.power_W == pytest.approx(here.power_W, rel=1e-4)  # the curve inverted by table and by bisection


def test_both_axes_get_their_turn() -> None:
    assert search(FEASIBLE["plain"]).axis == "x"
    assert search(FEASIBLE["no room along x at all"]).axis == "y"


GIVING_WAY = {
    "detail": wish(widths=Widths(stroke_mm=0.08, gap_mm=0.5)),
    "sharpness": wish(sharpness_mm=0.08),
    "banding": wish(hold=Hold(line_spacing_mm=0.3, focus_offset_mm=0.0)),
    "warp": wish(unevenness_mm=3.0, curve=curve(kappa=0.9), sharpness_mm=5.0, widths=Widths(stroke_mm=9.0, gap_mm=9.0)),
    "photo range": wish(
        faint_L=81.0,
        tone_L=32.0,
        machine=machine(speed_max_mm_per_s=160.0, power_least_fraction=0.4),
    ),
    "char": wish(curve=curve(x_char=0.3), hold=Hold(line_spacing_mm=0.3, focus_offset_mm=0.0)),
    "tone": wish(hold=Hold(power_W=6.0, speed_mm_per_s=300.0, line_spacing_mm=0.1, passes=1)),
    "run-up": wish(room_mm={"x": (0.001, 0.001), "y": (0.001, 0.001)}),
    "power": wish(
        machine=machine(power_cap_fraction=0.12), hold=Hold(speed_mm_per_s=300.0, line_spacing_mm=0.3, passes=1)
    ),
}


@pytest.mark.parametrize("name", GIVING_WAY)
def test_what_cannot_be_met_gives_way_and_nothing_more_important_does(name: str) -> None:
    w = GIVING_WAY[name]
    found = search(w)
    tried = list(brute.candidates(w))
    strict = min(brute.rank(c.broken(slack=-brute.SLACK)) for c in tried)
    loose = min(brute.rank(c.broken(slack=brute.SLACK)) for c in tried)
    assert loose <= brute.rank(found.gave_way) <= strict
    assert name in found.gave_way


def test_constraints_give_way_in_the_stated_order() -> None:
    assert CONSTRAINTS == brute.ORDER
    # neither the held 0.3 mm in focus can be smooth, nor can any recipe keep 0.08 mm: both give way, nothing else does
    both = wish(widths=Widths(stroke_mm=0.08, gap_mm=0.5), hold=Hold(line_spacing_mm=0.3, focus_offset_mm=0.0))
    assert search(both).gave_way == ("detail", "banding")


def test_looks_give_way_before_what_the_machine_cannot_do() -> None:
    """Room for 25 mm/s only: the search would rather lose sharpness than run into the frame."""
    w = wish(room_mm={"x": (0.1, 0.1), "y": (0.1, 0.1)}, sharpness_mm=0.12)
    found = search(w)
    assert "run-up" not in found.gave_way
    assert found.speed_mm_per_s <= speed_limit_mm_per_s(w.machine, axis=found.axis, room_mm=0.1)


def test_relaxing_a_constraint_never_takes_longer() -> None:
    for w in (FEASIBLE["plain"], FEASIBLE["fine artwork"], FEASIBLE["warped board"]):
        full = search(w)
        for name in CONSTRAINTS:
            relaxed = search(w, relaxed=frozenset({name}))
            assert relaxed.time_s <= full.time_s * (1.0 + NEAR_BEST + ROUNDING)


def test_the_same_wish_finds_the_same_recipe() -> None:
    for w in FEASIBLE.values():
        assert search(w) == search(w)


def test_held_settings_are_held() -> None:
    hold = Hold(speed_mm_per_s=123.0, power_W=9.5, line_spacing_mm=0.13, focus_offset_mm=-0.7, passes=3, scan_axis="y")
    found = search(wish(hold=hold))
    assert (found.speed_mm_per_s, found.power_W, found.line_spacing_mm) == (123.0, 9.5, 0.13)
    assert (found.focus_offset_mm, found.passes, found.axis) == (-0.7, 3, "y")


def test_lines_never_lie_closer_than_memory_allows() -> None:
    assert search(wish(least_spacing_mm=0.15)).line_spacing_mm >= 0.15
    assert search(wish(least_spacing_mm=0.5)).line_spacing_mm == 0.5


def test_speed_limit_is_the_speed_whose_run_up_and_lead_fill_the_room() -> None:
    bench = machine(rise_time_s=0.0, reversal_offset_mm=0.0)
    # v²/2a = 9 mm at 300 mm/s and 5000 mm/s²
    assert speed_limit_mm_per_s(bench, axis="x", room_mm=9.0) == pytest.approx(300.0, rel=1e-9)
    late = machine(rise_time_s=0.001)
    # 9 mm and 0.3 mm of lead
    assert speed_limit_mm_per_s(late, axis="x", room_mm=9.3) == pytest.approx(300.0, rel=1e-9)
    assert speed_limit_mm_per_s(late, axis="x", room_mm=-1.0) == 0.0


def test_a_lead_longer_than_the_room_leaves_no_speed() -> None:
    assert speed_limit_mm_per_s(machine(reversal_offset_mm=4.0), axis="x", room_mm=1.5) == pytest.approx(0.0, abs=1e-9)


def test_offsets_run_from_focus_to_four_rayleigh_lengths_in_gauge_blocks() -> None:
    offsets = offsets_mm(WISH.beam)
    assert offsets[0] == 0.0
    assert offsets[-1] == pytest.approx(4.0 * WISH.beam.rayleigh_length_mm, abs=0.5)
    assert set((offsets * 2.0) % 1.0) == {0.0}


@pytest.mark.parametrize(
    "name", ["plain", "slate", "reciprocity failure the other way", "limited jerk and a slow controller"]
)
def test_solved_power_gives_the_wished_tone_over_the_ripple(name: str) -> None:
    w = FEASIBLE[name]
    found = search(w)
    settings = {
        "speed_mm_per_s": found.speed_mm_per_s,
        "line_spacing_mm": found.line_spacing_mm,
        "focus_offset_mm": found.focus_offset_mm,
    }
    power = solve_power_W(w, **settings, passes=found.passes, guess_W=1.3 * found.power_W)
    tone = predicted_tone_L(w, power_W=power, **settings, passes=found.passes)
    assert tone == pytest.approx(w.tone_L, abs=1e-3)


def test_predicted_tone_without_ripple_is_the_curve_itself() -> None:
    """Lines a third of the beam apart leave no ripple: exp(−π² 9/2) = 5e-20."""
    w = WISH.beam.waist_radius_mm
    tone = predicted_tone_L(
        WISH, power_W=10.0, speed_mm_per_s=200.0, line_spacing_mm=w / 3.0, focus_offset_mm=0.0, passes=1
    )
    x = math.log10(10.0 / (200.0 * w / 3.0)) + WISH.curve.kappa * math.log10(2e3 * w / 200.0)
    assert tone == pytest.approx(brute.tone_of(WISH.curve, x), abs=1e-6)


def test_banding_falls_with_the_focus_offset_and_rises_with_the_spacing() -> None:
    in_focus, out = (banding_L(WISH, focus_offset_mm=z, line_spacing_mm=0.2) for z in (0.0, 2.0))
    assert in_focus > out
    assert banding_L(WISH, focus_offset_mm=1.0, line_spacing_mm=0.25) > banding_L(
        WISH, focus_offset_mm=1.0, line_spacing_mm=0.15
    )


def test_without_room_limit_nothing_holds_the_speed_back() -> None:
    free = without_room_limit(wish(room_mm={"x": (0.0, 0.0), "y": (0.0, 0.0)}))
    assert speed_limit_mm_per_s(BENCH, axis="x", room_mm=min(free.room_mm["x"])) > BENCH.speed_max_mm_per_s
