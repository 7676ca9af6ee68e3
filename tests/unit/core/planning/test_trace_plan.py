"""What a dry trace walks of a planned mark: its own box as it lies, the hull of its ink, the head's whole way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import MultiPoint, Point, affinity, box

from evenburn.core.layout.place import mark_on_bed
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.raster import room_needed_mm
from evenburn.core.nouns.events import Trace
from evenburn.core.nouns.mark import Piece
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.trace_plan import DryTrace, HULL_STEP_mm, burnt_hull, dry_trace_of
from unit.core.examples import MACHINE, blank, mark, piece
from unit.core.planning.drawn_marks import hold, worked

PIXEL_mm = 0.1  # the held line spacing
DISC = Point(10.0, 10.0).buffer(8.0, quad_segs=64)
FRONT = mark(place_mm=(20.0, 20.0), size_mm=(20.0, 20.0), hold=hold(), sharpness_mm=1.0)


def made(on: Piece) -> MarkWork:
    return worked(on.marks[0], on, shape=DISC)


def at(x_mm: float, y_mm: float, *, turn_deg: float = 0.0) -> Piece:
    return piece(blank=blank(), place_bed_mm=(x_mm, y_mm), turn_deg=turn_deg, marks=(FRONT,))


def walked(trace: DryTrace) -> MultiPoint:
    return MultiPoint(np.vstack([event.points_mm for event in trace.events if isinstance(event, Trace)]))


def test_the_hull_is_that_of_the_disc() -> None:
    on = at(120.0, 90.0)

    hull = burnt_hull(made(on))

    assert hull is not None
    disc = affinity.translate(DISC, 140.0, 110.0)
    grown_in_mm = 0.2  # the drawing is inset by what the burn grows, up to a beam's radius
    assert disc.buffer(PIXEL_mm).covers(hull)
    assert hull.buffer(grown_in_mm + PIXEL_mm).covers(disc)


def test_it_reaches_as_far_as_the_run_up() -> None:
    on = at(120.0, 90.0)
    work = made(on)

    trace = dry_trace_of(work, on)

    assert trace is not None
    assert not trace.run_up_cut_off
    assert not trace.box_cut_off
    x0, _, x1, _ = walked(trace).bounds
    ink = burnt_hull(work)
    assert ink is not None
    need = room_needed_mm(MACHINE, axis="x", speed_mm_per_s=300.0)  # 300² / (2 × 5000) = 9.0 mm and the lead
    assert need == pytest.approx(9.0 + 300.0 * 0.0002)
    assert ink.bounds[0] - x0 == pytest.approx(need, abs=0.15)
    assert x1 - ink.bounds[2] == pytest.approx(need, abs=0.15)


def test_a_turned_mark_is_walked_as_it_lies() -> None:
    """The nozzle has to go along the edges of the turned box, or nobody can hold it against the blank's own edges."""
    on = at(200.0, 90.0, turn_deg=30.0)
    trace = dry_trace_of(made(on), on)

    assert trace is not None
    sides = [event.points_mm for event in trace.events if isinstance(event, Trace)][:4]
    lying = mark_on_bed(on, place_mm=FRONT.place_mm, size_mm=FRONT.size_mm)
    corners = {tuple(np.round(corner, 3)) for corner in lying.exterior.coords}
    assert {tuple(side[0]) for side in sides} == corners


def test_only_what_lies_on_the_bed_is_walked() -> None:
    on = at(-18.0, 90.0)  # the disc begins at x 4; 9 mm of run-up are not there

    trace = dry_trace_of(made(on), on)

    assert trace is not None
    assert trace.run_up_cut_off
    assert not trace.box_cut_off
    assert walked(trace).bounds[0] == 0.0


def test_a_box_over_the_edge_with_nothing_in_it_is_told() -> None:
    on = at(120.0, -21.0)  # the box begins at y −1, the disc at y 1

    trace = dry_trace_of(made(on), on)

    assert trace is not None
    assert trace.box_cut_off
    assert not trace.run_up_cut_off
    assert box(0, 0, MACHINE.bed_x_mm, MACHINE.bed_y_mm).covers(walked(trace))


def test_a_mark_off_the_bed_has_no_walk() -> None:
    assert dry_trace_of(made(at(-30.0, 90.0)), at(-30.0, 90.0)) is None


def test_nothing_burnt_no_walk() -> None:
    on = at(120.0, 90.0)
    work = made(on)
    empty = replace(work, picture_W=np.zeros_like(work.picture_W), events=())

    assert burnt_hull(empty) is None
    assert dry_trace_of(empty, on) is None


def test_the_walk_round_a_disc_keeps_to_its_hull() -> None:
    on = at(120.0, 90.0)
    work = made(on)
    hull = burnt_hull(work)
    trace = dry_trace_of(work, on)

    assert trace is not None
    assert hull is not None
    (ring,) = [e.points_mm for e in trace.events if isinstance(e, Trace) and len(e.points_mm) > 2]
    assert max(hull.exterior.distance(Point(p)) for p in ring) < 0.001  # written to 1 µm
    assert (
        max(MultiPoint(ring).convex_hull.exterior.distance(Point(p)) for p in hull.exterior.coords)
        <= HULL_STEP_mm + 0.001
    )


def test_the_moved_box_is_walked_on_its_corners() -> None:
    on = at(120.0, 90.0)
    work = made(on)
    moved, _ = boxes_mm(work.events)
    trace = dry_trace_of(work, on)

    assert trace is not None
    assert moved is not None
    x0, y0, x1, y1 = np.round(moved, 3)
    assert {(x0, y0), (x1, y0), (x1, y1), (x0, y1)} <= {(p.x, p.y) for p in walked(trace).geoms}
