"""Solid art drawn in by what the burn will grow, so that it comes out at its drawn size.

A stroke commanded c wide leaves at x from its middle the share ½ erf(√2 (c/2 + x)/W) + ½ erf(√2 (c/2 − x)/W) of the
dose of a wide area. Where that share is the dose of half the tone, there lies the burnt edge. Derivation:
docs/how-it-works/detail.md.
"""

from __future__ import annotations

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erf, erfinv

from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]
Picture = NDArray[np.float32]

ALONE_W = 2.0  # a stroke or gap twice the spread wide has edges that know nothing of one another: erfc(4) of 2e-8
TABLE_STEPS = 400
HALVINGS = 50
THINNEST_px = 1.05  # a commanded stroke or gap; a twentieth over one pixel, so that rounding cannot lose it


def _spread_mm(beam_radius_mm: ArrayLike, smear_mm: ArrayLike) -> FloatArray:
    """Return the 1/e² radius of beam and smear together. [mm]"""
    return np.sqrt(
        np.square(np.asarray(beam_radius_mm, np.float64)) + 4.0 * np.square(np.asarray(smear_mm, np.float64))
    )


def growth_mm(*, beam_radius_mm: ArrayLike, smear_mm: ArrayLike, half_tone_dose_fraction: float) -> FloatArray:
    """Return how far the burnt edge of a wide area lies outside its commanded edge; negative where inside. [mm]

    Parameters
    ----------
    beam_radius_mm : 1/e² radius on the surface; smear_mm : v τ for edges across the scan lines, 0 along them. [mm]
    half_tone_dose_fraction : dose at half the tone difference over the dose of the wide area, 0–1.

    Source
    ------
    Own derivation, docs/how-it-works/detail.md: (W/√2) erf⁻¹(1 − 2 s); erf from the Gaussian [siegman1986].
    """
    share = min(max(half_tone_dose_fraction, 1e-6), 1.0 - 1e-6)
    spread = _spread_mm(beam_radius_mm, smear_mm)
    return np.asarray(spread / math.sqrt(2.0) * float(erfinv(1.0 - 2.0 * share)), dtype=np.float64)


def _commanded_over_spread(drawn: FloatArray, *, share: float) -> FloatArray:
    """Return the commanded width whose half-tone width is the drawn one, both in units of the spread W."""
    grown = math.sqrt(2.0) * float(erfinv(2.0 * share - 1.0))
    low, high = np.zeros_like(drawn), drawn + max(grown, 0.0) + math.sqrt(2.0) * float(erfinv(share)) + 1.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        reached = 0.5 * (erf((middle + drawn) / math.sqrt(2.0)) + erf((middle - drawn) / math.sqrt(2.0)))
        low, high = np.where(reached < share, middle, low), np.where(reached < share, high, middle)
    return np.asarray(0.5 * (low + high), dtype=np.float64)


def commanded_width_mm(
    drawn_mm: ArrayLike,
    *,
    beam_radius_mm: float,
    smear_mm: float,
    line_spacing_mm: float,
    half_tone_dose_fraction: float,
) -> FloatArray:
    """Return the width to command so that a long stroke burns as wide as it is drawn. [mm]

    A stroke too thin to reach half tone is commanded as wide as one that just does, and none below one line spacing. For
    a gap give 1 − half_tone_dose_fraction.

    Parameters
    ----------
    drawn_mm : any shape.
    smear_mm : v τ for a stroke across the scan lines, 0 along them. [mm]

    Source
    ------
    Own derivation, docs/how-it-works/detail.md: the strip's profile solved for its width by halving.
    """
    share = min(max(half_tone_dose_fraction, 1e-6), 1.0 - 1e-6)
    spread = float(_spread_mm(beam_radius_mm, smear_mm))
    drawn = np.maximum(np.asarray(drawn_mm, np.float64), 0.0)
    return np.maximum(_commanded_over_spread(drawn / spread, share=share) * spread, line_spacing_mm)


@lru_cache(maxsize=64)
def _inset_tables(share: float) -> tuple[FloatArray, FloatArray]:
    """Return by how much each edge of a stroke, and of a gap, moves into the ink, over W, for widths of 0 to ALONE_W."""
    drawn = np.linspace(0.0, ALONE_W, TABLE_STEPS + 1)
    stroke = 0.5 * (drawn - _commanded_over_spread(drawn, share=share))
    gap = 0.5 * (_commanded_over_spread(drawn, share=1.0 - share) - drawn)
    return stroke, gap


def inset_ink(
    coverage: Picture,
    *,
    pixel_mm: float,
    beam_radius_mm: float,
    smear_mm: float,
    half_tone_dose_fraction: float,
    scan_axis: Axis,
) -> NDArray[np.bool_]:
    """Return which pixels to burn so that strokes and gaps come out as they are drawn.

    Every edge moves by what belongs to the width of its stroke, of the gap beside it, and to its direction: across the
    scan lines the laser's late answer adds to the beam. A stroke or gap is never commanded under one pixel; a stroke
    thinner than one pixel is drawn along its middle line.

    Parameters
    ----------
    coverage : (rows, columns) ink, 0–1, with soft edges; one pixel is one line spacing. [row=y, column=x]
    smear_mm : v τ. [mm]

    Source
    ------
    `commanded_width_mm`; edges from soft coverage after [gustavson2011].
    """
    from evenburn.core.art.inset_edges import compiled  # late: numba takes half a second

    share = min(max(half_tone_dose_fraction, 1e-6), 1.0 - 1e-6)
    stroke, gap = _inset_tables(share)
    across_px = beam_radius_mm / pixel_mm
    along_px = float(_spread_mm(beam_radius_mm, smear_mm)) / pixel_mm
    # normals along x see the spread along the lines when the lines run along x
    spread_x_px, spread_y_px = (along_px, across_px) if scan_axis == "x" else (across_px, along_px)
    soft = np.ascontiguousarray(coverage, dtype=np.float32)
    burn = np.asarray(compiled()(soft, stroke, gap, spread_x_px, spread_y_px, ALONE_W, THINNEST_px), dtype=np.bool_)
    return _without_new_holes(burn, soft)


def _without_new_holes(burn: NDArray[np.bool_], coverage: Picture) -> NDArray[np.bool_]:
    """Fill every hole that lies wholly in drawn ink: the foot of a notch may be opened where its mouth closes."""
    count, labels = cv2.connectedComponents((~burn).astype(np.uint8), connectivity=4)
    drawn = np.zeros(count, np.bool_)
    drawn[labels[~burn & (coverage < 0.5)]] = True
    for border in (labels[0], labels[-1], labels[:, 0], labels[:, -1]):
        drawn[border] = True
    return np.asarray(burn | ~drawn[labels], dtype=np.bool_)
