"""What every mark of the zoomable proof has in common: a window of the bed asked for, relative luminance given."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, effective_passes
from evenburn.core.response.curve import exposure_shift

Picture = NDArray[np.float32]
Box = tuple[float, float, float, float]

SIGMAS = 4.0  # a beam is followed so far, as in the loops
BASE_PIXELS = 8.0e6  # of a pyramid's finest level
BAND = 256  # rows of it at a time


class Layer(Protocol):
    """One mark, prepared."""

    @property
    def box_mm(self) -> Box:
        """Return what of the bed it may change, (x0, y0, x1, y1)."""
        ...

    def patch(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture | None:
        """Return relative luminance of a window, (rows, columns), row 0 lowest; None where nothing of it is burnt."""
        ...

    def size_bytes(self) -> int:
        """Return how much memory it takes."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Bare:
    """A mark that burns nothing."""

    box_mm: Box = (0.0, 0.0, 0.0, 0.0)

    def patch(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture | None:
        """Return nothing, wherever it is asked for. Definition."""
        del x0_mm, y0_mm, pixel_mm, rows, columns
        return None

    def size_bytes(self) -> int:
        """Return nought. Definition."""
        return 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exposed:
    """What light and wood make of one mark: beam radius, exposure shift, and where lines stand apart."""

    curve: CharacteristicCurve
    radius_mm: float
    exposure_shift: float


def exposed(
    wood: Wood, *, beam: Beam, focus_offset_mm: float, speed_mm_per_s: float, line_spacing_mm: float, passes: int
) -> Exposed:
    """Return what a mark's exposure is at a focus offset; a followed line has an endless spacing.

    Source
    ------
    `beam_radius_mm`, `effective_passes`, `exposure_shift`.
    """
    radius = float(beam_radius_mm(beam, offset_mm=focus_offset_mm))
    dwell = dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed_mm_per_s)
    over = effective_passes(passes=passes, beam_radius_mm=radius, line_spacing_mm=line_spacing_mm)
    return Exposed(
        curve=wood.curve,
        radius_mm=radius,
        exposure_shift=float(exposure_shift(wood.curve, dwell_ms=dwell, passes=over)),
    )


def meets(box: Box, corner_mm: tuple[float, float], *, pixel_mm: float, rows: int, columns: int) -> bool:
    """Return whether a window reaches into a box, a pixel of averaging allowed. Definition."""
    x0_mm, y0_mm = corner_mm
    return (
        box[0] - pixel_mm < x0_mm + columns * pixel_mm
        and x0_mm < box[2] + pixel_mm
        and box[1] - pixel_mm < y0_mm + rows * pixel_mm
        and y0_mm < box[3] + pixel_mm
    )
