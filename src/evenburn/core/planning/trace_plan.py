"""The dry trace of a planned mark: what is walked, and what of it lies on the bed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPoint, Polygon, box
from shapely.geometry.base import BaseGeometry

from evenburn.core.layout.place import mark_on_bed
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.dry_trace import dry_trace_events, dry_trace_time_s
from evenburn.core.nouns.events import Event, Trace
from evenburn.core.nouns.mark import Piece
from evenburn.core.planning.mark_plan import MarkWork

FloatArray = NDArray[np.float64]

HULL_STEP_mm = 0.1  # corners of the hull nearer to its line than this are not walked: a pixel's steps are no shape
ROUNDING_mm = 1e-6  # what adding up lengths leaves


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DryTrace:
    """What a dry trace does: its events, its time and its pace, and what of the way the bed cuts off.

    `run_up_cut_off` says that the head would have to go further than the bed lets it, `box_cut_off` that the mark's box
    does, be it with nothing in it; only what lies on the bed is walked.
    """

    events: tuple[Event, ...]
    time_s: float
    pace_mm_per_s: float
    box_cut_off: bool
    run_up_cut_off: bool


def burnt_hull(work: MarkWork) -> BaseGeometry | None:
    """Return the convex hull of what a mark burns, on the bed; None where it burns nothing. [mm]

    Source
    ------
    Definition: of the burnt pixels' corners, or of the followed paths where the laser is on.
    """
    if work.followed is not None:
        lit = [_lit_points(event) for event in work.events if isinstance(event, Trace)]
        points = np.vstack(lit) if lit else np.zeros((0, 2))
    else:
        points = _pixel_corners(work)
    return None if len(points) == 0 else MultiPoint(points).convex_hull


def _lit_points(trace: Trace) -> FloatArray:
    on = trace.power_W > 0.0
    touched = np.concatenate((on, [False])) | np.concatenate(([False], on))
    return trace.points_mm[touched]


def _pixel_corners(work: MarkWork) -> FloatArray:
    """Return the outer corners of the first and the last burnt pixel of each row."""
    burnt, grid = work.picture_W > 0.0, work.grid
    rows = np.flatnonzero(burnt.any(axis=1))
    lines = burnt[rows]
    first = lines.argmax(axis=1)
    last = lines.shape[1] - lines[:, ::-1].argmax(axis=1)
    corners = [np.stack([side, rows + step], axis=1) for side in (first, last) for step in (0, 1)]
    return np.asarray(np.vstack(corners) * grid.pixel_mm + (grid.x0_mm, grid.y0_mm), dtype=np.float64)


def dry_trace_of(work: MarkWork, piece: Piece) -> DryTrace | None:
    """Return the dry trace of a mark; None where it burns nothing or something off the bed, and there is none to walk.

    Source
    ------
    `dry_trace_events` for the mark's own box as it lies, turned with its blank, the hull of what it burns, and the box
    of all movement; the bed cuts off what it does not hold.
    """
    machine, mark = work.wish.machine, work.mark
    bed = box(0.0, 0.0, machine.bed_x_mm, machine.bed_y_mm)
    about = bed.buffer(ROUNDING_mm)
    hull = burnt_hull(work)
    moved, _ = boxes_mm(work.events)
    if hull is None or moved is None or not about.covers(hull):
        return None
    lying = mark_on_bed(piece, place_mm=mark.place_mm, size_mm=mark.size_mm)
    swept = box(*moved)
    events = dry_trace_events(
        machine,
        box_mm=_corners(lying.intersection(bed)),
        hull_mm=_corners(hull.simplify(HULL_STEP_mm).intersection(bed)),
        swept_mm=_corners(swept.intersection(bed)),
    )
    paces = [event.speed_mm_per_s for event in events if isinstance(event, Trace)]
    if not paces:
        return None
    return DryTrace(
        events=events,
        time_s=dry_trace_time_s(machine, events),
        pace_mm_per_s=paces[0],
        box_cut_off=not about.covers(lying),
        run_up_cut_off=not about.covers(swept),
    )


def _corners(shape: BaseGeometry) -> FloatArray:
    """Return the corners of a convex shape, the first not repeated; a line's ends, nothing for what has no length."""
    if shape.is_empty:
        return np.zeros((0, 2))
    ring = shape.exterior.coords[:-1] if isinstance(shape, Polygon) else shape.coords
    return np.asarray(ring, dtype=np.float64)[:, :2]
