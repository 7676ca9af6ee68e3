"""The bed from above, to scale: blank, marks, run-up strips and where the pointer goes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapely import MultiPolygon, Polygon
from shapely.affinity import rotate, translate

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SANS_BOLD, width_mm
from evenburn.adapters.print.page import FINE_PT, Point, Sheet
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.plan import PiecePlan

FRAME_MM = 2.4
LABEL_PT = 8.0
_SCALES = (10, 20, 25, 50, 100)
_MOST_WIDE_MM, _MOST_HIGH_MM = 92.0, 70.0
Box = tuple[float, float, float, float]


def bed_scale(machine: Machine) -> int:
    """Return n of the scale 1 : n: 10, or the next that lets a large bed stand on the page."""
    for scale in _SCALES:
        if machine.bed_x_mm / scale <= _MOST_WIDE_MM and machine.bed_y_mm / scale <= _MOST_HIGH_MM:
            return scale
    return _SCALES[-1]


def drawing_size_mm(machine: Machine) -> tuple[float, float]:
    """Return width and height of the drawing with its frame. [mm on paper]"""
    scale = bed_scale(machine)
    return machine.bed_x_mm / scale + 2 * FRAME_MM, machine.bed_y_mm / scale + 2 * FRAME_MM


def placed_outline(piece: PiecePlan) -> Polygon | MultiPolygon:
    """Return the blank's outline turned and moved to its place on the bed. [mm, bed]"""
    turned = rotate(piece.piece.blank.outline, piece.piece.turn_deg, origin=(0.0, 0.0))
    low_x, low_y, _, _ = turned.bounds
    place_x, place_y = piece.piece.place_bed_mm
    return translate(turned, place_x - low_x, place_y - low_y)


def run_up_mm(piece: PiecePlan, axis: str) -> float:
    """Return the longest run-up of the marks scanned along an axis; 0 where there is none. [mm]"""
    return max((m.predicted.run_up_mm for m in piece.marks if m.recipe.scan_axis == axis), default=0.0)


def captions(piece: PiecePlan, machine: Machine) -> tuple[str, ...]:
    """Return what stands below the drawing: bed, scale, and the run-up each hatched strip shows."""
    bed = f"{fig.trimmed(machine.bed_x_mm)}{fig.NB}×{fig.NB}{fig.trimmed(machine.bed_y_mm)}{fig.NB}mm"
    lines = [f"Bed {bed} from above, 1{fig.NB}:{fig.NB}{bed_scale(machine)}."]
    seen: list[str] = []
    for mark in piece.marks:
        if mark.recipe.way != "scan":
            continue  # outlines are followed from rest to rest, without a run-up
        words = f"{fig.mm(mark.predicted.run_up_mm)} at {fig.speed_mm_per_s(mark.recipe)} along {mark.recipe.scan_axis}"
        if words not in seen:
            seen.append(words)
    if seen:
        lines.append(f"Hatched: run-up {'; '.join(seen)}.")
    return tuple(lines)


@dataclass(frozen=True, slots=True)
class _View:
    """From the bed (y up) to the paper (y down)."""

    x: float
    y: float
    scale: int
    bed_y_mm: float

    def point(self, x_mm: float, y_mm: float) -> Point:
        return self.x + x_mm / self.scale, self.y + (self.bed_y_mm - y_mm) / self.scale

    def box(self, box: Box) -> Box:
        """Return left, top, right, bottom on paper of a box on the bed."""
        left, bottom = self.point(box[0], box[1])
        right, top = self.point(box[2], box[3])
        return left, top, right, bottom


def draw_bed(sheet: Sheet, *, x: float, y: float, piece: PiecePlan, machine: Machine) -> None:
    """Draw the bed with its frame's top left corner at x, y on the sheet."""
    scale = bed_scale(machine)
    width, height = drawing_size_mm(machine)
    bed_wide, bed_high = machine.bed_x_mm / scale, machine.bed_y_mm / scale
    view = _View(x + FRAME_MM, y + FRAME_MM, scale, machine.bed_y_mm)
    sheet.box(x, y, width=width, height=height, weight_pt=FINE_PT, grey=0.45)
    _run_up_strips(sheet, view, piece, bed_wide, bed_high)
    sheet.box(view.x, view.y, width=bed_wide, height=bed_high, weight_pt=1.0)
    outline = placed_outline(piece)
    with sheet.clipped(x, y, width=width, height=height):
        for part in getattr(outline, "geoms", (outline,)):
            rings = [list(part.exterior.coords), *(list(hole.coords) for hole in part.interiors)]
            sheet.rings([[view.point(*point[:2]) for point in ring] for ring in rings], weight_pt=0.6)
    for number, mark in enumerate(piece.marks):
        left, top, right, bottom = view.box(mark.box_bed_mm)
        sheet.box(left, top, width=right - left, height=bottom - top, weight_pt=1.0)
        _pointer(sheet, (left, bottom), small=len(piece.marks) > 1)
        if len(piece.marks) > 1:
            _letter(sheet, (left, top, right, bottom), fig.letter(number))
    _labels(sheet, view, piece, view.box(outline.bounds), (view.x, view.y, view.x + bed_wide, view.y + bed_high))


