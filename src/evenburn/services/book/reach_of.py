"""Where a piece lies on the bed, and how far the head can scan there: reach and run-up at several speeds, in numbers to draw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from shapely import MultiPolygon, Point, Polygon

from evenburn.adapters.artwork.outline import outline_from_svg
from evenburn.adapters.artwork.svg import open_svg
from evenburn.adapters.formats.batch_toml import BlankTable
from evenburn.adapters.formats.machine_toml import MachineTable, machine_from_table
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import piece
from evenburn.core.errors import InvalidInput
from evenburn.core.layout.place import (
    mark_on_bed,
    on_bed,
    outline_on_bed,
    room_mm,
)
from evenburn.core.motion.raster import room_needed_mm
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis, Piece
from evenburn.services.blank_of_table import Outline, blank_of_table
from evenburn.services.book.inputs import Sources, sources_of
from evenburn.services.book.plan_piece import PiecePlanned, plan_of

Ring = tuple[tuple[float, float], ...]
Box = tuple[float, float, float, float]
Side = Literal["left", "right", "below", "above"]
SIDES: dict[Axis, tuple[Side, Side]] = {"x": ("left", "right"), "y": ("below", "above")}
SHARES = (1.0, 0.84, 0.7, 0.55, 0.4)  # of the top speed: the reaches drawn beside the one that is shown
BESIDE = 3
APART = 0.12  # shares that lie nearer to the one shown are left out
LOOSE_mm = 0.05  # half of what is told
SAME_AS_DRAWN_mm = 0.12  # a tenth of a dot of the drawing
FOLLOWED = ("line", "cut")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """The part of the bed where a mark can be scanned at a speed, along the scan axis; None where there is none. [mm]"""

    speed_mm_per_s: float
    run_up_mm: float
    low_mm: float | None
    high_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkOnBed:
    """A mark's rectangle on the bed; `followed` where its outlines are followed and no run-up is asked for. [mm]"""

    mark_id: str
    corners_mm: Ring
    box_mm: Box
    followed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """The side with the least room to spare: how much there is, how much the speed needs, and where on the mark's edge. [mm]"""

    side: Side
    mark_id: str
    room_mm: float
    need_mm: float
    at_mm: tuple[float, float]
    fits: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """A piece on the bed.

    Attributes
    ----------
    place_bed_mm : lower left corner of the turned blank's box. [mm]
    origin_mm : where the blank's own lower left corner lies, about which its picture is turned. [mm]
    size_mm : of the blank before it is turned. [mm]
    rings_mm : its edge and its holes. [mm]
    box_mm : of the turned blank. [mm]
    axis : along which marks are scanned; None where all are followed.
    planned_speed_mm_per_s : as planned or held, of the mark with the least room to spare. [mm/s]
    shown : reach at the speed that is looked at; `beside` at others.
    """

    bed_mm: tuple[float, float]
    place_bed_mm: tuple[float, float]
    turn_deg: float
    origin_mm: tuple[float, float]
    size_mm: tuple[float, float]
    rings_mm: tuple[Ring, ...]
    box_mm: Box
    marks: tuple[MarkOnBed, ...]
    axis: Axis | None
    planned_speed_mm_per_s: float | None
    least_speed_mm_per_s: float
    most_speed_mm_per_s: float
    shown: Reach | None
    beside: tuple[Reach, ...]
    edge: Edge | None
    off_bed: bool


def bed_of(
    book: Book,
    piece_id: int,
    *,
    place_bed_mm: tuple[float, float] | None = None,
    turn_deg: float | None = None,
    speed_mm_per_s: float | None = None,
) -> Bed:
    """Return a piece on the bed, as it lies or as it would lie elsewhere, turned otherwise or scanned at another speed.

    Raises
    ------
    NotFound
        If the piece or its machine is not in the book.
    InvalidInput
        If the turn or the speed is out of range, or the piece's blank does not hold.
    """
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        sources = sources_of(connection, row["batch_id"], [row["document"]])
    document = dict(row["document"])
    if place_bed_mm is not None:
        document["place_bed_mm"] = place_bed_mm
    if turn_deg is not None:
        document["turn_deg"] = turn_deg
    return bed_from(book, document, sources=sources, planned=plan_of(book, piece_id), speed_mm_per_s=speed_mm_per_s)


