"""Laws of followed paths, for every bench and path: two clocks, one energy, power within its window."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from evenburn.adapters.formats.ngc_reader import Report, read_program
from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.follow import FollowPath, trace_events
from evenburn.core.motion.path_speed import speed_along
from evenburn.core.motion.raster import raster_events
from evenburn.core.motion.timing import program_time_s, time_lower_bound_s
from evenburn.core.nouns.events import Event, Trace, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.planning.power import full_power_s, power_window_W
from evenburn.core.proof.dose import DoseGrid, collect, total_energy_J
from evenburn.services.verify_program import limits_of
from service.second_reader import interpret, time_s
from strategies import between, machines
from unit.core.examples import machine

SAME_TIME, SAME_ENERGY = 0.005, 0.01  # what the contract allows between plan and file
THIRD_s = 0.005  # the third reader lays a bend of a degree anywhere within 2 µm of the line: a side cut short by 0.1 mm costs 3 ms
WRITTEN_mm = 0.0011  # places are written to 1 µm


@st.composite
def benches(draw: st.DrawFn) -> Machine:
    """Draw a bench with a corner tolerance of its own."""
    bench = draw(machines())
    tolerance = draw(st.sampled_from([0.001, 0.02, 0.1, 1.0]))
    changes = {name: getattr(bench, name) for name in ("accel_x_mm_per_s2", "accel_y_mm_per_s2", "jerk_mm_per_s3")}
    return machine(corner_tolerance_mm=tolerance, line_overhead_s=bench.line_overhead_s, **changes)


@st.composite
def ways(draw: st.DrawFn) -> FollowPath:
    """Draw a path: corners far apart or close by, curves, straight lines cut into pieces, ways back; perhaps bridges."""
    scale = draw(st.sampled_from([0.02, 0.3, 4.0, 40.0]))
    step = st.tuples(between(-1.0, 1.0), between(-1.0, 1.0))
    steps = scale * np.array(draw(st.lists(step, min_size=1, max_size=25)))
    repeat = draw(st.sampled_from([1, 1, 1, 4]))
    points = 200.0 + np.concatenate(([[0.0, 0.0]], np.cumsum(np.repeat(steps, repeat, axis=0), axis=0)))
    points = np.clip(points, 0.5, 399.5)
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    closed = draw(st.booleans()) and len(points) > 2
    off = sorted(draw(st.lists(between(0.0, length), min_size=4, max_size=4))) if closed and length > 1.0 else []
    return FollowPath(points_mm=points, closed=closed, off_mm=np.array(off, dtype=np.float64).reshape(-1, 2))


def traced(bench: Machine, paths: list[FollowPath], *, speed: float, share: float, passes: int) -> list[Event]:
    low, high = power_window_W(bench)
    return list(
        trace_events(
            bench,
            paths,
            speed_mm_per_s=speed,
            line_energy_J_per_mm=share * high / speed,
            passes=passes,
            least_W=low,
            most_W=high,
        )
    )


def read(bench: Machine, events: list[Event]) -> tuple[str, Report]:
    text = "\n".join(program_lines(bench, events, head=Head(lines=("a test",)))) + "\n"
    return text, read_program(text, limits_of(bench))


SPEEDS = st.sampled_from([3.0, 12.5, 60.0, 180.0, 450.0])
SHARES = between(0.2, 1.2)


@given(
    bench=benches(),
    paths=st.lists(ways(), min_size=1, max_size=4),
    speed=SPEEDS,
    share=SHARES,
    passes=st.integers(1, 3),
)
def test_a_program_read_back_takes_the_time_and_the_energy_of_its_plan(
    bench: Machine, paths: list[FollowPath], speed: float, share: float, passes: int
) -> None:
    events = traced(bench, paths, speed=speed, share=share, passes=passes)
    assume(any(isinstance(event, Trace) and (event.power_W > 0.0).any() for event in events))
    text, report = read(bench, events)
    assert [finding for finding in report.findings if finding.level == "stop"] == []
    planned_s = program_time_s(bench, events)
    assert report.time_s == pytest.approx(planned_s, rel=SAME_TIME)
    assert report.full_power_s == pytest.approx(full_power_s(bench, events), rel=SAME_ENERGY)
    moved, burnt = boxes_mm(events)
    assert report.travel_box_mm == pytest.approx(moved, abs=WRITTEN_mm)
    assert report.burn_box_mm == pytest.approx(burnt, abs=WRITTEN_mm)
    third_s = time_s(
        interpret(text, rapid_mm_per_s=bench.rapid_mm_per_s),
        accel=(bench.accel_x_mm_per_s2, bench.accel_y_mm_per_s2),
        jerk=bench.jerk_mm_per_s3,
        line_overhead_s=bench.line_overhead_s,
        corner_tolerance_mm=bench.corner_tolerance_mm,
    )
    assert third_s == pytest.approx(planned_s, rel=SAME_TIME, abs=THIRD_s)


@given(
    bench=benches(),
    paths=st.lists(ways(), min_size=1, max_size=4),
    speed=SPEEDS,
    share=SHARES,
    passes=st.integers(1, 3),
)
def test_no_power_is_outside_the_window_and_no_time_below_its_bound(
    bench: Machine, paths: list[FollowPath], speed: float, share: float, passes: int
) -> None:
    low, high = power_window_W(bench)
    events = traced(bench, paths, speed=speed, share=share, passes=passes)
    for event in events:
        if isinstance(event, Trace):
            lit = event.power_W[event.power_W > 0.0]
            assert ((lit >= low) & (lit <= high)).all()
    assert time_lower_bound_s(bench, events) <= program_time_s(bench, events) * (1.0 + 1e-9)


@given(bench=benches(), path=ways(), speed=SPEEDS)
def test_a_path_takes_as_long_backwards(bench: Machine, path: FollowPath, speed: float) -> None:
    for event in traced(bench, [path], speed=speed, share=0.5, passes=1):
        if isinstance(event, Trace):
            there, back = (
                float(speed_along(bench, points, speed_mm_per_s=speed).times_s().sum())
                for points in (event.points_mm, event.points_mm[::-1])
            )
            assert back == pytest.approx(there, rel=SAME_TIME, abs=0.002)  # straight within 2 µm is seen from one end


@given(bench=benches(), path=ways(), speed=SPEEDS, pixel=between(0.05, 0.4))
def test_all_energy_of_a_path_lands_in_a_map_that_holds_it(
    bench: Machine, path: FollowPath, speed: float, pixel: float
) -> None:
    events = traced(bench, [path], speed=speed, share=0.5, passes=1)
    moved, _ = boxes_mm(events)
    assume(moved is not None and max(moved[2] - moved[0], moved[3] - moved[1]) < 40.0)
    assert moved is not None
    columns, rows = (int((moved[k + 2] - moved[k]) / pixel) + 4 for k in (0, 1))
    window = DoseGrid(
        x0_mm=moved[0] - 1.5 * pixel,
        y0_mm=moved[1] - 1.5 * pixel,
        pixel_x_mm=pixel,
        pixel_y_mm=pixel,
        rows=rows,
        columns=columns,
    )
    lines = collect(events, window, machine=bench)
    held = 0.0 if lines.traced_J is None else float(lines.traced_J.astype(np.float64).sum())
    assert held == pytest.approx(total_energy_J(events, machine=bench), rel=1e-6)  # float32


@pytest.mark.parametrize("jerk", [None, 1e5])
def test_one_line_burnt_to_and_fro_takes_its_overhead_each_time_by_every_clock(jerk: float | None) -> None:
    """Passes over a single line follow one another with nothing in between: each turn is a rest, each pass a line."""
    bench = machine(jerk_mm_per_s3=jerk, line_overhead_s=0.3)
    row = np.full((1, 60), 20.0, np.float32)
    origin = {"axis": "x", "along_origin_mm": 200.0, "cross_origin_mm": 100.0}
    events = list(raster_events(bench, row, line_spacing_mm=0.1, speed_mm_per_s=300.0, passes=3, **origin))  # type: ignore[arg-type]
    assert sum(isinstance(event, Travel) for event in events) == 1
    text, report = read(bench, events)
    planned_s = program_time_s(bench, events)
    assert planned_s > 3 * 0.3
    assert report.time_s == pytest.approx(planned_s, rel=SAME_TIME)
    third_s = time_s(
        interpret(text, rapid_mm_per_s=bench.rapid_mm_per_s), accel=(5000.0, 3000.0), jerk=jerk, line_overhead_s=0.3
    )
    assert third_s == pytest.approx(planned_s, rel=SAME_TIME)
