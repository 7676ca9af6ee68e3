"""One patch at a time: the pixels that count, how even they are, and the bare wood close by."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.lightness import LightScale
from evenburn.core.card.page_view import Flat, FloatArray
from evenburn.core.card.sampling import counts
from evenburn.core.nouns.card import Box, Card
from evenburn.core.tone.colour import LUMINANCE, lightness_L

EDGE_mm = 0.5  # of a patch's edge is left out for the beam's width and the run-in of the laser
EDGE_BLURS = 2.5  # … and so many standard deviations of the photograph's blur
GRAIN_mm = 0.25  # cells over which a camera's noise is averaged before the spread of the wood is told
SPECK_SD = 6.0  # a pixel further off is dust or a pore, not tone
BLOCKS = 3  # a patch is cut into 3 × 3 to see light or shadow running over it
GAP_mm = 0.4  # of bare wood round a patch is looked at: half of what lies between two
GAP_SHARE = 0.85  # its part that looks least burnt: the rest is singed or blurred


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """What N areas of the card look like.

    Attributes
    ----------
    places_mm : (N, 2) their middles on the page.
    shares : (N, 3, 256) share of pixels at each encoded value, specks left out.
    pixels : (N,) how many.
    spread_L : (N,) standard deviation of the tone inside. [L*]
    blocks : (N, 9, 3) mean linear light of the parts of each, over white; red, green, blue.
    gap : (N, 3) linear light of the bare wood close by, over white; red, green, blue.
    clipped : (N,) share of pixels at the upper end.
    """

    places_mm: FloatArray
    shares: FloatArray
    pixels: NDArray[np.int64]
    spread_L: FloatArray
    blocks: FloatArray
    gap: FloatArray
    clipped: FloatArray


def inner_box_mm(box_mm: Box, *, blur_mm: float) -> Box:
    """Return the part of a patch that is read. [mm] Definition; never less than the middle third."""
    x0, y0, x1, y1 = box_mm
    edge = EDGE_mm + EDGE_BLURS * blur_mm
    ex, ey = min(edge, (x1 - x0) / 3.0), min(edge, (y1 - y0) / 3.0)
    return x0 + ex, y0 + ey, x1 - ex, y1 - ey


def measured(
    flat: Flat, card: Card, *, scale: LightScale, to_page: FloatArray, blur_mm: float, burns_light: bool
) -> Measured:
    """Return what the patches of a card look like.

    Parameters
    ----------
    flat : the card rectified, in its own mm.
    to_page : (2, 3) card to page.
    burns_light : whether burning made this wood lighter, as slate.
    """
    table = scale.curve().decoded()
    lookup = table.astype(np.float32)
    boxes = [inner_box_mm(p.box_mm, blur_mm=blur_mm) for p in card.patches]
    middles = np.array([(0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3])) for b in boxes])
    places = middles @ to_page[:, :2].T + to_page[:, 2]
    white = scale.white_linear(places)
    shares, pixels, spreads, blocks, gaps, clipped = [], [], [], [], [], []
    for n, box in enumerate(boxes):
        part = flat.part(box)
        light = lookup[part]
        bright = light @ (LUMINANCE / LUMINANCE.sum()).astype(np.float32)
        middle = float(np.median(bright))
        sd = 1.4826 * float(np.median(np.abs(bright - middle))) + 1e-4
        counted = np.abs(bright - middle) <= SPECK_SD * sd
        values = part[counted]
        shares.append(counts(values))
        pixels.append(values.shape[0])
        over_white = bright / float(white[n] @ LUMINANCE)
        spreads.append(_spread_L(over_white, flat.px_per_mm, paper=scale.paper_reflectance()))
        blocks.append(_blocks(light / white[n].astype(np.float32)))
        gaps.append(_gap(flat, card.patches[n].box_mm, lookup, burns_light=burns_light) / white[n])
        clipped.append(float((part.max(axis=2) >= 254).mean()))
    return Measured(
        places_mm=places,
        shares=np.array(shares),
        pixels=np.array(pixels),
        spread_L=np.array(spreads),
        blocks=np.array(blocks),
        gap=np.array(gaps),
        clipped=np.array(clipped),
    )


def _spread_L(over_white: NDArray[np.float32], px_per_mm: int, *, paper: float) -> float:
    step = max(1, round(GRAIN_mm * px_per_mm))
    rows, columns = (max(1, s // step) for s in over_white.shape)
    cells = cv2.resize(
        over_white[: rows * step, : columns * step].astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA
    )
    return float(np.std(lightness_L(np.maximum(cells.astype(np.float64), 0.0) * paper)))


def _blocks(over_white: NDArray[np.float32]) -> FloatArray:
    if min(over_white.shape[:2]) < BLOCKS:
        return np.tile(over_white.reshape(-1, 3).mean(axis=0).astype(np.float64), (BLOCKS * BLOCKS, 1))
    small = cv2.resize(over_white, (BLOCKS, BLOCKS), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float64).reshape(BLOCKS * BLOCKS, 3)


def _gap(flat: Flat, box: Box, lookup: NDArray[np.float32], *, burns_light: bool) -> FloatArray:
    """Return the light of the pixels that look least burnt in a thin frame round a patch, each channel."""
    x0, y0, x1, y1 = box
    strips = (
        (x0 - GAP_mm, y0, x0, y1),
        (x1, y0, x1 + GAP_mm, y1),
        (x0, y0 - GAP_mm, x1, y0),
        (x0, y1, x1, y1 + GAP_mm),
    )
    frame = np.concatenate([flat.part(s).reshape(-1, 3) for s in strips])
    if frame.shape[0] < 8:
        return np.full(3, np.nan)
    return np.asarray(np.quantile(lookup[frame], 1.0 - GAP_SHARE if burns_light else GAP_SHARE, axis=0), np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BareWood:
    """Cells of untouched wood round the patches: (M, 2) places on the page, (M, 3, 256) shares."""

    places_mm: FloatArray
    shares: FloatArray


CELL_mm = 3.0
WINDOW_CLEAR_mm = 1.5  # the paper's cut edge throws a shadow
BURNT_CLEAR_mm = 1.0


def bare_wood(flat: Flat, card: Card, *, to_page: FloatArray) -> BareWood:
    """Return the cells of the card and round it on which nothing is burnt. Definition.

    Parameters
    ----------
    flat : the card rectified in its own mm, with the wood round it.
    """
    burnt = [p.box_mm for p in card.patches] + [m.box_mm for m in card.corner_marks]
    burnt += [
        (min(a, c), min(b, d), max(a, c), max(b, d)) for (a, b), (c, d) in ((k.from_mm, k.to_mm) for k in card.lines)
    ]
    x0, y0, x1, y1 = flat.box_mm
    window = card.mat.window_mm
    found, places = [], []
    for x in np.arange(x0, x1 - CELL_mm + 1e-6, CELL_mm):
        for y in np.arange(y0, y1 - CELL_mm + 1e-6, CELL_mm):
            cell = (float(x), float(y), float(x) + CELL_mm, float(y) + CELL_mm)
            if any(_meet(cell, b) for b in burnt):
                continue
            corners = np.array([(a, b) for a in cell[::2] for b in cell[1::2]]) @ to_page[:, :2].T + to_page[:, 2]
            low, high = corners.min(axis=0) - WINDOW_CLEAR_mm, corners.max(axis=0) + WINDOW_CLEAR_mm
            if low[0] < window[0] or low[1] < window[1] or high[0] > window[2] or high[1] > window[3]:
                continue
            found.append(counts(flat.part(cell).reshape(-1, 3)))
            places.append(corners.mean(axis=0))
    return BareWood(places_mm=np.array(places).reshape(-1, 2), shares=np.array(found).reshape(-1, 3, 256))


def _meet(cell: Box, burnt: Box) -> bool:
    c = BURNT_CLEAR_mm
    return cell[0] < burnt[2] + c and burnt[0] - c < cell[2] and cell[1] < burnt[3] + c and burnt[1] - c < cell[3]
