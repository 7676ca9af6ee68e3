"""Reading a finished piece: the tone inside the ink of one mark, seen through a mat's window, and the bare wood beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.finding import find_page, flat_frame
from evenburn.core.card.lightness import LightScale, light_scale
from evenburn.core.card.page_view import Flat, FloatArray, PageView, Picture
from evenburn.core.card.piece_placing import (
    FINE_px_per_mm,
    InkImage,
    InkSheet,
    PlacedWindow,
    ink_sheet,
    place_window,
)
from evenburn.core.card.quality import check_even, check_exposed, check_greys, check_sharp
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.card.sampling import counts, sampled
from evenburn.core.card.sharpness import blur_mm
from evenburn.core.nouns.card import Box, Mat
from evenburn.core.tone.colour import LUMINANCE, lightness_L, luminance

Mask = NDArray[np.bool_]

NB = "\u00a0"
EDGE_mm, EDGE_BLURS, EDGE_BEAMS = 0.4, 2.5, 1.25  # of an edge of the ink is left out
BARE_EDGE_mm = 1.0  # … and so much more outside it: singed, sooty
RIM_mm = 2.0  # along the window
CELL_mm = 4.0
SHOWN_SHARE = 0.45  # of a cell has to be ink for its tone to be drawn
LEAST_CELL_mm2, LEAST_INSIDE_mm2, LEAST_CELLS = 1.0, 12.0, 3
INK_px_per_mm = 12
FIELD_SD = 0.004  # of the light, as in `reading`
STRAY_SDS, STRAY_LEAST_L = 4.0, 4.0  # a cell further off its fellows is soot, a knot, or shines
STRAY_FLAGGED, STRAY_REFUSED = 0.10, 0.40
CLIPPED_SHARE = 0.01
BARE_SPREAD_L = 4.0  # bare wood that varies by more lies in uneven light
APART_L = 1.5  # photographs of one mark further apart disagree


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRead:
    """The tone of a mark as one photograph tells it.

    Attributes
    ----------
    tone_L : L* of the mean linear luminance inside the ink.
    own_L_sd, shared_L_sd : standard deviation of it: this mark's own, and what paper and toner leave open.
    spread_L : standard deviation over cells of 4 mm.
    bare_L : tone of the bare wood outside the ink; None where none is in the window.
    inside_mm2 : area that was read. edge_mm : how much of the ink's edge was left out.
    """

    tone_L: float
    own_L_sd: float
    shared_L_sd: float
    spread_L: float
    bare_L: float | None
    inside_mm2: float
    edge_mm: float
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PiecePhotographed:
    """One photograph as read, with where everything lies, for a drawing of it.

    `cells_mm` are places on the page and the tone there, of cells that are mostly ink.
    """

    read: PieceRead
    window_mm: Box
    view: PageView
    placed: PlacedWindow
    cells_mm: tuple[tuple[tuple[float, float], float], ...]
    blur_mm: float

    def middle_bed_mm(self) -> tuple[float, float]:
        """Return where on the bed the middle of the window lies. [mm] Definition."""
        x0, y0, x1, y1 = self.window_mm
        x, y = self.placed.bed_mm(np.array([[0.5 * (x0 + x1), 0.5 * (y0 + y1)]]))[0]
        return float(x), float(y)


def read_piece(
    picture: Picture,
    mat: Mat,
    *,
    marks: Sequence[InkImage],
    which: int,
    beam_radius_mm: float,
    smear_mm: float,
    paper_L: float | None = None,
    toner_L: float | None = None,
    bare_L_below: bool | None = None,
) -> PiecePhotographed:
    """Return what a photograph through a mat's window tells of one mark of a finished piece.

    Parameters
    ----------
    picture : (rows, columns, 3) RGB, 8 bits, as the camera encoded it, upright or not.
    marks : burn images of all marks of the piece; which : the one whose tone is asked for.
    smear_mm : how late the laser answers at the speed it was burnt. [mm]
    paper_L, toner_L : measured lightness of the mat's paper and black, where known. [L*]
    bare_L_below : whether burning makes this material lighter; None where it is not known.

    Raises
    ------
    PhotographRefused
        If a number read from it could not be trusted.

    Source
    ------
    docs/how-it-works/closing-the-loop.md; own choice of limits.
    """
    view = find_page(picture, mat)
    flat = flat_frame(picture, view, mat=mat)
    blur = blur_mm(flat, mat)
    check_sharp(blur)
    samples = sampled(flat, mat)
    check_exposed(samples, mat)
    scale = light_scale(samples, paper_L=paper_L, toner_L=toner_L)
    check_even(samples, scale.field, white_off=scale.white_off, mat=mat)
    check_greys(scale)
    placed = place_window(
        window_tones_L(flat, mat, scale=scale),
        marks,
        window_mm=mat.window_mm,
        soft_mm=float(np.hypot(0.5 * beam_radius_mm, blur)),
        bare_L_below=bare_L_below,
    )
    edge = EDGE_BEAMS * beam_radius_mm + smear_mm + EDGE_BLURS * blur + EDGE_mm
    inside, bare = _masks(flat, mat, marks, which=which, placed=placed, edge_mm=edge)
    cells = _cells(flat, mat, inside)
    area = sum(c.pixels for c in cells) / flat.px_per_mm**2
    if area < LEAST_INSIDE_mm2 or len(cells) < LEAST_CELLS:
        raise PhotographRefused(
            "too-thin",
            f"Only {area:.0f}{NB}mm² of the mark is far enough from its edges to be read: {edge:.1f}{NB}mm on each side is "
            f"beam and blur, so strokes have to be wider than {2.0 * edge:.1f}{NB}mm; {LEAST_INSIDE_mm2:.0f}{NB}mm² are needed.",
            remedy="Lay the window over a broader part of the mark and go closer, or compare a mark with broader strokes.",
        )
    read, kept = _tone(cells, scale, edge_mm=edge, bare=_cells(flat, mat, bare), px_per_mm=flat.px_per_mm)
    return PiecePhotographed(
        read=read,
        window_mm=mat.window_mm,
        view=view,
        placed=placed,
        cells_mm=kept,
        blur_mm=blur,
    )


def window_tones_L(flat: Flat, mat: Mat, *, scale: LightScale) -> NDArray[np.float32]:
    """Return the (rows, columns) tone of the window at FINE_px_per_mm, to find the art by. [L*]

    Source
    ------
    Definition: mean linear luminance of each pixel over that of white paper there, its flare let be.
    """
    x0, y0, x1, y1 = mat.window_mm
    wide, high = (round((b - a) * FINE_px_per_mm) for a, b in ((x0, x1), (y0, y1)))
    weights = (LUMINANCE / LUMINANCE.sum()).astype(np.float32)
    light = scale.curve().decoded().astype(np.float32)[flat.part(mat.window_mm)] @ weights
    small = cv2.resize(light, (wide, high), interpolation=cv2.INTER_AREA)
    columns, rows = max(2, wide // 24), max(2, high // 24)
    xx, yy = np.meshgrid(
        x0 + (np.arange(columns) + 0.5) * (x1 - x0) / columns, y1 - (np.arange(rows) + 0.5) * (y1 - y0) / rows
    )
    white = scale.white_linear(np.column_stack([xx.ravel(), yy.ravel()])) @ weights
    field = cv2.resize(white.reshape(rows, columns).astype(np.float32), (wide, high), interpolation=cv2.INTER_LINEAR)
    share = np.maximum(small / field, 0.0) * scale.paper_reflectance()
    return np.asarray(lightness_L(share.astype(np.float64)), np.float32)


def _masks(
    flat: Flat, mat: Mat, marks: Sequence[InkImage], *, which: int, placed: PlacedWindow, edge_mm: float
) -> tuple[Mask, Mask]:
    """Return which pixels of the window lie inside the ink asked for, and which on bare wood, both clear of edges."""
    box, u = _pixel_box(flat, mat.window_mm), flat.px_per_mm
    rows, columns = flat.part(mat.window_mm).shape[:2]
    sheet = ink_sheet([marks[which]], px_per_mm=INK_px_per_mm, pad_mm=1.0)
    every = ink_sheet(marks, px_per_mm=INK_px_per_mm, pad_mm=1.0)
    others = [m for n, m in enumerate(marks) if n != which]
    size = (columns, rows)
    inside = _laid(_depth_mm(sheet, inside=True), sheet, placed, box=box, u=u, size=size, beyond=0.0) >= edge_mm
    if others:
        apart = ink_sheet(others, px_per_mm=INK_px_per_mm, pad_mm=1.0)
        clear = _laid(_depth_mm(apart, inside=False), apart, placed, box=box, u=u, size=size, beyond=99.0)
        inside &= clear >= edge_mm
    free = _laid(_depth_mm(every, inside=False), every, placed, box=box, u=u, size=size, beyond=99.0)
    bare = free >= min(edge_mm + BARE_EDGE_mm, 99.0)
    rim = round(RIM_mm * u)
    for mask in (inside, bare):
        mask[:rim], mask[-rim:], mask[:, :rim], mask[:, -rim:] = False, False, False, False
    return inside, bare


def _pixel_box(flat: Flat, box: Box) -> Box:
    """Return the box that the whole pixels inside a box cover."""
    x0, y1, u = flat.box_mm[0], flat.box_mm[3], flat.px_per_mm
    left, top = np.ceil((box[0] - x0) * u - 1e-6) / u + x0, y1 - np.ceil((y1 - box[3]) * u - 1e-6) / u
    return (float(left), box[1], box[2], float(top))


def _depth_mm(sheet: InkSheet, *, inside: bool) -> NDArray[np.float32]:
    """Return how far each pixel is from bare wood, or from ink."""
    burnt = np.asarray(sheet.ink > 0.5, np.uint8)
    return np.asarray(
        cv2.distanceTransform(burnt if inside else 1 - burnt, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / sheet.px_per_mm,
        np.float32,
    )


def _laid(
    values: NDArray[np.float32],
    sheet: InkSheet,
    placed: PlacedWindow,
    *,
    box: Box,
    u: float,
    size: tuple[int, int],
    beyond: float,
) -> NDArray[np.float32]:
    """Return values of the bed as they lie under the window's pixels."""
    page = np.array([[1.0 / u, 0.0, box[0] + 0.5 / u], [0.0, -1.0 / u, box[3] - 0.5 / u], [0.0, 0.0, 1.0]])
    warp = np.linalg.inv(sheet.to_mm()) @ np.vstack([placed.to_bed, [0, 0, 1]]) @ page
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(values, warp[:2], size, flags=flags, borderValue=beyond), np.float32)


