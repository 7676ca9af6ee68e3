"""The recipe search against plain loops over the same candidates, and how constraints give way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.nouns.mark import Hold
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.planning.candidates import CONSTRAINTS, Found, directions, offsets_mm
from evenburn.core.planning.mark_plan import predict, recipe_of
from evenburn.core.planning.raster_time import speed_limit_mm_per_s
from evenburn.core.planning.recipe import edge_radius_mm, search, without_room_limit
from evenburn.core.planning.wide_area import banding_L, predicted_tone_L, solve_power_W
from evenburn.core.planning.wish import Wish
from unit.core.examples import CURVE, SLATE, curve, machine
from unit.core.planning import brute
from unit.core.planning.wishes import BENCH, WISH, wish


def known_at(*, dwell_ms: float) -> CharacteristicCurve:
    """Return a curve whose tone is known best at a dwell: its x_mid and kappa move together, as a fit leaves them."""
    covariance = np.diag(np.square([0.2, 0.3, 0.005, 0.2, 0.05, 0.0, 0.0, 0.08, 0.02]))
    lever = -math.log10(dwell_ms)  # x_mid is what the card gives there, less κ times the way from there to 1 ms
    covariance[2, 7] = covariance[7, 2] = -lever * covariance[7, 7]
    covariance[2, 2] += lever**2 * covariance[7, 7]
    return curve(covariance=covariance)


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
    "reversal hardly known": wish(machine=machine(speed_max_mm_per_s=160.0, reversal_sd_mm=0.2)),
    "reversal a little unsure": wish(machine=machine(speed_max_mm_per_s=160.0, reversal_sd_mm=0.02)),
    "one way by hand": wish(hold=Hold(direction="one way")),
    "reversal not known": wish(machine=machine(speed_max_mm_per_s=160.0, reversal_sd_mm=0.3)),
    "curve known at another dwell": wish(curve=known_at(dwell_ms=25.0), sharpness_mm=0.4),
    "curve known well": wish(curve=curve(covariance=1e-4 * CURVE.covariance)),
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
            direction=found.direction,
        ),
    )
    (candidate,) = brute.candidates(held)  # alone it is known best itself; what is known of all others stays out of it
    return candidate


@pytest.mark.parametrize("name", FEASIBLE)
def test_the_search_is_as_quick_as_trying_everything(name: str) -> None:
    w = FEASIBLE[name]
    found = search(w)
    assert found.gave_way == ()
    tried = brute.candidates(w)
    best_s = min(c.time_s for c in tried if not c.broken(slack=-brute.SLACK))
    loose_s = min(c.time_s for c in tried if not c.broken(slack=brute.SLACK))
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
    "known range": wish(hold=Hold(power_W=8.0, line_spacing_mm=0.1, passes=1), curve=known_at(dwell_ms=100.0)),
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
    tried = brute.candidates(w)
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


def test_lines_are_burnt_one_way_only_where_that_is_quicker() -> None:
    """A reversal known to 0.3 mm rules out 0.3 mm of detail burnt both ways; one known to 0.2 mm does not."""
    assert search(FEASIBLE["reversal not known"]).direction == "one way"
    assert search(FEASIBLE["reversal hardly known"]).direction == "both ways"
    assert search(FEASIBLE["one way by hand"]).direction == "one way"
    assert directions(FEASIBLE["plain"]) == ("both ways",)  # a trusted reversal leaves nothing to gain


def test_a_reversal_that_is_not_known_blurs_edges_as_the_mean_over_it_does() -> None:
    """Neighbouring lines displaced either way by half a Gaussian offset: the dose in a stroke, averaged by quadrature."""
    w, sd, stroke = 0.15, 0.08, 0.2
    bench = machine(reversal_sd_mm=sd)
    places, weights = np.polynomial.hermite_e.hermegauss(40)
    half = [0.5 * sd * float(p) for p in places]
    both = [0.5 * sum(math.erf(math.sqrt(2.0) * (0.5 * stroke + way * h) / w) for way in (1.0, -1.0)) for h in half]
    mean = float(np.dot(weights, both) / weights.sum())
    wide = float(edge_radius_mm(bench, beam_radius_mm=w, one_way=False))
    assert math.erf(math.sqrt(2.0) * 0.5 * stroke / wide) == pytest.approx(mean, rel=1e-9)
    assert float(edge_radius_mm(bench, beam_radius_mm=w, one_way=True)) == w


@pytest.mark.parametrize("name", ["reversal hardly known", "reversal not known", "one way by hand", "warped board"])
def test_the_recipe_carries_its_direction_and_is_predicted_the_detail_it_was_searched_for(name: str) -> None:
    """Power is solved over the ripple and set in whole steps, which moves the half-tone dose a little."""
    w = FEASIBLE[name]
    found = search(w)
    recipe = recipe_of(w, found, air_kPa=None)
    assert recipe.direction == found.direction
    assert predict(w, recipe, events=()).detail_mm == pytest.approx(found.detail_mm, rel=0.005)


@pytest.mark.parametrize("power_max_W", [60.0, 2000.0])
@pytest.mark.parametrize("tone", [64.0, 68.0, 72.0])
def test_detail_is_judged_at_the_power_that_will_be_set(tone: float, power_max_W: float) -> None:
    """Lines far apart take more than an even area, and of a tube far too strong each step of the S word is several percent."""
    tube = {"power_max_W": power_max_W, "power_curve": ((0.0, 0.0), (1.0, power_max_W)), "power_least_fraction": 0.0005}
    bench = machine(speed_max_mm_per_s=160.0, **tube)
    w = wish(machine=bench, tone_L=tone, hold=Hold(line_spacing_mm=0.3, focus_offset_mm=0.0))
    found = search(w)
    recipe = recipe_of(w, found, air_kPa=None)
    assert "banding" in found.gave_way
    assert abs(recipe.power_W / found.power_W - 1.0) > 0.005
    assert predict(w, recipe, events=()).detail_mm == pytest.approx(found.detail_mm, rel=0.01)


def test_speed_and_focus_stay_where_the_curve_is_known() -> None:
    """A card burnt at a dwell of 25 ms: the tone at 4 ms would be uncertain by more than is noticed beside it."""
    w = FEASIBLE["curve known at another dwell"]
    near, free = search(w), search(w, relaxed=frozenset({"known range"}))

    def dwell_ms(found: Found) -> float:
        radius = w.beam.waist_radius_mm * math.hypot(1.0, found.focus_offset_mm / w.beam.rayleigh_length_mm)
        return 2e3 * radius / found.speed_mm_per_s

    assert dwell_ms(free) < dwell_ms(near) < 25.0
    assert near.time_s > free.time_s


def test_a_curve_that_is_not_known_asks_for_closer_lines_or_more_blur() -> None:
    sure, unsure = curve(covariance=np.zeros((9, 9))), curve(covariance=49.0 * CURVE.covariance)
    held = Hold(line_spacing_mm=0.14, focus_offset_mm=2.0)  # 0.7 L* where 1 L* goes unseen
    assert search(wish(curve=sure, hold=held)).gave_way == ()
    assert search(wish(curve=unsure, hold=held)).gave_way == ("banding",)
    free = [search(wish(curve=c, sharpness_mm=0.2)) for c in (sure, unsure)]
    assert free[1].time_s > free[0].time_s
    assert free[1].gave_way == ()


def test_a_slow_bench_is_not_asked_for_what_it_cannot_do() -> None:
    """Room for 39 mm/s: dwells of 5 ms and more, and the curve is known best at 1 ms. It makes do with its shortest."""
    tight = wish(room_mm={"x": (0.16, 0.16), "y": (0.2, 0.2)}, curve=known_at(dwell_ms=1.0), sharpness_mm=0.4)
    assert search(tight).gave_way == ()


def test_what_gave_way_is_told_with_its_amount() -> None:
    for name, w in GIVING_WAY.items():
        found = search(w)
        assert tuple(a.constraint for a in found.amounts) == found.gave_way
        here = as_candidate(w, found)
        got = {a.constraint: a.got for a in found.amounts}
        if name in ("detail", "sharpness"):
            assert got[name] == pytest.approx(here.detail_mm, abs=brute.SAME_DETAIL_mm)
        if name == "power":
            assert got[name] == pytest.approx(here.power_W, rel=1e-4)


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
    x += (WISH.curve.pass_exponent - 1.0) * math.log10(brute.burnt_over(1, w, w / 3.0))
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


def test_the_power_solved_over_the_ripple_stays_below_the_char_limit() -> None:
    """Wide lines and a spot far too narrow for them: the mean tone would ask for a power whose crests char."""
    asked = wish(tone_L=45.0, hold=Hold(line_spacing_mm=0.3, focus_offset_mm=0.0), reading_distance_mm=3000.0)
    found = search(asked)
    recipe = recipe_of(asked, found, air_kPa=None)
    assert "char" in found.gave_way or recipe.power_W <= found.power_W * 10.0 ** max(found.decades_to_char, 0.0) * 1.001
    free = search(wish())
    assert free.decades_to_char > 0.0
    # tenfold the distance in decades is as many times the power: at the limit itself nothing is left
    at_limit = replace(
        wish(), hold=Hold(power_W=free.power_W * 10.0**free.decades_to_char, speed_mm_per_s=free.speed_mm_per_s)
    )
    held = replace(
        at_limit,
        hold=replace(
            at_limit.hold,
            line_spacing_mm=free.line_spacing_mm,
            focus_offset_mm=free.focus_offset_mm,
            passes=free.passes,
            scan_axis=free.axis,
        ),
    )
    assert search(held).decades_to_char == pytest.approx(0.0, abs=1e-9)
