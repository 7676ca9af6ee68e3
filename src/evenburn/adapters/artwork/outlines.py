"""The outlines of a drawing, as it draws them and not traced from pixels: for lines that are followed, and cuts.

A normaliser (usvg, from the same family as the renderer) resolves styles, units, references, shapes and text into paths of
straight pieces and cubic curves; what is read here is only those.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Literal

import numpy as np
import shapely
from lxml import etree
from numpy.typing import NDArray

from evenburn.adapters.artwork.normal_svg import Drawn, NormalSvg, matrix_of, normal_svg, walk
from evenburn.adapters.artwork.svg_checks import local_name, read_svg
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.path import FLATNESS_mm, Polyline

FloatArray = NDArray[np.float64]

MOST_POINTS = 200_000
MOST_PATHS = 50_000
LEAST_mm = 1e-4  # shorter pieces are no pieces
EDGE_mm = 2.0 * FLATNESS_mm  # how far an outline may lie over the edge of what clips it, both being flattened
SAME_mm = 1e-6
MOST_CLIPS_DEEP = 20
NUMBER = re.compile(r"[MLCZ]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


def svg_outlines(data: bytes, *, name: str, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
    """Return all outlines of an SVG, its page as large as fits a box and centred in it; y up. [mm]

    Curves are flattened to `FLATNESS_mm`. A path that is stroked counts by its middle line, whatever its width. What
    leaves no ink (hidden, unpainted, white) is not followed, and the same outline is followed once.

    Raises
    ------
    UnreadableFile
        As `read_svg`; or if there is no outline, if one is masked, filtered, or cut by a clip or the page's edge, or if
        there are too many points.
    """
    return outlines_of(normal_svg(etree.tostring(read_svg(data, name=name)), name=name), name, (width_mm, height_mm))


def svg_path(data: bytes, *, name: str, path_id: str, width_mm: float, height_mm: float) -> Polyline:
    """Return the one outline with an id, as `svg_outlines` does; it need not be painted.

    Raises
    ------
    UnreadableFile
        As `svg_outlines`; or if nothing has that id, or several outlines do.
    """
    drawing = normal_svg(etree.tostring(read_svg(data, name=name)), name=name)
    return path_of(drawing, name, path_id=path_id, size_mm=(width_mm, height_mm))


def outlines_of(drawing: NormalSvg, name: str, size_mm: tuple[float, float]) -> tuple[Polyline, ...]:
    """Return all outlines of a normalised drawing. Raises as `svg_outlines`."""
    with np.errstate(over="ignore", invalid="ignore"):  # what lies at infinity is not seen
        return _outlines(drawing, name, size_mm)


def _outlines(drawing: NormalSvg, name: str, size_mm: tuple[float, float]) -> tuple[Polyline, ...]:
    root = drawing.root()
    region = _Regions(root, drawing, size_mm)
    found: dict[bytes, Polyline] = {}
    points, seen = 0, 0
    pictures = False
    for drawn in walk(root, _upright(drawing, size_mm)):
        if not drawn.inked:
            continue
        if local_name(drawn.element) == "image":
            pictures = True
            continue
        for outline in _subpaths(drawn, name=name):
            seen += 1
            if seen > 2 * MOST_PATHS:
                raise _too_much(name)
            key = np.round(outline.points_mm / SAME_mm).tobytes() + bytes([outline.closed])
            if key in found or not region.holds(outline, drawn, name=name):
                continue
            found[key] = outline
            points += len(outline.points_mm)
            if points > MOST_POINTS or len(found) > MOST_PATHS:
                raise _too_much(name)
    if not found:
        raise UnreadableFile(
            name,
            "has no outlines to follow" + ("; a picture inside a drawing has none" if pictures else ""),
            hint='Draw paths, or use treatment "solid" or "photo".',
        )
    return tuple(found.values())


def path_of(drawing: NormalSvg, name: str, *, path_id: str, size_mm: tuple[float, float]) -> Polyline:
    """Return the one outline with an id of a normalised drawing. Raises as `svg_path`."""
    with np.errstate(over="ignore", invalid="ignore"):  # what lies at infinity is not seen
        drawn_all = walk(drawing.root(), _upright(drawing, size_mm))
        paths = [drawn for drawn in drawn_all if local_name(drawn.element) == "path"]
        found = [outline for drawn in paths if path_id in drawn.ids for outline in _subpaths(drawn, name=name)]
    if len(found) == 1:
        return found[0]
    if found:
        raise UnreadableFile(
            name,
            f'has {len(found)} separate outlines under the id "{path_id}"; allowed is one',
            hint="Give the one path its own id in the drawing.",
        )
    ids = sorted({one for drawn in paths for one in drawn.ids})
    raise UnreadableFile(
        name,
        f'has no path with the id "{path_id}"',
        hint=f"There are {', '.join(ids[:12])}." if ids else "Give the path an id in the drawing.",
    )


def _too_much(name: str) -> UnreadableFile:
    return UnreadableFile(
        name,
        f"has more than {MOST_PATHS} outlines or {MOST_POINTS} points to follow",
        hint="Simplify the drawing, or burn it solid.",
    )


def _upright(drawing: NormalSvg, size_mm: tuple[float, float]) -> FloatArray:
    """Return the matrix from the drawing's coordinates to the box, y up. [mm]"""
    flip = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, size_mm[1]], [0.0, 0.0, 1.0]])
    return flip @ drawing.to_box(*size_mm)