# ---- tones ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cell:
    middle_mm: tuple[float, float]
    shares: FloatArray
    pixels: int
    clipped: float


def _cells(flat: Flat, mat: Mat, mask: Mask) -> list[_Cell]:
    """Return the cells of the window that hold enough of a mask."""
    part, u = flat.part(mat.window_mm), flat.px_per_mm
    box, step = _pixel_box(flat, mat.window_mm), round(CELL_mm * u)
    found = []
    for top in range(0, part.shape[0], step):
        for left in range(0, part.shape[1], step):
            here = mask[top : top + step, left : left + step]
            pixels = int(here.sum())
            if pixels < LEAST_CELL_mm2 * u * u:
                continue
            values = part[top : top + step, left : left + step][here]
            rows, columns = np.nonzero(here)
            found.append(
                _Cell(
                    middle_mm=(
                        box[0] + (left + float(columns.mean()) + 0.5) / u,
                        box[3] - (top + float(rows.mean()) + 0.5) / u,
                    ),
                    shares=counts(values),
                    pixels=pixels,
                    clipped=float((values.max(axis=1) >= 254).mean()),
                )
            )
    return found


def _tone(
    cells: Sequence[_Cell], scale: LightScale, *, edge_mm: float, bare: Sequence[_Cell], px_per_mm: int
) -> tuple[PieceRead, tuple[tuple[tuple[float, float], float], ...]]:
    """Return the tone of cells together, and the cells that count with the tone of each."""
    tones = _tones_L(cells, scale)
    middle = float(np.median(tones))
    sd = 1.4826 * float(np.median(np.abs(tones - middle)))
    stray = np.abs(tones - middle) > max(STRAY_LEAST_L, STRAY_SDS * sd)
    shines = np.array([c.clipped > CLIPPED_SHARE for c in cells])
    odd = float(np.mean(stray | shines))
    if odd > STRAY_REFUSED:
        raise PhotographRefused(
            "mark-uneven",
            f"{100.0 * odd:.0f}{NB}% of the mark is far off the rest of it or shines; "
            f"{100.0 * STRAY_REFUSED:.0f}{NB}% is allowed.",
            remedy="Brush the soot off, tilt the phone until nothing shines, and take the picture again.",
        )
    kept = [c for c, s in zip(cells, stray | shines, strict=True) if not s]
    weight = np.array([float(c.pixels) for c in kept])
    level = np.asarray(tones[~(stray | shines)])
    tone = float(lightness_L(float((weight * luminance(level)).sum() / weight.sum())))
    spread = float(np.sqrt((weight * np.square(level - tone)).sum() / weight.sum()))
    whole = np.tensordot(weight / weight.sum(), np.array([c.shares for c in kept]), axes=1)
    place = (weight @ np.array([c.middle_mm for c in kept])) / weight.sum()
    slopes = scale.tone_slopes_L(whole[None], places_mm=place[None])[0]
    count = float(weight.sum() ** 2 / np.square(weight).sum())
    flags = {"uneven"} if odd > STRAY_FLAGGED else set()
    if shines.any():
        flags.add("saturated")
    bare_L: float | None = None
    if len(bare) >= LEAST_CELLS:
        wood = _tones_L(bare, scale)
        bare_L = float(np.median(wood))
        if 1.4826 * float(np.median(np.abs(wood - bare_L))) > BARE_SPREAD_L:
            flags.add("uneven-wood")
    read = PieceRead(
        tone_L=tone,
        own_L_sd=float(np.hypot((tone + 16.0) / 3.0 * FIELD_SD, spread / np.sqrt(count))),
        shared_L_sd=float(np.sqrt(max(0.0, float(slopes @ scale.covariance @ slopes)))),
        spread_L=spread,
        bare_L=bare_L,
        inside_mm2=float(weight.sum()) / px_per_mm**2,
        edge_mm=edge_mm,
        flags=tuple(sorted(flags)),
    )
    shown = SHOWN_SHARE * (CELL_mm * px_per_mm) ** 2
    return read, tuple((c.middle_mm, float(t)) for c, t in zip(kept, level, strict=True) if c.pixels >= shown)


