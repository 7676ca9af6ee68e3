"""What a mark would be at another focus offset or line spacing: its recipe, its lines, and what is predicted of it.

The offset changes the beam alone: lines and power stay, as they do where a stand-off is set wrongly. Another spacing takes
new lines, for which the recipe is solved anew: its speed, passes and axis stay, its power comes out so that the tone holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.inset import inset_ink
from evenburn.core.art.picture import Artwork, Grid, draw_on_bed, grid_in_box
from evenburn.core.motion.raster import line_of_row, sweep_of
from evenburn.core.nouns.machine import Lens
from evenburn.core.nouns.mark import Hold, Mark, Piece
from evenburn.core.nouns.recipe import Predicted, Recipe
from evenburn.core.planning.candidates import Found
from evenburn.core.planning.mark_plan import (
    MarkWork,
    burning_of,
    half_tone_share,
    photo_light,
    photo_picture_W,
    predict,
    recipe_of,
)
from evenburn.core.planning.raster_time import raster_time_s
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wish import Wish
from evenburn.core.proof.line_table import LineTable, line_table
from evenburn.core.tone.halftone import HALFTONES

Packed = NDArray[np.uint16]
Box = tuple[float, float, float, float]

SOURCE_PIXELS = 4.0e6  # of the drawing kept for other line spacings
FINER = 0.5  # of the planned spacing: its pixels
MARGIN_LINES = 24  # drawn in beside the lines that are wanted; an edge knows nothing of what lies further
FULL = 65535.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScannedMark:
    """What is kept of a scanned mark to lay its lines anew.

    Attributes
    ----------
    source, source_grid : ink 0–1, or a photograph's light made ready, in 16 bits on a grid of the bed, row 0 lowest.
    planned_time_s : by the plan's own clock. [s]
    """

    mark: Mark
    wish: Wish
    found: Found
    recipe: Recipe
    box_bed_mm: Box
    source: Packed
    source_grid: Grid
    reproduction: str | None
    planned_time_s: float

    def size_bytes(self) -> int:
        """Return how much memory it takes. Definition."""
        return int(self.source.nbytes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A focus offset and a line spacing; None leaves either as it is planned. [mm]"""

    focus_offset_mm: float | None = None
    line_spacing_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AtSetting:
    """A recipe at a setting and what is predicted of it; `gave_way` names what would not hold, as `search` does."""

    recipe: Recipe
    predicted: Predicted
    gave_way: tuple[str, ...]


def scanned_mark(work: MarkWork, *, piece: Piece, artwork: Artwork) -> ScannedMark:
    """Return what is to be kept of a scanned mark. Source: `draw_on_bed`, `photo_light`."""
    x0, y0, x1, y1 = work.survey.box_bed_mm
    photo = work.mark.treatment == "photo"
    fine = work.grid.pixel_mm * (1.0 if photo else FINER)
    grid = grid_in_box(
        work.survey.box_bed_mm,
        pixel_mm=min(max(fine, math.sqrt((x1 - x0) * (y1 - y0) / SOURCE_PIXELS)), x1 - x0, y1 - y0),
    )
    if photo:
        drawn = photo_light(
            work.wish, mark=work.mark, piece=piece, artwork=artwork, grid=grid, resolvable_mm=work.found.detail_mm
        )
    else:
        drawn = draw_on_bed(artwork, grid=grid, size_mm=work.mark.size_mm, turn_deg=piece.turn_deg, as_light=False)
    return ScannedMark(
        mark=work.mark,
        wish=work.wish,
        found=work.found,
        recipe=work.recipe,
        box_bed_mm=work.survey.box_bed_mm,
        source=np.rint(np.clip(drawn, 0.0, 1.0) * np.float32(FULL)).astype(np.uint16),
        source_grid=grid,
        reproduction=work.reproduction,
        planned_time_s=work.predicted.time_s,
    )


