"""The dose map: energy per area that a stream of events leaves, at any scale."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.timing import trace_times_s
from evenburn.core.nouns.events import Event, Sweep, Trace
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]
DoseArray = NDArray[np.float32]
Box = tuple[float, float, float, float]

RESPONSE_LENGTHS = 8.0  # the laser's exponential answer is followed until e⁻⁸ of it is left
DOTS_PER_PIXEL = 2.0  # a followed path is laid down as dots half a pixel apart
DOTS_AT_ONCE = 1_000_000
SPLIT_VARIANCE = 1.0 / 6.0  # of splitting between two pixels by distance, f (1 − f), over all f. [pixel²]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseGrid:
    """A window on the bed and its pixels; row 0 is lowest, [row=y, column=x].

    `box_mm` is (x0, y0, x1, y1); pixels may be finer across than along. [mm]
    """

    x0_mm: float
    y0_mm: float
    pixel_x_mm: float
    pixel_y_mm: float
    rows: int
    columns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LineEnergy:
    """Energy put into each pixel by lines burnt in the + and in the − direction, before beam and response. [J]

    `traced_J` is what followed paths put down, in whatever direction; None where there is no path. Their power follows
    their speed, and how late the laser answers is left out of account.
    """

    grid: DoseGrid
    axis: Axis
    speed_mm_per_s: float
    forward_J: DoseArray
    backward_J: DoseArray
    traced_J: DoseArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TracedPieces:
    """The burning pieces of followed paths: (N, 2) where each begins and how far it goes, (N,) its energy."""

    start_mm: FloatArray
    step_mm: FloatArray
    energy_J: FloatArray


def trace_energy_J(machine: Machine, trace: Trace) -> FloatArray:
    """Return the energy of each piece of a followed path, (N,): power times time. [J] Definition."""
    return np.asarray(trace.power_W * trace_times_s(machine, trace), dtype=np.float64)


def traced_pieces(events: Iterable[Event], *, machine: Machine | None) -> TracedPieces | None:
    """Return the burning pieces of all followed paths, None where there is no path.

    Parameters
    ----------
    machine : whose corners slow the head.

    Raises
    ------
    ValueError
        If there is a path and no machine.

    Source
    ------
    Definition.
    """
    starts, steps, energies = [], [], []
    for event in events:
        if isinstance(event, Trace):
            if machine is None:
                raise ValueError("a followed path was handed over without the machine whose corners slow it")
            energy = trace_energy_J(machine, event)
            burns = energy > 0.0
            starts.append(event.points_mm[:-1][burns])
            steps.append(np.diff(event.points_mm, axis=0)[burns])
            energies.append(energy[burns])
    if not energies:
        return None
    return TracedPieces(
        start_mm=np.concatenate(starts), step_mm=np.concatenate(steps), energy_J=np.concatenate(energies)
    )


def traced_map_J(pieces: TracedPieces, grid: DoseGrid) -> DoseArray:
    """Return the energy that followed paths put into each pixel, row 0 lowest. [J]

    Each piece is taken as dots half a pixel apart, each split among the four nearest pixels by distance.

    Source
    ------
    Own derivation: split so that energy is conserved and nothing is moved.
    """
    pixel = np.array([grid.pixel_x_mm, grid.pixel_y_mm])
    origin = np.array([grid.x0_mm, grid.y0_mm])
    size = np.array([grid.columns, grid.rows])
    low = (np.minimum(pieces.start_mm, pieces.start_mm + pieces.step_mm) - origin) / pixel
    high = (np.maximum(pieces.start_mm, pieces.start_mm + pieces.step_mm) - origin) / pixel
    near = np.flatnonzero(((high > -1.0) & (low < size + 1.0)).all(axis=1))
    start, step = (pieces.start_mm[near] - origin) / pixel, pieces.step_mm[near] / pixel
    energy = pieces.energy_J[near]
    count = np.maximum(np.ceil(DOTS_PER_PIXEL * np.hypot(step[:, 0], step[:, 1])), 1.0).astype(np.int64)
    dots_before = np.concatenate(([0], np.cumsum(count)))
    total = np.zeros(grid.rows * grid.columns)
    first = 0
    while first < near.size:  # as many pieces at a time as memory takes, at least one
        last = max(int(np.searchsorted(dots_before, dots_before[first] + DOTS_AT_ONCE, side="right")) - 1, first + 1)
        dots = count[first:last]
        owner = np.repeat(np.arange(first, last), dots)
        nth = np.arange(owner.size) - np.repeat(dots_before[first:last] - dots_before[first], dots)
        place = start[owner] + ((nth + 0.5) / count[owner])[:, None] * step[owner] - 0.5
        amount = energy[owner] / count[owner]
        corner = np.floor(place)
        part = place - corner
        for column, row in ((0, 0), (1, 0), (0, 1), (1, 1)):
            at = corner + np.array([column, row])
            inside = ((at >= 0.0) & (at < size)).all(axis=1)
            share = np.abs(1 - column - part[:, 0]) * np.abs(1 - row - part[:, 1]) * amount
            index = (at[inside, 1] * grid.columns + at[inside, 0]).astype(np.int64)
            total += np.bincount(index, weights=share[inside], minlength=total.size)
        first = last
    return total.reshape(grid.rows, grid.columns).astype(np.float32)


def collect(
    events: Iterable[Event], grid: DoseGrid, *, reversal_offset_mm: float = 0.0, machine: Machine | None = None
) -> LineEnergy:
    """Return the energy that the sweeps and followed paths of one program put into each pixel of a window.

    Energy along a line is split among pixels by exact length, across lines between the two nearest rows by distance.

    Parameters
    ----------
    reversal_offset_mm : the machine's; lines land by half of it further on in their own direction. [mm]
    machine : whose corners slow a followed path; needed where there is one.

    Raises
    ------
    ValueError
        If a path is followed and no machine is given.

    Source
    ------
    Own derivation: power times time, split so that energy is conserved.
    """
    events = tuple(events)
    axis: Axis = "x"
    speed = 1.0
    maps: dict[bool, DoseArray] = {}
    for event in events:
        if not isinstance(event, Sweep):
            continue
        if not maps:
            axis, speed = event.axis, event.speed_mm_per_s
            shape = (grid.rows, grid.columns) if axis == "x" else (grid.columns, grid.rows)
            maps = {True: np.zeros(shape, np.float32), False: np.zeros(shape, np.float32)}
            along0, cross0 = (grid.x0_mm, grid.y0_mm) if axis == "x" else (grid.y0_mm, grid.x0_mm)
            along_px, cross_px = (
                (grid.pixel_x_mm, grid.pixel_y_mm) if axis == "x" else (grid.pixel_y_mm, grid.pixel_x_mm)
            )
            pixel_edges = along0 + along_px * np.arange(shape[1] + 1)
        place = (event.cross_mm - cross0) / cross_px - 0.5
        low = int(np.floor(place))
        if low < -1 or low >= shape[0]:
            continue
        forward = event.end_mm > event.start_mm
        edges, power = event.edges_mm + (0.5 if forward else -0.5) * reversal_offset_mm, event.power_W
        if not forward:
            edges, power = edges[::-1], power[::-1]
        energy = np.concatenate(([0.0], np.cumsum(power * np.diff(edges)))) / event.speed_mm_per_s
        line = np.diff(np.interp(pixel_edges, edges, energy)).astype(np.float32)
        share = place - low
        if share > 1e-9 and low + 1 < shape[0]:
            maps[forward][low + 1] += np.float32(share) * line
        if share < 1.0 - 1e-9 and low >= 0:
            maps[forward][low] += np.float32(1.0 - share) * line
    if not maps:
        maps = {d: np.zeros((grid.rows, grid.columns), np.float32) for d in (True, False)}
    pieces = traced_pieces(events, machine=machine)
    return LineEnergy(
        grid=grid,
        axis=axis,
        speed_mm_per_s=speed,
        forward_J=maps[True],
        backward_J=maps[False],
        traced_J=None if pieces is None else traced_map_J(pieces, grid),
    )


def _response_kernel(length_px: float) -> DoseArray:
    """Return the pixel-averaged first-order response along a line, its energy kept."""
    count = int(np.ceil(RESPONSE_LENGTHS * length_px)) + 2
    edges = np.arange(count + 1) / length_px
    # energy enters evenly over one pixel and leaves exponentially later: second difference of the twice integrated
    # response, which is zero before it begins
    integral = edges - 1.0 + np.exp(-edges)
    kernel = np.maximum(np.diff(np.concatenate(([0.0], integral)), n=2), 0.0)  # rounding may fall below zero
    return np.asarray(kernel / kernel.sum(), np.float32)


def _answered(energy: DoseArray, *, kernel: DoseArray, forward: bool) -> DoseArray:
    """Return the energy along lines as the laser's response delays it, in the direction of travel."""
    count = kernel.size
    taps = kernel[::-1] if forward else kernel  # filter2D correlates: the last tap of a reversed kernel is "now"
    anchor = count - 1 if forward else 0
    late = cv2.filter2D(energy, -1, taps.reshape(1, -1), anchor=(anchor, 0), borderType=cv2.BORDER_CONSTANT)
    return np.maximum(np.asarray(late, np.float32), np.float32(0.0))  # long kernels go by Fourier, which rounds below 0


