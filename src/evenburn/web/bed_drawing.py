"""The bed as a technical drawing: numbers that a service gave, laid out on the page. Only drawing; every length comes from there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from evenburn.services.book.reach_of import Bed, Edge, Reach
from evenburn.web import figures

WIDTH_px, LEFT_px, TOP_px, FOOT_px = 500.0, 34.0, 0.0, 26.0
PAD_px = 20.0  # of the panel round the bed: what stands out over the travel is seen there
BED_MOST_px = (WIDTH_px - LEFT_px - 2.0 * PAD_px, 290.0)
FIRST_ROW_px, ROW_px = 34.0, 22.0  # the list beside the drawing has rows of this height
LENS_px, LENS_RADIUS_px = 150.0, 72.0  # the round detail
LARGER = 6  # times, at most
MARK_STEPS_mm = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
MOST_MARKS = 7
STEP_mm = 0.1
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A mark on an axis of the drawing."""

    at: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A rectangle of the drawing."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of the drawing."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReachRow:
    """A reach of the list: the speed, the run-up it takes, and the line that leads to its limit on the bed."""

    speed_mm_per_s: float
    run_up_mm: float
    shown: bool
    limits: tuple[Line, ...]
    leader: tuple[Line, ...]
    dot: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkDrawn:
    """A mark of the drawing: its corners as an SVG path."""

    mark_id: str
    path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """The round detail at the edge that binds: everything in its own frame, from 0 to `LENS_px`."""

    times: str
    picture: str
    picture_size: tuple[float, float]
    bed_edge: Line
    strip: Strip
    ring: str
    mark_edge: Line
    dimension: Line
    label: tuple[float, float]
    ring_at: tuple[float, float]
    ring_radius: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BedDrawn:
    """The drawing. `px_per_unit` and `step` (0.1 mm) are what a hand that moves it has to know, in the unit that fields wear."""

    bed: Bed
    width: float
    height: float
    panel: Strip
    travel: Strip
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    px_per_unit: float
    step: float
    nudge_mm: float
    stride_mm: float
    ring: str
    picture: str
    picture_size: tuple[float, float]
    marks: tuple[MarkDrawn, ...]
    strips: tuple[Strip, ...]
    rows: tuple[ReachRow, ...]
    detail: Detail | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """Turns places on the bed into places on the page."""

    scale: float
    left: float
    low: float

    def x(self, x_mm: float) -> float:
        return round(self.left + x_mm * self.scale, 2)

    def y(self, y_mm: float) -> float:
        return round(self.low - y_mm * self.scale, 2)


def draw_bed(bed: Bed) -> BedDrawn:
    """Return the drawing of a piece on the bed."""
    wide, deep = bed.bed_mm
    scale = min(BED_MOST_px[0] / wide, BED_MOST_px[1] / deep)
    width, height = wide * scale, deep * scale
    frame = _Frame(scale=scale, left=LEFT_px + PAD_px, low=TOP_px + PAD_px + height)
    panel = Strip(x=LEFT_px, y=TOP_px, width=round(width + 2 * PAD_px, 2), height=round(height + 2 * PAD_px, 2))
    return BedDrawn(
        bed=bed,
        width=round(panel.x + panel.width + 12.0, 1),
        height=round(panel.y + panel.height + FOOT_px, 1),
        panel=panel,
        travel=Strip(x=frame.x(0.0), y=frame.y(deep), width=round(width, 2), height=round(height, 2)),
        x_ticks=tuple(Tick(at=frame.x(v), text=_tick(v, wide)) for v in _marks(wide)),
        y_ticks=tuple(Tick(at=frame.y(v), text=f"{v:g}") for v in _marks(deep)),
        px_per_unit=round(scale * figures.typed_length_mm(1.0), 5),
        step=round(STEP_mm / figures.typed_length_mm(1.0), 6),
        nudge_mm=STEP_mm,
        stride_mm=10.0 * STEP_mm,
        ring=_rings(bed, frame),
        picture=_turned(bed, frame),
        picture_size=_size(bed, frame),
        marks=tuple(MarkDrawn(mark_id=m.mark_id, path=_path(m.corners_mm, frame)) for m in bed.marks),
        strips=_strips(bed, frame),
        rows=_rows(bed, frame, right=round(panel.x + panel.width + 12.0, 1)),
        detail=None if bed.edge is None or bed.shown is None else _detail(bed, bed.edge, bed.shown, frame),
    )


def _marks(length_mm: float) -> tuple[float, ...]:
    step = next((s for s in MARK_STEPS_mm if length_mm / s <= MOST_MARKS), MARK_STEPS_mm[-1])
    return tuple(i * step for i in range(int(length_mm / step + 1e-6) + 1))


def _tick(value_mm: float, length_mm: float) -> str:
    last = value_mm == _marks(length_mm)[-1]
    return f"{value_mm:g}{figures.NB}mm" if last else f"{value_mm:g}"


def _path(corners: tuple[tuple[float, float], ...], frame: _Frame) -> str:
    return "M" + "L".join(f"{frame.x(x):g} {frame.y(y):g}" for x, y in corners) + "Z"


def _rings(bed: Bed, frame: _Frame) -> str:
    return "".join(_path(ring, frame) for ring in bed.rings_mm)


def _turned(bed: Bed, frame: _Frame) -> str:
    """Return how the board's picture is put and turned: about the blank's own lower left corner."""
    return f"translate({frame.x(bed.origin_mm[0])} {frame.y(bed.origin_mm[1])}) rotate({-bed.turn_deg:g})"


