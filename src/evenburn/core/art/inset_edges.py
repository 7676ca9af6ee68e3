"""Edges of soft coverage found below one pixel, and moved: the loops behind `inset_ink`.

Compiled; imported late. Lengths are in pixels, coordinates count from the middle of pixel (0, 0), u along columns, v along
rows. A normal points into the ink.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

HAIR_px = 1.6  # a stroke up to this wide has no two edges that coverage can tell apart; it is drawn about its middle
HAIR_LEAST = 0.12  # of a pixel; fainter than an eighth is no stroke
CALM = 0.05  # a gradient of coverage below it says nothing of direction
LEVEL = 0.995  # a normal this near to an axis belongs to an edge that is level or upright
DIAGONAL = 1.4142135623730951


@numba.njit(cache=True, nogil=True)
def _at(picture: Any, row: Any, column: Any) -> Any:
    if row < 0 or column < 0 or row >= picture.shape[0] or column >= picture.shape[1]:
        return 0.0
    return picture[row, column]


@numba.njit(cache=True, nogil=True)
def _between(picture: Any, v: Any, u: Any) -> Any:
    """Return coverage between pixel middles, bilinear."""
    row, column = int(np.floor(v)), int(np.floor(u))
    fv, fu = v - row, u - column
    low = (1.0 - fu) * _at(picture, row, column) + fu * _at(picture, row, column + 1)
    high = (1.0 - fu) * _at(picture, row + 1, column) + fu * _at(picture, row + 1, column + 1)
    return (1.0 - fv) * low + fv * high


@numba.njit(cache=True, nogil=True)
def _inside_px(coverage: Any, nu: Any, nv: Any) -> Any:
    """Return how far a pixel's middle lies inside a straight edge that leaves it so much covered [gustavson2011]."""
    a, b = max(abs(nu), abs(nv)), min(abs(nu), abs(nv))
    corner = 0.5 * b / a
    if coverage < corner:
        return -0.5 * (a + b) + np.sqrt(2.0 * a * b * coverage)
    if coverage < 1.0 - corner:
        return (coverage - 0.5) * a
    return 0.5 * (a + b) - np.sqrt(2.0 * a * b * (1.0 - coverage))


@numba.njit(cache=True, nogil=True)
def _hair(picture: Any, row: Any, column: Any, across_u: Any) -> Any:
    """Return width, place of the middle, and how much wider it is across u (or v), of a hair through a pixel, else 0."""
    du, dv = (1, 0) if across_u else (0, 1)
    here = _at(picture, row, column)
    before, after = _at(picture, row - dv, column - du), _at(picture, row + dv, column + du)
    if here < HAIR_LEAST or before > here or after >= here:
        return 0.0, 0.0, 1.0
    width = before + here + after
    if (
        width > HAIR_px * DIAGONAL
        or max(_at(picture, row - 2 * dv, column - 2 * du), _at(picture, row + 2 * dv, column + 2 * du)) > 0.5 * here
    ):
        return 0.0, 0.0, 1.0
    middle = (after - before) / width
    # the same one step on and one step back tells how the hair leans
    lean = np.zeros(2)
    for side in range(2):
        step = 2 * side - 1
        r, c = row + step * du, column + step * dv
        total, moment = 0.0, 0.0
        for k in range(-2, 3):
            value = _at(picture, r + k * dv, c + k * du)
            total += value
            moment += k * value
        if total < 0.5 * width or total > 2.0 * width:
            lean[side] = np.nan
        else:
            lean[side] = moment / total
    if np.isnan(lean[0]) and np.isnan(lean[1]):
        slope = 0.0
    elif np.isnan(lean[0]):
        slope = lean[1] - middle
    elif np.isnan(lean[1]):
        slope = middle - lean[0]
    else:
        slope = 0.5 * (lean[1] - lean[0])
    if abs(slope) > 1.1:
        return 0.0, 0.0, 1.0
    stretch = np.sqrt(1.0 + slope * slope)
    return (width / stretch, middle, stretch) if width <= HAIR_px * stretch else (0.0, 0.0, 1.0)


@numba.njit(cache=True, nogil=True)
def _table(table: Any, width: Any, spread: Any, alone: Any) -> Any:
    """Return an inset in pixels from a table over widths in units of the spread."""
    place = width / (spread * alone) * (table.size - 1)
    if place >= table.size - 1:
        return table[-1] * spread
    low = int(place)
    return (table[low] + (place - low) * (table[low + 1] - table[low])) * spread


