"""The stopwatch: acceleration and overhead found again from times taken by hand, a wrong time named, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.errors import InvalidInput
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.stopwatch import fit_motion, stopwatch_rasters
from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.events import Sweep
from unit.core.examples import machine

STATED = machine(accel_x_mm_per_s2=5000.0, accel_y_mm_per_s2=3000.0, line_overhead_s=0.0)
BY_HAND_s = 0.2  # reaction time at both ends: common practice, no source


def test_time_of_the_slow_raster_by_hand() -> None:
    """200 lines of 5 mm at 50 mm/s: 5/50 + 50/5000 s each, and 199 steps of 0.5 mm, 2 √(0.5/3000) s; [biagiotti2008], 3.2."""
    slow = stopwatch_rasters(STATED)[-1]
    by_hand = 200 * (5.0 / 50.0 + 2.0 * 50.0 / 5000.0) + 199 * 2.0 * (0.5 / 3000.0) ** 0.5
    assert program_time_s(STATED, slow.events) == pytest.approx(by_hand, rel=1e-3)


def test_the_rasters_stay_on_the_bed_with_the_laser_off() -> None:
    for bench in (STATED, machine(bed_x_mm=80.0, bed_y_mm=70.0), machine(jerk_mm_per_s3=50000.0)):
        for raster in stopwatch_rasters(bench):
            moved, burnt = boxes_mm(raster.events)
            assert burnt is None
            assert moved is not None
            assert min(moved) >= 0.0
            assert moved[2] <= bench.bed_x_mm
            assert moved[3] <= bench.bed_y_mm
            assert all(not e.power_W.any() for e in raster.events if isinstance(e, Sweep))


def test_acceleration_within_five_percent_and_overhead_within_five_milliseconds() -> None:
    generator = np.random.default_rng(0)
    programs = [r.events for r in stopwatch_rasters(STATED)]
    off: list[tuple[float, float, float]] = []
    within = []
    for _ in range(8):
        true = replace(
            STATED,
            accel_x_mm_per_s2=10.0 ** generator.uniform(3.3, 4.0),
            accel_y_mm_per_s2=10.0 ** generator.uniform(3.2, 3.8),
            line_overhead_s=generator.uniform(0.0, 0.03),
        )
        times = [program_time_s(true, p) + 0.15 * generator.normal() for p in programs]
        found = fit_motion(STATED, programs=programs, measured_s=times, reaction_sd_s=BY_HAND_s)
        off.append(
            (
                abs(found.accel_x_mm_per_s2 / true.accel_x_mm_per_s2 - 1.0),
                abs(found.accel_y_mm_per_s2 / true.accel_y_mm_per_s2 - 1.0),
                abs(found.line_overhead_s - true.line_overhead_s),
            )
        )
        within.append(abs(found.accel_x_mm_per_s2 - true.accel_x_mm_per_s2) < 2.5 * found.accel_x_sd_mm_per_s2)
    worst = np.max(off, axis=0)
    assert worst[0] < 0.05
    assert worst[1] < 0.05
    assert worst[2] < 0.005
    assert np.mean(within) >= 0.75


def test_times_that_are_none_are_refused() -> None:
    programs = [r.events for r in stopwatch_rasters(STATED)]
    for times in ([10.0], [10.0, 20.0], [10.0, float("nan"), 3.0], [10.0, -1.0, 3.0]):
        with pytest.raises(InvalidInput, match="time"):
            fit_motion(STATED, programs=programs, measured_s=times, reaction_sd_s=BY_HAND_s)
