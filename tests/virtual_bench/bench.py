"""The virtual bench: one machine, one lot of wood, boards that differ, programs burnt on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from virtual_bench import reaction
from virtual_bench.board import Board
from virtual_bench.grain import Grain, grain_of
from virtual_bench.machine import Machine
from virtual_bench.motion import Stretch, program_s, stretches_of
from virtual_bench.ngc import moves_of
from virtual_bench.strokes import Grid, LineStroke, MapStroke, strokes_of
from virtual_bench.woods import WOODS, Wood, lot_of

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
TILE_rows = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A program and the focus offset that the person set for it. [mm]"""

    text: str
    focus_offset_mm: float


class Bench:
    """A bench at random from a seed, with one lot of one wood lying beside it.

    Parameters
    ----------
    seed : everything at random follows from it: machine, lot, boards, photographs.
    wood : a name of `virtual_bench.woods.WOODS`, or a Wood.
    machine : true values to hold; the rest is drawn. A Machine is taken as it is.
    lot : number of the lot; another one is of the same wood.
    ideal : no grain, no scatter of boards and lots.
    """

    def __init__(
        self,
        seed: int,
        wood: str | Wood,
        machine: Machine | dict[str, Any] | None = None,
        *,
        lot: int = 0,
        ideal: bool = False,
    ) -> None:
        kind = WOODS[wood] if isinstance(wood, str) else wood
        self.seed, self.ideal = seed, ideal
        self.key = [seed, sum((i + 1) * ord(c) for i, c in enumerate(kind.name)), lot]
        if isinstance(machine, Machine):
            self.machine = machine
        else:
            self.machine = Machine.drawn(np.random.default_rng([seed, 1]), **(machine or {}))
        self.lot = kind if ideal else lot_of(kind, np.random.default_rng([*self.key, 2]))

    def stopwatch_s(self, program_text: str, *, hand_sd_s: float = 0.0, take: int = 0) -> float:
        """Time of a program from its first point on; a person's hand may add its own scatter."""
        text = _moves(program_text, self.machine)
        true = program_s(text, self.machine)
        return true + float(np.random.default_rng([*self.key, 3, take]).normal(0.0, hand_sd_s)) if hand_sd_s else true

    def burn(
        self,
        program: str | Sequence[Job],
        board_size_mm: tuple[float, float],
        origin_bed_mm: tuple[float, float],
        focus_offset_mm: float = 0.0,
        *,
        warp_mm: float = 0.0,
        board: int = 0,
        face: int = 0,
        map_mm: float = 0.05,
        pixel_mm: float | None = None,
    ) -> Board:
        """Burn one program, or several one after the other, on a board and return it.

        Parameters
        ----------
        origin_bed_mm : the board's lower left corner on the bed. [mm]
        focus_offset_mm : of a single program; jobs have their own. [mm]
        warp_mm : the surface leaves the plane by up to ± so much, none at its middle. [mm]
        board, face : number of the board within the lot, and which face of it. The same number burns alike.
        map_mm, pixel_mm : pixels of the answer and of the computation (a whole fraction of them; None: by the beam). [mm]
        """
        jobs = [Job(text=program, focus_offset_mm=focus_offset_mm)] if isinstance(program, str) else list(program)
        rng = np.random.default_rng([*self.key, 10 + board])
        wood, bare_L, absorbed = self._board_of(rng)
        height = self._height(np.random.default_rng([*self.key, 10 + board, 7]), board_size_mm, warp_mm=warp_mm)
        face_rng = np.random.default_rng([*self.key, 10 + board, 20 + face])
        plain = replace(wood, ring_bare=0.0, ring_beam=0.0, fibre_bare=0.0, pores=0.0, blotch_beam=0.0)
        grain = grain_of(plain if self.ideal else wood, board_size_mm, absorbed=absorbed, rng=face_rng)
        if self.ideal:
            grain = Grain(absorbed=np.full_like(grain.absorbed, absorbed), bare=np.ones_like(grain.bare))
        w = min(self.machine.radius_mm(j.focus_offset_mm) for j in jobs) if jobs else 1.0
        fold = max(1, round(map_mm / (pixel_mm or (0.05 if w > 0.14 else 0.025))))
        columns, rows = (round(s / map_mm) * fold for s in board_size_mm)
        grid = Grid(x0_mm=0.0, y0_mm=0.0, rows=rows, columns=columns, pixel_mm=map_mm / fold)
        strokes: list[LineStroke | MapStroke] = []
        burn_rng = np.random.default_rng([*self.key, 10 + board, 30 + face])
        for job in jobs:
            stretches = [
                replace(s, x0_mm=s.x0_mm - origin_bed_mm[0], y0_mm=s.y0_mm - origin_bed_mm[1])
                for s in _moves(job.text, self.machine)
            ]

            def focus(x: FloatArray, y: FloatArray, offset: float = job.focus_offset_mm) -> FloatArray:
                return np.asarray(offset - height(x, y))

            strokes += strokes_of(stretches, grid, machine=self.machine, wood=wood, focus_offset_mm=focus, rng=burn_rng)
        bands, dose, dwell = _burnt(
            strokes, grid, wood=wood, grain=grain, bare_L=bare_L, fold=fold, machine=self.machine
        )
        return Board(
            bands=bands,
            map_mm=map_mm,
            size_mm=board_size_mm,
            origin_bed_mm=origin_bed_mm,
            bare_L=bare_L,
            seed=self.seed * 1000 + board,
            dose_J_per_mm2=dose,
            dwell_s=dwell,
        )

    def _board_of(self, rng: np.random.Generator) -> tuple[Wood, float, float]:
        """A board of the lot: wood, bare tone, share of the beam that it absorbs."""
        if self.ideal:
            return self.lot, self.lot.bare_L, self.lot.absorbed
        absorbed = float(np.clip(self.lot.absorbed * np.exp(rng.normal(0.0, self.lot.board_beam)), 0.3, 0.995))
        bare_L = float(self.lot.bare_L + rng.normal(0.0, self.lot.board_bare_L))
        wet = float(self.lot.water_J_per_mm2 * np.exp(rng.normal(0.0, 0.15)))
        return replace(self.lot, water_J_per_mm2=wet), bare_L, absorbed

    def _height(self, rng: np.random.Generator, size_mm: tuple[float, float], *, warp_mm: float) -> Any:
        """Height of the surface over where it was focused, its middle, as a function of places on the board. [mm]"""
        cup, bow, twist = rng.normal(0.0, 1.0), rng.normal(0.0, 0.5), rng.normal(0.0, 0.4)
        tx, ty = self.machine.tilt_mm_per_m
        w, h = size_mm

        def shape(x: FloatArray, y: FloatArray) -> FloatArray:
            u, v = 2.0 * np.asarray(x) / w - 1.0, 2.0 * np.asarray(y) / h - 1.0
            return np.asarray(cup * v**2 + bow * u**2 + twist * u * v)

        edge = np.linspace(0.0, 1.0, 21)
        gx, gy = np.meshgrid(edge * w, edge * h)
        scale = warp_mm / max(1e-9, float(np.abs(shape(gx, gy)).max()))

        def height(x: FloatArray, y: FloatArray) -> FloatArray:
            slope = 1e-3 * (tx * (np.asarray(x) - 0.5 * w) + ty * (np.asarray(y) - 0.5 * h))
            return np.asarray(scale * shape(x, y) + slope)

        return height