def bed_from(
    book: Book,
    document: Mapping[str, Any],
    *,
    sources: Sources,
    planned: PiecePlanned | None,
    speed_mm_per_s: float | None = None,
) -> Bed:
    """Return a piece on the bed from its document and what it rests on; raises as `bed_of`."""
    machine = machine_from_table(checked(MachineTable, sources.machine, name="the machine"), source="the machine")
    _demand(document, machine, speed_mm_per_s=speed_mm_per_s)
    blank = blank_of(book, document["blank"], sources=sources)
    lying = _lying(document, blank)
    marks = tuple(_mark(lying, mark) for mark in document["mark"])
    asked = _asked(document, machine, planned=planned)
    spare = [
        (_least_room(mark, axis=axis, machine=machine)[0] - _need(machine, axis, speed), number)
        for number, (mark, (axis, speed)) in enumerate(zip(marks, asked, strict=True))
        if not mark.followed
    ]
    outline = outline_on_bed(lying)
    box = outline.bounds
    origin = on_bed(lying, Point(0.0, 0.0))
    assert isinstance(origin, Point)  # noqa: S101  # a point, moved
    bare = Bed(
        bed_mm=(machine.bed_x_mm, machine.bed_y_mm),
        place_bed_mm=lying.place_bed_mm,
        turn_deg=lying.turn_deg,
        origin_mm=(origin.x, origin.y),
        size_mm=blank.size_mm,
        rings_mm=_rings(outline),
        box_mm=(box[0], box[1], box[2], box[3]),
        marks=marks,
        axis=None,
        planned_speed_mm_per_s=None,
        least_speed_mm_per_s=least_speed(machine),
        most_speed_mm_per_s=machine.speed_max_mm_per_s,
        shown=None,
        beside=(),
        edge=None,
        off_bed=any(_outside(mark.box_mm, machine) for mark in marks),
    )
    if not spare:
        return bare
    worst = min(spare)[1]
    axis, planned_speed = asked[worst]
    speed = planned_speed if speed_mm_per_s is None else speed_mm_per_s
    shown = _reach(machine, axis, speed)
    room, side = _least_room(marks[worst], axis=axis, machine=machine)
    return replace(
        bare,
        axis=axis,
        planned_speed_mm_per_s=planned_speed,
        shown=shown,
        beside=_beside(machine, axis, shown=speed),
        edge=Edge(
            side=SIDES[axis][side],
            mark_id=marks[worst].mark_id,
            room_mm=room,
            need_mm=shown.run_up_mm,
            at_mm=_middle(marks[worst].box_mm, SIDES[axis][side]),
            fits=room >= shown.run_up_mm - LOOSE_mm,
        ),
    )


def least_speed(machine: Machine) -> float:
    """Return the least speed that is offered to look at. [mm/s]"""
    return min(50.0, machine.speed_max_mm_per_s)


def blank_of(book: Book, table: Mapping[str, Any], *, sources: Sources) -> Blank:
    """Return a piece's blank; InvalidInput where it does not hold, UnreadableFile where its outline cannot be read."""
    kept = checked(BlankTable, dict(table), name="blank")

    def drawn(name: str) -> Outline:
        sha256 = sources.files.get(name)
        if sha256 is None:
            raise InvalidInput({"blank.outline": f"is “{name}”, which is not in the book"})
        return _drawn_outline(path_of(book, sha256), name, kept.size_mm)

    return blank_of_table(kept, drawn=drawn)


@lru_cache(maxsize=256)
def _drawn_outline(path: Path, name: str, size_mm: tuple[float, float] | None) -> Outline:
    """Return the outline in a file of the book, which goes by what is in it and so never changes."""
    return outline_from_svg(open_svg(path, name=name), size_mm=size_mm, name=name)


# ---- where it lies -----------------------------------------------------------------------------------------------


def _lying(document: Mapping[str, Any], blank: Blank) -> Piece:
    x, y = document["place_bed_mm"]
    return Piece(
        id=document["id"],
        name="",
        wood_id=document["wood"],
        blank=blank,
        place_bed_mm=(float(x), float(y)),
        turn_deg=float(document.get("turn_deg", 0.0)),
        marks=(),
    )


def _mark(lying: Piece, mark: Mapping[str, Any]) -> MarkOnBed:
    place, size = mark["place_mm"], mark["size_mm"]
    shape = mark_on_bed(lying, place_mm=(place[0], place[1]), size_mm=(size[0], size[1]))
    x0, y0, x1, y1 = shape.bounds
    return MarkOnBed(
        mark_id=mark["id"],
        corners_mm=tuple((x, y) for x, y in list(shape.exterior.coords)[:-1]),
        box_mm=(x0, y0, x1, y1),
        followed=mark.get("treatment", "solid") in FOLLOWED,
    )


