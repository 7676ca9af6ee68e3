"""Where a mat's window lies on a finished piece: the plan's burn image laid over what the window shows.

A card has corner marks of its own, a piece has only its art. So the art itself is looked for, at every quarter turn and a few
degrees to either side, first coarsely by correlation, then to a fraction of a pixel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.page_view import FloatArray
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.nouns.card import Box

Float32 = NDArray[np.float32]

NB = "\u00a0"
COARSE_px_per_mm, FINE_px_per_mm = 2, 4
TURNS_deg = tuple(quarter + off for quarter in (0, 90, 180, 270) for off in range(-6, 7))
RIM_mm = 2.0  # of the window is not looked at: the paper's cut edge throws a shadow
PAD_SHARE = 0.75  # of the window may lie beside the art
LEAST_INK_SHARE = 0.01  # of the window has to be ink, or bare between ink, for a match to mean anything
KEPT = 12  # places that are followed up
APART_mm, APART_deg = 6.0, 15.0  # two places nearer than both are one
COARSE_BLUR_mm = 0.5
ROUNDS, SETTLED = 40, 1e-5
ROUND_mm = 4.0  # of the art round the window that is looked at while a place is refined
LEAST_MATCH = 0.60  # correlation of the art with what is there; bare wood and its grain stay below 0.4
RIVAL_MATCH = 0.04  # another place that matches as well but for so much could be meant as well
SAME_INK = 0.85  # … unless nearly the same part of the window is then ink: a rectangle turned half round
ODD_SHARE = 0.06  # of the window may be dark where the plan has none, or the other way round
ODD_BLUR_mm, EDGE_mm = 0.6, 0.8  # grain is smoothed over so much; so much beside an edge counts neither way
SCALE_LIMIT = 0.015  # as for a card: fit to page starts at 3 to 6 percent
SCALE_EXTENT_mm = 25.0  # smaller art tells nothing of the print's scale
SCALE_DOUBT_mm = 0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InkImage:
    """The burn image of one mark: (rows, columns) ink from 0 to 1, row 0 at the upper edge of its box on the bed."""

    ink: Float32
    box_bed_mm: Box


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedWindow:
    """Where the window lies on the bed the piece was burnt on.

    Attributes
    ----------
    to_bed : (2, 3) page to bed, both in mm.
    match : correlation of art and picture. rival_match : that of the best other place.
    odd_share : of the window that does not look as planned.
    turn_deg : counter-clockwise turn of the page over the bed.
    print_scale_error : printed over nominal length of the mat, minus 1; None where the art is too small to tell.
    burns_light : whether the ink is lighter than the wood, as on slate.
    """

    to_bed: FloatArray
    match: float
    rival_match: float
    odd_share: float
    turn_deg: float
    print_scale_error: float | None
    burns_light: bool

    def bed_mm(self, places_mm: FloatArray) -> FloatArray:
        """Return (N, 2) places on the bed of places on the page. [mm] Definition."""
        return np.asarray(places_mm @ self.to_bed[:, :2].T + self.to_bed[:, 2])

    def page_mm(self, places_mm: FloatArray) -> FloatArray:
        """Return (N, 2) places on the page of places on the bed. [mm] Definition."""
        back = np.asarray(cv2.invertAffineTransform(self.to_bed), np.float64)
        return np.asarray(places_mm @ back[:, :2].T + back[:, 2])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InkSheet:
    """Ink on a part of the bed: (rows, columns), row 0 at the upper edge of the box."""

    ink: Float32
    box_mm: Box
    px_per_mm: float

    def to_mm(self) -> FloatArray:
        """Return the (3, 3) map from column and row to the bed. [mm] Definition."""
        return _to_mm(self.box_mm, self.px_per_mm)


def ink_sheet(images: Sequence[InkImage], *, px_per_mm: float, pad_mm: float) -> InkSheet:
    """Return the ink of several marks on the bed, with so much bare wood round them.

    Source
    ------
    Definition: each pixel the mean of what it covers; where marks lie over one another the stronger counts.
    """
    boxes = np.array([i.box_bed_mm for i in images])
    low, high = boxes[:, :2].min(axis=0) - pad_mm, boxes[:, 2:].max(axis=0) + pad_mm
    columns, rows = (int(np.ceil((b - a) * px_per_mm)) for a, b in zip(low, high, strict=True))
    box = (float(low[0]), float(high[1]) - rows / px_per_mm, float(low[0]) + columns / px_per_mm, float(high[1]))
    sheet = np.zeros((rows, columns), np.float32)
    into = np.linalg.inv(_to_mm(box, px_per_mm))
    for image in images:
        x0, y0, x1, y1 = image.box_bed_mm
        wide, high_px = (max(1, round(side * px_per_mm)) for side in (x1 - x0, y1 - y0))
        shrinks = wide < image.ink.shape[1]
        small = cv2.resize(
            image.ink, (wide, high_px), interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
        ).astype(np.float32)
        own = np.array([[(x1 - x0) / wide, 0, x0], [0, -(y1 - y0) / high_px, y1], [0, 0, 1]]) @ _HALF
        laid = cv2.warpAffine(small, (into @ own)[:2], (columns, rows), flags=cv2.INTER_LINEAR)
        sheet = np.maximum(sheet, laid)
    return InkSheet(ink=sheet, box_mm=box, px_per_mm=px_per_mm)


_HALF = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])


def _to_mm(box: Box, px_per_mm: float) -> FloatArray:
    """Return the (3, 3) map of column and row, the middle of the first pixel being 0, 0, to mm."""
    u = px_per_mm
    return np.asarray(np.array([[1.0 / u, 0.0, box[0]], [0.0, -1.0 / u, box[3]], [0.0, 0.0, 1.0]]) @ _HALF)


def place_window(
    tones_L: Float32, images: Sequence[InkImage], *, window_mm: Box, soft_mm: float, bare_L_below: bool | None = None
) -> PlacedWindow:
    """Return where on the bed a window lies that shows the art of some marks.

    Parameters
    ----------
    tones_L : (rows, columns) tone of all the window at FINE_px_per_mm.
    window_mm : its box on the page.
    soft_mm : standard deviation by which burnt edges look soft, beam and photograph together.
    bare_L_below : whether the bare surface is darker than what is burnt; None where it is not known.

    Raises
    ------
    PhotographRefused
        If the art is not to be seen, could lie in two ways, or the mat was not printed at 100 %.

    Source
    ------
    Normalised cross-correlation, then OpenCV's search for the greatest enhanced correlation; own choice of limits.
    """
    rim = round(RIM_mm * FINE_px_per_mm)
    seen = np.ascontiguousarray(tones_L[rim:-rim, rim:-rim])
    inner = (window_mm[0] + RIM_mm, window_mm[1] + RIM_mm, window_mm[2] - RIM_mm, window_mm[3] - RIM_mm)
    signs = (-1.0, 1.0) if bare_L_below is None else (1.0,) if bare_L_below else (-1.0,)
    wide, high = inner[2] - inner[0], inner[3] - inner[1]
    pad = PAD_SHARE * max(wide, high)
    coarse = ink_sheet(images, px_per_mm=COARSE_px_per_mm, pad_mm=pad)
    found = _candidates(_shrunk(seen), coarse, inner, signs)
    if not found or found[0].match < 0.5 * LEAST_MATCH:
        raise _not_this_mark(found[0].match if found else 0.0)
    fine = ink_sheet(images, px_per_mm=FINE_px_per_mm, pad_mm=pad)
    soft = max(0.5 / FINE_px_per_mm, soft_mm) * FINE_px_per_mm
    fine = InkSheet(
        ink=np.asarray(cv2.GaussianBlur(fine.ink, (0, 0), soft), np.float32),
        box_mm=fine.box_mm,
        px_per_mm=fine.px_per_mm,
    )
    refined = sorted((_refined(c, seen, inner, fine) for c in found[:4]), key=lambda c: -c.match)
    best = refined[0]
    if best.match < LEAST_MATCH:
        raise _not_this_mark(best.match)
    shown = _laid(best, fine, seen.shape, inner)
    odd = _odd_share(seen, shown, sign=best.sign)
    if odd > ODD_SHARE:
        raise PhotographRefused(
            "other-mark",
            f"The picture does not show this mark: {100.0 * odd:.0f}{NB}% of the window does not look as planned; "
            f"{100.0 * ODD_SHARE:.0f}{NB}% is allowed.",
            remedy="Check --piece and --mark, and that it was burnt from this plan; brush soot off, and lay the window so that "
            "nothing but this wood is in it.",
        )
    rival = 0.0
    for other in refined[1:]:
        if _same(best, other, inner):
            continue
        laid = _laid(other, fine, seen.shape, inner)
        both = float(np.minimum(shown, laid).sum()) / max(1e-6, float(np.maximum(shown, laid).sum()))
        if both < SAME_INK:
            rival = max(rival, other.match)
    if rival > best.match - RIVAL_MATCH:
        raise PhotographRefused(
            "place-unclear",
            f"The mark could lie in the window in two ways: they match by {best.match:.2f} and {rival:.2f}, of 1.",
            remedy="Lay the mat so that a part of the mark is in the window that looks like no other part of it, best its rim.",
        )
    return _placed(best, shown, rival=rival, odd=odd)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Place:
    """A place the window may lie at: (2, 3) page to bed, and how well the art matches there."""

    to_bed: FloatArray
    match: float
    sign: float

    def turn_deg(self) -> float:
        return float(np.degrees(np.arctan2(self.to_bed[1, 0], self.to_bed[0, 0])))


def _shrunk(seen: Float32) -> Float32:
    step = FINE_px_per_mm // COARSE_px_per_mm
    rows, columns = (n // step for n in seen.shape)
    return np.asarray(
        cv2.resize(seen[: rows * step, : columns * step], (columns, rows), interpolation=cv2.INTER_AREA), np.float32
    )


def _candidates(seen: Float32, sheet: InkSheet, inner: Box, signs: tuple[float, ...]) -> list[_Place]:
    """Return the places that match best, each once, the best first."""
    blur = COARSE_BLUR_mm * COARSE_px_per_mm
    template = cv2.GaussianBlur(seen, (0, 0), blur)
    ink = cv2.GaussianBlur(sheet.ink, (0, 0), blur)
    rows, columns = ink.shape
    to_bed, from_page = sheet.to_mm(), np.linalg.inv(_to_mm(inner, COARSE_px_per_mm))
    found: list[_Place] = []
    for turn in TURNS_deg:
        around = np.vstack([cv2.getRotationMatrix2D((0.5 * (columns - 1), 0.5 * (rows - 1)), turn, 1.0), [0, 0, 1]])
        ends = np.array([[0, 0, 1], [columns - 1, 0, 1], [0, rows - 1, 1], [columns - 1, rows - 1, 1]]) @ around.T
        low, high = np.floor(ends[:, :2].min(axis=0)), np.ceil(ends[:, :2].max(axis=0))
        around[:2, 2] -= low
        size = (int(high[0] - low[0]) + 1, int(high[1] - low[1]) + 1)
        if size[0] <= template.shape[1] or size[1] <= template.shape[0]:
            continue
        turned = cv2.warpAffine(ink, around[:2], size, flags=cv2.INTER_LINEAR)
        match = cv2.matchTemplate(turned, template, cv2.TM_CCOEFF_NORMED)
        match = np.where(np.isfinite(match) & (np.abs(match) <= 1.0001), match, 0.0)
        match[_spread(turned, template.shape) < LEAST_INK_SHARE] = 0.0
        back = np.linalg.inv(around)
        for sign in signs:
            signed = match * sign
            for _ in range(2):
                r, c = np.unravel_index(int(signed.argmax()), signed.shape)
                value = float(signed[r, c])
                if value <= 0.0:
                    break
                moved = np.array([[1.0, 0.0, float(c)], [0.0, 1.0, float(r)], [0.0, 0.0, 1.0]])
                found.append(_Place(to_bed=(to_bed @ back @ moved @ from_page)[:2], match=value, sign=sign))
                reach = round(APART_mm * COARSE_px_per_mm)
                signed[max(0, r - reach) : r + reach + 1, max(0, c - reach) : c + reach + 1] = 0.0
    found.sort(key=lambda p: -p.match)
    apart: list[_Place] = []
    for place in found:
        if not any(_same(place, other, inner) for other in apart):
            apart.append(place)
        if len(apart) == KEPT:
            break
    return apart


def _spread(ink: cv2.typing.MatLike, shape: tuple[int, ...]) -> FloatArray:
    """Return the variance of ink under the template at each of its places."""
    size = (shape[1], shape[0])
    mean, square = (
        cv2.boxFilter(v, cv2.CV_64F, size, anchor=(0, 0), borderType=cv2.BORDER_CONSTANT) for v in (ink, ink * ink)
    )
    rows, columns = ink.shape[0] - shape[0] + 1, ink.shape[1] - shape[1] + 1
    return np.asarray((square - mean * mean)[:rows, :columns])


def _same(one: _Place, other: _Place, inner: Box) -> bool:
    middle = np.array([0.5 * (inner[0] + inner[2]), 0.5 * (inner[1] + inner[3]), 1.0])
    far = float(np.linalg.norm(one.to_bed @ middle - other.to_bed @ middle))
    turned = abs((one.turn_deg() - other.turn_deg() + 180.0) % 360.0 - 180.0)
    return one.sign == other.sign and far < APART_mm and turned < APART_deg


def _refined(place: _Place, seen: Float32, inner: Box, sheet: InkSheet) -> _Place:
    """Return a place after its art was moved, turned and stretched until it matches best."""
    sheet = _part(sheet, place, inner)
    to_px, from_page = np.linalg.inv(sheet.to_mm()), _to_mm(inner, FINE_px_per_mm)
    signed = np.asarray(place.sign * seen, np.float32)
    warp = (to_px @ np.vstack([place.to_bed, [0, 0, 1]]) @ from_page)[:2].astype(np.float32)
    match = place.match
    stop = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, ROUNDS, SETTLED)
    mask = np.full(sheet.ink.shape, 255, np.uint8)
    for motion, smooth in ((cv2.MOTION_EUCLIDEAN, 9), (cv2.MOTION_AFFINE, 9), (cv2.MOTION_AFFINE, 5)):
        if motion == cv2.MOTION_AFFINE and _extent_mm(warp, seen, sheet) < SCALE_EXTENT_mm:
            continue
        try:
            match, moved = cv2.findTransformECC(signed, sheet.ink, warp.copy(), motion, stop, mask, smooth)
        except cv2.error:
            continue  # no step leads to a better match from here
        warp = np.asarray(moved, np.float32)
    to_bed = sheet.to_mm() @ np.vstack([warp, [0, 0, 1]]) @ np.linalg.inv(from_page)
    return _Place(to_bed=to_bed[:2], match=float(match), sign=place.sign)


def _part(sheet: InkSheet, place: _Place, inner: Box) -> InkSheet:
    """Return the part of a sheet that a place of the window covers, and a little round it."""
    corners = np.array([(x, y) for x in inner[::2] for y in inner[1::2]])
    seen = corners @ place.to_bed[:, :2].T + place.to_bed[:, 2]
    x0, _, _, y1 = sheet.box_mm
    u = sheet.px_per_mm
    rows, columns = sheet.ink.shape
    (left, low), (right, high) = seen.min(axis=0) - ROUND_mm, seen.max(axis=0) + ROUND_mm
    c0, c1 = (int(np.clip(round((x - x0) * u), 0, columns)) for x in (left, right))
    r0, r1 = (int(np.clip(round((y1 - y) * u), 0, rows)) for y in (high, low))
    box = (x0 + c0 / u, y1 - r1 / u, x0 + c1 / u, y1 - r0 / u)
    return InkSheet(ink=np.ascontiguousarray(sheet.ink[r0:r1, c0:c1]), box_mm=box, px_per_mm=u)


def _extent_mm(warp: Float32, seen: Float32, sheet: InkSheet) -> float:
    """Return how far the ink reaches inside the window, the lesser of both ways. [mm]"""
    shown = cv2.warpAffine(
        sheet.ink, warp, (seen.shape[1], seen.shape[0]), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    rows, columns = np.nonzero(shown > 0.5)
    return 0.0 if rows.size == 0 else float(min(np.ptp(rows), np.ptp(columns))) / FINE_px_per_mm


def _laid(place: _Place, sheet: InkSheet, shape: tuple[int, ...], inner: Box) -> Float32:
    """Return the ink inside the window as the place has it."""
    warp = np.linalg.inv(sheet.to_mm()) @ np.vstack([place.to_bed, [0, 0, 1]]) @ _to_mm(inner, FINE_px_per_mm)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(sheet.ink, warp[:2], (shape[1], shape[0]), flags=flags), np.float32)


def _odd_share(seen: Float32, shown: Float32, *, sign: float) -> float:
    """Return the share of the window that is nearer to the other of ink and bare wood, edges and greys left out."""
    smooth = cv2.GaussianBlur(seen, (0, 0), ODD_BLUR_mm * FINE_px_per_mm)
    size = 2 * round(EDGE_mm * FINE_px_per_mm) + 1
    near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    full = cv2.erode(np.asarray(shown > 0.9, np.uint8), near) > 0
    bare = cv2.dilate(np.asarray(shown > 0.1, np.uint8), near) == 0
    if not full.any() or not bare.any():
        return 0.0
    middle = 0.5 * (float(np.median(smooth[full])) + float(np.median(smooth[bare])))
    wrong = int((sign * (smooth[full] - middle) < 0.0).sum()) + int((sign * (smooth[bare] - middle) > 0.0).sum())
    return wrong / (int(full.sum()) + int(bare.sum()))


def _placed(best: _Place, shown: Float32, *, rival: float, odd: float) -> PlacedWindow:
    scales = np.linalg.svd(best.to_bed[:, :2], compute_uv=False)
    rows, columns = np.nonzero(shown > 0.5)
    extent = float(min(np.ptp(rows), np.ptp(columns))) / FINE_px_per_mm if rows.size else 0.0
    error: float | None = None
    if extent >= SCALE_EXTENT_mm:
        error = float(np.sqrt(scales[0] * scales[1]) - 1.0)
        told = float(scales[np.abs(scales - 1.0).argmax()] - 1.0)
        if abs(told) > SCALE_LIMIT + SCALE_DOUBT_mm / extent:
            raise PhotographRefused(
                "print-scale",
                f"The mat was printed at {100.0 * (1.0 + told):.1f}{NB}%, by the size of the mark; "
                f"{100.0 * (1.0 - SCALE_LIMIT):.1f} to {100.0 * (1.0 + SCALE_LIMIT):.1f}{NB}% is allowed.",
                remedy=f"Print mat.pdf at 100{NB}%, “actual size”, not “fit to page”; the bar on it has to measure 100{NB}mm.",
            )
    return PlacedWindow(
        to_bed=best.to_bed,
        match=best.match,
        rival_match=rival,
        odd_share=odd,
        turn_deg=best.turn_deg(),
        print_scale_error=error,
        burns_light=best.sign > 0.0,
    )


def _not_this_mark(match: float) -> PhotographRefused:
    return PhotographRefused(
        "mark-not-found",
        f"The picture does not show this mark: its art matches what is in the window by {max(0.0, match):.2f}, of 1; "
        f"at least {LEAST_MATCH:.2f} is needed.",
        remedy="Lay the mat upright over the mark, turned by no more than 5 degrees, on the wood it was burnt on and nothing "
        "else in the window; check --piece and --mark.",
    )