@numba.njit(cache=True, nogil=True)
def _nearer_half(coverage: Any, r: Any, c: Any) -> Any:
    """Return whether an edge runs between this pixel and a neighbour, and passes this one's middle nearer."""
    here = coverage[r, c]
    for k in range(4):
        dv = 1 if k == 0 else -1 if k == 1 else 0
        du = 1 if k == 2 else -1 if k == 3 else 0
        other = _at(coverage, r + dv, c + du)
        if (here >= 0.5) != (other >= 0.5) and abs(here - 0.5) <= abs(other - 0.5) + 1e-6:
            return True
    return False


@numba.njit(cache=True, nogil=True)
def _edges(coverage: Any, hair: Any, seed_of: Any) -> Any:
    """Return edge places (u, v), normals and half-lengths; `seed_of` gets the number of each edge pixel, else -1."""
    rows, columns = coverage.shape
    count = 0
    for fill in range(2):
        if fill == 1:
            found = np.empty((count, 5), np.float32)
            count = 0
        for r in range(rows):
            for c in range(columns):
                here = coverage[r, c]
                if hair[r, c] != 0 or here <= 0.0 or not _nearer_half(coverage, r, c):
                    continue
                gu = _at(coverage, r - 1, c + 1) - _at(coverage, r - 1, c - 1)
                gu += _at(coverage, r + 1, c + 1) - _at(coverage, r + 1, c - 1)
                gu += DIAGONAL * (_at(coverage, r, c + 1) - _at(coverage, r, c - 1))
                gv = _at(coverage, r + 1, c - 1) - _at(coverage, r - 1, c - 1)
                gv += _at(coverage, r + 1, c + 1) - _at(coverage, r - 1, c + 1)
                gv += DIAGONAL * (_at(coverage, r + 1, c) - _at(coverage, r - 1, c))
                steep = np.sqrt(gu * gu + gv * gv)
                if steep < CALM:
                    continue
                if fill == 1:
                    nu, nv = gu / steep, gv / steep
                    inside = _inside_px(here, nu, nv)
                    found[count, 0] = c - inside * nu
                    found[count, 1] = r - inside * nv
                    found[count, 2] = nu
                    found[count, 3] = nv
                    plain = max(abs(nu), abs(nv))
                    # a level or upright edge reaches into the corner it may end in, so that corners stay square
                    found[count, 4] = 1.0 if plain > LEVEL else 0.5 / plain
                    seed_of[r, c] = count
                count += 1
    return found


@numba.njit(cache=True, nogil=True)
def _away(edge: Any, r: Any, c: Any) -> Any:
    """Return the distance of a pixel's middle from a short straight piece of edge."""
    du, dv = c - edge[0], r - edge[1]
    across = du * edge[2] + dv * edge[3]
    beside = max(abs(dv * edge[2] - du * edge[3]) - edge[4], 0.0)
    return np.sqrt(across * across + beside * beside)


@numba.njit(cache=True, nogil=True)
def _spread_seeds(edges: Any, nearest: Any, away: Any, reach: Any) -> None:
    """Give every pixel within reach its nearest edge: two passes over the picture, each there and back."""
    rows, columns = nearest.shape
    for r in range(rows):
        for c in range(columns):
            away[r, c] = reach if nearest[r, c] < 0 else _away(edges[nearest[r, c]], r, c)
    for turn in range(2):
        step = 1 if turn == 0 else -1
        r = 0 if turn == 0 else rows - 1
        for _ in range(rows):
            for sweep in range(2):
                way = 1 if sweep == 0 else -1
                c = 0 if sweep == 0 else columns - 1
                for _ in range(columns):
                    if sweep == 0:
                        for k in range(-1, 2):
                            if 0 <= r - step < rows and 0 <= c + k < columns:
                                other = nearest[r - step, c + k]
                                if other >= 0 and other != nearest[r, c]:
                                    new = _away(edges[other], r, c)
                                    if new < away[r, c]:
                                        away[r, c], nearest[r, c] = new, other
                    if 0 <= c - way < columns:
                        other = nearest[r, c - way]
                        if other >= 0 and other != nearest[r, c]:
                            new = _away(edges[other], r, c)
                            if new < away[r, c]:
                                away[r, c], nearest[r, c] = new, other
                    c += way
            r += step


