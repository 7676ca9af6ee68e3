"""The second interpreter itself: each rule of the language it speaks, its clock by hand and beside ruckig, its dose by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import ruckig
from hypothesis import given
from hypothesis import strategies as st

from interpreter.clock import Pace, Times, rest_to_rest_s, times_of
from interpreter.dose import Light, Raster, energies_J, rastered_J
from interpreter.language import Refused, Tape, interpret

HEAD = "G21 G90 G94 G17\nM5\nF6000\nG0 X10 Y10\nM3 S0\n"
PACE = Pace(
    rapid_mm_per_s=500.0,
    accel_x_mm_per_s2=5000.0,
    accel_y_mm_per_s2=3000.0,
    jerk_mm_per_s3=None,
    overhead_s=0.0,
    tolerance_mm=0.02,
)
JERKY = Pace(
    rapid_mm_per_s=500.0,
    accel_x_mm_per_s2=5000.0,
    accel_y_mm_per_s2=3000.0,
    jerk_mm_per_s3=1e5,
    overhead_s=0.25,
    tolerance_mm=0.02,
)


def run(body: str, *, head: str = HEAD) -> Tape:
    return interpret(f"{head}{body}\nM5\nM2\n")


def places(tape: Tape) -> list[tuple[float, float]]:
    return [(move.x1_mm, move.y1_mm) for move in tape.moves]


def words(tape: Tape) -> list[float]:
    return [move.word for move in tape.moves]


# ---- the language, [nistir6556] ----------------------------------------------------------------------------------


def test_words_stay_in_force_and_their_order_on_a_line_means_nothing() -> None:
    plain = run("G1 X20 S500\nX30\nY20 S0\nG0 X5")
    mixed = run("s500x20g1\n X 3 0 \nS0 (y20) Y20\nx5 g00")
    assert places(plain) == places(mixed) == [(10.0, 10.0), (20.0, 10.0), (30.0, 10.0), (30.0, 20.0), (5.0, 20.0)]
    assert words(plain) == words(mixed) == [0.0, 500.0, 500.0, 0.0, 0.0]
    assert [move.is_rapid for move in plain.moves] == [True, False, False, False, True]
    assert mixed.comments == ["y20"]


def test_on_one_line_feed_power_and_switch_come_before_the_motion() -> None:
    tape = run("G1 X20 S500 F600\nX30 M5\nX40\nM4 X50")
    assert words(tape)[1:] == [500.0, 0.0, 0.0, 500.0]
    assert tape.moves[1].feed_mm_per_s == 10.0
    assert [move.after_rest for move in tape.moves[1:]] == [True, True, False, True]


def test_feed_is_read_before_the_units_of_its_own_line_and_places_after() -> None:
    tape = run("G20 G1 X1 F60")
    assert tape.moves[-1].x1_mm == 25.4
    assert tape.moves[-1].feed_mm_per_s == 1.0


def test_places_may_be_told_as_steps() -> None:
    assert places(run("G91 G1 X5\nX-2 Y1\nG90 X1"))[1:] == [(15.0, 10.0), (13.0, 11.0), (1.0, 11.0)]


def test_light_without_motion_is_told() -> None:
    tape = run("S500\nG4 P1.5\nM0\nG1 X20\nS0")
    assert tape.lit_at_rest == [6, 7, 8]
    assert (tape.dwell_s, tape.pauses, tape.ended_off) == (1.5, 1, True)
    assert interpret(HEAD + "G1 X20 S5\nM2\n").ended_off is False


@pytest.mark.parametrize(
    "body",
    [
        *("G0 G1 X1", "G90 G91 X1", "M3 M5", "M7 M9", "G1 X1 X2", "F1 F2", "S1 S2"),  # two of one group or letter
        *("G1", "G0 S5", "G4", "G4 P-1", "P5", "F0", "F-5", "S-1", "G1.5 X1", "M10", "G99.9"),
        *("G2 X5 I1", "G81 X5", "G93", "G18", "G10", "G53 X5", "M6", "M60", "T1", "Z5", "I5", "K1", "#1=5"),
        *("X1e5", "X--1", "X1.2.3", "Xnan", "X", "X.", "5", "N1.5 X1", "N123456 X1", "/X1", "X[1+1]", "X1,5"),
        *("(a", "b)", "(a(b)", "X(1)5", "G1 X" + "1" * 252, "M2\nX5", "%"),
    ],
)
def test_what_breaks_the_language_is_refused(body: str) -> None:
    with pytest.raises(Refused):
        run(body)


@pytest.mark.parametrize("left_out", ["G21", "G90", "G94", "G17"])
def test_a_move_before_its_settings_is_refused(left_out: str) -> None:
    with pytest.raises(Refused, match=r"line [34]"):
        interpret(HEAD.replace(left_out, "") + "G1 X20\nM5\nM2\n")


def test_a_feed_move_needs_a_feed_the_laser_a_word_and_the_program_an_end() -> None:
    for text in (
        "G21 G90 G94 G17\nG0 X1 Y1\nG1 X2\nM2\n",
        "G21 G90 G94 G17\nM3\nM2\n",
        HEAD,
        "G21 G90 G94 G17\nX5\nM2\n",
    ):
        with pytest.raises(Refused):
            interpret(text)


def test_percent_signs_may_frame_a_file() -> None:
    assert len(interpret(f"%\n{HEAD}G1 X20\nM5\n%\n").moves) == 2
    with pytest.raises(Refused):
        interpret(f"%\n{HEAD}G1 X20\nM5\n%\nG0 X5\n")


# ---- the clock ---------------------------------------------------------------------------------------------------


def timed(body: str, pace: Pace = PACE) -> Times:
    head = "G21 G90 G94 G17\nM5\nF18000\nG0 X0 Y0\nM3 S0\n"  # 300 mm/s
    return times_of(run(body, head=head).moves, pace)


@pytest.mark.parametrize(
    ("body", "seconds"),
    [
        ("G1 X300", 1.0 + 300 / 5000),  # L/v + v/a
        ("G1 X5", 2 * math.sqrt(5 / 5000)),  # 2 √(L/a)
        ("G1 X7 S9\nX100 S0\nX300", 1.0 + 300 / 5000),
        ("G1 Y300", 1.0 + 300 / 3000),
        ("G1 X180 Y240", 1.0 + 300 / 3750),  # 3000/0.8
        ("G1 X20\nX0\nX20", 3 * (20 / 300 + 300 / 5000)),  # turns back: v²/a is 18 mm
        ("G0 X300\nG0 X550", (300 / 500 + 0.1) + (250 / 500 + 0.1)),
        ("G1 X150\nG4 P0\nX300", 2 * (0.5 + 300 / 5000)),
        ("G1 X150\nX300 F18001", 2 * (0.5 + 300 / 5000)),
    ],
)
def test_times_by_hand(body: str, seconds: float) -> None:
    assert timed(body).total_s() == pytest.approx(seconds, rel=5e-5)  # F18001 is quicker by so much on a half of it


def test_double_s_by_hand_and_the_overhead_of_each_stretch_that_burns() -> None:
    # too short for the acceleration: 4 (L/2j)^⅓
    stroke = 4.0 * (5.0 / 2e5) ** (1.0 / 3.0)
    times = timed("G1 X5 S100\nX0 S0\nX5 S100", JERKY)
    assert times.moves_s[1:] == pytest.approx([stroke] * 3, rel=1e-9)
    assert times.total_s() == pytest.approx(3 * stroke + 2 * 0.25, rel=1e-9)


def test_a_right_angle_is_passed_at_the_speed_of_its_circle() -> None:
    # r (√2 − 1) = 0.02 mm and v² = 3000 r: 12.035 mm/s
    corner = math.sqrt(3000 * 0.02 / (math.sqrt(2) - 1))
    first = 100 / 300 + 300 / 5000 / 2 + (300 - corner) ** 2 / (2 * 5000 * 300)
    second = 100 / 300 + 300 / 3000 / 2 + (300 - corner) ** 2 / (2 * 3000 * 300)
    assert timed("G1 X100\nY100").moves_s[1:] == pytest.approx([first, second], rel=1e-9)


def test_a_slanting_line_of_rounded_places_is_one_side_and_its_moves_share_its_time() -> None:
    body = "\n".join(f"G1 X{n * 0.1 / 3:.3f} Y{n * 0.2 / 3:.3f}" for n in range(1, 301))
    times = timed(body)
    length, accel = math.hypot(10, 20), min(5000 * math.sqrt(5), 3000 * math.sqrt(5) / 2)
    assert times.total_s() == pytest.approx(2.0 * math.sqrt(length / accel), rel=1e-5)  # too short for 300 mm/s
    assert times.moves_s[1] > times.moves_s[150] > 0.0


@given(
    length=st.floats(1e-3, 1e3),
    feed=st.floats(1.0, 1e3),
    accel=st.floats(100.0, 2e4),
    jerk=st.one_of(st.none(), st.floats(1e3, 1e6)),
)
def test_rest_to_rest_is_that_of_ruckig(length: float, feed: float, accel: float, jerk: float | None) -> None:
    ask = ruckig.InputParameter(1)
    ask.target_position, ask.max_velocity, ask.max_acceleration = [length], [feed], [accel]
    ask.max_jerk = [math.inf if jerk is None else jerk]
    answer = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(ask, answer) in {ruckig.Result.Working, ruckig.Result.Finished}
    assert rest_to_rest_s(length, feed, accel, jerk) == pytest.approx(answer.duration, abs=1e-6)  # its own exactness


# ---- the dose ----------------------------------------------------------------------------------------------------

LIGHT = Light(curve=((0.0, 0.0), (0.5, 10.0), (1.0, 40.0)), word_of_all=1000.0)


def test_words_become_watts_along_the_curve() -> None:
    np.testing.assert_allclose(LIGHT.watts([0, 250, 500, 750, 1000]), [0, 5, 10, 25, 40])


def test_energy_is_power_times_time_and_lands_where_it_was_put() -> None:
    # 100 mm/s; from 11.5 on for 3 mm with 10 W, commanded 0.5 mm early, and back over one with 40 W
    tape = run("G1 X11 S0\nX14 S500\nX20 S0\nG0 X20 Y11\nG1 X13.5 S0\nX12.5 S1000\nX10 S0")
    times = [math.dist((m.x0_mm, m.y0_mm), (m.x1_mm, m.y1_mm)) / 100 if m.word else 0.0 for m in tape.moves]
    energies = energies_J(tape.moves, times, LIGHT)
    assert energies.sum() == pytest.approx(10 * 0.03 + 40 * 0.01)
    grid = Raster(x0_mm=10.0, y0_mm=9.5, side_mm=1.0, rows=2, columns=4)
    got, lost = rastered_J(tape.moves, energies, grid, axis="x", early_mm=0.5)
    np.testing.assert_allclose(got, [[0, 0.05, 0.1, 0.1], [0, 0, 0.4, 0]], atol=1e-12)
    assert lost == pytest.approx(0.05)
