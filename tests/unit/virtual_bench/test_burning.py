"""The virtual bench against closed forms: what a line leaves, how long it takes, how the head comes to speed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from virtual_bench import Bench, Job, Machine, program, raster
from virtual_bench.motion import ramp_s
from virtual_bench.ngc import moves_of
from virtual_bench.reaction import rates_of
from virtual_bench.woods import WOODS

GRID = 0.01  # of the peak: pixels of a seventh of the beam radius, dose taken at their middles
SHORT_s = 1e-6  # sums of binary fractions


def test_one_line_leaves_a_gaussian_across_it() -> None:
    """Peak fluence of a line is sqrt(2/π) P / (w v), and falls as exp(-2 y²/w²): Siegman (1986), from memory."""
    machine = Machine.ideal(waist_mm=0.2, power_curve=((1.0, 60.0),), power_least_fraction=0.0)
    text = program(["G0 X10 Y20 S0", "G1 X20 Y20 S0 F6000", "G1 X40 Y20 S500", "G1 X50 Y20 S0"])
    board = Bench(0, "hard-maple", machine, ideal=True).burn(
        text, (50.0, 10.0), (0.0, 15.0), map_mm=0.025, pixel_mm=0.025
    )
    across = board.dose_J_per_mm2[:, 1200][::-1]
    y = (np.arange(across.size) + 0.5) * 0.025 - 5.0
    peak = math.sqrt(2.0 / math.pi) * 30.0 / (0.2 * 100.0)
    near = np.abs(y) < 0.45
    assert across[near] == pytest.approx(peak * np.exp(-2.0 * (y[near] / 0.2) ** 2), abs=GRID * peak)
    assert board.dwell_s[200, 1200] == pytest.approx(2.0 * 0.2 / 100.0, rel=1e-3)


def test_a_line_in_a_slant_leaves_the_same_energy_as_one_along_an_axis() -> None:
    machine = Machine.ideal(waist_mm=0.15, power_curve=((1.0, 60.0),), power_least_fraction=0.0)
    bench = Bench(0, "hard-maple", machine, ideal=True)
    energy = []
    for dx, dy in ((10.0, 0.0), (0.0, 10.0), (6.0, 8.0)):
        text = program([f"G0 X5 Y5 S0 F{60 * 200}", f"G1 X{5 + dx} Y{5 + dy} S500"])
        board = bench.burn(text, (20.0, 20.0), (0.0, 0.0), map_mm=0.05)
        energy.append(float(board.dose_J_per_mm2.sum()) * 0.05**2)
    # from rest to rest the mean speed of a 10 mm move at 5000 mm/s² is below 200 mm/s: energy is power times time
    assert energy[0] == pytest.approx(30.0 * 2.0 * math.sqrt(10.0 / 5000.0), rel=0.02)
    assert energy[1] == pytest.approx(30.0 * 2.0 * math.sqrt(10.0 / 3000.0), rel=0.02)  # y is the slower axis
    assert energy[2] == pytest.approx(30.0 * 2.0 * math.sqrt(10.0 / 3750.0), rel=0.02)  # 3000 / 0.8 < 5000 / 0.6


def test_ramp_times_are_those_of_a_double_s() -> None:
    """[biagiotti2008] 3.4: v/a + a/j, or 2 sqrt(v/j) where full acceleration is not reached."""
    assert ramp_s(300.0, 5000.0, 100000.0) == pytest.approx(0.06 + 0.05, abs=SHORT_s)
    assert ramp_s(100.0, 5000.0, 100000.0) == pytest.approx(2.0 * math.sqrt(0.001), abs=SHORT_s)
    assert ramp_s(300.0, 5000.0, 0.0) == pytest.approx(0.06, abs=SHORT_s)


def test_the_stopwatch_adds_sweeps_turns_and_overhead() -> None:
    machine = Machine.ideal(accel_x_mm_per_s2=4000.0, accel_y_mm_per_s2=2000.0, line_overhead_s=0.01)
    body = raster((0.0, 0.0, 40.0, 0.2), word=400, speed_mm_per_s=200.0, line_spacing_mm=0.1, run_up_mm=10.0)
    sweep = 60.0 / 200.0 + 200.0 / 4000.0
    turn = 2.0 * math.sqrt(0.1 / 2000.0)
    watch = Bench(0, "beech", machine).stopwatch_s(program(body))
    assert watch == pytest.approx(2.0 * (sweep + 0.01) + turn, abs=SHORT_s)


def test_char_rates_are_those_of_the_published_scheme() -> None:
    """Chan, Kelbon and Krieger (1985) as listed in the project's check values: char yield 0.2798 at 673.15 K, 0.2227 at 773.15 K."""
    yields = rates_of(WOODS["hard-maple"])[2]
    at = [np.interp(t - 293.0, 4.0 * np.arange(yields.size), yields) for t in (673.15, 773.15)]
    assert at[0] / at[1] == pytest.approx(0.2798 / 0.2227, rel=2e-3)  # four digits, steps of 4 K