@numba.njit(cache=True, nogil=True)
def _width_px(coverage: Any, away: Any, edge: Any, way: Any, reach: Any) -> Any:
    """Return how far it is from an edge to the next one, into the ink (way 1) or out of it (way -1)."""
    deepest, before, t = 0.0, 1.0, 0.6
    while t < reach:
        u, v = edge[0] + way * t * edge[2], edge[1] + way * t * edge[3]
        value = _between(coverage, v, u)
        ink = value if way > 0 else 1.0 - value
        if ink < 0.5:
            back = 0.5 * (0.5 - ink) / max(before - ink, 1e-6) if t > 0.6 else 0.0
            return min(max(t - back, 0.6), 2.0 * deepest + 1.0) if deepest > 0.0 else max(t - back, 0.6)
        r, c = int(np.rint(v)), int(np.rint(u))
        if 0 <= r < away.shape[0] and 0 <= c < away.shape[1]:
            deepest = max(deepest, away[r, c])
        elif way < 0:
            return reach
        before = ink
        t += 0.5
    return min(reach, 2.0 * deepest + 1.0)


@numba.njit(cache=True, nogil=True)
def _moved(  # noqa: PLR0917  # numba calls by position
    coverage: Any, stroke: Any, gap: Any, spread_u: Any, spread_v: Any, alone: Any, thinnest: Any
) -> Any:
    rows, columns = coverage.shape
    reach = alone * max(spread_u, spread_v) + 1.0
    hair = np.zeros((rows, columns), np.uint8)
    for r in range(rows):
        for c in range(columns):
            if coverage[r, c] < HAIR_LEAST:
                continue
            for across_u in (True, False):
                width, _, _ = _hair(coverage, r, c, across_u)
                if width > 0.0:
                    du, dv = (1, 0) if across_u else (0, 1)
                    for k in range(-1, 2):
                        if 0 <= r + k * dv < rows and 0 <= c + k * du < columns:
                            hair[r + k * dv, c + k * du] |= 1
                    hair[r, c] |= 2 if across_u else 4
    nearest = np.full((rows, columns), -1, np.int32)
    edges = _edges(coverage, hair, nearest)
    away = np.empty((rows, columns), np.float32)
    _spread_seeds(edges, nearest, away, reach)
    shift = np.empty(edges.shape[0], np.float32)
    for i in range(edges.shape[0]):
        spread = np.sqrt((edges[i, 2] * spread_u) ** 2 + (edges[i, 3] * spread_v) ** 2)
        ink = _width_px(coverage, away, edges[i], 1.0, reach)
        bare = _width_px(coverage, away, edges[i], -1.0, reach)
        moved = _table(stroke, ink, spread, alone) + _table(gap, bare, spread, alone) - stroke[-1] * spread
        moved = max(moved, -0.5 * (bare - thinnest))
        shift[i] = min(moved, 0.5 * (ink - thinnest))
    burn = np.zeros((rows, columns), np.bool_)
    for r in range(rows):
        for c in range(columns):
            covered = coverage[r, c] >= 0.5 and hair[r, c] == 0
            if nearest[r, c] < 0 or away[r, c] >= reach:
                burn[r, c] = covered
            else:
                burn[r, c] = (away[r, c] if covered else -away[r, c]) >= shift[nearest[r, c]]
    for r in range(rows):
        for c in range(columns):
            for bit in (2, 4):
                if hair[r, c] & bit:
                    width, middle, stretch = _hair(coverage, r, c, bit == 2)
                    _stamp(
                        burn,
                        r,
                        c,
                        width,
                        middle,
                        stretch,
                        bit == 2,
                        stroke,
                        spread_u if bit == 2 else spread_v,
                        alone,
                        thinnest,
                    )
    return burn


@numba.njit(cache=True, nogil=True)
def _stamp(  # noqa: PLR0917  # as `_moved`
    burn: Any,
    row: Any,
    column: Any,
    width: Any,
    middle: Any,
    stretch: Any,
    across_u: Any,
    stroke: Any,
    spread: Any,
    alone: Any,
    thinnest: Any,
) -> None:
    """Burn one step of a hair as wide as it has to be commanded, across its middle."""
    half = 0.5 * stretch * max(width - 2.0 * _table(stroke, width, spread, alone), thinnest)
    du, dv = (1, 0) if across_u else (0, 1)
    for k in range(-int(half + 2.0), int(half + 2.0) + 1):
        r, c = row + k * dv, column + k * du
        if abs(k - middle) <= half and 0 <= r < burn.shape[0] and 0 <= c < burn.shape[1]:
            burn[r, c] = True


def compiled() -> Callable[..., Any]:
    """Return the compiled mover of edges: coverage, the tables, the spreads in u and v. Source: `inset_ink`."""
    moved: Callable[..., Any] = _moved
    return moved