class _Region:
    """An area outside which nothing is seen."""

    def __init__(self, area: shapely.Geometry) -> None:
        self.area = area
        self._wide = shapely.buffer(area, EDGE_mm, join_style="mitre")
        self._narrow = shapely.buffer(area, -EDGE_mm, join_style="mitre")
        self._boxy = bool(shapely.equals(self._wide, shapely.box(*self._wide.bounds))) if area.area > 0.0 else False
        self._bounds = np.asarray(self._wide.bounds).reshape(2, 2) if self._boxy else None
        shapely.prepare(self._wide)
        shapely.prepare(self._narrow)

    def sees(self, points: FloatArray, *, closed: bool) -> Literal["all", "part", "none"]:
        """Return how much of an outline is seen."""
        if self._bounds is not None and (points >= self._bounds[0]).all() and (points <= self._bounds[1]).all():
            return "all"
        line = shapely.linestrings(np.vstack([points, points[:1]]) if closed else points)
        if shapely.covers(self._wide, line):
            return "all"
        return "part" if shapely.intersects(self._narrow, line) else "none"


class _Regions:
    """What clips the outlines: the page, and the clip paths of the drawing."""

    def __init__(self, root: etree._Element, drawing: NormalSvg, size_mm: tuple[float, float]) -> None:
        self._clips = {e.get("id"): e for e in root.iter() if local_name(e) == "clipPath"}
        self._known: dict[tuple[str, bytes], _Region] = {}
        left, top, w, h = drawing.page_in_box(*size_mm)
        self._page = _Region(shapely.box(left, size_mm[1] - top - h, left + w, size_mm[1] - top))

    def holds(self, outline: Polyline, drawn: Drawn, *, name: str) -> bool:
        """Return whether an outline is seen. Raises UnreadableFile if only a part of it is."""
        points = outline.points_mm
        which = f'the outline "{drawn.ids[-1]}"' if drawn.ids else "an outline"
        size = points.max(axis=0) - points.min(axis=0)
        for region, words in ((self._page, "the page's edge"), *((r, "a clip path") for r in self._of(drawn))):
            seen = region.sees(points, closed=outline.closed)
            if seen == "none":
                return False
            if seen == "part":
                raise UnreadableFile(
                    name,
                    f"has {which} ({size[0]:.4g} × {size[1]:.4g} mm) cut by {words}, where nothing can follow it",
                    hint="Cut it to shape in the drawing itself.",
                )
        if drawn.refused:
            raise UnreadableFile(
                name,
                f"has {which} under {drawn.refused}, which outlines cannot show",
                hint="Take it off, or burn the drawing solid.",
            )
        return True

    def _of(self, drawn: Drawn) -> Iterator[_Region]:
        for clip_id, matrix in drawn.clips:
            yield self._region(clip_id, matrix, depth=0)

    def _region(self, clip_id: str, matrix: FloatArray, *, depth: int) -> _Region:
        key = (clip_id, matrix.tobytes())
        if key in self._known:
            return self._known[key]
        clip = self._clips.get(clip_id)
        if clip is None or depth > MOST_CLIPS_DEEP:
            return _Region(shapely.Polygon())
        shapes = []
        for part in walk_clip(clip, matrix):
            rule = part.element.get("clip-rule", "nonzero")
            shape = _filled([path.points_mm for path in _subpaths(part, name="")], rule=rule)
            for inner, where in part.clips:
                shape = shapely.intersection(shape, self._region(inner, where, depth=depth + 1).area)
            shapes.append(shape)
        region = shapely.union_all(shapes)
        outer = clip.get("clip-path", "none")
        if outer != "none":
            region = shapely.intersection(region, self._region(outer[5:-1], matrix, depth=depth + 1).area)
        self._known[key] = _Region(region)
        return self._known[key]