def _moves(text: str, machine: Machine) -> list[Stretch]:
    return stretches_of(moves_of(text, rapid_mm_per_s=machine.rapid_mm_per_s), machine)


def _burnt(
    strokes: Sequence[LineStroke | MapStroke],
    grid: Grid,
    *,
    wood: Wood,
    grain: Grain,
    bare_L: float,
    fold: int,
    machine: Machine,
) -> tuple[Float32, Float32, Float32]:
    """Run the strokes over the grid, a band of rows at a time; what comes out is turned so that row 0 is the highest y."""
    look = reaction.look_of(wood, bare_L=bare_L)
    law, rates = reaction.law_of(wood), reaction.rates_of(wood)
    shape = (grid.rows // fold, grid.columns // fold)
    bands = np.empty((*shape, 6), np.float32)
    dose, dwell = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    high = max(1, TILE_rows // fold) * fold
    span = np.array([_rows_of(s, grid) for s in strokes]).reshape(-1, 2)
    for low in range(0, grid.rows, high):
        top = min(grid.rows, low + high)
        p = grid.pixel_mm
        box = (0.0, low * p, grid.columns * p, top * p)
        absorbed, bare = grain.window(box, (top - low, grid.columns))
        tile = reaction.Tile.bare(absorbed, bare, wood.water_J_per_mm2)
        for n in np.flatnonzero((span[:, 0] < top) & (span[:, 1] > low)).tolist():
            _apply(strokes[n], tile, low, top, grid=grid, machine=machine, law=law, rates=rates)
        part = slice(low // fold, top // fold)
        bands[part] = look.bands(tile, fold=fold)
        dose[part] = _folded(tile.dose, fold)
        dwell[part] = _folded(tile.dwell, fold) / np.maximum(dose[part], 1e-9)
    return bands[::-1].copy(), dose[::-1].copy(), dwell[::-1].copy()


def _rows_of(s: LineStroke | MapStroke, grid: Grid) -> tuple[float, float]:
    """Rows that a stroke may touch."""
    if isinstance(s, MapStroke):
        return s.row, s.row + s.fluence_J_per_mm2.shape[0]
    if s.turned:
        return s.first, s.first + s.core_J_per_mm.size
    return (s.middle_mm - s.reach_mm) / grid.pixel_mm - 1.0, (s.middle_mm + s.reach_mm) / grid.pixel_mm + 2.0


def _folded(values: Float32, fold: int) -> Float32:
    rows, columns = values.shape
    return np.asarray(values.reshape(rows // fold, fold, columns // fold, fold).mean(axis=(1, 3)), np.float32)


def _apply(
    s: LineStroke | MapStroke,
    tile: reaction.Tile,
    low: int,
    top: int,
    *,
    grid: Grid,
    machine: Machine,
    law: Float32,
    rates: Float32,
) -> None:
    """Burn what of a stroke falls on the rows of a tile."""
    p = grid.pixel_mm
    if isinstance(s, MapStroke):
        first, last = max(low, s.row), min(top, s.row + s.fluence_J_per_mm2.shape[0])
        if last <= first:
            return
        part = np.ascontiguousarray(s.fluence_J_per_mm2[first - s.row : last - s.row])
        burn_map: Any = reaction.burn_map
        burn_map(*tile.state(), first - low, s.column, part, s.tau_s, s.heat_J_per_mm2_K, s.linger_s, law, rates)
        return
    from_px = int(np.floor((s.middle_mm - s.reach_mm) / p))
    to_px = int(np.ceil((s.middle_mm + s.reach_mm) / p)) + 1
    arrays = (s.core_J_per_mm, s.tail_J_per_mm, s.across_mm, s.tau_s, s.heat_J_per_mm2_K, s.linger_s)
    if s.turned:
        first, last = max(low, s.first), min(top, s.first + s.core_J_per_mm.size)
        if last <= first:
            return
        c0, c1 = max(0, from_px), min(grid.columns, to_px)
        cut = tuple(np.ascontiguousarray(a[first - s.first : last - s.first]) for a in arrays)
        state, start, middle = tile.state(turned=True), first - low, s.middle_mm
    else:
        c0, c1 = max(low, from_px) - low, min(top, to_px) - low
        cut, state, start, middle = arrays, tile.state(), s.first, s.middle_mm - low * p
    if c1 <= c0:
        return
    core, tail, across, tau, heat, linger = cut
    burn_line: Any = reaction.burn_line  # compiled; mypy takes it for something that counts its arguments
    burn_line(*state, c0, c1, start, middle, p, core, tail, across, machine.tail_width, tau, heat, linger, law, rates)
