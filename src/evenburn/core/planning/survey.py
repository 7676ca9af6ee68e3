"""What the artwork of one mark is like where it lies: ink, widths, profiles and room, before any recipe is known."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.detail import Widths, measure_widths
from evenburn.core.art.ink import InkProfile, ink_box_mm, ink_profile
from evenburn.core.art.picture import Artwork, Drawn, Grid, draw_on_bed, grid_in_box
from evenburn.core.layout.islands import parted_profiles
from evenburn.core.layout.place import mark_on_bed, room_mm
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis, Mark, Piece
from evenburn.core.nouns.path import Polyline
from evenburn.core.nouns.wood import Wood
from evenburn.core.tone.prepare import prepare_light
from evenburn.core.tone.reproduce import wished_tones_L

Box = tuple[float, float, float, float]
AXES: tuple[Axis, ...] = ("x", "y")

SURVEY_PIXELS = 1.5e6  # enough for hull and extents within a tenth of a millimetre on a 150 mm mark
WIDTH_PIXELS = 6.0e6
WIDTH_PIXEL_LEAST_mm = 0.025
WIDTH_STEPS = 8.0  # widths are measured to about a fifth of the wished sharpness: a pixel and a half of these
INK_SLACK_mm = 0.15  # half of the widest line spacing: by so much the burn image may reach past the surveyed ink
BARE_L = 0.5  # a photograph's tone this near to the bare wood is left unburnt; half of what anybody sees


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """Where one mark's ink lies on the bed, and what it asks for."""

    box_bed_mm: Box
    grid: Grid
    ink: NDArray[np.bool_]
    ink_box_mm: Box | None
    profiles: dict[Axis, InkProfile]
    room_mm: dict[Axis, tuple[float, float]]
    widths: Widths
    faint_L: float | None


def _pixel_mm(size_mm: tuple[float, float], *, pixels: float, least_mm: float) -> float:
    return max(least_mm, math.sqrt(size_mm[0] * size_mm[1] / pixels))


def _grown_within(ink: Box, box: Box, *, by_mm: float) -> Box:
    """Return the ink's box, grown by what the survey may have missed, but not past the mark's own box."""
    return (
        max(ink[0] - by_mm, box[0]),
        max(ink[1] - by_mm, box[1]),
        min(ink[2] + by_mm, box[2]),
        min(ink[3] + by_mm, box[3]),
    )


class _Covered:
    """Where a photograph's picture lies, drawn as if it were ink."""

    def __init__(self, coverage: Callable[..., NDArray[np.float32]]) -> None:
        self._coverage = coverage

    def ink(self, *, width_px: int, height_px: int) -> NDArray[np.float32]:
        """Return where there is a picture, 0–1."""
        return self._coverage(width_px=width_px, height_px=height_px)

    def light(self, *, width_px: int, height_px: int) -> NDArray[np.float32]:
        """Return the reverse of it, 0–1."""
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return nothing: it is not followed."""
        del width_mm, height_mm
        return ()


def picture_coverage(artwork: Artwork, *, mark: Mark, piece: Piece, grid: Grid) -> NDArray[np.float32] | None:
    """Return where on a bed grid a photograph's picture lies, 0–1; None where the artwork fills its box. Definition."""
    coverage = getattr(artwork, "coverage", None)
    if coverage is None:
        return None
    return draw_on_bed(_Covered(coverage), grid=grid, size_mm=mark.size_mm, turn_deg=piece.turn_deg, as_light=False)


def ink_of_light(light: NDArray[np.float32], *, wood: Wood, tone: float) -> NDArray[np.bool_]:
    """Return where a photograph's wished tone differs enough from the bare wood to be burnt. Definition."""
    wished = wished_tones_L(light, bare_L=wood.curve.bare_L, full_L=tone)
    return np.asarray(np.abs(wished - wood.curve.bare_L) > BARE_L, dtype=np.bool_)


def _profile(ink: NDArray[np.bool_], *, axis: Axis, pixel_mm: float) -> InkProfile:
    return replace(
        ink_profile(ink, axis=axis, pixel_mm=pixel_mm), parted=parted_profiles(ink, axis=axis, pixel_mm=pixel_mm)
    )


def survey_mark(machine: Machine, *, piece: Piece, mark: Mark, wood: Wood, artwork: Artwork) -> Survey:
    """Return what the artwork is like at its place on the bed. Source: the functions of `core.art`."""
    corners = mark_on_bed(piece, place_mm=mark.place_mm, size_mm=mark.size_mm)
    box_bed: Box = tuple(float(c) for c in corners.bounds)  # type: ignore[assignment]  # bounds are four
    around = (box_bed[2] - box_bed[0], box_bed[3] - box_bed[1])  # a slender mark that is turned lies in a wide box
    pixel = min(_pixel_mm(around, pixels=SURVEY_PIXELS, least_mm=0.05), *around)
    grid = grid_in_box(box_bed, pixel_mm=pixel)
    photo = mark.treatment == "photo"
    widths = Widths(stroke_mm=None, gap_mm=None)
    if not photo:
        least = max(WIDTH_PIXEL_LEAST_mm, mark.sharpness_mm / WIDTH_STEPS)
        fine = _pixel_mm(mark.size_mm, pixels=WIDTH_PIXELS, least_mm=least)
        width_px, height_px = (max(1, round(side / fine)) for side in mark.size_mm)
        once = Drawn(picture=artwork.ink(width_px=width_px, height_px=height_px))
        widths = measure_widths(once.picture, pixel_mm=fine)
        artwork = once
    drawn = draw_on_bed(artwork, grid=grid, size_mm=mark.size_mm, turn_deg=piece.turn_deg, as_light=photo)
    if photo:
        drawn = prepare_light(
            drawn,
            coverage=picture_coverage(artwork, mark=mark, piece=piece, grid=grid),
            pixel_mm=grid.pixel_mm,
            preparation=mark.preparation,
            resolvable_mm=mark.sharpness_mm,
            darkens=mark.tone_L < wood.curve.bare_L,
        )
    ink = ink_of_light(drawn, wood=wood, tone=mark.tone_L) if photo else drawn >= 0.5
    ink_box = ink_box_mm(ink, x0_mm=grid.x0_mm, y0_mm=grid.y0_mm, pixel_mm=grid.pixel_mm)
    inked = _grown_within(ink_box, box_bed, by_mm=max(grid.pixel_mm, INK_SLACK_mm)) if ink_box is not None else box_bed
    span = mark.tone_L - wood.curve.bare_L
    return Survey(
        box_bed_mm=box_bed,
        grid=grid,
        ink=ink,
        ink_box_mm=ink_box,
        profiles={axis: _profile(ink, axis=axis, pixel_mm=grid.pixel_mm) for axis in AXES},
        room_mm={
            axis: room_mm(inked, axis=axis, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm) for axis in AXES
        },
        widths=widths,
        faint_L=wood.curve.bare_L + 0.15 * span if photo and mark.reproduction in ("auto", "continuous") else None,
    )