def dose_map_J_per_mm2(lines: LineEnergy, *, beam_radius_mm: float, rise_time_s: float) -> DoseArray:
    """Return the dose under a beam of a 1/e² radius and a laser with a first-order response. [J/mm²]

    Returns
    -------
    (rows, columns), row 0 lowest.

    Source
    ------
    Own derivation: the map is linear in the powers, so beam and response are convolutions; docs/how-it-works.
    """
    grid = lines.grid
    along_px, cross_px = (grid.pixel_x_mm, grid.pixel_y_mm) if lines.axis == "x" else (grid.pixel_y_mm, grid.pixel_x_mm)
    length_px = lines.speed_mm_per_s * rise_time_s / along_px
    forward, backward = lines.forward_J, lines.backward_J
    if length_px > 0.02:
        kernel = _response_kernel(length_px)
        forward = _answered(forward, kernel=kernel, forward=True)
        backward = _answered(backward, kernel=kernel, forward=False)
    along, cross = max(beam_radius_mm / 2.0 / along_px, 1e-3), max(beam_radius_mm / 2.0 / cross_px, 1e-3)
    dose = _spread(forward + backward, along, cross) / np.float32(along_px * cross_px)
    if lines.axis == "y":
        dose = np.ascontiguousarray(dose.T)
    if lines.traced_J is not None:
        sigmas = (along, cross) if lines.axis == "x" else (cross, along)
        # splitting a dot between two pixels has spread it already, by 1/6 pixel² in the mean
        left = [math.sqrt(max(sigma**2 - SPLIT_VARIANCE, 1e-6)) for sigma in sigmas]
        dose += _spread(lines.traced_J, *left) / np.float32(along_px * cross_px)
    return dose


def _spread(energy: DoseArray, sigma_x_px: float, sigma_y_px: float) -> DoseArray:
    """Return energy under the beam's Gaussian."""
    if not energy.any():
        return np.zeros_like(energy)
    blurred = cv2.GaussianBlur(energy, (0, 0), sigmaX=sigma_x_px, sigmaY=sigma_y_px, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(blurred, np.float32)


def total_energy_J(events: Iterable[Event], *, machine: Machine | None = None) -> float:
    """Return all energy that a stream puts down. [J] Source: own derivation, power times time.

    Parameters
    ----------
    machine : whose corners slow a followed path; needed where there is one.

    Raises
    ------
    ValueError
        If a path is followed and no machine is given.
    """
    events = tuple(events)
    sweeps_J = sum(
        float((event.power_W * np.abs(np.diff(event.edges_mm))).sum()) / event.speed_mm_per_s
        for event in events
        if isinstance(event, Sweep)
    )
    pieces = traced_pieces(events, machine=machine)
    return sweeps_J + (0.0 if pieces is None else float(pieces.energy_J.sum()))
