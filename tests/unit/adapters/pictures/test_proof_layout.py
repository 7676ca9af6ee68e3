"""The proof's layout holds for any board and any focus offset."""

from __future__ import annotations

import itertools

import pytest

from evenburn.adapters.pictures.proof_layout import (
    Box,
    EDGE_px,
    OFFSET_px,
    PLANNED_px,
    WIDTH_px,
    lay_out,
)

OFFSETS_mm = (0.0, 1.0, 2.0)
ASPECTS = (0.08, 0.4, 0.79, 0.81, 1.0, 4.0 / 3.0, 2.0, 2.2, 3.25, 12.0)
PLANNED_mm = (-3.0, -0.4, 0.0, 1.0, 1.5, 2.5, 2.9, 9.0)
EVERY = list(itertools.product(ASPECTS, PLANNED_mm))


def _apart(a: Box, b: Box) -> bool:
    return a.right <= b.left or b.right <= a.left or a.bottom <= b.top or b.bottom <= a.top


@pytest.mark.parametrize(("aspect", "planned_mm"), EVERY)
def test_everything_stands_inside_and_apart(aspect: float, planned_mm: float) -> None:
    layout = lay_out(aspect=aspect, top=150, offsets_mm=OFFSETS_mm, planned_offset_mm=planned_mm)
    boxes = (layout.board, layout.planned, *layout.offsets)
    for box in boxes:
        assert box.width > 0
        assert box.height > 0
        assert box.left >= EDGE_px
        assert box.right <= WIDTH_px - EDGE_px
        assert box.top >= 150
        assert box.bottom <= layout.bottom
    assert all(_apart(a, b) for a, b in itertools.combinations(boxes, 2))


@pytest.mark.parametrize(("aspect", "planned_mm"), EVERY)
def test_the_board_keeps_its_proportion(aspect: float, planned_mm: float) -> None:
    board = lay_out(aspect=aspect, top=0, offsets_mm=OFFSETS_mm, planned_offset_mm=planned_mm).board
    # half a pixel of rounding on the shorter side
    assert board.width == pytest.approx(board.height * aspect, abs=0.51 * max(1.0, aspect))


@pytest.mark.parametrize(("aspect", "planned_mm"), EVERY)
def test_each_enlargement_stands_exactly_over_its_tick(aspect: float, planned_mm: float) -> None:
    layout = lay_out(aspect=aspect, top=0, offsets_mm=OFFSETS_mm, planned_offset_mm=planned_mm)
    for offset_mm, box in zip(OFFSETS_mm, layout.offsets, strict=True):
        assert (box.left + box.right) / 2.0 == pytest.approx(layout.scale.place_px(offset_mm), abs=0.5)  # an odd width
        assert box.width >= 240


@pytest.mark.parametrize(("aspect", "planned_mm"), EVERY)
def test_the_pictures_asked_for_are_large_enough(aspect: float, planned_mm: float) -> None:
    layout = lay_out(aspect=aspect, top=0, offsets_mm=OFFSETS_mm, planned_offset_mm=planned_mm)
    assert layout.planned.width <= PLANNED_px[0]
    assert layout.planned.height <= PLANNED_px[1]
    for box in layout.offsets:
        assert box.width <= OFFSET_px[0]
        assert box.height <= OFFSET_px[1]


@pytest.mark.parametrize("planned_mm", [-0.4, 0.0, 1.5, 2.5])
def test_a_planned_offset_near_the_three_is_on_the_scale(planned_mm: float) -> None:
    scale = lay_out(aspect=1.3, top=0, offsets_mm=OFFSETS_mm, planned_offset_mm=planned_mm).scale
    assert scale.low_mm <= planned_mm <= scale.high_mm
    assert EDGE_px + 100 <= scale.place_px(planned_mm) <= WIDTH_px - EDGE_px - 100


@pytest.mark.parametrize("planned_mm", [-30.0, 30.0])
def test_a_planned_offset_far_from_the_three_is_left_off_the_scale(planned_mm: float) -> None:
    scale = lay_out(aspect=1.3, top=0, offsets_mm=OFFSETS_mm, planned_offset_mm=planned_mm).scale
    assert (scale.low_mm, scale.high_mm) == (0.0, 2.0)
