"""The box that a stream of events moves in, and the box that it burns."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from evenburn.core.nouns.events import Event, Sweep, Trace, Travel

Box = tuple[float, float, float, float]


def _grown(box: Box | None, x_mm: float, y_mm: float) -> Box:
    if box is None:
        return (x_mm, y_mm, x_mm, y_mm)
    return (min(box[0], x_mm), min(box[1], y_mm), max(box[2], x_mm), max(box[3], y_mm))


def boxes_mm(events: Iterable[Event]) -> tuple[Box | None, Box | None]:
    """Return the box of all movement and the box of all that is burnt, (x0, y0, x1, y1). [mm] Definition."""
    moved: Box | None = None
    burnt: Box | None = None
    for event in events:
        if isinstance(event, Travel):
            moved = _grown(moved, *event.to_mm)
        elif isinstance(event, Trace):
            lit = event.power_W > 0.0
            touched = np.concatenate((lit, [False])) | np.concatenate(([False], lit))
            for place in (event.points_mm.min(axis=0), event.points_mm.max(axis=0)):
                moved = _grown(moved, *place.tolist())
            if lit.any():
                for place in (event.points_mm[touched].min(axis=0), event.points_mm[touched].max(axis=0)):
                    burnt = _grown(burnt, *place.tolist())
        elif isinstance(event, Sweep):
            for along in (event.start_mm, event.end_mm):
                moved = _grown(moved, *((along, event.cross_mm) if event.axis == "x" else (event.cross_mm, along)))
            on = event.power_W > 0.0
            if on.any():
                ends = (event.edges_mm[:-1][on], event.edges_mm[1:][on])
                for along in (min(float(e.min()) for e in ends), max(float(e.max()) for e in ends)):
                    place = (along, event.cross_mm) if event.axis == "x" else (event.cross_mm, along)
                    burnt = _grown(burnt, *place)
    return moved, burnt


def overhang_mm(box: Box, *, bed_x_mm: float, bed_y_mm: float) -> tuple[float, float, float, float]:
    """Return by how much a box stands out of the bed: left, below, right, above. [mm] Definition."""
    return (max(0.0, -box[0]), max(0.0, -box[1]), max(0.0, box[2] - bed_x_mm), max(0.0, box[3] - bed_y_mm))
