"""Boxes of what moves and what burns."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.motion.bounds import boxes_mm, overhang_mm
from evenburn.core.nouns.events import Comment, Dwell, Sweep, Trace, Travel


def sweep(*, axis: str, start: float, end: float, cross: float, edges: list[float], power: list[float]) -> Sweep:
    return Sweep(
        axis="x" if axis == "x" else "y",
        cross_mm=cross,
        start_mm=start,
        end_mm=end,
        speed_mm_per_s=100.0,
        edges_mm=np.array(edges),
        power_W=np.array(power),
    )


def test_nothing_moves_and_nothing_burns_without_events() -> None:
    assert boxes_mm([]) == (None, None)
    assert boxes_mm([Comment(text="crew"), Dwell(time_s=1.0)]) == (None, None)


def test_travel_moves_but_does_not_burn() -> None:
    assert boxes_mm([Travel(to_mm=(5.0, 7.0)), Travel(to_mm=(-1.0, 9.0))]) == ((-1.0, 7.0, 5.0, 9.0), None)


def test_run_up_moves_and_only_lit_stretches_burn() -> None:
    forward = sweep(axis="x", start=0.0, end=50.0, cross=8.0, edges=[10, 20, 30, 40], power=[0.0, 5.0, 0.0])
    backward = sweep(axis="x", start=60.0, end=5.0, cross=9.0, edges=[50, 45, 15], power=[5.0, 0.0])
    moved, burnt = boxes_mm([forward, backward])
    assert moved == (0.0, 8.0, 60.0, 9.0)
    assert burnt == (20.0, 8.0, 50.0, 9.0)


def test_along_y_the_box_stands_upright() -> None:
    moved, burnt = boxes_mm([sweep(axis="y", start=100.0, end=0.0, cross=33.0, edges=[80, 20], power=[5.0])])
    assert moved == (33.0, 0.0, 33.0, 100.0)
    assert burnt == (33.0, 20.0, 33.0, 80.0)


def test_a_sweep_that_never_fires_burns_nothing() -> None:
    moved, burnt = boxes_mm([sweep(axis="x", start=0.0, end=50.0, cross=8.0, edges=[10, 40], power=[0.0])])
    assert moved == (0.0, 8.0, 50.0, 8.0)
    assert burnt is None


def test_of_a_followed_path_only_lit_pieces_burn() -> None:
    points = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 20.0], [-5.0, 20.0], [-5.0, 30.0]])
    path = Trace(points_mm=points, speed_mm_per_s=50.0, power_W=np.array([0.0, 8.0, 0.0, 0.0]))
    assert boxes_mm([path]) == ((-5.0, 0.0, 10.0, 30.0), (10.0, 0.0, 10.0, 20.0))
    dark = Trace(points_mm=points, speed_mm_per_s=50.0, power_W=np.zeros(4))
    assert boxes_mm([dark]) == ((-5.0, 0.0, 10.0, 30.0), None)


@pytest.mark.parametrize(
    ("box", "overhang"),
    [
        ((0.0, 0.0, 600.0, 400.0), (0.0, 0.0, 0.0, 0.0)),
        ((-3.0, 10.0, 100.0, 50.0), (3.0, 0.0, 0.0, 0.0)),
        ((10.0, -4.0, 605.0, 407.0), (0.0, 4.0, 5.0, 7.0)),
    ],
)
def test_overhang_is_told_for_each_side(
    box: tuple[float, float, float, float], overhang: tuple[float, float, float, float]
) -> None:
    assert overhang_mm(box, bed_x_mm=600.0, bed_y_mm=400.0) == pytest.approx(overhang)
