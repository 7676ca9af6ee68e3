"""The search's estimate of time: in one go or in islands, both ways or one, by hand from [biagiotti2008], 3.2."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.art.ink import InkProfile
from evenburn.core.planning.raster_time import raster_time_s
from unit.core.planning.wishes import wish

SPEED, SPACING = 200.0, 0.1
RAMP_s = SPEED / 5000.0  # along x
STEP_s = 2.0 * (SPACING / 3000.0) ** 0.5  # across, from rest to rest


def time_s(profile: InkProfile, *, one_way: bool = False) -> float:
    asked = wish()
    bench = replace(
        asked.machine, jerk_mm_per_s3=None, accel_x_mm_per_s2=5000.0, accel_y_mm_per_s2=3000.0, line_overhead_s=0.0
    )
    asked = replace(asked, machine=bench, profiles={**asked.profiles, "x": profile})
    each = {"speed_mm_per_s": np.array([SPEED]), "line_spacing_mm": np.array([SPACING]), "passes": np.array([1.0])}
    return float(raster_time_s(asked, axis="x", one_way=one_way, **each)[0])


WHOLE = InkProfile(axis="x", hull_mm2=2400.0, rows_mm=20.0, wander_mm=0.0)
PARTED = InkProfile(axis="x", hull_mm2=400.0, rows_mm=40.0, wander_mm=0.0, islands=2, hops_mm=0.0)


def test_one_go_by_hand() -> None:
    assert time_s(WHOLE) == pytest.approx(2400.0 / (SPACING * SPEED) + 200 * (2.0 * RAMP_s + STEP_s), rel=1e-9)


def test_islands_are_taken_where_they_are_quicker() -> None:
    by_hand = 400.0 / (SPACING * SPEED) + 400 * (2.0 * RAMP_s + STEP_s)
    assert time_s(replace(WHOLE, parted=(PARTED,))) == pytest.approx(by_hand, rel=1e-9)
    near = replace(PARTED, hull_mm2=2100.0)  # 300 mm² of gap are less than 200 turns of 18.3 mm on 0.1 mm lines
    assert time_s(replace(WHOLE, parted=(near,))) == pytest.approx(time_s(WHOLE), rel=1e-12)


def test_one_way_comes_back_at_rapid() -> None:
    """120 mm of line and 8 mm of run-up, back at 600 mm/s: 128/600 + 600/5000 s, in which the step is made."""
    assert wish().machine.rapid_mm_per_s == 600.0
    back_s = 128.0 / 600.0 + 600.0 / 5000.0
    assert time_s(WHOLE, one_way=True) - time_s(WHOLE) == pytest.approx(200 * (back_s - STEP_s), rel=1e-9)
