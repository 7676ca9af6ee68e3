"""From the moves of a program to strokes of energy on a board: speed, response of the laser, jitter, beam, height of the surface."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from virtual_bench.machine import Machine
from virtual_bench.motion import Stretch, times_at
from virtual_bench.woods import Wood

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
Height = Callable[[FloatArray, FloatArray], FloatArray]
PIECE_mm = 4.0  # paths that follow no axis are burnt in pieces so long


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Pixels over a part of the board; row 0 is the lowest y. Places are on the board."""

    x0_mm: float
    y0_mm: float
    rows: int
    columns: int
    pixel_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStroke:
    """A line along x (`turned`: along y), pixel by pixel along it, from pixel `first` on."""

    turned: bool
    middle_mm: float  # across, from the grid's edge
    first: int
    core_J_per_mm: Float32
    tail_J_per_mm: Float32
    across_mm: Float32
    tau_s: Float32
    heat_J_per_mm2_K: Float32
    linger_s: Float32

    @property
    def reach_mm(self) -> float:
        """How far across it does anything."""
        return 2.7 * float(self.across_mm.max())


@dataclass(frozen=True, slots=True, kw_only=True)
class MapStroke:
    """A piece of a path in any direction, its fluence on a small map."""

    row: int
    column: int
    fluence_J_per_mm2: Float32
    tau_s: float
    heat_J_per_mm2_K: float
    linger_s: float