def test_same_dose_slower_is_darker_and_grain_is_the_boards_own() -> None:
    bench = Bench(3, "beech", {"tilt_mm_per_m": (0.0, 0.0)})
    tones = {}
    for speed in (400.0, 50.0):
        word = bench.machine.word_for_W(0.6 * speed * 0.1)
        text = program(raster((5.0, 5.0, 13.0, 13.0), word=word, speed_mm_per_s=speed, line_spacing_mm=0.1))
        boards = [bench.burn(text, (18.0, 18.0), (0.0, 0.0), 1.0, board=n) for n in (0, 0, 1)]
        tones[speed] = [b.tone_L((5.0, 5.0, 13.0, 13.0), edge_mm=0.8) for b in boards]
        assert tones[speed][0] == tones[speed][1] != tones[speed][2]
    assert tones[50.0][0] < tones[400.0][0] - 1.0


@pytest.mark.parametrize("name", sorted(WOODS))
def test_every_wood_runs_from_bare_to_a_turning_point(name: str) -> None:
    bench = Bench(0, name, Machine.ideal(power_curve=((1.0, 60.0),), power_least_fraction=0.0), ideal=True)
    doses = 0.05 * 10.0 ** (0.25 * np.arange(9))
    body = []
    for n, dose in enumerate(doses):
        box = (2.0 + 4.0 * n, 2.0, 5.0 + 4.0 * n, 5.0)
        word = 1000.0 * dose * 100.0 * 0.1 / 60.0
        body += raster(box, word=word, speed_mm_per_s=100.0, line_spacing_mm=0.1)
    board = bench.burn(program(body), (40.0, 7.0), (0.0, 0.0), 1.5)
    tones = [board.tone_L((2.0 + 4.0 * n, 2.0, 5.0 + 4.0 * n, 5.0), edge_mm=0.5) for n in range(len(doses))]
    sign = -1.0 if name == "slate" else 1.0
    extreme = int(np.argmin(sign * np.array(tones)))
    assert all(np.diff(sign * np.array(tones[: extreme + 1])) < 0.0)
    assert 4 <= extreme < len(doses) - 1, f"it never turns: {tones}"
    assert abs(tones[extreme] - WOODS[name].bare_L) > 15.0
    assert board.tone_L((0.0, 6.0, 40.0, 7.0)) == pytest.approx(WOODS[name].bare_L, abs=0.1)


def test_jobs_of_a_ladder_are_burnt_on_one_board() -> None:
    machine = Machine.ideal(waist_mm=0.08, waist_at_mm=1.0)
    bench = Bench(0, "birch-plywood", machine, ideal=True)
    jobs = [
        Job(text=program([f"G0 X2 Y{y} S0", f"G1 X22 Y{y} S500 F12000"]), focus_offset_mm=z)
        for y, z in ((2.0, -3.0), (4.0, 1.0), (6.0, 5.0))
    ]
    board = bench.burn(jobs, (24.0, 8.0), (0.0, 0.0), map_mm=0.025)
    column = board.dose_J_per_mm2[:, 480][::-1]
    peaks = [float(column[round(y / 0.025) - 20 : round(y / 0.025) + 20].max()) for y in (2.0, 4.0, 6.0)]
    assert peaks[0] == pytest.approx(peaks[2], rel=0.02)
    assert peaks[1] / peaks[0] == pytest.approx(machine.radius_mm(5.0) / 0.08, rel=0.05)  # nine pixels across the waist


@pytest.mark.parametrize("words", ["G2 X1 Y1 I1", "G1 X1", "X1e-3", "M8"])
def test_the_controller_refuses_what_it_does_not_know(words: str) -> None:
    with pytest.raises(ValueError, match="line 1"):
        moves_of(f"{words}\nM2", rapid_mm_per_s=600.0)