def _size(bed: Bed, frame: _Frame) -> tuple[float, float]:
    return round(bed.size_mm[0] * frame.scale, 2), round(bed.size_mm[1] * frame.scale, 2)


def _box(x0: float, y0: float, x1: float, y1: float, frame: _Frame) -> Strip:
    return Strip(
        x=frame.x(x0), y=frame.y(y1), width=round((x1 - x0) * frame.scale, 2), height=round((y1 - y0) * frame.scale, 2)
    )


def _strips(bed: Bed, frame: _Frame) -> tuple[Strip, ...]:
    """Return where nothing can be burnt at the speed shown."""
    wide, deep = bed.bed_mm
    if bed.shown is None:
        return ()
    low, high = bed.shown.low_mm, bed.shown.high_mm
    if low is None or high is None:
        return (_box(0.0, 0.0, wide, deep, frame),)
    if bed.axis == "x":
        return (_box(0.0, 0.0, low, deep, frame), _box(high, 0.0, wide, deep, frame))
    return (_box(0.0, 0.0, wide, low, frame), _box(0.0, high, wide, deep, frame))


def _rows(bed: Bed, frame: _Frame, *, right: float) -> tuple[ReachRow, ...]:
    if bed.shown is None:
        return ()
    every = sorted((*bed.beside, bed.shown), key=lambda r: -r.speed_mm_per_s)
    return tuple(_row(bed, reach, number, frame, right=right) for number, reach in enumerate(every))


def _row(bed: Bed, reach: Reach, number: int, frame: _Frame, *, right: float) -> ReachRow:
    wide, deep = bed.bed_mm
    y = FIRST_ROW_px + number * ROW_px
    limits: tuple[Line, ...] = ()
    leader: tuple[Line, ...] = ()
    dot = None
    if reach.low_mm is not None and reach.high_mm is not None:
        if bed.axis == "x":
            limits = tuple(
                Line(x1=frame.x(v), y1=frame.y(deep), x2=frame.x(v), y2=frame.y(0.0))
                for v in (reach.low_mm, reach.high_mm)
            )
            dot = (frame.x(reach.high_mm), y)
            leader = (Line(x1=dot[0], y1=y, x2=right, y2=y),)
        else:
            limits = tuple(
                Line(x1=frame.x(0.0), y1=frame.y(v), x2=frame.x(wide), y2=frame.y(v))
                for v in (reach.low_mm, reach.high_mm)
            )
            dot = (round(frame.x(wide) - 8.0 - 10.0 * number, 2), frame.y(reach.high_mm))
            bend = frame.x(wide) + 8.0
            leader = (Line(x1=dot[0], y1=dot[1], x2=bend, y2=y), Line(x1=bend, y1=y, x2=right, y2=y))
    return ReachRow(
        speed_mm_per_s=reach.speed_mm_per_s,
        run_up_mm=reach.run_up_mm,
        shown=reach == bed.shown,
        limits=limits,
        leader=leader,
        dot=dot,
    )


def _detail(bed: Bed, edge: Edge, shown: Reach, frame: _Frame) -> Detail | None:
    """Return the round detail at the edge with the least room to spare; None where that is wide enough to be seen as it is."""
    span = max(abs(edge.room_mm), 1.0) * frame.scale
    times = min(LARGER, int(1.3 * LENS_RADIUS_px / span))
    if times < 2:
        return None
    horizontal = edge.side in ("left", "right")
    ends = {"left": 0.0, "right": bed.bed_mm[0], "below": 0.0, "above": bed.bed_mm[1]}
    limit = ends[edge.side]
    x, y = edge.at_mm
    middle = (0.5 * (limit + x), y) if horizontal else (x, 0.5 * (limit + y))
    centre = 0.5 * LENS_px
    near = _Frame(
        scale=frame.scale * times,
        left=centre - middle[0] * frame.scale * times,
        low=centre + middle[1] * frame.scale * times,
    )
    inward = 1.0 if edge.side in ("left", "below") else -1.0
    far = limit + inward * shown.run_up_mm
    a, b = min(limit, far), max(limit, far)
    reach_mm = LENS_px / near.scale
    if horizontal:
        strip = _box(a, y - reach_mm, b, y + reach_mm, near)
        bed_edge = Line(x1=near.x(limit), y1=0.0, x2=near.x(limit), y2=LENS_px)
        mark_edge = Line(x1=near.x(x), y1=centre, x2=near.x(x), y2=LENS_px)
        dimension = Line(x1=near.x(limit), y1=centre - 26.0, x2=near.x(x), y2=centre - 26.0)
        label = (0.5 * (near.x(limit) + near.x(x)), centre - 34.0)
    else:
        strip = _box(x - reach_mm, a, x + reach_mm, b, near)
        bed_edge = Line(x1=0.0, y1=near.y(limit), x2=LENS_px, y2=near.y(limit))
        mark_edge = Line(x1=centre, y1=near.y(y), x2=LENS_px, y2=near.y(y))
        dimension = Line(x1=centre - 26.0, y1=near.y(limit), x2=centre - 26.0, y2=near.y(y))
        label = (centre - 46.0, 0.5 * (near.y(limit) + near.y(y)) + 4.0)
    return Detail(
        times=figures.words(times),
        picture=_turned(bed, near),
        picture_size=_size(bed, near),
        bed_edge=bed_edge,
        strip=strip,
        ring=_rings(bed, near),
        mark_edge=mark_edge,
        dimension=dimension,
        label=label,
        ring_at=(frame.x(middle[0]), frame.y(middle[1])),
        ring_radius=round(LENS_RADIUS_px / times, 2),
    )
