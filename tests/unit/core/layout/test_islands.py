"""Islands: shapes stay whole, nothing is burnt twice or left out, and no plan found by exhaustive search beats the bound."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise, product
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.art.ink import ink_profile
from evenburn.core.layout.islands import (
    find_shapes,
    join_shapes,
    parted_profiles,
    planned_events,
    turn_mm,
)
from evenburn.core.motion.raster import Patch, raster_events
from evenburn.core.motion.timing import lead_mm, program_time_s, time_lower_bound_s, travel_time_s
from evenburn.core.nouns.events import Event, Sweep
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis, Direction
from unit.core.examples import machine

AXES: tuple[Axis, ...] = ("x", "y")
WAYS: tuple[Direction, ...] = ("both ways", "one way")


def patch(picture: NDArray[np.float64], *, at: tuple[float, float] = (100.0, 100.0)) -> Patch:
    return Patch(power_W=picture.astype(np.float32), along_origin_mm=at[0], cross_origin_mm=at[1])


def planned(bench: Machine, patches: Sequence[Patch], **changes: Any) -> tuple[list[Event], int]:
    settings: dict[str, Any] = {"axis": "x", "line_spacing_mm": 0.5, "speed_mm_per_s": 200.0, "passes": 1}
    events, count = planned_events(bench, patches, **{**settings, **changes})
    return list(events), count


def burnt(events: Sequence[Event], bench: Machine, *, spacing: float) -> dict[tuple[int, int], float]:
    """Return how much of each pixel (line, column of `spacing` from 100 mm) is burnt, in watts by millimetres."""
    found: dict[tuple[int, int], float] = {}
    for sweep in (e for e in events if isinstance(e, Sweep)):
        sign = 1.0 if sweep.end_mm > sweep.start_mm else -1.0
        edges = sweep.edges_mm + sign * lead_mm(bench, speed_mm_per_s=sweep.speed_mm_per_s)
        line = round((sweep.cross_mm - 100.0) / spacing - 0.5)
        for (a, b), power in zip(pairwise(edges.tolist()), sweep.power_W.tolist(), strict=True):
            low, high = sorted((a, b))
            for column in range(round((low - 100.0) / spacing), round((high - 100.0) / spacing)):
                if power > 0.0:
                    found[line, column] = found.get((line, column), 0.0) + power
    return found


def scattered(rng: np.random.Generator, *, shape: tuple[int, int], count: int) -> NDArray[np.float64]:
    """Return a picture of small blocks of different power."""
    picture = np.zeros(shape)
    for _ in range(count):
        r, c = rng.integers(0, shape[0] - 4), rng.integers(0, shape[1] - 6)
        picture[r : r + rng.integers(1, 5), c : c + rng.integers(1, 7)] = 5.0 * rng.integers(1, 6)
    return picture


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize("direction", WAYS)
@pytest.mark.parametrize("side", [None, "left", "right", "front", "back"])
def test_every_pixel_is_burnt_once_a_pass_in_whatever_islands(
    axis: Axis, direction: Direction, side: str | None
) -> None:
    rng = np.random.default_rng(7)
    most = 0
    for speed, passes in ((20.0, 1), (60.0, 2), (200.0, 1)):
        bench = machine(extraction_side=side, reversal_offset_mm=0.03)
        picture = scattered(rng, shape=(60, 400), count=14)
        events, count = planned(
            bench, [patch(picture)], axis=axis, speed_mm_per_s=speed, passes=passes, direction=direction
        )
        most = max(most, count)
        wanted = {(int(r), int(c)): passes * float(picture[r, c]) for r, c in np.argwhere(picture > 0.0)}
        assert burnt(events, bench, spacing=0.5) == pytest.approx(wanted)
        if direction == "one way":
            assert all(e.end_mm > e.start_mm for e in events if isinstance(e, Sweep))
    assert most > 1


def test_two_columns_far_apart_are_burnt_one_after_the_other() -> None:
    """At 200 mm/s and 5000 mm/s² a turn takes 0.08 s and a step, as 16 mm and more of gap; these lie 150 mm apart."""
    picture = np.zeros((40, 400))
    picture[:, :20] = picture[:, 320:340] = 20.0
    bench = machine()
    events, count = planned(bench, [patch(picture)])
    assert count == 2
    places = [e.edges_mm.mean() < 150.0 for e in events if isinstance(e, Sweep)]
    assert len(places) == 80
    assert sum(a != b for a, b in pairwise(places)) == 1
    step_s = 2.0 * (0.5 / 3000.0) ** 0.5  # [biagiotti2008], 3.2
    by_hand = (2 * 200.0 / 5000.0 + step_s) * 200.0
    assert turn_mm(bench, axis="x", speed_mm_per_s=200.0, line_spacing_mm=0.5, direction="both ways") == pytest.approx(
        by_hand, rel=1e-9
    )


def test_a_ring_is_never_divided_however_wide_it_is() -> None:
    picture = np.zeros((60, 500))
    picture[:2] = picture[-2:] = 20.0
    picture[:, :2] = picture[:, -2:] = 20.0
    events, count = planned(machine(), [patch(picture)])
    assert count == 1
    assert sum(isinstance(e, Sweep) for e in events) == 60


def test_shapes_that_touch_at_a_corner_are_one() -> None:
    picture = np.zeros((8, 8))
    picture[:4, :4] = picture[4:, 4:] = 9.0
    assert find_shapes([patch(picture)], pixel_mm=0.5, cell_mm=0.5).count == 1
    picture[4:, 4] = 0.0
    picture[3:, 3] = 0.0
    assert find_shapes([patch(picture)], pixel_mm=0.5, cell_mm=0.5).count == 2


def test_pictures_side_by_side_share_their_lines_where_that_is_quicker() -> None:
    near = [patch(np.full((30, 40), 20.0)), patch(np.full((30, 40), 10.0), at=(125.0, 100.0))]
    bench = machine()
    events, count = planned(bench, near)
    assert count == 1
    assert sum(isinstance(e, Sweep) for e in events) == 30
    apart = sum(program_time_s(bench, planned(bench, [p])[0]) for p in near)
    assert program_time_s(bench, events) < apart


def held_karp(bench: Machine, sweeps: list[tuple[float, float, float]], *, speed: float, room: float) -> float:
    """Return the least time of all orders and directions of sweeps (cross, first, last): exact, over all subsets."""
    states = [(i, sign) for i in range(len(sweeps)) for sign in (1.0, -1.0)]

    def ends(state: tuple[int, float]) -> tuple[tuple[float, float], tuple[float, float]]:
        cross, low, high = sweeps[state[0]]
        start, stop = (low - room, high + room) if state[1] > 0.0 else (high + room, low - room)
        return (start, cross), (stop, cross)

    def way_s(before: tuple[int, float], after: tuple[int, float]) -> float:
        (x0, y0), (x1, y1) = ends(before)[1], ends(after)[0]
        direct = travel_time_s(bench, dx_mm=x1 - x0, dy_mm=y1 - y0)
        return min(direct, abs(x1 - x0) / speed + travel_time_s(bench, dx_mm=0.0, dy_mm=y1 - y0))

    least = {(1 << s[0], s): 0.0 for s in states}
    for size in range(2, len(sweeps) + 1):
        for (seen, last), time_s in list(least.items()):
            if seen.bit_count() != size - 1:
                continue
            for state in states:
                if not seen >> state[0] & 1:
                    key = (seen | 1 << state[0], state)
                    least[key] = min(least.get(key, np.inf), time_s + way_s(last, state))
    full = (1 << len(sweeps)) - 1
    return min(t for (seen, _), t in least.items() if seen == full)


@pytest.mark.parametrize("seed", range(12))
def test_bound_below_every_plan_of_an_exhaustive_search_and_the_plan_near_its_best(seed: int) -> None:
    """All ways to pass or leave the gaps of up to six stretches on up to four lines, all orders, all directions."""
    rng = np.random.default_rng(seed)
    bench = machine(
        jerk_mm_per_s3=None if seed % 2 else 60000.0,
        line_overhead_s=0.0 if seed % 3 else 0.02,
        rapid_mm_per_s=float(rng.choice([150.0, 600.0])),
        rise_time_s=0.0,
    )
    speed, spacing = float(rng.choice([60.0, 150.0, 300.0])), 1.0
    picture = np.zeros((4, 120))
    for row in rng.choice(4, size=3, replace=False):
        for _ in range(2):
            c = rng.integers(0, 110)
            picture[row, c : c + rng.integers(1, 10)] = 20.0
    stretches = [
        [
            (100.0 + float(a) * spacing, 100.0 + float(b) * spacing)
            for a, b in np.flatnonzero(np.diff(np.concatenate(([0.0], row, [0.0])))).reshape(-1, 2)
        ]
        for row in picture
    ]
    room = float(raster_room(bench, speed))
    best = np.inf
    for passed in product([True, False], repeat=sum(max(0, len(s) - 1) for s in stretches)):
        choice = iter(passed)
        sweeps: list[tuple[float, float, float]] = []
        for index, row in enumerate(stretches):
            for number, (low, high) in enumerate(row):
                if number and next(choice):
                    sweeps[-1] = (sweeps[-1][0], sweeps[-1][1], high)
                else:
                    sweeps.append((100.0 + (index + 0.5) * spacing, low, high))
        swept = [
            Sweep(
                axis="x",
                cross_mm=cross,
                start_mm=low - room,
                end_mm=high + room,
                speed_mm_per_s=speed,
                edges_mm=np.array([low, high]),
                power_W=np.array([20.0]),
            )
            for cross, low, high in sweeps
        ]
        at_work = sum(program_time_s(bench, [s]) for s in swept)
        best = min(best, at_work + held_karp(bench, sweeps, speed=speed, room=room))
    events, _ = planned(bench, [patch(picture)], line_spacing_mm=spacing, speed_mm_per_s=speed)
    bound, time_s = time_lower_bound_s(bench, events), program_time_s(bench, events)
    assert bound <= best * (1.0 + 1e-9)
    assert best <= time_s * (1.0 + 1e-9)
    trimmed = raster_events(
        bench,
        picture.astype(np.float32),
        axis="x",
        along_origin_mm=100.0,
        cross_origin_mm=100.0,
        line_spacing_mm=spacing,
        speed_mm_per_s=speed,
        passes=1,
    )
    assert time_s <= program_time_s(bench, trimmed) * (1.0 + 1e-9)


def raster_room(bench: Machine, speed: float) -> float:
    """Return v²/2a, or v (v/a + a/j)/2 where full acceleration is reached, √(v³/j) where not. [biagiotti2008], 3.2, 3.4."""
    a, j = bench.accel_x_mm_per_s2, bench.jerk_mm_per_s3
    if j is None:
        return speed * speed / (2.0 * a)
    return 0.5 * speed * (speed / a + a / j) if speed >= a * a / j else (speed**3 / j) ** 0.5


@pytest.mark.parametrize("side", ["left", "right", "front", "back"])
def test_lines_advance_towards_the_extraction_and_no_island_before_one_upwind_of_it(side: str) -> None:
    """Six blocks, two columns 150 mm apart, three rows 5 mm apart: what lies upwind of a block is burnt before it."""
    picture = np.zeros((110, 340))
    for row, column in product((0, 40, 80), (0, 310)):
        picture[row : row + 30, column + row // 8 : column + row // 8 + 10] = 20.0
    events, count = planned(machine(extraction_side=side), [patch(picture)])
    assert count == 6
    order = [(float(s.cross_mm), float(s.edges_mm.mean())) for s in events if isinstance(s, Sweep)]
    if side in ("front", "back"):
        for column in (True, False):
            crosses = [cross for cross, along in order if (along > 175.0) == column]
            assert crosses == sorted(crosses, reverse=side == "front")
    else:
        for low in (100.0, 120.0, 140.0):
            columns = [along > 175.0 for cross, along in order if low < cross < low + 15.0]
            assert len(columns) == 60
            assert columns == sorted(columns, reverse=side == "left")


def test_islands_by_hand_of_the_profile() -> None:
    """Two blocks of 10 × 20 mm, 100 mm apart, side by side: in one go lines of 120 mm, in two islands of 10 mm each."""
    ink = np.zeros((40, 240), np.bool_)
    ink[:, :20] = ink[:, 220:] = True
    whole = ink_profile(ink, axis="x", pixel_mm=0.5)
    (parted,) = parted_profiles(ink, axis="x", pixel_mm=0.5)
    assert [whole.hull_mm2, whole.rows_mm] == pytest.approx([2400.0, 20.0])
    assert [parted.islands, parted.hull_mm2, parted.rows_mm] == pytest.approx([2, 400.0, 40.0])
    assert parted.hops_mm == pytest.approx(110.0)
    assert parted_profiles(ink, axis="y", pixel_mm=0.5)[0].hull_mm2 == pytest.approx(400.0)


def test_joining_weighs_turns_against_gaps() -> None:
    picture = np.zeros((40, 240))
    picture[:, :20] = picture[:, 220:] = 9.0
    shapes = find_shapes([patch(picture)], pixel_mm=0.5, cell_mm=0.5)
    assert shapes.count == 2
    assert join_shapes(shapes, turn_mm=99.0, hop_mm=0.0).tolist() == [0, 1]
    assert join_shapes(shapes, turn_mm=101.0, hop_mm=0.0).tolist() == [0, 0]
    assert join_shapes(shapes, turn_mm=99.0, hop_mm=41.0 * 1.0).tolist() == [
        0,
        0,
    ]  # 40 rows of half a cell's worth less


def test_nothing_to_burn_gives_no_events() -> None:
    assert planned(machine(), [patch(np.zeros((5, 5)))]) == ([], 0)
