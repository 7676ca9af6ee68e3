"""The walk round a mark: dark throughout, slow enough for an eye, resting at corners, nothing walked twice."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenburn.core.motion.dry_trace import (
    EYE_MOST_mm_per_s,
    REST_s,
    dry_trace_events,
    dry_trace_time_s,
    pace_mm_per_s,
    ring_mm,
    walks_mm,
)
from evenburn.core.nouns.events import Dwell, Event, Trace, Travel
from unit.core.examples import MACHINE, machine

SAME = 1e-9  # arithmetic of doubles


def box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x1, y0], [x1, y1], [x0, y1], [x0, y0]])


DISC = np.array([[50.0 + 20.0 * math.cos(t), 50.0 + 20.0 * math.sin(t)] for t in np.arange(0.0, 6.28, 0.1)])


def of_kind(events: tuple[Event, ...], kind: type) -> list[Event]:
    return [event for event in events if isinstance(event, kind)]


def test_a_disc_with_run_up_is_walked_three_times_and_nothing_burns() -> None:
    """Box, outline, and the box with run-up: 4 sides and 4 rests each for the boxes, one stroke for the outline."""
    events = dry_trace_events(MACHINE, box_mm=box(30, 30, 70, 70), hull_mm=DISC, swept_mm=box(15, 30, 85, 70))

    traces = [event for event in events if isinstance(event, Trace)]
    assert len(traces) == 4 + 1 + 4
    assert not any(trace.power_W.any() for trace in traces)
    assert [d.time_s for d in events if isinstance(d, Dwell)] == [REST_s] * 8
    assert next(t.to_mm for t in events if isinstance(t, Travel)) == (30.0, 30.0)


def test_what_looks_the_same_is_walked_once() -> None:
    """A full rectangle followed as a line has no outline and no run-up of its own."""
    events = dry_trace_events(
        MACHINE, box_mm=box(30, 30, 70, 50), hull_mm=box(30.2, 30.1, 70, 50), swept_mm=box(30, 30, 70, 50.4)
    )

    assert len(of_kind(events, Trace)) == 4


def test_a_slim_hull_inside_a_wide_box_is_walked() -> None:
    box_ring, hull_ring, swept_ring = walks_mm(
        box_mm=box(0, 0, 100, 100), hull_mm=np.array([[0.0, 0.0], [100.0, 100.0]]), swept_mm=np.zeros((0, 2))
    )

    assert box_ring is not None
    assert hull_ring is not None
    assert hull_ring.tolist() == [[0.0, 0.0], [100.0, 100.0], [0.0, 0.0]]
    assert swept_ring is None


def test_the_time_is_that_of_textbook_moves_and_the_rests() -> None:
    """100 × 50 mm: 300 mm at 25 mm/s. Each side takes length / speed + speed / acceleration [biagiotti2008], 3.2."""
    bench = machine(accel_x_mm_per_s2=500.0, accel_y_mm_per_s2=250.0, line_overhead_s=0.3)
    corners = box(10, 10, 110, 60)

    events = dry_trace_events(bench, box_mm=corners, hull_mm=corners, swept_mm=corners)

    by_hand = 2 * (100 / 25 + 25 / 500) + 2 * (50 / 25 + 25 / 250) + 4 * 1.0  # 16.3 s; no overhead: nothing is burnt
    assert dry_trace_time_s(bench, events) == pytest.approx(by_hand, abs=SAME)
    assert by_hand == pytest.approx(16.3)


def test_the_pace_is_what_an_eye_follows() -> None:
    """An eye follows smoothly up to some 30 degrees a second (from memory); at 0.3 m that is 0.3 m × 0.5236 a second."""
    assert EYE_MOST_mm_per_s < 300.0 * math.radians(30.0)
    assert pace_mm_per_s(MACHINE, length_mm=120.0) == 10.0
    assert pace_mm_per_s(MACHINE, length_mm=5000.0) == EYE_MOST_mm_per_s
    assert pace_mm_per_s(machine(rapid_mm_per_s=40.0), length_mm=5000.0) == 40.0
    assert pace_mm_per_s(machine(speed_max_mm_per_s=30.0), length_mm=5000.0) == 30.0
    assert pace_mm_per_s(MACHINE, length_mm=0.4) == 1.0


def test_no_way_no_walk() -> None:
    point = np.array([[5.0, 5.0], [5.0, 5.0]])
    assert len(ring_mm(point)) == 0
    assert dry_trace_events(MACHINE, box_mm=point, hull_mm=point, swept_mm=np.zeros((0, 2))) == ()
