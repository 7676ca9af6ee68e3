"""Marks that share a run: which may, where each comes to lie on the common lines, and that it burns the same."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from evenburn.core.art.picture import Artwork
from evenburn.core.motion.timing import lead_mm, program_time_s
from evenburn.core.nouns.events import Event, Sweep
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.plan import PiecePlan
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.power import full_power_s
from evenburn.core.planning.together import WORTH, RunPlan, groups_of, run_of
from unit.core.examples import LENS, MACHINE, blank, mark, piece
from unit.core.planning.drawn_marks import Shaped, hold, planned, worked

SPACING_mm = 0.1  # the held line spacing
SAME_ENERGY = 0.01  # what the contract allows between plan and file
DISC = Point(10.0, 10.0).buffer(9.0, quad_segs=64)
CROOKED = Polygon([(1.0, 1.0), (19.0, 4.0), (12.0, 18.0), (3.0, 12.0)])


def lying(
    piece_id: str,
    x_mm: float,
    y_mm: float,
    *,
    shape: BaseGeometry = DISC,
    of_blank: dict[str, Any] | None = None,
    turn_deg: float = 0.0,
    **of_mark: Any,
) -> tuple[Piece, PiecePlan, MarkWork]:
    """Return a piece of 24 by 24 mm at a place on the bed, with a shape on it, worked through and planned."""
    front = mark(**({"place_mm": (2.0, 2.0), "size_mm": (20.0, 20.0), "hold": hold(), "sharpness_mm": 1.0} | of_mark))
    board = blank(size_mm=(24.0, 24.0), **(of_blank or {}))
    one = piece(id=piece_id, blank=board, place_bed_mm=(x_mm, y_mm), turn_deg=turn_deg, marks=(front,))
    work = worked(front, one, shape=shape)
    return one, planned(one, [work]), work


def named(groups: tuple[tuple[Any, ...], ...]) -> list[list[str]]:
    return [[member.piece.id for member in group] for group in groups]


def together(*some: tuple[Piece, PiecePlan, MarkWork], shape: BaseGeometry = DISC) -> RunPlan | None:
    (group,) = groups_of(MACHINE, [plan for _, plan, _ in some])
    art: Artwork = Shaped(shape=shape, size_mm=(20.0, 20.0))
    artworks = {(one.id, m.id): art for one, _, _ in some for m in one.marks}
    return run_of(MACHINE, lens=LENS, group=group, artworks=artworks)


# ---- which may share ---------------------------------------------------------------------------------------------


def test_a_gap_shorter_than_a_turn_is_shared_and_a_longer_one_is_not() -> None:
    """300 mm/s: a turn takes 2 × 300 / 5000 and a step 2 √(0.1 / 3000) s [biagiotti2008], 3.2: 39.5 mm at that speed."""
    turn_mm = 300.0 * (2.0 * 300.0 / 5000.0 + 2.0 * (0.1 / 3000.0) ** 0.5)
    assert turn_mm == pytest.approx(39.46, abs=0.01)
    first = lying("a", 100.0, 100.0)  # its mark lies at x 102 to 122

    assert named(groups_of(MACHINE, [first[1], lying("b", 120.0 + 39.0, 100.0)[1]])) == [["a", "b"]]
    assert groups_of(MACHINE, [first[1], lying("b", 120.0 + 40.0, 100.0)[1]]) == ()


def test_marks_without_a_line_in_common_do_not_share() -> None:
    assert groups_of(MACHINE, [lying("a", 100.0, 100.0)[1], lying("b", 130.0, 125.0)[1]]) == ()


@pytest.mark.parametrize(
    "other",
    [
        {"hold": hold(speed_mm_per_s=310.0)},
        {"hold": hold(line_spacing_mm=0.11)},
        {"hold": hold(focus_offset_mm=0.5)},
        {"hold": hold(passes=2)},
        {"hold": hold(scan_axis="y")},
        {"air_kPa": 60.0},
        {"of_blank": {"thickness_mm": 12.2}},
    ],
)
def test_what_does_not_agree_does_not_share(other: dict[str, Any]) -> None:
    assert groups_of(MACHINE, [lying("a", 100.0, 100.0)[1], lying("b", 130.0, 100.0, **other)[1]]) == ()


def test_powers_may_differ() -> None:
    pale = lying("b", 130.0, 100.0, tone_L=60.0)
    first = lying("a", 100.0, 100.0)

    assert pale[2].recipe.power_W < first[2].recipe.power_W
    assert named(groups_of(MACHINE, [first[1], pale[1]])) == [["a", "b"]]


def test_blanks_that_lie_over_one_another_are_burnt_one_after_the_other() -> None:
    over, beside = lying("b", 123.0, 100.0), lying("b", 124.0, 100.0)
    first = lying("a", 100.0, 100.0)

    assert groups_of(MACHINE, [first[1], over[1]]) == ()
    assert named(groups_of(MACHINE, [first[1], beside[1]])) == [["a", "b"]]  # edge to edge


def test_pieces_in_one_place_share_with_none_of_each_other() -> None:
    """Two rounds of two blanks each, laid into the same two places."""
    pieces = [lying(name, x, 100.0)[1] for name, x in (("a", 100.0), ("b", 130.0), ("c", 100.0), ("d", 130.0))]

    assert named(groups_of(MACHINE, pieces)) == [["a", "b"], ["c", "d"]]


def test_a_row_hangs_together_by_its_neighbours() -> None:
    pieces = [lying(name, x, 100.0)[1] for name, x in (("a", 100.0), ("c", 180.0), ("b", 140.0))]

    assert named(groups_of(MACHINE, pieces)) == [["a", "c", "b"]]


def test_what_has_no_program_shares_nothing() -> None:
    first, (one, _, work) = lying("a", 100.0, 100.0), lying("b", 130.0, 100.0)
    stopped = planned(one, [work], with_programs=False)
    followed = planned(one, [replace(work, recipe=replace(work.recipe, way="line"))])

    assert groups_of(MACHINE, [first[1], stopped]) == ()
    assert groups_of(MACHINE, [first[1], followed]) == ()


# ---- what a shared run burns -------------------------------------------------------------------------------------


def burnt(events: tuple[Event, ...], *, fine_mm: float = 0.025, size_mm: float = 200.0) -> NDArray[np.uint8]:
    """Return what sweeps along x burn, each line as high as the spacing, on fine pixels of a square part of the bed."""
    count = round(size_mm / fine_mm)
    picture = np.zeros((count, count), np.uint8)
    half = round(0.5 * SPACING_mm / fine_mm)
    for event in events:
        if not isinstance(event, Sweep):
            continue
        row = round((event.cross_mm - 60.0) / fine_mm)
        late = lead_mm(MACHINE, speed_mm_per_s=event.speed_mm_per_s)  # edges are commanded early by it, either way
        falls = event.edges_mm + (late if event.end_mm > event.start_mm else -late)
        edges = np.round((falls - 60.0) / fine_mm).astype(int)
        for start, end, power in zip(edges, edges[1:], event.power_W, strict=False):
            if power > 0.0:
                picture[row - half : row + half, min(start, end) : max(start, end)] = 1
    return picture


@pytest.mark.parametrize("shape", [DISC, CROOKED])
def test_a_shared_run_burns_what_the_programs_burn(shape: BaseGeometry) -> None:
    """The union of the single programs within one line spacing, their energy within 1 %, each at its own power."""
    some = [
        lying("a", 100.0, 100.0, shape=shape),
        lying("b", 131.0, 103.037, shape=shape, tone_L=60.0),  # off the lines of the first by a third of a line
        lying("c", 160.0, 95.05, shape=shape),
    ]

    run = together(*some, shape=shape)

    assert run is not None
    each = [work.events for _, _, work in some]
    single = np.maximum.reduce([burnt(events) for events in each])
    shared = burnt(run.events)
    reach = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))  # one line spacing of 4 fine pixels all round
    assert not ((shared > 0) & (cv2.dilate(single, reach) == 0)).any()
    assert not ((single > 0) & (cv2.dilate(shared, reach) == 0)).any()
    assert float(shared.sum()) == pytest.approx(float(single.sum()), rel=SAME_ENERGY)
    planned_s = sum(full_power_s(MACHINE, events) for events in each)
    assert full_power_s(MACHINE, run.events) == pytest.approx(planned_s, rel=SAME_ENERGY)
    powers = {float(p) for e in run.events if isinstance(e, Sweep) for p in e.power_W} - {0.0}
    assert powers == {float(np.float32(work.recipe.power_W)) for _, _, work in some}


def test_it_saves_what_it_says() -> None:
    some = [lying(name, x, y) for name, x, y in (("a", 100.0, 100.0), ("b", 130.0, 100.0))]

    run = together(*some)

    assert run is not None
    apart_s = sum(program_time_s(MACHINE, work.events) for _, _, work in some)
    assert run.time_s == pytest.approx(program_time_s(MACHINE, run.events))
    assert run.saved_s == pytest.approx(apart_s - run.time_s)
    assert run.saved_s > WORTH * apart_s
    assert run.time_lower_bound_s <= run.time_s
    # by hand: some 180 lines, each spared a turn of 0.13 s less the gap of 30 mm between them less two chords' ends
    assert 0.0 < run.saved_s < 180 * (0.12 + 0.012)


def test_what_saves_nothing_is_not_kept() -> None:
    """Two slim bars far apart in y but for a corner: one line in common."""
    bar = Point(10.0, 10.0).buffer(1.0)
    first, second = lying("a", 100.0, 100.0, shape=bar), lying("b", 138.0, 119.0, shape=bar)

    assert together(first, second, shape=bar) is None


def test_lines_along_y_share_as_well() -> None:
    along_y: dict[str, Any] = {"hold": hold(scan_axis="y")}
    some = [lying("a", 100.0, 100.0, **along_y), lying("b", 101.033, 126.0, **along_y)]

    run = together(*some)

    assert run is not None
    planned_s = sum(full_power_s(MACHINE, work.events) for _, _, work in some)
    assert full_power_s(MACHINE, run.events) == pytest.approx(planned_s, rel=SAME_ENERGY)
    assert all(sweep.axis == "y" for sweep in run.events if isinstance(sweep, Sweep))


def test_two_marks_of_one_piece_share() -> None:
    left = mark(id="left", place_mm=(2.0, 2.0), size_mm=(20.0, 20.0), hold=hold(), sharpness_mm=1.0)
    right = replace(left, id="right", place_mm=(26.0, 2.04))
    one = piece(id="pair", blank=blank(size_mm=(48.0, 24.0)), place_bed_mm=(100.0, 100.0), marks=(left, right))
    works = [worked(m, one, shape=DISC) for m in one.marks]

    (group,) = groups_of(MACHINE, [planned(one, works)])

    assert [(m.piece.id, m.plan.mark.id) for m in group] == [("pair", "left"), ("pair", "right")]


def test_a_photograph_on_a_shifted_grid_keeps_its_energy() -> None:
    """Its dots fall elsewhere, its tones do not: the mean power stays within 1 %."""

    photo: dict[str, Any] = {"treatment": "photo", "reproduction": "continuous", "tone_L": 40.0}
    some = [lying("a", 100.0, 100.0, **photo), lying("b", 130.0, 100.05, **photo)]

    run = together(*some)

    assert run is not None
    planned_s = sum(full_power_s(MACHINE, work.events) for _, _, work in some)
    assert full_power_s(MACHINE, run.events) == pytest.approx(planned_s, rel=SAME_ENERGY)
