"""The dose map: energy per area that a stream of events leaves, at any scale."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.events import Event, Sweep
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]
DoseArray = NDArray[np.float32]
Box = tuple[float, float, float, float]

RESPONSE_LENGTHS = 8.0  # the laser's exponential answer is followed until e⁻⁸ of it is left


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
    """Energy put into each pixel by lines burnt in the + and in the − direction, before beam and response. [J]"""

    grid: DoseGrid
    axis: Axis
    speed_mm_per_s: float
    forward_J: DoseArray
    backward_J: DoseArray


def collect(events: Iterable[Event], grid: DoseGrid, *, reversal_offset_mm: float = 0.0) -> LineEnergy:
    """Return the energy that the sweeps of one program put into each pixel of a window.

    Energy along a line is split among pixels by exact length, across lines between the two nearest rows by distance.

    Parameters
    ----------
    reversal_offset_mm : the machine's; lines land by half of it further on in their own direction. [mm]

    Source
    ------
    Own derivation: power times time, split so that energy is conserved.
    """
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
    return LineEnergy(grid=grid, axis=axis, speed_mm_per_s=speed, forward_J=maps[True], backward_J=maps[False])


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
    energy = forward + backward
    sigma_mm = beam_radius_mm / 2.0
    spread = cv2.GaussianBlur(
        energy,
        (0, 0),
        sigmaX=max(sigma_mm / along_px, 1e-3),
        sigmaY=max(sigma_mm / cross_px, 1e-3),
        borderType=cv2.BORDER_CONSTANT,
    )
    dose = np.asarray(spread, np.float32) / np.float32(along_px * cross_px)
    return dose if lines.axis == "x" else np.ascontiguousarray(dose.T)


def total_energy_J(events: Iterable[Event]) -> float:
    """Return all energy that a stream puts down. [J] Source: own derivation, power times time."""
    return float(
        sum(
            float((event.power_W * np.abs(np.diff(event.edges_mm))).sum()) / event.speed_mm_per_s
            for event in events
            if isinstance(event, Sweep)
        )
    )
