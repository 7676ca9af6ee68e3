"""Stroke and gap widths of artwork, and the narrowest that a recipe keeps."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfinv

FloatArray = NDArray[np.float64]

TAPER_px = 0.1  # a ridge may rise by this much a pixel and still count as a stroke: tapers to 6°, corners left out
NARROW_FRACTION = 0.02  # the narrowest fiftieth of all stroke length counts as the narrowest stroke
TIP_px = 1.5  # a ridge this near to the edge and under three pixels long is the tip of a corner, no stroke


@dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """Narrowest stroke and gap of an artwork; None where it has none. [mm]"""

    stroke_mm: float | None
    gap_mm: float | None


def _narrowest_px(shape: NDArray[np.uint8], *, open_outside: bool, of_length_px: float = 0.0) -> float | None:
    """Return the narrowest width of a shape along its middle lines, in pixels; outside it may go on without end.

    Narrow is the narrowest fiftieth of the middle lines' length, or of `of_length_px` where that is more.
    """
    padded = cv2.copyMakeBorder(shape, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=int(open_outside))
    distance = cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    around = cv2.dilate(distance, np.ones((3, 3), np.uint8))
    ridge = (distance > 0.0) & (distance >= around - TAPER_px)
    ridge[[0, -1], :] = ridge[:, [0, -1]] = False
    if not ridge.any():
        return None
    lone = ridge.view(np.uint8)
    together = cv2.boxFilter(lone, -1, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT) * lone
    along = distance[ridge]
    # alone or in a pair: nowhere in the neighbourhood has a ridge pixel more than one other beside it
    tip = (along < TIP_px) & (cv2.dilate(together, np.ones((3, 3), np.uint8))[ridge] < 3)
    middle = along[~tip]
    if middle.size == 0:  # nothing but specks
        middle = along
    fraction = min(1.0, NARROW_FRACTION * max(1.0, of_length_px / middle.size))
    return float(2.0 * np.quantile(middle, fraction) - 0.5)


def measure_widths(coverage: NDArray[np.float32], *, pixel_mm: float) -> Widths:
    """Return the narrowest stroke and gap of artwork.

    Parameters
    ----------
    coverage : (rows, columns) ink, 0–1.

    Source
    ------
    Own derivation: twice the Euclidean distance transform along its ridge; the error is a pixel and a half at most,
    one from where the edges fall between pixels and a half from where the ridge does.
    """
    ink = (coverage >= 0.5).astype(np.uint8)
    if not ink.any():
        return Widths(stroke_mm=None, gap_mm=None)
    columns, rows = np.flatnonzero(ink.any(axis=0)), np.flatnonzero(ink.any(axis=1))
    ink = np.ascontiguousarray(ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1])
    stroke = _narrowest_px(ink, open_outside=False)
    # in the box of all ink, the open background widens outward: its middle lines are those between strokes
    between = 1 - ink
    outline_px = int(ink.sum()) - int(cv2.erode(ink, np.ones((3, 3), np.uint8), borderValue=0).sum())
    # strokes that run together leave a crotch as narrow as you like; it counts by the length of all strokes
    gap = _narrowest_px(between, open_outside=True, of_length_px=outline_px / 2.0)
    return Widths(
        stroke_mm=None if stroke is None else stroke * pixel_mm, gap_mm=None if gap is None else gap * pixel_mm
    )


def narrowest_kept_mm(
    *, beam_radius_mm: ArrayLike, smear_mm: ArrayLike, line_spacing_mm: ArrayLike, half_tone_dose_fraction: ArrayLike
) -> FloatArray:
    """Return the narrowest stroke and gap that still shows at least half of its tone difference. [mm]

    The dose in the middle of a stroke s wide is erf(s / (√2 w)) of that of a wide area, and in the middle of a gap
    g wide 1 − erf(g / (√2 w)); both have to reach the dose of half the tone difference. The laser's first-order
    response smears with a standard deviation v τ, which adds to the beam's in quadrature (w/2 is its standard
    deviation); lines, and pixels along them, put an edge up to half a line spacing off.

    Parameters
    ----------
    beam_radius_mm : 1/e² radius on the surface; smear_mm : v τ. All four broadcast. [mm]
    half_tone_dose_fraction : dose at half the tone difference over the dose of the wide area, 0–1.

    Source
    ------
    Own derivation, docs/how-it-works/detail.md; erf from the Gaussian [siegman1986].
    """
    share = np.clip(np.asarray(half_tone_dose_fraction, dtype=np.float64), 1e-6, 1.0 - 1e-6)
    radius = np.sqrt(np.square(np.asarray(beam_radius_mm)) + 4.0 * np.square(np.asarray(smear_mm)))
    reach = np.sqrt(2.0) * erfinv(np.maximum(share, 1.0 - share))
    return np.asarray(reach * radius + 0.5 * np.asarray(line_spacing_mm), dtype=np.float64)