@numba.njit(cache=True)
def _answered(commanded, dt, start, rise, fall):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Power step by step: first order, its own time constant up and down."""
    out = np.empty_like(commanded)
    now = start
    for i in range(commanded.size):
        tau = rise if commanded[i] > now else fall
        keep = np.exp(-dt[i] / tau) if tau > 0.0 else 0.0
        middle = np.exp(-0.5 * dt[i] / tau) if tau > 0.0 else 0.0
        out[i] = commanded[i] + (now - commanded[i]) * middle
        now = commanded[i] + (now - commanded[i]) * keep
    return out, now


def _thermal(wood: Wood, tau_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """J/mm² that warm the heated layer by a kelvin, and how long it stays near its top temperature."""
    depth = wood.heat_depth_mm + np.sqrt(wood.diffusivity_mm2_per_s * tau_s)
    return wood.heat_J_per_mm3_K * depth, 0.35 * (tau_s + depth**2 / wood.diffusivity_mm2_per_s)


def strokes_of(
    stretches: Sequence[Stretch],
    grid: Grid,
    *,
    machine: Machine,
    wood: Wood,
    focus_offset_mm: Height,
    rng: np.random.Generator,
) -> list[LineStroke | MapStroke]:
    """Return what the stretches (in board coordinates) do on the grid, in order."""
    found: list[LineStroke | MapStroke] = []
    power = 0.0
    loose: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray]] = []
    for s in stretches:
        late_s = rng.normal(0.0, machine.jitter_s) if machine.jitter_s > 0.0 else 0.0
        if not s.burns and power <= 1e-6:
            _flush(loose, found, grid, machine=machine, wood=wood, focus=focus_offset_mm)
            power = 0.0
            continue
        if s.wait_s > 0.0:
            power = 0.0
        step = min(0.5 * grid.pixel_mm, s.length_mm)
        n = max(1, round(s.length_mm / step))
        places = (np.arange(n) + 0.5) * s.length_mm / n
        dt = np.diff(times_at(s, np.linspace(0.0, s.length_mm, n + 1)))
        speed = s.length_mm / n / dt
        starts = np.array([b for b, _ in s.breaks])
        watts = np.array([machine.power_W(w) for _, w in s.breaks])
        commanded = watts[np.maximum(0, np.searchsorted(starts, places - late_s * speed, side="right") - 1)]
        answered, power = _answered(commanded, dt, power, machine.rise_s, machine.fall_s)
        if not s.burns:
            power = 0.0 if power < 1e-3 else power
        along = abs(s.ux) > 1.0 - 1e-9
        shift = 0.5 * machine.reversal_offset_mm
        px = s.x0_mm + s.ux * places + (np.sign(s.ux) * shift if abs(s.ux) > 1e-9 else 0.0)
        py = s.y0_mm + s.uy * places + (np.sign(s.uy) * shift if abs(s.uy) > 1e-9 else 0.0)
        if along or abs(s.uy) > 1.0 - 1e-9:
            _flush(loose, found, grid, machine=machine, wood=wood, focus=focus_offset_mm)
            line = _line(
                px, py, answered, speed, grid, turned=not along, machine=machine, wood=wood, focus=focus_offset_mm
            )
            if line is not None:
                found.append(line)
        elif answered.max() > 1e-3:
            loose.append((px, py, answered * dt, speed))
            if sum(p[0].size for p in loose) * step > PIECE_mm:
                _flush(loose, found, grid, machine=machine, wood=wood, focus=focus_offset_mm)
    _flush(loose, found, grid, machine=machine, wood=wood, focus=focus_offset_mm)
    return found


def _line(
    px: FloatArray,
    py: FloatArray,
    watts: FloatArray,
    speed: FloatArray,
    grid: Grid,
    *,
    turned: bool,
    machine: Machine,
    wood: Wood,
    focus: Height,
) -> LineStroke | None:
    """A stretch along an axis as energy per length in each pixel along it."""
    lit = np.flatnonzero(watts > 1e-3)
    if lit.size == 0:
        return None
    a, origin, cells = (py, grid.y0_mm, grid.rows) if turned else (px, grid.x0_mm, grid.columns)
    half = int(lit[lit.size // 2])
    w_mid = machine.radii_mm(float(focus(px[half : half + 1], py[half : half + 1])[0]))[int(turned)]
    reach = 2.7 * machine.tail_width * w_mid if machine.tail_share > 0.0 else 2.7 * w_mid
    low = int(np.floor((min(a[lit[0]], a[lit[-1]]) - origin - reach) / grid.pixel_mm))
    high = int(np.ceil((max(a[lit[0]], a[lit[-1]]) - origin + reach) / grid.pixel_mm)) + 1
    length = high - low
    at = (a - origin) / grid.pixel_mm - 0.5 - low
    energy = watts / speed * abs(a[1] - a[0] if a.size > 1 else grid.pixel_mm) / grid.pixel_mm
    index = np.floor(at).astype(np.int64)
    part = at - index
    ok = (index >= 0) & (index < length - 1)
    weight = np.bincount(index[ok], energy[ok] * (1.0 - part[ok]), length)
    weight += np.bincount(index[ok] + 1, energy[ok] * part[ok], length)
    sigma = 0.5 * w_mid / grid.pixel_mm
    core = gaussian_filter1d(weight, sigma, mode="constant", truncate=5.0)
    tail = (
        gaussian_filter1d(weight, sigma * machine.tail_width, mode="constant")
        if machine.tail_share > 0.0
        else 0.0 * core
    )
    order = slice(None) if a[-1] >= a[0] else slice(None, None, -1)
    centres: FloatArray = (np.arange(low, high, dtype=np.float64) + 0.5) * grid.pixel_mm + origin
    v = np.interp(centres, a[order], speed[order])
    cut = slice(max(0, -low), max(0, min(length, cells - low)))
    if cut.stop <= cut.start:
        return None
    across, along = _radii(centres, px, py, turned=turned, machine=machine, focus=focus)
    tau = 2.0 * along / v
    heat, linger = _thermal(wood, tau)
    as32 = [
        np.ascontiguousarray(q[cut], np.float32)
        for q in (core * (1.0 - machine.tail_share), tail * machine.tail_share, across, tau, heat, linger)
    ]
    middle = float(px[lit[0]] - grid.x0_mm) if turned else float(py[lit[0]] - grid.y0_mm)
    return LineStroke(
        turned=turned,
        middle_mm=middle,
        first=low + cut.start,
        core_J_per_mm=as32[0],
        tail_J_per_mm=as32[1],
        across_mm=as32[2],
        tau_s=as32[3],
        heat_J_per_mm2_K=as32[4],
        linger_s=as32[5],
    )


def _radii(
    centres: FloatArray, px: FloatArray, py: FloatArray, *, turned: bool, machine: Machine, focus: Height
) -> tuple[FloatArray, FloatArray]:
    """Beam radii across and along a line, at a few places of it and straight between."""
    some = np.linspace(centres[0], centres[-1], max(2, min(24, int((centres[-1] - centres[0]) / 2.0))))
    z = focus(np.full_like(some, px[0]), some) if turned else focus(some, np.full_like(some, py[0]))
    x, y = (np.array(w) for w in zip(*(machine.radii_mm(float(v)) for v in z), strict=True))
    across, along = (x, y) if turned else (y, x)
    return np.interp(centres, some, across), np.interp(centres, some, along)


def _flush(
    loose: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray]],
    found: list[LineStroke | MapStroke],
    grid: Grid,
    *,
    machine: Machine,
    wood: Wood,
    focus: Height,
) -> None:
    """Turn a gathered piece of path into a map of fluence."""
    if not loose:
        return
    px, py, joules, speed = (np.concatenate(parts) for parts in zip(*loose, strict=True))
    loose.clear()
    w = machine.radius_mm(float(focus(px[:1], py[:1])[0]))
    pad = 2.7 * w
    u = 1.0 / grid.pixel_mm
    c0, r0 = int((px.min() - pad - grid.x0_mm) * u), int((py.min() - pad - grid.y0_mm) * u)
    c1, r1 = int((px.max() + pad - grid.x0_mm) * u) + 2, int((py.max() + pad - grid.y0_mm) * u) + 2
    if c1 <= 0 or r1 <= 0 or c0 >= grid.columns or r0 >= grid.rows:
        return
    shape = (r1 - r0, c1 - c0)
    column, row = (px - grid.x0_mm) * u - 0.5 - c0, (py - grid.y0_mm) * u - 0.5 - r0
    i, j = np.floor(row).astype(np.int64), np.floor(column).astype(np.int64)
    fi, fj = row - i, column - j
    raw = np.zeros(shape[0] * shape[1])
    for di, wi in ((0, 1.0 - fi), (1, fi)):
        for dj, wj in ((0, 1.0 - fj), (1, fj)):
            y, x = np.clip(i + di, 0, shape[0] - 1), np.clip(j + dj, 0, shape[1] - 1)
            raw += np.bincount(y * shape[1] + x, joules * wi * wj, raw.size)
    raw_map = (raw.reshape(shape) * u * u).astype(np.float32)
    fluence = (1.0 - machine.tail_share) * cv2.GaussianBlur(
        raw_map, (0, 0), 0.5 * w * u, borderType=cv2.BORDER_CONSTANT
    )
    if machine.tail_share > 0.0:
        fluence += machine.tail_share * cv2.GaussianBlur(
            raw_map, (0, 0), 0.5 * w * u * machine.tail_width, borderType=cv2.BORDER_CONSTANT
        )
    top, left = max(0, -r0), max(0, -c0)
    fluence = fluence[top : max(top, grid.rows - r0), left : max(left, grid.columns - c0)]
    tau = np.array(2.0 * w / float(np.average(speed, weights=joules + 1e-12)))
    heat, linger = _thermal(wood, tau)
    found.append(
        MapStroke(
            row=r0 + top,
            column=c0 + left,
            fluence_J_per_mm2=np.ascontiguousarray(fluence, np.float32),
            tau_s=float(tau),
            heat_J_per_mm2_K=float(heat),
            linger_s=float(linger),
        )
    )
