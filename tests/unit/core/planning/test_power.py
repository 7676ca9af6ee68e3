"""Watts, fractions and S words."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.nouns.events import Sweep, Trace
from evenburn.core.planning.power import (
    delivered_power_W,
    full_power_s,
    power_fraction,
    power_window_W,
    power_word,
    power_word_decimals,
    settable_power_W,
)
from unit.core.examples import MACHINE, machine

SCALES = pytest.mark.parametrize(
    ("power_word_max", "decimals"), [(1.0, 3), (100.0, 1), (255.0, 1), (1000.0, 0), (65535.0, 0)]
)


@SCALES
def test_every_scale_tells_at_least_a_thousand_powers_apart(power_word_max: float, decimals: int) -> None:
    bench = machine(power_word_max=power_word_max)
    assert power_word_decimals(bench) == decimals
    assert power_word_max * 10**decimals >= 1000
    assert decimals == 0 or power_word_max * 10 ** (decimals - 1) < 1000  # and no decimal more


@SCALES
def test_a_power_survives_the_s_word_to_half_a_step(power_word_max: float, decimals: int) -> None:
    bench = machine(power_word_max=power_word_max)
    watts = np.linspace(0.5, 60.0, 240)
    words = power_word(bench, power_W=watts)
    written = np.array([float(f"{word:.{decimals}f}") for word in words])  # as a program writes it
    assert written.tolist() == words.tolist()  # nothing is lost in writing
    back = delivered_power_W(bench, power_fraction=written / power_word_max)
    steepest_W = 27.0 / 0.4  # W per fraction, the steepest stretch of the bench's curve
    assert back == pytest.approx(watts, abs=steepest_W * 0.5 * 10**-decimals / power_word_max + 1e-9)


@SCALES
def test_a_settable_power_is_set_as_it_is(power_word_max: float, decimals: int) -> None:
    bench = machine(power_word_max=power_word_max)
    once = settable_power_W(bench, power_W=np.linspace(0.0, 60.0, 777))
    assert settable_power_W(bench, power_W=once).tolist() == once.tolist()
    assert decimals == power_word_decimals(bench)


def test_power_lies_straight_between_the_points_of_the_curve() -> None:
    # 0.1 → 4 W, 0.5 → 31 W, 1.0 → 60 W
    assert delivered_power_W(MACHINE, power_fraction=[0.0, 0.05, 0.1, 0.3, 0.75, 1.0]) == pytest.approx(
        [0.0, 2.0, 4.0, 17.5, 45.5, 60.0], rel=1e-12
    )
    assert power_fraction(MACHINE, power_W=[2.0, 17.5, 45.5]) == pytest.approx([0.05, 0.3, 0.75], rel=1e-12)


@SCALES
@pytest.mark.parametrize(("least", "cap"), [(0.1, 0.8), (0.13255, 0.71177), (0.3, 0.3049), (1 / 3, 2 / 3)])
def test_what_fires_and_is_allowed_still_does_as_it_is_written(
    power_word_max: float, decimals: int, least: float, cap: float
) -> None:
    bench = machine(power_word_max=power_word_max, power_least_fraction=least, power_cap_fraction=cap)
    low_W, high_W = power_window_W(bench)
    words = power_word(bench, power_W=np.linspace(low_W, high_W, 500))
    # a step of 1/1000 of the scale or less lies in each of these windows
    assert words.min() >= least * power_word_max * (1.0 - 1e-12)
    assert words.max() <= cap * power_word_max * (1.0 + 1e-12)
    assert float(f"{words.min():.{decimals}f}") == words.min()


def test_a_power_outside_the_window_is_written_as_it_is() -> None:
    bench = machine(power_least_fraction=0.1, power_cap_fraction=0.8)
    assert power_word(bench, power_W=[2.0, 60.0]).tolist() == [50.0, 1000.0]  # 2 W are half of the first tenth's 4 W


def test_full_power_is_the_greatest_word_and_no_power_is_nought() -> None:
    assert power_word(MACHINE, power_W=[60.0, 0.0]).tolist() == [1000.0, 0.0]
    assert float(settable_power_W(MACHINE, power_W=0.0)) == 0.0


def test_the_window_runs_from_the_least_that_fires_to_the_cap() -> None:
    assert power_window_W(MACHINE) == pytest.approx((4.0, 48.4), rel=1e-12)  # 31 + 0.3/0.5 · 29 W


def test_a_laser_that_fires_at_any_power_gets_one_step_at_least() -> None:
    bench = machine(power_least_fraction=0.0)
    assert power_window_W(bench)[0] == pytest.approx(0.04, rel=1e-12)  # a thousandth, of 4 W at a tenth
    assert power_word(bench, power_W=[1e-9, 0.04]).tolist() == [1.0, 1.0]


def sweep_of_two(*power_W: float) -> Sweep:
    """40 mm at one power, 10 mm at another, at 200 mm/s."""
    return Sweep(
        axis="x",
        cross_mm=0.0,
        start_mm=0.0,
        end_mm=90.0,
        speed_mm_per_s=200.0,
        edges_mm=np.array([10.0, 50.0, 60.0]),
        power_W=np.array(power_W),
    )


def test_full_power_seconds_count_each_moment_by_its_fraction() -> None:
    # 4 W are a tenth and 31 W half of this bench's power; 2 mm from rest, 16 mm at 100 mm/s, 2 mm to rest at 2500 mm/s²
    sweep = sweep_of_two(31.0, 4.0)
    assert full_power_s(MACHINE, [sweep]) == pytest.approx(0.5 * 40 / 200 + 0.1 * 10 / 200, rel=1e-12)
    bench = machine(accel_x_mm_per_s2=2500.0)
    trace = Trace(
        points_mm=np.array([[0.0, 0.0], [2.0, 0.0], [18.0, 0.0], [20.0, 0.0]]),
        speed_mm_per_s=100.0,
        power_W=np.array([4.0, 31.0, 0.0]),
    )
    # the two ramps of v²/2a = 2 mm take v/a = 0.04 s each
    assert full_power_s(bench, [sweep, trace]) == pytest.approx(0.105 + 0.1 * 0.04 + 0.5 * 16 / 100, rel=1e-12)


def test_where_the_laser_is_off_nothing_counts_though_it_gives_nothing_at_some_fraction_too() -> None:
    # a power meter that reads nothing at a tenth: 0 W is S0 all the same, and 15.5 W lie half way to a half
    bench = machine(power_curve=((0.0, 0.0), (0.1, 0.0), (0.5, 31.0), (1.0, 60.0)))
    assert power_fraction(bench, power_W=[0.0, 15.5]).tolist() == [0.0, pytest.approx(0.3)]
    sweep = sweep_of_two(31.0, 0.0)
    assert full_power_s(bench, [sweep]) == pytest.approx(0.5 * 40 / 200, rel=1e-12)
