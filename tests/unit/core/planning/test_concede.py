"""Wishes that give way are told with numbers that can be worked out by hand, and no contradiction is an exception."""

from __future__ import annotations

import math
from itertools import product

import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.nouns.mark import Hold
from evenburn.core.nouns.recipe import Concession
from evenburn.core.planning.candidates import CONSTRAINTS
from evenburn.core.planning.concede import TELL, concessions
from evenburn.core.planning.mark_plan import recipe_of
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wish import Wish
from unit.core.examples import SLATE, curve, machine
from unit.core.planning import brute
from unit.core.planning.test_recipe import FEASIBLE, GIVING_WAY
from unit.core.planning.wishes import wish

DIGITS = 1e-6


def told(w: Wish) -> dict[str, Concession]:
    return {one.constraint: one for one in concessions(w, search(w))}


def test_a_wish_that_is_met_concedes_nothing() -> None:
    for w in FEASIBLE.values():
        assert concessions(w, search(w)) == ()


@pytest.mark.parametrize("name", GIVING_WAY)
def test_what_gave_way_is_told_with_both_numbers_in_words(name: str) -> None:
    w = GIVING_WAY[name]
    one = told(w)[name]
    assert one.got != pytest.approx(one.asked)
    shown = f"{one.got:.2f}" if one.unit in ("mm", "J/mm²") else f"{one.got:.1f}"
    assert shown in one.text.replace("\u00a0", " ") or f"{one.got:.1f}" in one.text
    assert one.text.endswith(".")
    assert one.unit in one.text


def test_every_constraint_can_be_told() -> None:
    assert tuple(TELL) == CONSTRAINTS


def test_a_run_up_without_room_by_hand() -> None:
    """v²/2a along y at 3000 mm/s², and v τ of lead; there is 1 µm."""
    w = GIVING_WAY["run-up"]
    found, one = search(w), told(w)["run-up"]
    accel = 5000.0 if found.axis == "x" else 3000.0
    by_hand = found.speed_mm_per_s**2 / (2.0 * accel) + found.speed_mm_per_s * w.machine.rise_time_s
    assert one.got == pytest.approx(by_hand, rel=DIGITS)
    assert (one.asked, one.unit) == (0.001, "mm")


def test_a_power_beyond_the_cap_is_the_recipes_own() -> None:
    """12 % of the tube is 4 + (31 − 4) · 0.02/0.4 = 5.35 W."""
    w = GIVING_WAY["power"]
    found = search(w)
    recipe = recipe_of(w, found, air_kPa=None)
    (one,) = (c for c in concessions(w, found, recipe=recipe) if c.constraint == "power")
    assert one.asked == pytest.approx(5.35, rel=DIGITS)
    assert one.got == recipe.power_W
    assert "you allow 5.3" in one.text


def test_a_held_power_names_the_tone_it_gives() -> None:
    w = GIVING_WAY["tone"]
    found, one = search(w), told(w)["tone"]
    radius = w.beam.waist_radius_mm * math.hypot(1.0, found.focus_offset_mm / w.beam.rayleigh_length_mm)
    x = math.log10(6.0 / (300.0 * 0.1)) + w.curve.kappa * math.log10(2e3 * radius / 300.0)
    x += (w.curve.pass_exponent - 1.0) * math.log10(brute.burnt_over(1, radius, 0.1))
    assert one.got == pytest.approx(brute.tone_of(w.curve, x), abs=1e-6)
    assert one.asked == 40.0


@pytest.mark.parametrize(("c", "tone"), [(curve(), 5.0), (curve(), 90.0), (SLATE, 90.0), (SLATE, 20.0)])
def test_a_tone_out_of_reach_says_how_near_the_wood_comes(c: object, tone: float) -> None:
    w = wish(curve=c, tone_L=tone)
    one = told(w)["tone"]
    assert one.asked == tone
    ends = [brute.tone_of(w.curve, brute.exposure_of(w.curve, t)) for t in (0.0, 100.0)]
    assert one.got == pytest.approx(min(ends, key=lambda end: abs(end - tone)), abs=0.01)


def test_the_finest_that_any_recipe_keeps_is_told_beside_what_is_kept() -> None:
    """Detail is not chased; whoever wants it finer learns how much finer there is."""
    w = GIVING_WAY["detail"]
    finest = min(c.detail_mm for c in brute.candidates(w) if not set(c.broken()) - {"detail"})
    assert f"no recipe here keeps finer than {finest:.2f}\u00a0mm" in told(w)["detail"].text


def test_sharpness_and_detail_of_one_number_are_told_once() -> None:
    assert [c.constraint for c in concessions(GIVING_WAY["sharpness"], search(GIVING_WAY["sharpness"]))] == [
        "sharpness"
    ]


def test_contradictory_settings_give_concessions_and_no_exception() -> None:
    """Everything held against everything else, on a bench that can do some of it."""
    seen = set()
    for speed, power, spacing, passes, offset in product(
        (5.0, 160.0, 900.0), (0.5, 30.0, 200.0), (0.01, 0.1, 2.0), (1, 9), (-3.0, 0.0, 30.0)
    ):
        hold = Hold(speed_mm_per_s=speed, power_W=power, line_spacing_mm=spacing, passes=passes, focus_offset_mm=offset)
        w = wish(hold=hold, unevenness_mm=0.5, faint_L=79.0)
        found = search(w)
        conceded = concessions(w, found)
        assert {c.constraint for c in conceded} >= set(found.gave_way) - {"detail"}
        assert all(math.isfinite(c.asked) and math.isfinite(c.got) and "nan" not in c.text for c in conceded)
        seen |= {c.constraint for c in conceded}
    assert seen >= {"tone", "power", "banding", "sharpness", "char", "photo range"}


def test_no_room_no_light_and_no_tone_at_once() -> None:
    w = wish(
        room_mm={"x": (-5.0, -5.0), "y": (-1.0, 2.0)},
        tone_L=3.0,
        machine=machine(power_cap_fraction=0.1, speed_max_mm_per_s=160.0),
        widths=Widths(stroke_mm=0.01, gap_mm=0.01),
        sharpness_mm=0.01,
        unevenness_mm=20.0,
        hold=Hold(speed_mm_per_s=150.0),
    )
    assert {"run-up", "tone", "power", "sharpness"} <= set(told(w))
