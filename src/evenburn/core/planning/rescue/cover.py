"""Whether a new design covers a burn: is every burnt place under it, and does the burn show through."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from shapely import Point as Dot

from evenburn.core.layout.place import on_bed
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.piece_plan import burn_of
from evenburn.core.planning.rescue.again import SEEN_L, Again, both_exposures, burnt_again
from evenburn.core.planning.rescue.burn_depth import Burnt
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2
from evenburn.core.response.curve import exposure_shift, tone_L
from evenburn.core.tone.vision import UNSEEN_L

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]
Point = tuple[float, float]

MOST_PIXELS = 4_000_000
AROUND_mm = 1.0  # beyond both boxes, for what the beam blurs outwards
ACUITY_rad = math.radians(1.0 / 60.0)  # what 20/20 resolves [webvision]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """What a new design over a burn would look like.

    Attributes
    ----------
    seen : whether the burn is seen at all as it is.
    beside_share : part of the visibly burnt area that the new ink leaves in sight.
    grow_mm : how much further the new ink would have to reach everywhere to hide that. [mm]
    beside_mm : the place that lies furthest outside, in the blank's frame; None where none does. [mm]
    through_L : the greatest difference between burnt over and burnt on bare wood, inside the new ink. [L*]
    through_mm : where, in the blank's frame; None where nothing shows. [mm]
    char_share : part of the burnt area under the new ink that comes past the char limit.
    again : old and new as even tones, at their fullest.
    """

    seen: bool
    beside_share: float
    grow_mm: float
    beside_mm: Point | None
    through_L: float
    through_mm: Point | None
    char_share: float
    again: Again

    def hides(self) -> bool:
        """Return whether nothing of the burn is seen any more. Definition."""
        return self.beside_mm is None and self.through_mm is None


def cover_grid(old: MarkWork, new: MarkWork) -> DoseGrid:
    """Return the grid on the bed that holds both marks, as fine as their lines ask for. Definition."""
    boxes = np.array([old.survey.box_bed_mm, new.survey.box_bed_mm])
    low, high = boxes[:, :2].min(axis=0) - AROUND_mm, boxes[:, 2:].max(axis=0) + AROUND_mm
    width, height = (float(v) for v in high - low)
    pixel = max(min(_pixel_mm(old), _pixel_mm(new)), math.sqrt(width * height / MOST_PIXELS))
    return DoseGrid(
        x0_mm=float(low[0]),
        y0_mm=float(low[1]),
        pixel_x_mm=pixel,
        pixel_y_mm=pixel,
        rows=max(1, math.ceil(height / pixel)),
        columns=max(1, math.ceil(width / pixel)),
    )


def _pixel_mm(work: MarkWork) -> float:
    return work.recipe.line_spacing_mm if work.followed is None else 0.5 * work.predicted.beam_radius_mm


def exposure_map(work: MarkWork, curve: CharacteristicCurve, *, grid: DoseGrid, burnt: Burnt) -> FloatArray:
    """Return the effective exposure a mark left, or will leave, on a grid; −∞ where nothing. [log10 J/mm²]

    Parameters
    ----------
    burnt : what was really set; the map of the planned powers is scaled by it.

    Source
    ------
    Own derivation: `dose_map_J_per_mm2` is linear in power over speed, passes and spacing.
    """
    burn, planned, real = burn_of(work), work.recipe, burnt.recipe
    factor = (real.power_W / planned.power_W) * (planned.speed_mm_per_s / real.speed_mm_per_s)
    factor *= real.passes / planned.passes
    if planned.way == "scan":
        factor *= planned.line_spacing_mm / real.line_spacing_mm
    lines = collect(burn.events, grid, reversal_offset_mm=burn.reversal_offset_mm, machine=burn.machine)
    dose = dose_map_J_per_mm2(lines, beam_radius_mm=burnt.beam_radius_mm, rise_time_s=burn.rise_time_s)
    shift = float(exposure_shift(curve, dwell_ms=burnt.dwell_ms, passes=burnt.counted_passes()))
    with np.errstate(divide="ignore"):
        return np.asarray(np.log10(np.maximum(dose.astype(np.float64), 0.0) * factor) + shift, dtype=np.float64)


def cover_of(
    curve: CharacteristicCurve,
    *,
    old_map: FloatArray,
    new_map: FloatArray,
    grid: DoseGrid,
    piece: Piece,
    reading_distance_mm: float,
    old_exposure: float,
    new_exposure: float,
    old_is_even: bool = True,
    new_is_even: bool = True,
) -> Cover:
    """Return what a new design leaves to be seen of a burn.

    Parameters
    ----------
    old_map, new_map : (rows, columns) effective exposures on the grid, row 0 lowest; −∞ where nothing was burnt.
    old_exposure, new_exposure : of both where they are even and full.
    old_is_even, new_is_even : ink of one tone ends where half of it is left, as everywhere else; a photograph's where
        nothing is seen any more.

    Source
    ------
    Own derivation, docs/how-it-works/rescue.md: what differs by more than [mahy1994] between burnt over and burnt on bare
    wood is seen, unless it lies nearer to the new ink's edge than the eye resolves [webvision].
    """
    both = both_exposures(curve, old_exposure=old_map, new_exposure=new_map)
    tone_old, tone_new, tone_both = tone_L(curve, old_map), tone_L(curve, new_map), tone_L(curve, both)
    again = burnt_again(curve, old_exposure=old_exposure, new_exposure=new_exposure)
    seen_old = np.abs(tone_old - curve.bare_L) > _edge_L(curve, again.old_L, even=old_is_even)
    inked = np.abs(tone_new - curve.bare_L) > _edge_L(curve, again.new_L, even=new_is_even)
    shown = np.abs(tone_both - tone_new)
    acuity_mm = reading_distance_mm * math.tan(ACUITY_rad)
    outside = _distance_mm(~inked, grid)
    within = _distance_mm(inked, grid)
    beside = seen_old & ~inked & (shown > SEEN_L) & (outside > acuity_mm)
    through = inked & seen_old & (within > acuity_mm)
    full = through & (np.abs(tone_new - again.new_L) <= UNSEEN_L)
    if full.any():  # where it is even; a stroke too thin to be full gets darker, but nothing beside it tells
        through = full
    elif not through.any():  # strokes too fine to have an inside
        through = inked & seen_old
    through &= shown > SEEN_L
    under = seen_old & inked
    burnt_px = max(int(seen_old.sum()), 1)
    return Cover(
        seen=bool(seen_old.any()),
        beside_share=float(beside.sum()) / burnt_px,
        grow_mm=float(outside[beside].max()) if beside.any() else 0.0,
        beside_mm=_worst_mm(beside, outside, grid=grid, piece=piece),
        through_L=float(shown[through].max()) if through.any() else 0.0,
        through_mm=_worst_mm(through, shown, grid=grid, piece=piece),
        char_share=float((under & (both > curve.x_char)).sum()) / burnt_px,
        again=again,
    )


def _edge_L(curve: CharacteristicCurve, full_L: float, *, even: bool) -> float:
    """Return the difference from bare wood at which ink ends: half of its own where it is even, what is seen else."""
    return max(0.5 * abs(full_L - curve.bare_L), SEEN_L) if even else SEEN_L


def _distance_mm(mask: Mask, grid: DoseGrid) -> FloatArray:
    """Return how far each True pixel lies from the nearest False one, 0 elsewhere; without end where there is none."""
    if mask.all():
        return np.full(mask.shape, math.hypot(grid.rows * grid.pixel_y_mm, grid.columns * grid.pixel_x_mm))
    far = distance_transform_edt(mask, sampling=(grid.pixel_y_mm, grid.pixel_x_mm))
    return np.asarray(far, dtype=np.float64)


def _worst_mm(mask: Mask, amount: FloatArray, *, grid: DoseGrid, piece: Piece) -> Point | None:
    """Return where an amount is greatest within a mask, in the blank's frame. [mm]"""
    if not mask.any():
        return None
    row, column = np.unravel_index(int(np.where(mask, amount, -np.inf).argmax()), mask.shape)
    x = grid.x0_mm + (float(column) + 0.5) * grid.pixel_x_mm
    y = grid.y0_mm + (float(row) + 0.5) * grid.pixel_y_mm
    return on_blank_mm(piece, (x, y))


def on_blank_mm(piece: Piece, place_bed_mm: Point) -> Point:
    """Return where a place of the bed lies on the blank as it is drawn: `on_bed` undone. [mm] Definition."""
    origin = on_bed(piece, Dot(0.0, 0.0))
    x, y = place_bed_mm[0] - origin.x, place_bed_mm[1] - origin.y
    cos, sin = math.cos(math.radians(piece.turn_deg)), math.sin(math.radians(piece.turn_deg))
    return cos * x + sin * y, -sin * x + cos * y