def _rings(outline: Polygon | MultiPolygon) -> tuple[Ring, ...]:
    parts = outline.geoms if isinstance(outline, MultiPolygon) else (outline,)
    kept = [part.simplify(SAME_AS_DRAWN_mm) for part in parts]
    rings = [ring for part in kept for ring in (part.exterior, *part.interiors)]
    return tuple(tuple((round(c[0], 3), round(c[1], 3)) for c in ring.coords) for ring in rings)


def _outside(box: Box, machine: Machine) -> bool:
    """Return whether a mark lies beyond the travel of the head."""
    low = min(box[0], box[1])
    return low < -LOOSE_mm or box[2] > machine.bed_x_mm + LOOSE_mm or box[3] > machine.bed_y_mm + LOOSE_mm


# ---- how far the head reaches ------------------------------------------------------------------------------------


def _asked(
    document: Mapping[str, Any], machine: Machine, *, planned: PiecePlanned | None
) -> Sequence[tuple[Axis, float]]:
    """Return axis and speed of each mark: held, else as planned last, else along x at most of the top speed. [mm/s]"""
    recipes: dict[str, dict[str, Any]] = {}
    if planned is not None and (planned.folder / "plan.json").is_file():
        recipes = {mark["id"]: mark["recipe"] for mark in planned.document()["pieces"][0]["marks"]}
    found: list[tuple[Axis, float]] = []
    for mark in document["mark"]:
        hold, recipe = mark.get("hold") or {}, recipes.get(mark["id"], {})
        axis: Axis = "y" if (hold.get("scan_axis") or recipe.get("scan_axis")) == "y" else "x"
        speed = hold.get("speed_mm_per_s") or recipe.get("speed_mm_per_s") or SHARES[2] * machine.speed_max_mm_per_s
        found.append((axis, min(float(speed), machine.speed_max_mm_per_s)))
    return found


def _need(machine: Machine, axis: Axis, speed: float) -> float:
    return room_needed_mm(machine, axis=axis, speed_mm_per_s=speed)


def _least_room(mark: MarkOnBed, *, axis: Axis, machine: Machine) -> tuple[float, int]:
    """Return the lesser room beside a mark along an axis, and on which side: 0 before it, 1 after it. [mm]"""
    rooms = room_mm(mark.box_mm, axis=axis, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm)
    side = 0 if rooms[0] <= rooms[1] else 1
    return rooms[side], side


def _reach(machine: Machine, axis: Axis, speed: float) -> Reach:
    need = _need(machine, axis, speed)
    length = machine.bed_x_mm if axis == "x" else machine.bed_y_mm
    some = 2.0 * need < length
    return Reach(
        speed_mm_per_s=speed,
        run_up_mm=need,
        low_mm=need if some else None,
        high_mm=length - need if some else None,
    )


def _beside(machine: Machine, axis: Axis, *, shown: float) -> tuple[Reach, ...]:
    """Return the reach at some speeds other than the one shown, the fastest first."""
    top = machine.speed_max_mm_per_s
    speeds = [round(share * top, -1) if share < 1.0 else top for share in SHARES]
    others = [speed for speed in speeds if abs(speed - shown) > APART * top]
    return tuple(_reach(machine, axis, speed) for speed in others[:BESIDE])


def _middle(box: Box, side: Side) -> tuple[float, float]:
    """Return the middle of a side of a box."""
    x, y = 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])
    return {"left": (box[0], y), "right": (box[2], y), "below": (x, box[1]), "above": (x, box[3])}[side]


def _demand(document: Mapping[str, Any], machine: Machine, *, speed_mm_per_s: float | None) -> None:
    wrong: dict[str, str] = {}
    for number, value in enumerate(document["place_bed_mm"], start=1):
        if not abs(value) <= 10000.0:
            wrong[f"place_bed_mm[{number}]"] = f"is {value:g}; allowed is −10000 to 10000 mm"
    turn = document.get("turn_deg", 0.0)
    if not abs(turn) <= 360.0:
        wrong["turn_deg"] = f"is {turn:g}; allowed is −360 to 360°"
    if speed_mm_per_s is not None and not 0.0 < speed_mm_per_s <= machine.speed_max_mm_per_s:
        wrong["speed_mm_per_s"] = f"is {speed_mm_per_s:g}; allowed is up to {machine.speed_max_mm_per_s:g} mm/s"
    if wrong:
        raise InvalidInput(wrong)