def walk_clip(clip: etree._Element, to_box: FloatArray) -> Iterator[Drawn]:
    """Yield the paths of a clip path, whose paint does not matter."""
    for child in clip:
        yield from walk(child, to_box @ matrix_of(clip))


def _filled(rings: list[FloatArray], *, rule: str) -> shapely.Geometry:
    """Return the area that rings fill, by winding number or by parity."""
    rings = [ring for ring in rings if len(ring) >= 3]
    if not rings:
        return shapely.Polygon()
    lines = shapely.union_all([shapely.linestrings(np.vstack([ring, ring[:1]])) for ring in rings])
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    kept = []
    for face in faces:
        x, y = shapely.get_coordinates(shapely.point_on_surface(face))[0]
        turns = 0
        for ring in rings:
            after = np.roll(ring, -1, axis=0)
            rises, falls = (ring[:, 1] <= y) & (after[:, 1] > y), (ring[:, 1] > y) & (after[:, 1] <= y)
            left = (after[:, 0] - ring[:, 0]) * (y - ring[:, 1]) - (x - ring[:, 0]) * (after[:, 1] - ring[:, 1])
            turns += int(np.count_nonzero(rises & (left > 0.0))) - int(np.count_nonzero(falls & (left < 0.0)))
        if turns % 2 if rule == "evenodd" else turns:
            kept.append(face)
    return shapely.union_all(kept)


def _subpaths(drawn: Drawn, *, name: str) -> Iterator[Polyline]:
    """Yield the polylines of one path of absolute M, L, C and Z."""
    words = NUMBER.findall(drawn.element.get("d") or "")
    matrix = drawn.to_box
    at, points = 0, 0
    run: list[FloatArray] = []

    def take(pairs: int) -> FloatArray:
        nonlocal at
        values = np.array([float(v) for v in words[at : at + 2 * pairs]]).reshape(pairs, 2)
        at += 2 * pairs
        return np.asarray(values @ matrix[:2, :2].T + matrix[:2, 2])

    while at < len(words):
        word = words[at]
        at += 1
        if word == "M":
            yield from _finished(run, closed=False)
            run = [take(1)]
        elif word == "L":
            run.append(take(1))
        elif word == "C":
            control = np.vstack([run[-1][-1:], take(3)])
            steps = _curve_steps(control)
            points += steps
            if points > MOST_POINTS:
                raise _too_much(name)
            run.append(_flattened(control, steps=steps))
        elif word == "Z":
            yield from _finished(run, closed=True)
            run = run[:1]
    yield from _finished(run, closed=False)


def _curve_steps(control: FloatArray) -> int:
    """Return how many even steps keep a cubic curve's chords within the flatness.

    With n steps the error is at most d(d - 1)/(8 n²) times the largest second difference of the control points, d = 3
    (Wang's formula, in Goldman, Pyramid Algorithms, 2003, ch. 5; from memory).
    """
    bend = float(np.hypot(*np.diff(control, n=2, axis=0).T).max())
    return max(math.ceil(math.sqrt(6.0 * bend / (8.0 * FLATNESS_mm))), 1) if math.isfinite(bend) else 1


def _flattened(control: FloatArray, *, steps: int) -> FloatArray:
    """Return a cubic curve as points, its first one left out."""
    t = np.arange(1, steps + 1)[:, None] / steps
    s = 1.0 - t
    return np.asarray(
        s**3 * control[0] + 3.0 * s * s * t * control[1] + 3.0 * s * t * t * control[2] + t**3 * control[3]
    )


def _finished(run: list[FloatArray], *, closed: bool) -> Iterator[Polyline]:
    """Yield a polyline if there is length in it; one that ends where it begins is closed."""
    if not run:
        return
    points = np.vstack(run)
    if not np.isfinite(points).all():
        return
    points = _apart(points)
    if len(points) > 2 and math.dist(points[0], points[-1]) <= 2.0 * LEAST_mm:
        points, closed = points[:-1], True
    if len(points) < 2:
        return
    yield Polyline(points_mm=points, closed=closed and len(points) >= 3)


def _apart(points: FloatArray) -> FloatArray:
    """Return the points that lie more than the least length from the one kept before."""
    if (np.hypot(*np.diff(points, axis=0).T) > LEAST_mm).all():
        return points
    kept = [0]
    for i in range(1, len(points)):
        if math.dist(points[i], points[kept[-1]]) > LEAST_mm:
            kept.append(i)
    return points[kept]
