"""Swelling strokes, engraver's hatching and SVG text for the demo drawings; lengths in mm, y down as in SVG."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

Points = NDArray[np.float64]
Tone = Callable[[Points], NDArray[np.float64]]

LEAST_STROKE_mm = 0.34
LEAST_GAP_mm = 0.36
SPECK_mm2 = 0.25


def curve(points: ArrayLike, *, closed: bool = False, step_mm: float = 0.25) -> Points:
    """Return a smooth curve through points, shape (N, 2), sampled about every `step_mm`."""
    p = np.asarray(points, dtype=np.float64)
    if closed:
        p = np.vstack([p, p[:1]])
    chord = np.sqrt(np.hypot(*np.diff(p, axis=0).T))
    t = np.concatenate([[0.0], np.cumsum(chord)])
    spline = CubicSpline(t, p, bc_type="periodic" if closed else "natural")
    n = max(12, int(np.hypot(*np.diff(p, axis=0).T).sum() / step_mm))
    return np.asarray(spline(np.linspace(0.0, t[-1], n)), dtype=np.float64)


def blob(points: ArrayLike, *, step_mm: float = 0.25) -> Polygon:
    """Return the filled closed curve through points."""
    return sound(Polygon(curve(points, closed=True, step_mm=step_mm)))


def sound(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """Return the shape without self-crossings, areas only."""
    made = shapely.make_valid(shape)
    return areas(made)


def areas(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """Return only the areas of a geometry."""
    parts = [g for g in getattr(shape, "geoms", [shape]) if g.geom_type in {"Polygon", "MultiPolygon"}]
    joined = shapely.union_all(parts) if parts else Polygon()
    return joined if isinstance(joined, Polygon | MultiPolygon) else Polygon()


def swell(line: ArrayLike, widths_mm: Sequence[float] | Points, *, round_ends: bool = True) -> Polygon | MultiPolygon:
    """Return a stroke along a line whose width is interpolated from evenly spaced widths."""
    p = np.asarray(line, dtype=np.float64)
    step = np.hypot(*np.diff(p, axis=0).T)
    s = np.concatenate([[0.0], np.cumsum(step)])
    keep = np.concatenate([[True], step > 1e-9])
    p, s = p[keep], s[keep]
    w = np.asarray(widths_mm, dtype=np.float64)
    half = 0.5 * np.interp(s / s[-1], np.linspace(0.0, 1.0, len(w)), w)
    tangent = np.gradient(p, s, axis=0)
    tangent /= np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    left, right = p + half[:, None] * normal, p - half[:, None] * normal
    quads = [Polygon([left[i], left[i + 1], right[i + 1], right[i]]) for i in range(len(p) - 1)]
    parts: list[BaseGeometry] = [shapely.make_valid(q) for q in quads]
    if round_ends:
        parts += [Point(p[0]).buffer(half[0], 8), Point(p[-1]).buffer(half[-1], 8)]
    return areas(shapely.union_all(parts).buffer(0.004).buffer(-0.004))


def hatch(region: BaseGeometry, lines: Iterable[Points], tone: Tone, *, pitch_mm: float) -> Polygon | MultiPolygon:
    """Return engraver's lines inside a region: each swells with the tone (0 white, 1 black)."""
    widest = pitch_mm - LEAST_GAP_mm
    strokes: list[BaseGeometry] = []
    for line in lines:
        inside = shapely.contains_xy(region, line[:, 0], line[:, 1])
        t = np.asarray(tone(line), dtype=np.float64)
        width = np.clip(LEAST_STROKE_mm + (widest - LEAST_STROKE_mm) * (t - 0.15) / 0.75, LEAST_STROKE_mm, widest)
        on = inside & (t > 0.15)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            if b - a > 3 and np.hypot(*np.diff(line[a:b], axis=0).T).sum() > 0.9:
                strokes.append(swell(line[a:b], width[a:b]))
    return areas(shapely.union_all(strokes).intersection(region)) if strokes else Polygon()


def straight(box: tuple[float, float, float, float], *, angle_deg: float, pitch_mm: float) -> list[Points]:
    """Return parallel lines over a box (x0, y0, x1, y1)."""
    x0, y0, x1, y1 = box
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    reach = math.hypot(x1 - x0, y1 - y0) / 2 + pitch_mm
    d = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    n = np.array([-d[1], d[0]])
    along = np.arange(-reach, reach, 0.25)[:, None] * d
    return [middle + k * pitch_mm * n + along for k in range(-int(reach / pitch_mm), int(reach / pitch_mm) + 1)]


def ring(x_mm: float, y_mm: float, radius_mm: float, *, width_mm: float) -> Polygon | MultiPolygon:
    """Return a circular line."""
    c = Point(x_mm, y_mm)
    return areas(c.buffer(radius_mm + width_mm / 2, 64).difference(c.buffer(radius_mm - width_mm / 2, 64)))


def over(under: BaseGeometry, upper: BaseGeometry, *, halo_mm: float = 0.5) -> Polygon | MultiPolygon:
    """Return `under` with `upper` and a white edge round it taken out, and `upper` laid on."""
    return areas(under.difference(upper.buffer(halo_mm)).union(upper))