def _run_up_strips(sheet: Sheet, view: _View, piece: PiecePlan, wide: float, high: float) -> None:
    along_x = min(run_up_mm(piece, "x") / view.scale, wide / 2)
    along_y = min(run_up_mm(piece, "y") / view.scale, high / 2)
    for left in (view.x, view.x + wide - along_x):
        sheet.hatch(left, view.y, width=along_x, height=high)
    for top in (view.y, view.y + high - along_y):
        sheet.hatch(view.x, top, width=wide, height=along_y)
    for inner in (view.x + along_x, view.x + wide - along_x) if along_x else ():
        sheet.line((inner, view.y), (inner, view.y + high), weight_pt=FINE_PT)
    for inner in (view.y + along_y, view.y + high - along_y) if along_y else ():
        sheet.line((view.x, inner), (view.x + wide, inner), weight_pt=FINE_PT)


def _pointer(sheet: Sheet, at: Point, *, small: bool) -> None:
    radius = 0.9 if small else 1.35
    sheet.circle(at, radius, weight_pt=0.9)
    reach = radius + 0.8
    sheet.line((at[0] - reach, at[1]), (at[0] + reach, at[1]), weight_pt=0.9)
    sheet.line((at[0], at[1] - reach), (at[0], at[1] + reach), weight_pt=0.9)


def _letter(sheet: Sheet, box: Box, name: str) -> None:
    """Write a mark's letter in its box, or beside a box too small for it."""
    left, top, right, bottom = box
    wide = width_mm(name, SANS_BOLD, size_pt=8.6)
    roomy = right - left > wide + 3.0 and bottom - top > 4.5
    at = ((left + right) / 2, (top + bottom) / 2 + 1.0) if roomy else (right + wide / 2 + 0.7, (top + bottom) / 2 + 1.0)
    if not roomy:
        sheet.box(at[0] - wide / 2 - 0.2, at[1] - 2.0, width=wide + 0.4, height=2.4, fill=1.0)
    sheet.text(*at, name, face=SANS_BOLD, size_pt=8.6, align="middle")


def _labels(sheet: Sheet, view: _View, piece: PiecePlan, blank: Box, bed: Box) -> None:
    """Say where the blank and, for a single mark, the pointer goes, where there is room; the list says it anyway."""
    taken = [blank]
    words = f"blank: {fig.bed_point(*piece.piece.place_bed_mm)}"
    at = next(_spots(words, blank, bed, taken, beside=None), None)
    if at is not None:
        _write(sheet, words, at)
        taken.append(at)
    if len(piece.marks) != 1:
        return
    box = piece.marks[0].box_bed_mm
    pointer = view.point(box[0], box[1])
    words = f"pointer: {fig.bed_point(box[0], box[1])}"
    at = next(_spots(words, blank, bed, taken, beside=pointer), None)
    if at is None:
        mark = view.box(box)
        wide = width_mm(words, SANS, size_pt=LABEL_PT) + 1.2
        at = (mark[0] + 2.4, mark[3] - 5.0, mark[0] + 2.4 + wide, mark[3] - 1.6)
        if at[2] > mark[2] - 0.5 or at[1] < mark[1] + 0.5:
            return
        _write(sheet, words, at)
        return
    _write(sheet, words, at)
    _leader(sheet, pointer, at)


def _write(sheet: Sheet, words: str, at: Box) -> None:
    sheet.box(at[0], at[1], width=at[2] - at[0], height=at[3] - at[1], fill=1.0)
    sheet.text(at[0] + 0.6, at[3] - 0.95, words, size_pt=LABEL_PT)


def _spots(words: str, blank: Box, bed: Box, taken: list[Box], *, beside: Point | None) -> Iterator[Box]:
    """Yield boxes for a label that lie on the bed and on nothing that is taken, best first."""
    wide, high = width_mm(words, SANS, size_pt=LABEL_PT) + 1.2, 3.4
    left, top, right, bottom = blank
    start = max(left, bed[0]) + 0.4
    over, under = (start, top - high - 0.5), (start, bottom + 0.6)
    tries = [over, under, (right + 1.0, top), (left - wide - 1.0, top)]
    if beside is not None:
        level = beside[1] - high / 2 + 1.7
        along = beside[0] + 3.0
        tries = [
            (right + 2.0, level),
            (along, bottom + 1.6),
            (along, bottom + 0.4),
            (along, top - high - 1.6),
            (left - wide - 2.6, level),
        ]
    for wished_x, y in tries:
        above_or_below = y + high < top or y > bottom
        x = min(wished_x, bed[2] - wide - 0.5) if above_or_below else wished_x
        spot = (x, y, x + wide, y + high)
        inside = spot[0] > bed[0] + 0.2 and spot[2] < bed[2] - 0.2 and spot[1] > bed[1] + 0.2 and spot[3] < bed[3] - 0.2
        if inside and not any(_meet(spot, other) for other in taken):
            yield spot


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _leader(sheet: Sheet, pointer: Point, label: Box) -> None:
    """Draw a line from the pointer's ring to the near edge of its label."""
    middle = (label[1] + label[3]) / 2
    if label[0] > pointer[0] + 1.5:
        end = (label[0], middle)
    elif label[2] < pointer[0] - 1.5:
        end = (label[2], middle)
    else:
        end = (pointer[0], label[1] if label[1] > pointer[1] else label[3])
    long = ((end[0] - pointer[0]) ** 2 + (end[1] - pointer[1]) ** 2) ** 0.5
    if long < 2.2:
        return
    share = 1.9 / long
    start = (pointer[0] + (end[0] - pointer[0]) * share, pointer[1] + (end[1] - pointer[1]) * share)
    sheet.line(start, end, weight_pt=FINE_PT + 0.1)
