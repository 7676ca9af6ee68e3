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


@dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """Narrowest stroke and gap of an artwork; None where it has none. [mm]"""

    stroke_mm: float | None
    gap_mm: float | None


def _narrowest_px(ink: NDArray[np.uint8]) -> float | None:
    """Return the narrowest width of the ink along its middle lines, in pixels."""
    padded = cv2.copyMakeBorder(ink, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    distance = cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    around = cv2.dilate(distance, np.ones((3, 3), np.uint8))
    middle = distance[(distance > 0.0) & (distance >= around - TAPER_px)]
    if middle.size == 0:
        return None
    return float(2.0 * np.quantile(middle, NARROW_FRACTION) - 0.5)


def measure_widths(coverage: NDArray[np.float32], *, pixel_mm: float) -> Widths:
    """Return the narrowest stroke and gap of artwork.

    Parameters
    ----------
    coverage : (rows, columns) ink, 0–1.

    Source
    ------
    Own derivation: twice the Euclidean distance transform along its ridge; the error is one pixel at most.
    """
    ink = (coverage >= 0.5).astype(np.uint8)
    if not ink.any():
        return Widths(stroke_mm=None, gap_mm=None)
    stroke = _narrowest_px(ink)
    columns, rows = np.flatnonzero(ink.any(axis=0)), np.flatnonzero(ink.any(axis=1))
    inner = 1 - ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    enclosed = _without_outside(inner)
    gap = _narrowest_px(enclosed) if enclosed.any() else None
    return Widths(
        stroke_mm=None if stroke is None else stroke * pixel_mm, gap_mm=None if gap is None else gap * pixel_mm
    )


def _without_outside(gaps: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the gaps, the background that touches the picture's edge included only where strokes face each other.

    The background's middle line lies between strokes as well as between a stroke and nothing; the edge counts as
    far away, so the ridge of the open background is wide and never the narrowest.
    """
    rows, columns = gaps.shape
    margin = max(8, min(rows, columns) // 4)
    return np.asarray(cv2.copyMakeBorder(gaps, margin, margin, margin, margin, cv2.BORDER_CONSTANT, value=1), np.uint8)


def narrowest_kept_mm(
    *, beam_radius_mm: ArrayLike, smear_mm: ArrayLike, line_spacing_mm: ArrayLike, half_tone_dose_fraction: float
) -> FloatArray:
    """Return the narrowest stroke and gap that still shows at least half of its tone difference. [mm]

    The dose in the middle of a stroke s wide is erf(s / (√2 w)) of that of a wide area, and in the middle of a gap
    g wide 1 − erf(g / (√2 w)); both have to reach the dose of half the tone difference. The laser's first-order
    response smears with a standard deviation v τ, which adds to the beam's in quadrature (w/2 is its standard
    deviation); lines, and pixels along them, put an edge up to half a line spacing off.

    Parameters
    ----------
    beam_radius_mm : 1/e² radius on the surface; smear_mm : v τ. They broadcast. [mm]
    half_tone_dose_fraction : dose at half the tone difference over the dose of the wide area, 0–1.

    Source
    ------
    Own derivation, docs/how-it-works/detail.md; erf from the Gaussian [siegman1986].
    """
    share = min(max(half_tone_dose_fraction, 1e-6), 1.0 - 1e-6)
    radius = np.sqrt(np.square(np.asarray(beam_radius_mm)) + 4.0 * np.square(np.asarray(smear_mm)))
    reach = np.sqrt(2.0) * max(float(erfinv(share)), float(erfinv(1.0 - share)))
    return np.asarray(reach * radius + 0.5 * np.asarray(line_spacing_mm), dtype=np.float64)