def solid_of(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """Return the shape with its holes filled: what it hides of the things behind it."""
    return areas(shapely.union_all([Polygon(g.exterior) for g in getattr(shape, "geoms", [shape]) if not g.is_empty]))


def tidy(shape: BaseGeometry, *, stroke_mm: float = 0.32, gap_mm: float = 0.3) -> Polygon | MultiPolygon:
    """Return the shape without hair strokes, hair gaps and specks, its points eased."""
    a, b = stroke_mm / 2, gap_mm / 2
    eased = shape.buffer(-a).buffer(a + b).buffer(-b)
    parts = [g for g in getattr(eased, "geoms", [eased]) if g.area > SPECK_mm2]
    return areas(shapely.union_all(parts).simplify(0.012))


def path(shape: BaseGeometry) -> str:
    """Return SVG path data of areas, in relative steps of 0.01 mm."""
    out: list[str] = []
    for polygon in getattr(shape, "geoms", [shape]):
        for loop in [polygon.exterior, *polygon.interiors]:
            q = np.rint(np.asarray(loop.coords)[:-1] * 100).astype(int)
            steps = np.diff(q, axis=0)
            steps = steps[np.any(steps != 0, axis=1)]
            out.append(f"M{_n(q[0, 0])} {_n(q[0, 1])}l" + " ".join(f"{_n(dx)} {_n(dy)}" for dx, dy in steps) + "z")
    return "".join(out)


def _n(hundredths: int) -> str:
    text = f"{hundredths / 100:.2f}".rstrip("0").rstrip(".")
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def fill(shape: BaseGeometry, *, extra: str = "") -> str:
    """Return a path element of areas, holes by the even-odd rule."""
    return f'<path fill-rule="evenodd"{extra} d="{path(shape)}"/>'


def document(body: str, *, width_mm: float, height_mm: float, title: str) -> str:
    """Return an SVG file in millimetres."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm:g}mm" height="{height_mm:g}mm" '
        f'viewBox="0 0 {width_mm:g} {height_mm:g}">\n<title>{title}</title>\n{body}\n</svg>\n'
    )


def moved(shape: BaseGeometry, *, dx_mm: float = 0.0, dy_mm: float = 0.0, turn_deg: float = 0.0) -> BaseGeometry:
    """Return the shape turned about the origin (clockwise as seen, y down), then moved."""
    return affinity.translate(affinity.rotate(shape, turn_deg, origin=(0, 0)), dx_mm, dy_mm)


def mirrored(shape: BaseGeometry) -> BaseGeometry:
    """Return the shape mirrored left to right about x = 0."""
    return affinity.scale(shape, xfact=-1, yfact=1, origin=(0, 0))


def line_of(points: ArrayLike, *, width_mm: float) -> Polygon | MultiPolygon:
    """Return a stroke of even width with round ends."""
    return areas(LineString(np.asarray(points)).buffer(width_mm / 2, 12))


def between(first: ArrayLike, last: ArrayLike, *, count: int) -> list[Points]:
    """Return `count` lines that pass evenly from one curve to another, both included."""
    a, b = np.asarray(first, dtype=np.float64), np.asarray(last, dtype=np.float64)
    n = max(len(a), len(b))
    u = np.linspace(0, 1, n)

    def even(p: Points) -> Points:
        s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
        return np.column_stack([np.interp(u * s[-1], s, p[:, 0]), np.interp(u * s[-1], s, p[:, 1])])

    a, b = even(a), even(b)
    return [a + (b - a) * t for t in np.linspace(0, 1, count)]


def edge(cover: BaseGeometry, *, thin_mm: float = 0.42, heavy_mm: float = 0.5, away_deg: float = 45.0) -> BaseGeometry:
    """Return an outline that is heavier on the side away from the light (`away_deg`, clockwise from +x)."""
    d = np.array([math.cos(math.radians(away_deg)), math.sin(math.radians(away_deg))]) * heavy_mm / 2
    inner = affinity.translate(cover.buffer(-thin_mm - heavy_mm / 2), -d[0], -d[1])
    return areas(cover.difference(inner))


class Sheet:
    """Ink laid down from back to front; what comes later hides what it covers and keeps a white edge."""

    def __init__(self) -> None:
        self.ink: BaseGeometry = Polygon()
        self.cover: BaseGeometry = Polygon()

    def lay(self, ink: BaseGeometry, *, cover: BaseGeometry | None = None, halo_mm: float = 0.42) -> None:
        """Lay ink that hides its own area, or `cover`."""
        hides = ink if cover is None else cover
        self.ink = areas(self.ink.difference(hides.buffer(halo_mm)).union(ink))
        self.cover = areas(self.cover.union(hides))

    def behind(self, ink: BaseGeometry, *, halo_mm: float = 0.7) -> None:
        """Put ink behind all that has been laid."""
        self.ink = areas(self.ink.union(ink.difference(self.cover.buffer(halo_mm))))
