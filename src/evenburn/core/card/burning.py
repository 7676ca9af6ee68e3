"""The events that burn a card, and the same as a picture of powers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.raster import Line, Run, run_events
from evenburn.core.nouns.card import Box, CardPatch, CornerMark
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Machine


def card_events(
    machine: Machine,
    patches: Sequence[CardPatch],
    *,
    marks: Sequence[CornerMark],
    origin_bed_mm: tuple[float, float],
    mark_power_W: float,
    mark_speed_mm_per_s: float,
    mark_line_spacing_mm: float,
) -> tuple[Event, ...]:
    """Return the events that burn a card: rows from the lowest up, second passes after them, corner marks last.

    Patches of one row that share speed and line spacing are swept together.

    Source
    ------
    `run_events`.
    """
    events: list[Event] = []
    for number in range(1, max((p.passes for p in patches), default=0) + 1):
        for row in sorted({p.id[0] for p in patches}):
            mine = [p for p in patches if p.id[0] == row and p.passes >= number]
            if mine:
                lines = _lines([(p.box_mm, p.power_W, None) for p in mine], mine[0].line_spacing_mm, origin_bed_mm)
                events += run_events(
                    machine, [Run(lines=lines, forward=True)], axis="x", speed_mm_per_s=mine[0].speed_mm_per_s
                )
    for low in sorted({m.box_mm[1] for m in marks}):
        boxes = [(m.box_mm, mark_power_W, m.hole_mm) for m in marks if m.box_mm[1] == low]
        lines = _lines(boxes, mark_line_spacing_mm, origin_bed_mm)
        events += run_events(machine, [Run(lines=lines, forward=True)], axis="x", speed_mm_per_s=mark_speed_mm_per_s)
    return tuple(events)


def _lines(
    boxes: Sequence[tuple[Box, float, Box | None]], spacing_mm: float, origin_mm: tuple[float, float]
) -> tuple[Line, ...]:
    """Return lines over boxes side by side, each with its power and perhaps a hole."""
    low, high = min(b[0][1] for b in boxes), max(b[0][3] for b in boxes)
    found = []
    count = int((high - low) / spacing_mm + 1e-6)
    first = low + 0.5 * (high - low - (count - 1) * spacing_mm)
    for index in range(count):
        cross = first + index * spacing_mm
        edges: list[float] = []
        powers: list[float] = []
        for (x0, _, x1, _), power, hole in sorted(boxes, key=lambda b: b[0][0]):
            parts = [(x0, x1)]
            if hole is not None and hole[1] < cross < hole[3]:
                parts = [(x0, hole[0]), (hole[2], x1)]
            for a, b in parts:
                powers += [0.0, power] if edges else [power]
                edges += [a, b]
        found.append(
            Line(
                cross_mm=origin_mm[1] + cross,
                edges_mm=origin_mm[0] + np.array(edges),
                power_W=np.array(powers),
            )
        )
    return tuple(found)


def card_picture_W(
    patches: Sequence[CardPatch],
    *,
    marks: Sequence[CornerMark],
    mark_power_W: float,
    size_mm: tuple[float, float],
    pixel_mm: float,
) -> NDArray[np.float32]:
    """Return the powers over a card, row 0 lowest; what is burnt twice shows the power of one pass. [W] Definition."""
    columns, rows = (round(side / pixel_mm) for side in size_mm)
    picture = np.zeros((rows, columns), np.float32)

    def fill(box: Box, power_W: float) -> None:
        x0, y0, x1, y1 = (round(edge / pixel_mm) for edge in box)
        picture[y0:y1, x0:x1] = power_W

    for patch in patches:
        fill(patch.box_mm, patch.power_W)
    for mark in marks:
        fill(mark.box_mm, mark_power_W)
        if mark.hole_mm is not None:
            fill(mark.hole_mm, 0.0)
    return picture