def _tones_L(cells: Sequence[_Cell], scale: LightScale) -> FloatArray:
    return scale.tones_L(np.array([c.shares for c in cells]), places_mm=np.array([c.middle_mm for c in cells]))


def combined_piece(reads: Sequence[PieceRead]) -> PieceRead:
    """Return what several photographs of one mark tell together.

    Source
    ------
    Weighted mean; what they share through the print is not made smaller by more of them. Own choice where they disagree.
    """
    if len(reads) == 1:
        return reads[0]
    tones, own = np.array([r.tone_L for r in reads]), np.array([max(r.own_L_sd, 0.05) for r in reads])
    weight = 1.0 / np.square(own)
    tone = float((weight * tones).sum() / weight.sum())
    apart = float(np.sqrt((weight * np.square(tones - tone)).sum() / weight.sum()))
    flags = {f for r in reads for f in r.flags}
    if float(np.ptp(tones)) > max(APART_L, 4.0 * float(own.max())):
        flags.add("photographs-disagree")
    bare = [r.bare_L for r in reads if r.bare_L is not None]
    return PieceRead(
        tone_L=tone,
        own_L_sd=float(max(1.0 / np.sqrt(weight.sum()), apart / np.sqrt(len(reads)))),
        shared_L_sd=float(np.mean([r.shared_L_sd for r in reads])),
        spread_L=float(np.median([r.spread_L for r in reads])),
        bare_L=float(np.mean(bare)) if bare else None,
        inside_mm2=float(np.mean([r.inside_mm2 for r in reads])),
        edge_mm=float(np.mean([r.edge_mm for r in reads])),
        flags=tuple(sorted(flags)),
    )
