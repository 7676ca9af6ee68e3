"""The ink of set text: its area, its outlines in a box, and its coverage of pixels.

Ink is the nonzero winding of each glyph and the union of all glyphs, so joined scripts have no holes where their letters
overlap, and counters stay open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from evenburn.adapters.artwork.lettering import FloatArray, Lettering
from evenburn.core.errors import InvalidInput, OutOfRange

MOST_PIXELS = 400_000_000
_BAND_ROWS = 512  # rows drawn at a time, which bounds the memory taken
_NOISE = 1e-9  # coverage below this is rounding, not ink


def ink_polygon(lettering: Lettering) -> shapely.MultiPolygon:
    """Return the ink in em units, y up: nonzero winding within each glyph, union over all glyphs."""
    shapes: dict[bytes, tuple[FloatArray, shapely.Geometry]] = {}  # one glyph's ink serves wherever it recurs
    inked = []
    ends = (*lettering.glyph_starts[1:], len(lettering.contours))
    for start, end in zip(lettering.glyph_starts, ends, strict=True):
        outlines = lettering.contours[start:end]
        origin = outlines[0][0]
        key = b"".join(np.round(outline - origin, 9).tobytes() + b"/" for outline in outlines)
        if key not in shapes:
            shapes[key] = (origin, _nonzero(outlines))
        first, shape = shapes[key]
        shift = origin - first
        inked.append(shapely.transform(shape, lambda points, shift=shift: points + shift))
    union = shapely.orient_polygons(shapely.union_all(inked), exterior_cw=False)
    return union if union.geom_type == "MultiPolygon" else shapely.MultiPolygon([union])


def outlines_in_box(lettering: Lettering, *, width_mm: float, height_mm: float) -> list[FloatArray]:
    """Return the outlines of the ink, fitted to a box and centred in it, aspect kept.

    Returns
    -------
    list of (N, 2) float64
        Closed rings without a repeated last point, origin at the box's lower left, y up. Outer rings run
        anticlockwise and holes clockwise, none cross, so any fill rule gives the same ink. [mm]

    Raises
    ------
    OutOfRange
        If a side of the box is not a positive number.
    """
    for name, side_mm in (("width_mm", width_mm), ("height_mm", height_mm)):
        if not (math.isfinite(side_mm) and side_mm > 0.0):
            raise OutOfRange(name, side_mm, low=0.0, high=math.inf, unit="mm")
    scale, shift = _contain(lettering.bounds_em, width_mm, height_mm)
    return [ring * scale + shift for ring in rings_of(ink_polygon(lettering))]


def render_lettering(
    lettering: Lettering, *, width_px: int, height_px: int, fit: Literal["contain"] = "contain"
) -> NDArray[np.float32]:
    """Return the share of each pixel that is ink, fitted to the grid and centred in it, aspect kept.

    Coverage is exact: the area of the (flattened) ink inside each square pixel, not a count of samples.

    Returns
    -------
    (height_px, width_px) float32
        Rows from top to bottom, 0 bare to 1 ink.

    Raises
    ------
    OutOfRange
        If a side is less than 1 pixel, or the grid has more than 400 million pixels.
    InvalidInput
        If fit is not "contain".
    """
    if fit != "contain":
        raise InvalidInput({"fit": f"{fit!r} is not known; allowed is 'contain'"})
    _refuse_grid(width_px=width_px, height_px=height_px)
    scale, shift = _contain(lettering.bounds_em, width_px, height_px)
    return _drawn(ink_polygon(lettering), scale, shift, width_px=width_px, height_px=height_px)


def render_ink(
    ink: shapely.MultiPolygon, *, scale_px: float, shift_px: tuple[float, float], width_px: int, height_px: int
) -> NDArray[np.float32]:
    """Return the share of each pixel that is ink, with the ink scaled and shifted; what lies outside is left out.

    `shift_px` is from the grid's lower left corner, y up. Returns and raises as `render_lettering`.
    """
    _refuse_grid(width_px=width_px, height_px=height_px)
    shift = np.array(shift_px, dtype=np.float64)
    low, high = -shift / scale_px, (np.array([width_px, height_px]) - shift) / scale_px
    x0, y0, x1, y1 = ink.bounds
    if min(x0 - low[0], y0 - low[1], high[0] - x1, high[1] - y1) * scale_px < -_NOISE:
        parts = shapely.get_parts(shapely.intersection(ink, shapely.box(*low, *high)))
        ink = shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])
        ink = shapely.orient_polygons(ink, exterior_cw=False)
    if ink.is_empty:
        return np.zeros((height_px, width_px), dtype=np.float32)
    return _drawn(ink, scale_px, shift, width_px=width_px, height_px=height_px)


def _refuse_grid(*, width_px: int, height_px: int) -> None:
    for name, side, other in (("width_px", width_px, height_px), ("height_px", height_px, width_px)):
        if side < 1 or side * other > MOST_PIXELS:
            raise OutOfRange(name, side, low=1, high=MOST_PIXELS // max(1, other), unit="px")


def _drawn(
    ink: shapely.MultiPolygon, scale: float, shift: FloatArray, *, width_px: int, height_px: int
) -> NDArray[np.float32]:
    """Return the coverage of ink that lies in the grid once it is scaled and shifted."""
    size = np.array([width_px, height_px], dtype=np.float64)
    segments = []
    for ring in rings_of(ink):
        points = np.clip(ring * scale + shift, 0.0, size)  # rounding only: the ink is inside the box
        points[:, 1] = height_px - points[:, 1]
        segments.append(np.hstack([points, np.roll(points, -1, axis=0)]))
    edges = np.vstack(segments)
    # only the box of the ink is worked on: text seldom fills its grid
    left, top = (int(v) for v in np.floor(edges[:, :2].min(axis=0)))
    right, bottom = (int(v) for v in np.ceil(edges[:, :2].max(axis=0)))
    right, bottom = min(max(right, left + 1), width_px), min(max(bottom, top + 1), height_px)
    left, top = min(left, right - 1), min(top, bottom - 1)
    edges -= np.array([left, top, left, top], dtype=np.float64)
    grid = np.zeros((height_px, width_px), dtype=np.float32)
    grid[top:bottom, left:right] = _coverage(edges, width_px=right - left, height_px=bottom - top)
    return grid


def _nonzero(outlines: Sequence[FloatArray]) -> shapely.Geometry:
    """Return the area that outlines wind round a number of times other than nought."""
    closed = [np.vstack([outline, outline[:1]]) for outline in outlines]
    which = np.repeat(np.arange(len(closed)), [len(ring) for ring in closed])
    noded = shapely.union_all(
        shapely.linestrings(np.vstack(closed), indices=which)
    )  # cut wherever outlines cross each other or themselves
    pieces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    inside = shapely.get_coordinates(shapely.point_on_surface(pieces))
    starts = np.vstack(outlines)
    ends = np.vstack([np.roll(outline, -1, axis=0) for outline in outlines])
    kept = [_winding(point, starts, ends) != 0 for point in inside]
    return shapely.union_all(pieces[np.array(kept, dtype=bool)])


def _winding(point: FloatArray, starts: FloatArray, ends: FloatArray) -> int:
    """Return how often closed outlines, given as their edges, wind round a point (Sunday's crossing count)."""
    along, to = ends - starts, point - starts
    left = along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]
    up = (starts[:, 1] <= point[1]) & (ends[:, 1] > point[1]) & (left > 0.0)
    down = (starts[:, 1] > point[1]) & (ends[:, 1] <= point[1]) & (left < 0.0)
    return int(np.count_nonzero(up)) - int(np.count_nonzero(down))