def recipe_at(kept: ScannedMark, *, line_spacing_mm: float | None) -> tuple[Recipe, tuple[str, ...]]:
    """Return the recipe at a line spacing, its power solved anew, and what then gives way.

    Source
    ------
    `search` and `recipe_of`, everything but power held; a power that a person holds stays, too.
    """
    recipe = kept.recipe
    if line_spacing_mm is None or abs(line_spacing_mm - recipe.line_spacing_mm) < 1e-9:
        return recipe, kept.found.gave_way
    held = Hold(
        speed_mm_per_s=recipe.speed_mm_per_s,
        power_W=kept.wish.hold.power_W,
        line_spacing_mm=line_spacing_mm,
        focus_offset_mm=recipe.focus_offset_mm,
        passes=recipe.passes,
        scan_axis=recipe.scan_axis,
        direction=recipe.direction,
    )
    wish = replace(kept.wish, hold=held)
    found = search(wish)
    made = recipe_of(wish, found, air_kPa=recipe.air_kPa)
    if recipe.power_low_W is None:
        made = replace(made, power_low_W=None, power_low_fraction=None)
    return made, found.gave_way


def at_setting(kept: ScannedMark, setting: Setting, *, lens: Lens) -> AtSetting:
    """Return what a mark is predicted to be at a setting.

    The time is the plan's, in proportion to what the search reckons for both spacings.

    Source
    ------
    `recipe_at`, `predict`, `raster_time_s`.
    """
    recipe, gave_way = recipe_at(kept, line_spacing_mm=setting.line_spacing_mm)
    if setting.focus_offset_mm is not None:
        offset = setting.focus_offset_mm
        recipe = replace(recipe, focus_offset_mm=offset, stand_off_mm=lens.focus_stand_off_mm + offset)
    told = predict(kept.wish, recipe, events=())
    here, planned = (_reckoned_s(kept, spacing) for spacing in (recipe.line_spacing_mm, kept.recipe.line_spacing_mm))
    return AtSetting(
        recipe=recipe,
        predicted=replace(told, time_s=kept.planned_time_s * here / max(planned, 1e-9), time_lower_bound_s=0.0),
        gave_way=gave_way,
    )


def _reckoned_s(kept: ScannedMark, line_spacing_mm: float) -> float:
    recipe = kept.recipe
    times = raster_time_s(
        kept.wish,
        axis=recipe.scan_axis,
        speed_mm_per_s=np.array(recipe.speed_mm_per_s),
        line_spacing_mm=np.array(line_spacing_mm),
        passes=np.array(float(recipe.passes)),
        one_way=recipe.direction == "one way",
    )
    return float(np.ravel(times)[0])


def lines_at(kept: ScannedMark, recipe: Recipe, *, near_bed_mm: Box) -> tuple[LineTable | None, Box]:
    """Return the lines of a recipe that lie near a part of the bed, and the part within which none is missing.

    Parameters
    ----------
    near_bed_mm : (x0, y0, x1, y1); a halftone that hangs on all before it is laid out whole.

    Source
    ------
    As `solid_picture_W`, `photo_picture_W` and `raster_events`, from the drawing kept; every second line burnt back.
    """
    grid = grid_in_box(kept.box_bed_mm, pixel_mm=recipe.line_spacing_mm)
    rows = _cells(near_bed_mm[1], near_bed_mm[3], low_mm=grid.y0_mm, count=grid.rows, pixel_mm=grid.pixel_mm)
    columns = _cells(near_bed_mm[0], near_bed_mm[2], low_mm=grid.x0_mm, count=grid.columns, pixel_mm=grid.pixel_mm)
    if recipe.scan_axis == "x" or kept.reproduction in HALFTONES:
        columns = (0, grid.columns)
    if recipe.scan_axis == "y" or kept.reproduction in HALFTONES:
        rows = (0, grid.rows)
    inner = _grid_part(grid, rows=rows, columns=columns)
    covered = (
        -math.inf if columns[0] == 0 else inner.x0_mm,
        -math.inf if rows[0] == 0 else inner.y0_mm,
        math.inf if columns[1] == grid.columns else inner.x0_mm + inner.columns * inner.pixel_mm,
        math.inf if rows[1] == grid.rows else inner.y0_mm + inner.rows * inner.pixel_mm,
    )
    if inner.rows <= 0 or inner.columns <= 0:
        return None, covered
    outer_rows = (max(rows[0] - MARGIN_LINES, 0), min(rows[1] + MARGIN_LINES, grid.rows))
    outer_columns = (max(columns[0] - MARGIN_LINES, 0), min(columns[1] + MARGIN_LINES, grid.columns))
    outer = _grid_part(grid, rows=outer_rows, columns=outer_columns)
    power = _powers_W(kept, recipe, grid=outer)[
        rows[0] - outer_rows[0] : rows[1] - outer_rows[0], columns[0] - outer_columns[0] : columns[1] - outer_columns[0]
    ]
    first = rows[0] if recipe.scan_axis == "x" else columns[0]
    return _table(kept, recipe, power_W=power, grid=inner, first=first), covered


