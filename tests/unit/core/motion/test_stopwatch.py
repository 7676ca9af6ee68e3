"""The stopwatch: acceleration, jerk and overhead found again from times taken by hand, a wrong time named, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ruckig import InputParameter, Result, Ruckig, Trajectory

from evenburn.core.errors import InvalidInput
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.stopwatch import fit_motion, overhead_of_burning_s, stopwatch_rasters, strokes_to_and_fro
from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.events import Sweep
from unit.core.examples import machine

STATED = machine(accel_x_mm_per_s2=5000.0, accel_y_mm_per_s2=3000.0, line_overhead_s=0.0)
BY_HAND_s = 0.15  # start and stop together: common practice, no source
FOUR_MINUTES_s = 240.0


def test_time_of_strokes_by_hand() -> None:
    """200 strokes: v/a each beyond d/v where the speed is reached, 2 √(d/a) where it is not; [biagiotti2008], 3.2."""
    long = strokes_to_and_fro(STATED, axis="x", length_mm=120.0, speed_mm_per_s=600.0, count=200)
    short = strokes_to_and_fro(STATED, axis="y", length_mm=3.0, speed_mm_per_s=600.0, count=200)
    assert program_time_s(STATED, long) == pytest.approx(200 * (120.0 / 600.0 + 600.0 / 5000.0), rel=1e-12)
    assert program_time_s(STATED, short) == pytest.approx(200 * 2.0 * (3.0 / 3000.0) ** 0.5, rel=1e-12)


def test_time_of_strokes_with_limited_jerk_against_another_library() -> None:
    """[ruckig2021], the time-optimal move under the same limits; 1 µs of a stroke, far below any watch."""
    bench = machine(jerk_mm_per_s3=80000.0)
    for raster in stopwatch_rasters(bench):
        wish = InputParameter(1)
        wish.current_position, wish.target_position = [0.0], [raster.length_mm]
        wish.max_velocity, wish.max_jerk = [raster.speed_mm_per_s], [80000.0]
        wish.max_acceleration = [bench.accel_x_mm_per_s2 if raster.axis == "x" else bench.accel_y_mm_per_s2]
        move = Trajectory(1)
        assert Ruckig(1).calculate(wish, move) in {Result.Working, Result.Finished}
        assert program_time_s(bench, raster.events) / raster.strokes == pytest.approx(move.duration, abs=1e-6)


def test_the_rasters_stay_on_the_bed_with_the_laser_off_and_take_no_longer_than_told() -> None:
    small = machine(bed_x_mm=80.0, bed_y_mm=70.0)
    slow = machine(speed_max_mm_per_s=80.0, rapid_mm_per_s=80.0, accel_x_mm_per_s2=400.0, accel_y_mm_per_s2=300.0)
    for bench in (STATED, small, slow, machine(jerk_mm_per_s3=50000.0)):
        rasters = stopwatch_rasters(bench)
        for raster in rasters:
            moved, burnt = boxes_mm(raster.events)
            assert burnt is None
            assert moved is not None
            assert min(moved) >= 0.0
            assert moved[2] <= bench.bed_x_mm
            assert moved[3] <= bench.bed_y_mm
            sweeps = [e for e in raster.events if isinstance(e, Sweep)]
            assert len(sweeps) == raster.strokes
            assert not any(e.power_W.any() for e in sweeps)
            assert sweeps[-1].end_mm == sweeps[0].start_mm  # the next take starts where this one ends
        assert 2.0 * sum(program_time_s(bench, r.events) for r in rasters) < FOUR_MINUTES_s


@pytest.mark.parametrize("stated_jerk", [None, 100000.0])
def test_acceleration_within_five_percent_whatever_jerk_and_overhead_are(stated_jerk: float | None) -> None:
    stated = replace(STATED, jerk_mm_per_s3=stated_jerk)
    generator = np.random.default_rng(0)
    programs = [r.events for r in stopwatch_rasters(stated) for _ in range(2)]
    off, sds = [], []
    for _ in range(12):
        accel = 10.0 ** generator.uniform(3.5, 3.8)
        true = replace(
            stated,
            accel_x_mm_per_s2=accel,
            accel_y_mm_per_s2=accel * generator.uniform(0.5, 0.9),
            jerk_mm_per_s3=accel * generator.uniform(15.0, 60.0),
            line_overhead_s=generator.uniform(0.0, 0.03),
        )
        times = [program_time_s(true, p) + BY_HAND_s * generator.normal() for p in programs]
        found = fit_motion(stated, programs=programs, measured_s=times)
        for value, truth, sd in (
            (found.accel_x_mm_per_s2, true.accel_x_mm_per_s2, found.accel_x_sd_mm_per_s2),
            (found.accel_y_mm_per_s2, true.accel_y_mm_per_s2, found.accel_y_sd_mm_per_s2),
        ):
            off.append(abs(value / truth - 1.0))
            sds.append(abs(value - truth) / sd)
        assert abs(found.line_overhead_s - true.line_overhead_s) < 3.5 * found.line_overhead_sd_s
        assert not found.doubtful
    assert np.quantile(off, 0.95) < 0.05
    assert 0.4 < np.sqrt(np.mean(np.square(sds))) < 1.6  # 24 of them: the true sd is 1 within a third, twice over


def test_a_bench_without_a_limit_of_jerk_is_told_as_such() -> None:
    programs = [r.events for r in stopwatch_rasters(STATED) for _ in range(2)]
    times = [program_time_s(STATED, p) for p in programs]
    found = fit_motion(STATED, programs=programs, measured_s=times)
    assert found.jerk_mm_per_s3 is None
    assert found.accel_x_mm_per_s2 == pytest.approx(5000.0, rel=0.02)  # what is believed of jerk pulls a little


def test_a_wrong_take_is_named_and_hardly_moves_the_answer() -> None:
    stated = replace(STATED, jerk_mm_per_s3=100000.0)
    programs = [r.events for r in stopwatch_rasters(stated) for _ in range(3)]
    times = [program_time_s(stated, p) for p in programs]
    times[4] += 5.0
    found = fit_motion(stated, programs=programs, measured_s=times)
    assert found.doubtful == (4,)
    assert found.accel_x_mm_per_s2 == pytest.approx(5000.0, rel=0.05)


def test_a_shaky_hand_shows_in_the_uncertainty() -> None:
    programs = [r.events for r in stopwatch_rasters(STATED) for _ in range(2)]
    times = [program_time_s(STATED, p) for p in programs]
    steady = fit_motion(STATED, programs=programs, measured_s=times)
    shaky = fit_motion(STATED, programs=programs, measured_s=[t + 0.4 * (-1) ** n for n, t in enumerate(times)])
    assert steady.hand_sd_s < BY_HAND_s < shaky.hand_sd_s
    assert shaky.accel_x_sd_mm_per_s2 > 1.5 * steady.accel_x_sd_mm_per_s2


def test_overhead_of_lines_that_burn_by_hand() -> None:
    """100 lines took 63 s on average instead of 60: 30 ms each; two times of ± 0.2 s make ± 1.4 ms of it."""
    share, sd = overhead_of_burning_s(60.0, lines=100, measured_s=[62.9, 63.1], hand_sd_s=0.2)
    assert share == pytest.approx(0.03, abs=1e-12)
    assert sd == pytest.approx(0.2 / 2**0.5 / 100, rel=1e-12)


def test_times_that_are_none_are_refused() -> None:
    programs = [r.events for r in stopwatch_rasters(STATED)][:3]
    for times in ([10.0], [10.0, 20.0], [10.0, float("nan"), 3.0], [10.0, -1.0, 3.0]):
        with pytest.raises(InvalidInput, match="time"):
            fit_motion(STATED, programs=programs, measured_s=times)
