# ruff: noqa: FBT003, PLR0917, RUF046  # compiled code takes its arguments by position, and its whole numbers as it made them
"""Compiled loops of the zoomable proof: lines to energy, energy to what is seen, averages, turning, colour.

Imported late: numba takes half a second. Pictures are float32, (rows, columns), unless stated.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numba
import numpy as np

REACH_SIGMAS = 4.0  # a Gaussian is followed so far; 6e-5 of it lies beyond
FORGOTTEN = 12.0  # lengths after which nothing is left of the late laser but 6e-6


@numba.njit(cache=True, nogil=True)
def _owed(edges: Any, power: Any, begin: Any, end: Any, at: Any, forward: Any, place: Any, lag: Any) -> Any:
    """Return what the laser still owes where a window begins, as W mm: what was asked for and not yet given.

    Parameters
    ----------
    begin, end : of the line's edges; at : the stretch in which `place` lies.
    """
    owed = 0.0
    k = at
    while begin <= k < end - 1:
        # distances behind the window's edge, near and far, in the direction of travel
        near, far = (place - edges[k + 1], place - edges[k]) if forward else (edges[k] - place, edges[k + 1] - place)
        if near > FORGOTTEN * lag:
            break
        if far > 0.0:
            owed += power[k] * lag * (math.exp(-max(near, 0.0) / lag) - math.exp(-far / lag))
        k += -1 if forward else 1
    return owed


@numba.njit(cache=True, nogil=True)
def _energy(
    first: Any, edges: Any, power: Any, forward: Any, low: Any, origin: Any, pixel: Any, lag: Any, out: Any
) -> None:
    """Put the energy of lines into pixels along them, as W mm, late as the laser is.

    Parameters
    ----------
    first, edges, power, forward : of a `LineTable`; low : the line that the first row of `out` is.
    origin, pixel : lower edge of the first pixel, and its length. [mm]
    lag : v τ. [mm]

    Source
    ------
    As `collect` and its response: energy enters evenly over one pixel and leaves exponentially later.
    """
    lines, columns = out.shape
    end = origin + columns * pixel
    keep = math.exp(-pixel / lag) if lag > 0.0 else 0.0
    lengths = lag / pixel
    now, stored = 1.0 - lengths * (1.0 - keep), lengths * (1.0 - keep)
    for row in range(lines):
        line = low + row
        out[row, :] = 0.0
        start, stop = first[line], first[line + 1]
        at = start + max(np.searchsorted(edges[start:stop], origin) - 1, 0)
        k = at
        while k < stop - 1 and edges[k] < end:
            if power[k] != 0.0:
                a, b = (max(edges[k], origin) - origin) / pixel, (min(edges[k + 1], end) - origin) / pixel
                i, j = int(a), int(b)
                each = power[k] * pixel
                if i == j:
                    if i < columns:
                        out[row, i] += each * (b - a)
                elif b > a:
                    out[row, i] += each * (i + 1 - a)
                    for c in range(i + 1, min(j, columns)):
                        out[row, c] += each
                    if j < columns:
                        out[row, j] += each * (b - j)
            k += 1
        if lag > 0.0:
            if forward[line]:
                owed = _owed(edges, power, start, stop, at, True, origin, lag)
                for c in range(columns):
                    given = out[row, c]
                    out[row, c] = owed * (1.0 - keep) + given * now
                    owed = owed * keep + given * stored
            else:
                owed = _owed(edges, power, start, stop, max(k - 1, at), False, end, lag)
                for c in range(columns - 1, -1, -1):
                    given = out[row, c]
                    out[row, c] = owed * (1.0 - keep) + given * now
                    owed = owed * keep + given * stored


@numba.njit(cache=True, nogil=True)
def _seen(
    lines: Any,
    skip: Any,
    cross: Any,
    sigma: Any,
    origin: Any,
    pixel: Any,
    fine: Any,
    scale: Any,
    look: Any,
    top: Any,
    out: Any,
) -> None:
    """Spread lines across themselves and look up what is seen, each pixel the mean of `fine` × `fine` smaller ones.

    Parameters
    ----------
    lines : (N, …) energy along lines at places `cross`, the window beginning `skip` pixels in. [W mm]
    origin, pixel : lower edge of the first small pixel across, and its width. [mm]
    scale : from W mm in a small pixel's length to J/mm.
    look : luminance at even steps of the square root of dose, up to `top`. [J/mm²]
    """
    rows, columns = out.shape
    wide = columns * fine
    total = np.empty(wide, np.float32)
    steps = look.size - 1
    per_root = np.float32(steps / math.sqrt(top))
    last = np.float32(steps) - np.float32(1e-3)
    root2 = sigma * math.sqrt(2.0)
    begin, count = 0, cross.size
    for r in range(rows):
        out[r, :] = 0.0
        for part in range(fine):
            low = origin + (r * fine + part) * pixel
            while begin < count and cross[begin] < low - REACH_SIGMAS * sigma:
                begin += 1
            total[:] = 0.0
            k, dark = begin, False
            while k < count and cross[k] < low + pixel + REACH_SIGMAS * sigma:
                share = math.erf((low + pixel - cross[k]) / root2) - math.erf((low - cross[k]) / root2)
                w = np.float32(0.5 * share / pixel * scale)
                for c in range(wide):
                    total[c] += w * lines[k, skip + c]
                dark = True
                k += 1
            if not dark:
                for c in range(columns):
                    out[r, c] += look[0] * fine
                continue
            for c in range(columns):
                seen = np.float32(0.0)
                for s in range(c * fine, (c + 1) * fine):
                    place = min(np.sqrt(max(total[s], np.float32(0.0))) * per_root, last)
                    i = int(place)
                    f = place - np.float32(i)
                    seen += look[i] + f * (look[i + 1] - look[i])
                out[r, c] += seen
    if fine > 1:
        out *= np.float32(1.0 / (fine * fine))


@numba.njit(cache=True, nogil=True)
def _looked_up(dose: Any, look: Any, top: Any, fine: Any, out: Any) -> None:
    """Look up what is seen of a map of doses, each pixel the mean of `fine` × `fine` smaller ones; as `_seen`."""
    rows, columns = out.shape
    steps = look.size - 1
    per_root = np.float32(steps / math.sqrt(top))
    last = np.float32(steps) - np.float32(1e-3)
    each = np.float32(1.0 / (fine * fine))
    for r in range(rows):
        for c in range(columns):
            seen = np.float32(0.0)
            for a in range(r * fine, (r + 1) * fine):
                for b in range(c * fine, (c + 1) * fine):
                    place = min(np.sqrt(max(dose[a, b], np.float32(0.0))) * per_root, last)
                    i = int(place)
                    f = place - np.float32(i)
                    seen += look[i] + f * (look[i + 1] - look[i])
            out[r, c] = seen * each


@numba.njit(cache=True, nogil=True)
def _dots(start: Any, step: Any, energy: Any, origin_x: Any, origin_y: Any, pixel: Any, apart: Any, out: Any) -> None:
    """Lay followed pieces down as dots, each split among the four nearest pixels; as `traced_map_J`.

    Parameters
    ----------
    apart : of dots at most, in pixels.
    """
    rows, columns = out.shape
    for n in range(energy.size):
        x, y = (start[n, 0] - origin_x) / pixel - 0.5, (start[n, 1] - origin_y) / pixel - 0.5
        dx, dy = step[n, 0] / pixel, step[n, 1] / pixel
        if max(x, x + dx) < -1.0 or min(x, x + dx) > columns or max(y, y + dy) < -1.0 or min(y, y + dy) > rows:
            continue
        count = max(int(math.ceil(math.hypot(dx, dy) / apart)), 1)
        each = energy[n] / count
        for k in range(count):
            share = (k + 0.5) / count
            u, v = x + share * dx, y + share * dy
            c, r = int(math.floor(u)), int(math.floor(v))
            fu, fv = u - c, v - r
            if r >= 0 and r < rows:
                if c >= 0 and c < columns:
                    out[r, c] += each * (1.0 - fu) * (1.0 - fv)
                if c + 1 >= 0 and c + 1 < columns:
                    out[r, c + 1] += each * fu * (1.0 - fv)
            if r + 1 >= 0 and r + 1 < rows:
                if c >= 0 and c < columns:
                    out[r + 1, c] += each * (1.0 - fu) * fv
                if c + 1 >= 0 and c + 1 < columns:
                    out[r + 1, c + 1] += each * fu * fv


@numba.njit(cache=True, nogil=True)
def _averaged(
    source: Any, origin_x: Any, origin_y: Any, step: Any, x0: Any, y0: Any, pixel: Any, outside: Any, out: Any
) -> None:
    """Average a picture over the pixels of another, by exact area; where pixels are smaller, between neighbours.

    Parameters
    ----------
    source : uint8, uint16 or float32; its lower left corner and its pixels in mm.
    x0, y0, pixel : of `out`, likewise.
    outside : what stands beyond the source.
    """
    rows, columns = out.shape
    high, wide = source.shape
    box = max(pixel, step)
    line = np.empty(wide, np.float32)
    part = np.float32(step / box)
    for r in range(rows):
        low = (y0 + (r + 0.5) * pixel - 0.5 * box - origin_y) / step
        top = low + box / step
        first, last = int(math.floor(low)), int(math.ceil(top))
        left = int(math.floor((x0 + 0.5 * pixel - 0.5 * box - origin_x) / step))
        right = int(math.ceil((x0 + (columns - 0.5) * pixel + 0.5 * box - origin_x) / step))
        left, right = max(left, 0), min(right, wide)
        covered = np.float32(0.0)
        line[max(left, 0) : max(right, 0)] = 0.0
        for j in range(max(first, 0), min(last, high)):
            w = np.float32(min(top, j + 1.0) - max(low, float(j))) * part
            covered += w
            for i in range(left, right):
                line[i] += w * np.float32(source[j, i])
        rest = (np.float32(1.0) - covered) * outside
        for c in range(columns):
            a = (x0 + (c + 0.5) * pixel - 0.5 * box - origin_x) / step
            b = a + box / step
            total, share = np.float32(0.0), np.float32(0.0)
            for i in range(max(int(math.floor(a)), 0), min(int(math.ceil(b)), wide)):
                w = np.float32(min(b, i + 1.0) - max(a, float(i))) * part
                total += w * (line[i] + rest)
                share += w
            out[r, c] = total + (np.float32(1.0) - share) * outside


@numba.njit(cache=True, nogil=True)
def _turned(source: Any, first_u: Any, first_v: Any, du: Any, dv: Any, out: Any) -> None:
    """Read a picture along turned rows, between its pixels; the first place, and how it moves along x and along y, in pixels."""
    rows, columns = out.shape
    high, wide = source.shape
    for r in range(rows):
        for c in range(columns):
            u = first_u + c * du[0] + r * du[1]
            v = first_v + c * dv[0] + r * dv[1]
            i, j = min(max(int(math.floor(u)), 0), wide - 2), min(max(int(math.floor(v)), 0), high - 2)
            fu, fv = np.float32(min(max(u - i, 0.0), 1.0)), np.float32(min(max(v - j, 0.0), 1.0))
            low = source[j, i] + fu * (source[j, i + 1] - source[j, i])
            up = source[j + 1, i] + fu * (source[j + 1, i + 1] - source[j + 1, i])
            out[r, c] = low + fv * (up - low)


@numba.njit(cache=True, nogil=True)
def _painted(
    seen: Any,
    grain: Any,
    cover: Any,
    lightness: Any,
    colours: Any,
    bare: Any,
    span: Any,
    hue: Any,
    around: Any,
    out: Any,
) -> None:
    """Give a picture of luminances its colours.

    Parameters
    ----------
    lightness : L* at even steps of the square root of luminance, 0–1.
    colours : (shares, levels, 3) as `colour_table`; bare, span : L* of the bare surface, and from there to the full tone.
    hue : how much of the grain moves along that way.
    cover : how much of each pixel is board, 0–1, or empty where all of it is; `around` is the colour beside it.
    out : (rows, columns, 3) uint8.
    """
    rows, columns = seen.shape
    shares, levels = colours.shape[0] - 1, colours.shape[1] - 1
    steps = lightness.size - 1
    last = np.float32(steps) - np.float32(1e-3)
    per_level = np.float32(levels / 100.0)
    per_share = np.float32(shares / span)
    edged = cover.size > 0
    for r in range(rows):
        for c in range(columns):
            place = min(np.sqrt(max(seen[r, c], np.float32(0.0))) * np.float32(steps), last)
            i = int(place)
            tone = lightness[i] + (place - np.float32(i)) * (lightness[i + 1] - lightness[i])
            level = int(
                min(max((tone + grain[r, c]) * per_level + np.float32(0.5), np.float32(0.0)), np.float32(levels))
            )
            share = int(
                min(
                    max((tone + hue * grain[r, c] - bare) * per_share + np.float32(0.5), np.float32(0.0)),
                    np.float32(shares),
                )
            )
            for k in range(3):
                out[r, c, k] = colours[share, level, k]
            if edged and cover[r, c] < 1.0:
                part = cover[r, c]
                for k in range(3):
                    out[r, c, k] = int(part * out[r, c, k] + (1.0 - part) * around[k] + 0.5)


@numba.njit(cache=True, nogil=True)
def _covered(ends: Any, x0: Any, y0: Any, pixel: Any, fine: Any, out: Any) -> None:
    """Add up how much of each pixel lies inside outlines, row 0 lowest, each pixel `fine` rows of exact width.

    Parameters
    ----------
    ends : (N, 4) x and y of both ends of each edge, what is inside at its left. [mm]
    out : (rows, columns + 1), zeros; its last column is for what begins beyond.

    Source
    ------
    Own derivation: along a row each edge adds, from where it crosses, 1 where it goes down and −1 where it goes up.
    """
    rows, wide = out.shape
    columns = wide - 1
    each = 1.0 / fine
    for n in range(ends.shape[0]):
        ax, ay = (ends[n, 0] - x0) / pixel, (ends[n, 1] - y0) / pixel * fine - 0.5
        bx, by = (ends[n, 2] - x0) / pixel, (ends[n, 3] - y0) / pixel * fine - 0.5
        if ay == by:
            continue
        sign = each if ay > by else -each
        slope = (bx - ax) / (by - ay)
        begin, end = max(int(math.ceil(min(ay, by))), 0), min(int(math.ceil(max(ay, by))), rows * fine)
        for line in range(begin, end):
            x = min(max(ax + (line - ay) * slope, 0.0), float(columns))
            c = min(int(x), columns - 1)
            out[line // fine, c] += sign * (c + 1 - x)
            out[line // fine, c + 1] += sign * (x - c)
    for r in range(rows):
        total = 0.0
        for c in range(wide):
            total += out[r, c]
            out[r, c] = total


def compiled() -> dict[str, Callable[..., Any]]:
    """Return the compiled loops by name; arguments by position, as described where they are written. Source: `window`."""
    return {
        "energy": _energy,
        "seen": _seen,
        "looked_up": _looked_up,
        "dots": _dots,
        "averaged": _averaged,
        "turned": _turned,
        "painted": _painted,
        "covered": _covered,
    }