def _powers_W(kept: ScannedMark, recipe: Recipe, *, grid: Grid) -> NDArray[np.float32]:
    """Return the powers of a part of the mark, (rows, columns), row 0 lowest. [W]"""
    from evenburn.core.proof.window_loops import compiled  # late: numba takes half a second

    source = kept.source_grid
    photo = kept.mark.treatment == "photo"
    drawn = np.empty((grid.rows, grid.columns), np.float32)
    compiled()["averaged"](
        kept.source,
        source.x0_mm,
        source.y0_mm,
        source.pixel_mm,
        grid.x0_mm,
        grid.y0_mm,
        grid.pixel_mm,
        np.float32(FULL if photo else 0.0),
        drawn,
    )
    drawn *= np.float32(1.0 / FULL)
    if photo:
        return photo_picture_W(kept.wish, recipe, mark=kept.mark, light=drawn, name=kept.reproduction or "continuous")
    burning = burning_of(kept.wish, recipe)
    ink = inset_ink(
        drawn,
        pixel_mm=grid.pixel_mm,
        beam_radius_mm=burning.beam_radius_mm,
        smear_mm=burning.smear_mm,
        half_tone_dose_fraction=half_tone_share(kept.wish, burning, tone=kept.mark.tone_L),
        scan_axis=recipe.scan_axis,
    )
    return np.where(ink, np.float32(recipe.power_W), np.float32(0.0))


def _table(
    kept: ScannedMark, recipe: Recipe, *, power_W: NDArray[np.float32], grid: Grid, first: int
) -> LineTable | None:
    """Return the lines that burn powers; `first` is which line of the whole mark the first row is."""
    machine, axis = kept.wish.machine, recipe.scan_axis
    along_x = axis == "x"
    rows = power_W if along_x else np.ascontiguousarray(power_W.T)
    along, cross = (grid.x0_mm, grid.y0_mm) if along_x else (grid.y0_mm, grid.x0_mm)
    sweeps = [
        sweep_of(
            machine,
            line_of_row(
                rows[index],
                cross_mm=cross + (float(index) + 0.5) * grid.pixel_mm,
                along_origin_mm=along,
                pixel_mm=grid.pixel_mm,
            ),
            axis=axis,
            speed_mm_per_s=recipe.speed_mm_per_s,
            forward=recipe.direction == "one way" or (first + int(index)) % 2 == 0,
        )
        for index in np.flatnonzero((rows > 0.0).any(axis=1))
    ]
    return line_table(sweeps * recipe.passes, reversal_offset_mm=machine.reversal_offset_mm)


def _cells(low: float, high: float, *, low_mm: float, count: int, pixel_mm: float) -> tuple[int, int]:
    """Return the first of a row of cells that a stretch touches, and the one after the last."""
    first = math.floor((low - low_mm) / pixel_mm) if math.isfinite(low) else 0
    last = math.ceil((high - low_mm) / pixel_mm) if math.isfinite(high) else count
    return min(max(first, 0), count), min(max(last, 0), count)


def _grid_part(grid: Grid, *, rows: tuple[int, int], columns: tuple[int, int]) -> Grid:
    return Grid(
        x0_mm=grid.x0_mm + columns[0] * grid.pixel_mm,
        y0_mm=grid.y0_mm + rows[0] * grid.pixel_mm,
        pixel_mm=grid.pixel_mm,
        rows=rows[1] - rows[0],
        columns=columns[1] - columns[0],
    )
