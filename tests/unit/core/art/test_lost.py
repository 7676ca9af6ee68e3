"""What is lost of a drawing: by hand, on pictures whose strokes and gaps are known."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.art.lost import lost_detail

Mask = NDArray[np.bool_]
PIXEL_mm = 0.05


def page() -> Mask:
    return np.zeros((200, 300), np.bool_)


def bar(ink: Mask, *, x: tuple[int, int], y: tuple[int, int], value: bool = True) -> Mask:
    changed = ink.copy()
    changed[y[0] : y[1], x[0] : x[1]] = value
    return changed


def test_what_burns_as_drawn_loses_nothing() -> None:
    ink = bar(bar(page(), x=(20, 24), y=(20, 180)), x=(40, 120), y=(20, 180))
    lost = lost_detail(ink, ink, pixel_mm=PIXEL_mm)
    assert lost.nothing()
    assert lost.vanished_mm2 == lost.filled_mm2 == 0.0
    assert not lost.vanished.any()
    assert not lost.filled.any()


def test_a_stroke_that_does_not_burn_vanishes_whole() -> None:
    # 4 by 160 pixels of 0.05 mm: 0.2 mm by 8 mm, 1.6 mm²
    thick = bar(page(), x=(40, 120), y=(20, 180))
    lost = lost_detail(bar(thick, x=(20, 24), y=(20, 180)), thick, pixel_mm=PIXEL_mm)
    assert lost.filled_regions_mm == ()
    (box,) = lost.vanished_regions_mm
    assert box == pytest.approx((1.0, 1.0, 1.2, 9.0))
    assert lost.vanished_mm2 == pytest.approx(1.6)
    assert lost.vanished_widths_mm[0] == pytest.approx(0.2, abs=1.5 * PIXEL_mm)  # as `measure_widths` promises
    assert lost.vanished[100, 21]
    assert not lost.vanished[100, 60]


def test_a_gap_that_burns_through_fills() -> None:
    block = bar(page(), x=(40, 160), y=(20, 180))
    slot = bar(block, x=(98, 102), y=(20, 180), value=False)
    lost = lost_detail(slot, block, pixel_mm=PIXEL_mm)
    assert lost.vanished_regions_mm == ()
    (box,) = lost.filled_regions_mm
    assert box == pytest.approx((4.9, 1.0, 5.1, 9.0), abs=0.2)  # its open mouths belong to the ground outside
    assert lost.filled_mm2 == pytest.approx(1.6, abs=0.1)


@pytest.mark.parametrize("moved", [-3, 3])
def test_an_edge_that_only_moves_is_no_loss(moved: int) -> None:
    ink = bar(bar(page(), x=(40, 60), y=(40, 160)), x=(80, 140), y=(40, 160))
    low, high = 40 - moved, 160 + moved
    burnt = bar(bar(page(), x=(40 - moved, 60 + moved), y=(low, high)), x=(80 - moved, 140 + moved), y=(low, high))
    assert lost_detail(ink, burnt, pixel_mm=PIXEL_mm).nothing()


def test_part_of_a_stroke_is_told_by_its_place() -> None:
    ink = bar(page(), x=(40, 46), y=(20, 180))
    burnt = bar(ink, x=(0, 300), y=(90, 130), value=False)
    (box,) = lost_detail(ink, burnt, pixel_mm=PIXEL_mm).vanished_regions_mm
    assert box == pytest.approx((2.0, 4.5, 2.3, 6.5), abs=0.2)  # discs about the middle line reach a stroke's half on


def test_dots_count_and_regions_come_largest_first() -> None:
    ink = bar(bar(bar(page(), x=(20, 24), y=(20, 24)), x=(60, 64), y=(20, 100)), x=(100, 150), y=(20, 100))
    lost = lost_detail(ink, bar(page(), x=(100, 150), y=(20, 100)), pixel_mm=PIXEL_mm)
    assert len(lost.vanished_regions_mm) == 2
    assert lost.vanished_regions_mm[0] == pytest.approx((3.0, 1.0, 3.2, 5.0))
    assert lost.vanished_regions_mm[1] == pytest.approx((1.0, 1.0, 1.2, 1.2))


def test_a_counter_that_fills_is_named_and_a_crotch_is_not() -> None:
    ring = bar(bar(page(), x=(40, 80), y=(40, 80)), x=(56, 64), y=(56, 64), value=False)
    burnt = bar(page(), x=(40, 80), y=(40, 80))
    assert len(lost_detail(ring, burnt, pixel_mm=PIXEL_mm).filled_regions_mm) == 1
    v, u = np.mgrid[0:200, 0:300]
    wedge = (v < 150) & (v > 20) & (np.abs(u - 150) > 0.35 * (v - 40)) & (np.abs(u - 150) < 80)
    grown = wedge | ((v < 60) & (v > 20) & (np.abs(u - 150) < 80))
    assert lost_detail(wedge, grown, pixel_mm=PIXEL_mm).nothing()


def test_nothing_drawn_and_everything_drawn() -> None:
    empty, full = page(), ~page()
    assert lost_detail(empty, empty, pixel_mm=PIXEL_mm).nothing()
    assert lost_detail(full, full, pixel_mm=PIXEL_mm).nothing()
    assert len(lost_detail(full, empty, pixel_mm=PIXEL_mm).vanished_regions_mm) == 1
    assert lost_detail(np.zeros((1, 1), np.bool_), np.zeros((1, 1), np.bool_), pixel_mm=PIXEL_mm).nothing()
