"""The mat's layout: sizes of the standards, everything apart, printable and told by its numbers."""

from __future__ import annotations

import itertools

import pytest

from evenburn.core.card.mat_geometry import (
    KINDS,
    frame_box_mm,
    kind_of_marker,
    marker_box_mm,
    marker_number,
    marker_place,
    mat_for_card,
)
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import Box, CardKind, Mat

UNPRINTABLE_mm = 5.0  # what ordinary office printers leave blank at an edge: common practice


def all_boxes(mat: Mat) -> list[Box]:
    return [mat.window_mm, *(marker_box_mm(m) for m in mat.markers), *(s.box_mm for s in mat.grey_steps)]


@pytest.fixture(
    params=list(itertools.product((("wood", (90.0, 60.0)), ("strip", (60.0, 15.0))), ("A4", "Letter"))), name="mat"
)
def _mat(request: pytest.FixtureRequest) -> Mat:
    (kind, size), page = request.param
    return mat_for_card(size, kind=kind, page=page)


def test_pages_are_those_of_the_standards(mat: Mat) -> None:
    """ISO 216: A4 is 210 × 297 mm; Letter is 8.5 × 11 inches of 25.4 mm."""
    assert mat.page_mm == (
        (210.0, 297.0) if mat.page == "A4" else (pytest.approx(8.5 * 25.4), pytest.approx(11 * 25.4))
    )


def test_nothing_overlaps_and_all_can_be_printed(mat: Mat) -> None:
    boxes = all_boxes(mat)
    for (ax0, ay0, ax1, ay1), (bx0, by0, bx1, by1) in itertools.combinations(boxes, 2):
        assert max(ax0, bx0) - min(ax1, bx1) > 0.5 or max(ay0, by0) - min(ay1, by1) > 0.5
    for x0, y0, x1, y1 in [*boxes, frame_box_mm(mat)]:
        assert x0 >= UNPRINTABLE_mm
        assert y0 >= UNPRINTABLE_mm
        assert x1 <= mat.page_mm[0] - UNPRINTABLE_mm
        assert y1 <= mat.page_mm[1] - UNPRINTABLE_mm


def test_window_is_in_the_middle_and_leaves_6_mm_round_the_card(mat: Mat) -> None:
    x0, y0, x1, y1 = mat.window_mm
    assert (0.5 * (x0 + x1), 0.5 * (y0 + y1)) == pytest.approx((0.5 * mat.page_mm[0], 0.5 * mat.page_mm[1]))
    assert (round(x1 - x0, 3), round(y1 - y0, 3)) in {
        (102.0, 72.0),
        (72.0, 27.0),
    }  # the contract: some 6 mm on each side


def test_white_stands_between_window_and_steps(mat: Mat) -> None:
    wx0, wy0, wx1, wy1 = mat.window_mm
    for x0, y0, x1, y1 in (s.box_mm for s in mat.grey_steps):
        assert max(wx0 - x1, x0 - wx1, wy0 - y1, y0 - wy1) >= 7.9


def test_steps_span_black_to_paper_and_run_both_ways(mat: Mat) -> None:
    levels = [s.nominal_L for s in mat.grey_steps]
    assert min(levels) == 0.0
    assert max(levels) == 95.0
    assert len(set(levels)) == 10
    top = [s for s in mat.grey_steps if s.box_mm[1] > mat.window_mm[3]]
    bottom = [s for s in mat.grey_steps if s.box_mm[3] < mat.window_mm[1]]
    by_x = [[s.nominal_L for s in sorted(row, key=lambda s: s.box_mm[0])] for row in (top, bottom)]
    assert by_x[0] == by_x[1][::-1]
    assert by_x[0] == sorted(by_x[0])


def test_the_scale_bar_is_100_mm(mat: Mat) -> None:
    (x0, y0), (x1, y1) = mat.scale_bar_mm
    assert x1 - x0 == pytest.approx(100.0)
    assert y0 == y1 < frame_box_mm(mat)[1]


def test_markers_stand_clockwise_from_the_upper_left(mat: Mat) -> None:
    assert [marker_number(mat, m.id) for m in mat.markers] == list(range(1, len(mat.markers) + 1))
    assert marker_place(mat, mat.markers[0].id).replace("\u00a0", " ") == "marker 1, upper left"
    assert "upper right" in marker_place(mat, mat.markers[3].id)
    (ulx, uly), (urx, ury), (lrx, lry), _ = mat.markers[0].corners_mm
    assert ulx < urx == lrx
    assert uly == ury > lry


def test_a_mat_is_told_by_its_numbers() -> None:
    sizes: dict[CardKind, tuple[float, float]] = {"wood": (90.0, 60.0), "strip": (60.0, 15.0)}
    seen: dict[int, tuple[str, str]] = {}
    for kind in KINDS:
        for page in ("A4", "Letter"):
            for marker in mat_for_card(sizes.get(kind, (70.0, 40.0)), kind=kind, page=page).markers:
                assert marker.id not in seen
                seen[marker.id] = (kind, page)
                assert kind_of_marker(marker.id) == (kind, page)
    assert max(seen) < 587  # markers in the 36h11 family: AprilTag's own count, from memory
    assert kind_of_marker(500) is None


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(InvalidInput, match=r"at most 114|at most 1\d\d"):
        mat_for_card((180.0, 60.0), kind="wood")
    with pytest.raises(InvalidInput, match="allowed are A4, Letter"):
        mat_for_card((90.0, 60.0), kind="wood", page="A3")
