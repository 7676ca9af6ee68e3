"""From a picture of powers to sweeps: where each line starts, burns and ends, and what the turn costs."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from evenburn.core.motion.profile import run_up_mm
from evenburn.core.motion.raster import raster_events, room_needed_mm
from evenburn.core.motion.timing import lead_mm, program_time_s
from evenburn.core.nouns.events import Event, Sweep, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.proof.dose import total_energy_J
from unit.core.examples import machine

SPACING_mm = 0.1
SPEED_mm_per_s = 200.0
ROUNDING_mm = 1e-9  # coordinates of some 100 mm in double precision, and some additions

STILL = machine(rise_time_s=0.0, reversal_offset_mm=0.0)


def events_of(bench: Machine, rows: Sequence[Sequence[float]], **changes: Any) -> list[Event]:
    settings: dict[str, Any] = {
        "axis": "x",
        "along_origin_mm": 100.0,
        "cross_origin_mm": 50.0,
        "line_spacing_mm": SPACING_mm,
        "speed_mm_per_s": SPEED_mm_per_s,
        "passes": 1,
    }
    return list(raster_events(bench, np.asarray(rows, np.float32), **{**settings, **changes}))


def sweeps_of(bench: Machine, rows: Sequence[Sequence[float]], **changes: Any) -> list[Sweep]:
    return [e for e in events_of(bench, rows, **changes) if isinstance(e, Sweep)]


def block(rows: int, columns: int, *, power_W: float = 20.0) -> list[list[float]]:
    return [[power_W] * columns for _ in range(rows)]


def test_a_line_is_trimmed_to_what_it_burns() -> None:
    (sweep,) = sweeps_of(STILL, [[0, 0, 30, 30, 0, 12.5, 0, 0, 0]])
    assert sweep.edges_mm == pytest.approx([100.2, 100.4, 100.5, 100.6], abs=ROUNDING_mm)
    assert sweep.power_W.tolist() == [30.0, 0.0, 12.5]
    assert sweep.cross_mm == pytest.approx(50.05, abs=ROUNDING_mm)  # in the middle of its row


def test_equal_neighbours_share_one_stretch() -> None:
    (sweep,) = sweeps_of(STILL, [[5, 5, 5, 7, 7]])
    assert sweep.power_W.tolist() == [5.0, 7.0]
    assert sweep.edges_mm.size == 3


def test_empty_rows_are_skipped() -> None:
    sweeps = sweeps_of(STILL, [[0, 0], [9, 9], [0, 0], [0, 0], [9, 9], [0, 0]])
    assert [s.cross_mm for s in sweeps] == pytest.approx([50.15, 50.45], abs=ROUNDING_mm)


@pytest.mark.parametrize("shape", [(1, 1), (3, 4), (0, 4), (3, 0)])
def test_a_picture_without_ink_has_no_events(shape: tuple[int, int]) -> None:
    picture = np.zeros(shape, np.float32)
    assert (
        list(
            raster_events(
                STILL,
                picture,
                axis="x",
                along_origin_mm=0.0,
                cross_origin_mm=0.0,
                line_spacing_mm=0.1,
                speed_mm_per_s=100.0,
                passes=2,
            )
        )
        == []
    )


def test_a_single_pixel_is_one_line_one_pixel_long() -> None:
    events = events_of(STILL, [[25.0]])
    assert [type(e) for e in events] == [Travel, Sweep]
    assert isinstance(events[1], Sweep)
    assert abs(float(np.diff(events[1].edges_mm)[0])) == pytest.approx(SPACING_mm, abs=ROUNDING_mm)


def test_lines_alternate_and_their_edges_follow_the_direction_of_travel() -> None:
    sweeps = sweeps_of(STILL, [[1, 2, 0], [1, 2, 0], [1, 2, 0], [1, 2, 0]])
    for index, sweep in enumerate(sweeps):
        sign = 1.0 if index % 2 == 0 else -1.0
        assert (sign * np.diff(sweep.edges_mm) > 0.0).all()
        assert sign * (sweep.end_mm - sweep.start_mm) > 0.0
        assert sweep.power_W.tolist() == ([1.0, 2.0] if sign > 0.0 else [2.0, 1.0])


def test_lines_alternate_over_skipped_rows_too() -> None:
    sweeps = sweeps_of(STILL, [[9, 9], [0, 0], [9, 9], [0, 0], [9, 9]])
    assert [s.end_mm > s.start_mm for s in sweeps] == [True, False, True]


def test_edges_lead_in_both_directions_by_rise_time_and_half_the_reversal_offset() -> None:
    bench = machine(rise_time_s=0.0005, reversal_offset_mm=0.06)
    lead = 200.0 * 0.0005 + 0.03  # v τ + half the offset = 0.13 mm
    assert lead_mm(bench, speed_mm_per_s=200.0) == pytest.approx(lead, abs=ROUNDING_mm)
    forward, backward = sweeps_of(bench, block(2, 10))
    assert forward.edges_mm == pytest.approx([100.0 - lead, 101.0 - lead], abs=ROUNDING_mm)
    assert backward.edges_mm == pytest.approx([101.0 + lead, 100.0 + lead], abs=ROUNDING_mm)


@pytest.mark.parametrize("jerk", [None, 1e5], ids=["trapezoid", "limited jerk"])
@pytest.mark.parametrize("axis", ["x", "y"])
def test_run_up_is_exact_before_the_first_and_after_the_last_burnt_point(jerk: float | None, axis: str) -> None:
    bench = machine(jerk_mm_per_s3=jerk, rise_time_s=0.0002)
    sweeps = sweeps_of(bench, block(3, 50), axis=axis)
    accel = 5000.0 if axis == "x" else 3000.0
    # v²/2a, or v (v/a + a/j)/2: 200 mm/s does not reach a²/j = 250 mm/s on x, so there v √(v/j)
    by_hand = {
        (None, "x"): 4.0,
        (None, "y"): 200.0**2 / 6000.0,
        (1e5, "x"): 200.0 * (200.0 / 1e5) ** 0.5,
        (1e5, "y"): 0.5 * 200.0 * (200.0 / 3000.0 + 3000.0 / 1e5),
    }[jerk, axis]
    assert float(run_up_mm(200.0, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)) == pytest.approx(by_hand, rel=1e-12)
    # equal lines of a block: their ends differ by the two leads, so one end of each turn is stretched by that
    for sweep in sweeps:
        sign = 1.0 if sweep.end_mm > sweep.start_mm else -1.0
        before, after = sign * (sweep.edges_mm[0] - sweep.start_mm), sign * (sweep.end_mm - sweep.edges_mm[-1])
        assert before >= by_hand - ROUNDING_mm
        assert after >= by_hand - ROUNDING_mm
    first, last = sweeps[0], sweeps[-1]
    assert abs(first.edges_mm[0] - first.start_mm) == pytest.approx(by_hand, abs=ROUNDING_mm)
    assert abs(last.end_mm - last.edges_mm[-1]) == pytest.approx(by_hand, abs=ROUNDING_mm)


def test_head_never_leaves_the_room_it_asks_for() -> None:
    bench = machine(rise_time_s=0.001, reversal_offset_mm=-0.1)
    room = room_needed_mm(bench, axis="x", speed_mm_per_s=SPEED_mm_per_s)
    for sweep in sweeps_of(bench, [[0, 9, 9, 9], [9, 9, 0, 0], [0, 0, 0, 9]], passes=2):
        assert min(sweep.start_mm, sweep.end_mm) >= 100.0 - room - ROUNDING_mm
        assert max(sweep.start_mm, sweep.end_mm) <= 100.4 + room + ROUNDING_mm


def test_a_program_is_one_unbroken_path() -> None:
    for bench in (STILL, machine(reversal_offset_mm=0.2)):
        at: tuple[float, float] | None = None
        for event in events_of(bench, [[9, 0, 0, 0], [0, 0, 0, 9], [9, 9, 9, 9], [0, 9, 0, 0]], passes=2):
            if isinstance(event, Travel):
                at = event.to_mm
            elif isinstance(event, Sweep):
                # the step across to the next line is a rapid of its own; a sweep starts where the head stands
                assert at == pytest.approx((event.start_mm, event.cross_mm), abs=1e-8)
                at = (event.end_mm, event.cross_mm)


@pytest.mark.parametrize("passes", [1, 2, 3])
@pytest.mark.parametrize("axis", ["x", "y"])
def test_energy_is_picture_times_spacing_over_speed(passes: int, axis: str) -> None:
    rng = np.random.default_rng(3)
    picture = np.where(rng.random((40, 60)) < 0.4, rng.integers(1, 240, (40, 60)) / 4.0, 0.0)
    events = events_of(machine(reversal_offset_mm=0.05), picture.tolist(), passes=passes, axis=axis)
    expected = passes * picture.sum() * SPACING_mm / SPEED_mm_per_s
    assert total_energy_J(events) == pytest.approx(expected, rel=1e-9)  # rounding of 2400 additions


def test_passes_repeat_the_whole_picture() -> None:
    once, twice = (sweeps_of(STILL, block(3, 5), passes=n) for n in (1, 2))
    assert [s.cross_mm for s in twice] == [s.cross_mm for s in once] * 2
    # three lines, so the second pass starts backward, from where the head stands
    assert [s.end_mm > s.start_mm for s in twice] == [True, False, True, False, True, False]


def test_a_head_that_stands_where_the_next_line_starts_does_not_travel() -> None:
    """One line in three passes: forth, back and forth, each from where the last came to rest."""
    for axis in ("x", "y"):
        events = events_of(STILL, block(1, 30), passes=3, axis=axis)
        assert [type(e) for e in events] == [Travel, Sweep, Sweep, Sweep]


def test_along_y_the_lines_stand_side_by_side_in_x() -> None:
    events = events_of(STILL, [[0, 30, 30], [30, 30, 0]], axis="y", along_origin_mm=20.0, cross_origin_mm=70.0)
    travel, first = events[0], events[1]
    assert isinstance(travel, Travel)
    assert isinstance(first, Sweep)
    assert first.axis == "y"
    run_up = 200.0**2 / (2.0 * 3000.0)
    assert travel.to_mm == pytest.approx((70.05, 20.1 - run_up), abs=ROUNDING_mm)
    assert first.edges_mm == pytest.approx([20.1, 20.3], abs=ROUNDING_mm)


def unjoined_time_s(bench: Machine, sweeps: Sequence[Sweep]) -> float:
    """Return the time of the same lines, each with its own run-up only, and a straight rapid from one to the next."""
    events: list[Event] = []
    for s in sweeps:
        sign = 1.0 if s.end_mm > s.start_mm else -1.0
        accel = bench.accel_x_mm_per_s2 if s.axis == "x" else bench.accel_y_mm_per_s2
        room = float(run_up_mm(s.speed_mm_per_s, accel_mm_per_s2=accel, jerk_mm_per_s3=bench.jerk_mm_per_s3))
        start, end = float(s.edges_mm[0]) - sign * room, float(s.edges_mm[-1]) + sign * room
        events.append(Travel(to_mm=(start, s.cross_mm) if s.axis == "x" else (s.cross_mm, start)))
        events.append(
            Sweep(
                axis=s.axis,
                cross_mm=s.cross_mm,
                start_mm=start,
                end_mm=end,
                speed_mm_per_s=s.speed_mm_per_s,
                edges_mm=s.edges_mm,
                power_W=s.power_W,
            )
        )
    return program_time_s(bench, events)


@pytest.mark.parametrize("jerk", [None, 1e5], ids=["trapezoid", "limited jerk"])
@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("speed", [20.0, 300.0, 600.0])
def test_joining_turns_never_makes_a_program_slower(jerk: float | None, axis: str, speed: float) -> None:
    rng = np.random.default_rng(11)
    bench = machine(jerk_mm_per_s3=jerk, reversal_offset_mm=0.1)
    for share in (0.02, 0.2, 0.9):
        picture = np.where(rng.random((30, 200)) < share, 20.0, 0.0)
        events = events_of(bench, picture.tolist(), axis=axis, speed_mm_per_s=speed)
        sweeps = [e for e in events if isinstance(e, Sweep)]
        # equal to rounding where nothing was joined
        assert program_time_s(bench, events) <= unjoined_time_s(bench, sweeps) * (1.0 + 1e-12)


def test_joining_a_turn_saves_the_travel_of_a_solid_block() -> None:
    """The two leads keep the ends of neighbouring lines apart; joined, each turn is a straight step across."""
    bench = machine(rise_time_s=0.0005)
    sweeps = sweeps_of(bench, block(20, 100))
    assert all(b.start_mm == a.end_mm for a, b in pairwise(sweeps))
    assert program_time_s(bench, events_of(bench, block(20, 100))) < unjoined_time_s(bench, sweeps) - 19 * 1e-4
