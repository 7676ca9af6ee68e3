"""Paths become traces: travel between them, power that follows speed, bridges, passes."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from evenburn.core.motion.follow import FollowPath, SHORTEST_mm, trace_events
from evenburn.core.motion.path_speed import speed_along
from evenburn.core.motion.timing import trace_times_s
from evenburn.core.nouns.events import Event, Trace, Travel
from unit.core.examples import machine

BENCH = machine()
NONE_OFF = np.zeros((0, 2))
SQUARE = np.array([[10.0, 10.0], [30.0, 10.0], [30.0, 30.0], [10.0, 30.0]])


def path(points: Any, *, closed: bool = False, off: Any = NONE_OFF) -> FollowPath:
    return FollowPath(points_mm=np.array(points, dtype=np.float64), closed=closed, off_mm=np.asarray(off, np.float64))


def follow(*paths: FollowPath, **changes: Any) -> list[Event]:
    settings: dict[str, Any] = {
        "speed_mm_per_s": 100.0,
        "line_energy_J_per_mm": 0.3,
        "passes": 1,
        "least_W": 4.0,
        "most_W": 48.0,
    }
    return list(trace_events(BENCH, paths, **{**settings, **changes}))


def trace_of(events: list[Event]) -> Trace:
    (trace,) = (event for event in events if isinstance(event, Trace))
    return trace


def lengths(trace: Trace) -> np.ndarray:
    return np.hypot(*np.diff(trace.points_mm, axis=0).T)


def test_a_closed_path_comes_back_to_its_first_point() -> None:
    events = follow(path(SQUARE, closed=True))
    assert events[0] == Travel(to_mm=(10.0, 10.0))
    trace = trace_of(events)
    assert trace.points_mm[0].tolist() == trace.points_mm[-1].tolist() == [10.0, 10.0]
    assert lengths(trace).sum() == pytest.approx(80.0, abs=1e-9)
    for corner in SQUARE:
        assert (trace.points_mm == corner).all(axis=1).any()


def test_power_is_line_energy_times_speed_within_what_the_laser_does() -> None:
    trace = trace_of(follow(path(SQUARE, closed=True)))
    speed = lengths(trace) / trace_times_s(BENCH, trace)
    assert trace.power_W == pytest.approx(np.clip(0.3 * speed, 4.0, 48.0), rel=1e-12)
    assert trace.power_W.max() == pytest.approx(30.0)  # 0.3 J/mm at 100 mm/s, on the straight
    assert trace.power_W.min() < 6.0  # round the corners, at 12 mm/s

    dimmed = trace_of(follow(path(SQUARE, closed=True), least_W=20.0, most_W=25.0))
    assert dimmed.power_W.min() == 20.0
    assert dimmed.power_W.max() == 25.0


def test_one_power_serves_a_tenth_of_the_speed_or_half_a_tenth_of_a_millimetre() -> None:
    trace = trace_of(follow(path(SQUARE, closed=True)))
    speeds = speed_along(BENCH, trace.points_mm, speed_mm_per_s=100.0)
    change = np.maximum(speeds.peak_mm_per_s - speeds.at_mm_per_s[:-1], speeds.peak_mm_per_s - speeds.at_mm_per_s[1:])
    short = speeds.length_mm < 2.0 * SHORTEST_mm + 0.002  # cutting it would leave less than the shortest
    assert ((change <= 10.0 + 0.2) | short).all()  # 10 %, and what rounding to 1 µm does to it
    assert (speeds.length_mm >= SHORTEST_mm - 0.002).all()


def test_bridges_stay_dark_in_every_pass() -> None:
    off = np.array([[8.0, 9.5], [47.25, 48.0]])
    for passes in (1, 3):
        trace = trace_of(follow(path(SQUARE, closed=True, off=off), passes=passes))
        dark = trace.power_W == 0.0
        assert lengths(trace)[dark].sum() == pytest.approx(passes * 2.25, abs=0.004 * passes)  # ends written to 1 µm
        low, high = trace.points_mm[:-1][dark].min(axis=0), trace.points_mm[1:][dark].max(axis=0)
        assert low[0] == pytest.approx(18.0, abs=0.002) or low[1] == pytest.approx(10.0)
        assert high[1] == 30.0  # the second lies on the upper side, 7.25 mm from its right end


def test_bridges_of_an_open_path_lie_in_the_same_place_on_the_way_back() -> None:
    trace = trace_of(follow(path([[0.0, 5.0], [40.0, 5.0]], off=[[6.0, 8.0]]), passes=2))
    dark = trace.power_W == 0.0
    places = np.stack([trace.points_mm[:-1][dark, 0], trace.points_mm[1:][dark, 0]], axis=1)
    assert np.sort(places, axis=1) == pytest.approx(np.array([[6.0, 8.0], [6.0, 8.0]]), abs=0.002)
    assert trace.points_mm[-1].tolist() == [0.0, 5.0]


@pytest.mark.parametrize(
    ("square", "length"), [(path(SQUARE, closed=True), 80.0), (path(SQUARE), 60.0)], ids=["closed", "open"]
)
def test_all_passes_over_a_path_come_before_the_next(square: FollowPath, length: float) -> None:
    other = path([[100.0, 50.0], [120.0, 50.0]])
    events = follow(square, other, passes=3)
    kinds = [type(event) for event in events]
    assert kinds == [Travel, Trace, Travel, Trace]
    first = next(event for event in events if isinstance(event, Trace))
    assert lengths(first).sum() == pytest.approx(3.0 * length, abs=1e-9)


def test_no_travel_to_where_the_head_is() -> None:
    events = follow(
        path([[0.0, 0.0], [10.0, 0.0]]), path([[10.0, 0.0], [10.0, 10.0]]), path([[50.0, 0.0], [60.0, 0.0]])
    )
    assert [type(event) for event in events] == [Travel, Trace, Travel, Trace]
    joined = next(event for event in events if isinstance(event, Trace))
    assert joined.points_mm[-1].tolist() == [10.0, 10.0]


def test_places_are_as_written_and_none_is_repeated() -> None:
    rng = np.random.default_rng(9)
    wild = path(np.cumsum(rng.normal(0.0, 0.4, (200, 2)), axis=0) + 80.0, closed=True)
    trace = trace_of(follow(wild, passes=2))
    assert (np.round(trace.points_mm, 3) == trace.points_mm).all()
    assert (lengths(trace) > 0.0).all()
    assert trace.power_W.shape == (len(trace.points_mm) - 1,)


def test_a_path_shorter_than_what_can_be_written_is_none() -> None:
    assert follow(path([[5.0, 5.0], [5.0002, 5.0001]])) == []


def test_each_piece_keeps_its_line_energy_where_the_window_allows() -> None:
    trace = trace_of(follow(path(SQUARE, closed=True), least_W=0.0))
    energy = trace.power_W * trace_times_s(BENCH, trace) / lengths(trace)
    assert energy == pytest.approx(0.3, rel=1e-9)
    assert all(a is not b for a, b in pairwise(trace.points_mm))