def rings_of(ink: shapely.MultiPolygon) -> list[FloatArray]:
    """Return outer rings and holes without their repeated last points."""
    return [
        np.asarray(shapely.get_coordinates(ring)[:-1], dtype=np.float64)
        for ring in shapely.get_rings(shapely.get_parts(ink))
    ]


def _contain(bounds_em: tuple[float, float, float, float], width: float, height: float) -> tuple[float, FloatArray]:
    """Return the scale and the shift that centre the ink's box in a box, as large as fits."""
    x0, y0, x1, y1 = bounds_em
    scale = min(width / (x1 - x0), height / (y1 - y0))
    centre = np.array([x0 + x1, y0 + y1]) / 2.0
    return scale, np.array([width, height]) / 2.0 - scale * centre


def _coverage(segments: FloatArray, *, width_px: int, height_px: int) -> NDArray[np.float32]:
    """Return the exact area of each pixel inside closed rings, given as edges x0, y0, x1, y1 with y down.

    Each edge is cut where it crosses a line of the grid. A piece then lies in one pixel and adds its height to the
    coverage of all pixels to its right, and the part of it to its own.
    """
    pieces = _cut(_cut(segments, axis=1), axis=0)
    column = np.clip(np.floor((pieces[:, 0] + pieces[:, 2]) / 2.0).astype(np.int64), 0, width_px - 1)
    row = np.clip(np.floor((pieces[:, 1] + pieces[:, 3]) / 2.0).astype(np.int64), 0, height_px - 1)
    height = pieces[:, 3] - pieces[:, 1]
    right = (pieces[:, 0] + pieces[:, 2]) / 2.0 - column  # from the pixel's left side to the piece
    grid = np.zeros((height_px, width_px), dtype=np.float32)
    order = np.argsort(row, kind="stable")
    row, column, height, right = row[order], column[order], height[order], right[order]
    stride = width_px + 1
    for top in range(0, height_px, _BAND_ROWS):
        rows = min(_BAND_ROWS, height_px - top)
        part = slice(*np.searchsorted(row, [top, top + rows]))
        cell = (row[part] - top) * stride + column[part]
        own, beyond = height[part] * (1.0 - right[part]), height[part] * right[part]
        sums = np.bincount(cell, weights=own, minlength=rows * stride)
        sums += np.bincount(cell + 1, weights=beyond, minlength=rows * stride)
        share = np.cumsum(sums.reshape(rows, stride), axis=1)[:, :width_px]
        share[np.abs(share) < _NOISE] = 0.0
        grid[top : top + rows] = np.clip(share, 0.0, 1.0)  # past these by rounding only: the rings do not overlap
    return grid


def _cut(segments: FloatArray, *, axis: int) -> FloatArray:
    """Cut edges where x (axis 0) or y (axis 1) is whole."""
    a, b = segments[:, axis], segments[:, axis + 2]
    first = np.floor(np.minimum(a, b)) + 1.0
    count = np.maximum(0, np.ceil(np.maximum(a, b)) - first).astype(np.int64)
    owner = np.repeat(np.arange(len(segments)), count + 1)
    step = np.arange(owner.size) - np.repeat(np.cumsum(count + 1) - (count + 1), count + 1)
    rising = b >= a
    length = np.where(count > 0, b - a, 1.0)
    pieces = segments[owner]

    def at(number: NDArray[np.int64]) -> FloatArray:
        """Return where along its edge the given crossing lies, 0 to 1."""
        n = count[owner]
        nth = np.where(rising[owner], number, n - 1 - number)
        share = (first[owner] + nth - a[owner]) / length[owner]
        return np.where(number < 0, 0.0, np.where(number >= n, 1.0, share))

    begin, end = at(step - 1)[:, None], at(step)[:, None]
    start, along = pieces[:, :2], pieces[:, 2:] - pieces[:, :2]
    return np.hstack([start + begin * along, start + end * along])
