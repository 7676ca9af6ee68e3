"""One mark, planned: survey, recipe, picture of powers, events, and what is predicted."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.art.inset import inset_ink
from evenburn.core.art.picture import Artwork, Grid, draw_on_bed, grid_in_box
from evenburn.core.layout.islands import planned_events
from evenburn.core.motion.follow import FollowPath
from evenburn.core.motion.raster import Patch, room_needed_mm
from evenburn.core.motion.timing import program_time_s, time_lower_bound_s
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Axis, Mark, Piece
from evenburn.core.nouns.path import Polyline
from evenburn.core.nouns.recipe import Predicted, Recipe
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, effective_passes, mean_dose_J_per_mm2, ripple_factor
from evenburn.core.planning.candidates import Found
from evenburn.core.planning.follow_recipe import FollowFound
from evenburn.core.planning.power import (
    delivered_power_W,
    power_fraction,
    power_window_W,
    power_word_decimals,
    settable_power_W,
)
from evenburn.core.planning.recipe import edge_radius_mm
from evenburn.core.planning.survey import BARE_L, Survey, picture_coverage
from evenburn.core.planning.wide_area import predicted_tone_L, solve_power_W
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import effective_exposure, exposure_shift, exposures_for_tones, tone_L, tone_sd_L
from evenburn.core.tone.halftone import (
    HALFTONES,
    Burning,
    Choice,
    averaged_exposures_for_tones,
    choose_reproduction,
    clustered_cell_px,
    coverages_for_tones,
    screened,
    tones_of_coverages_L,
)
from evenburn.core.tone.prepare import prepare_light
from evenburn.core.tone.reproduce import wished_tones_L
from evenburn.core.tone.vision import unseen_banding_L

PowerPicture = NDArray[np.float32]

MOST_PIXELS = 60_000_000  # of one burn image; its dose map takes about 20 bytes a pixel
STOPPED_PIXELS = 4_000_000  # a mark that does not lie on the bed is only drawn to be looked at
GREY_STEPS = 96  # powers a photograph is rounded to; neighbours differ by under 1 L* on every shipped wood
AIR_COMMON_kPa = 34.0  # about 5 psi for engraving: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Followed:
    """What is known of a mark whose outlines are followed, and what had to be left out. Lengths in mm."""

    found: FollowFound
    length_mm: float
    outlines: int
    closed: int
    lost_openings: int
    doubles: int
    bridges_missed: int
    unmoved: int
    drawn: tuple[Polyline, ...]
    paths: tuple[FollowPath, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkWork:
    """Everything computed for one mark, before checks decide whether it may be burnt.

    `events` are what its program would hold, swept in so many `islands`; `picture_W` is (rows=y, columns=x), row 0 lowest, on `grid`. `followed` is
    None for what is scanned in lines.
    """

    mark: Mark
    survey: Survey
    wish: Wish
    found: Found
    recipe: Recipe
    predicted: Predicted
    grid: Grid
    picture_W: PowerPicture
    events: tuple[Event, ...]
    islands: int = 1
    followed: Followed | None = None
    reproduction: str | None = None
    reproduction_why: str = ""


def wish_for(
    machine: Machine, *, lens: Lens, beam: Beam, curve: CharacteristicCurve, piece: Piece, mark: Mark, survey: Survey
) -> Wish:
    """Return what the recipe search is asked for one mark. Definition."""
    return Wish(
        machine=machine,
        lens=lens,
        beam=beam,
        curve=curve,
        tone_L=mark.tone_L,
        faint_L=survey.faint_L,
        profiles=survey.profiles,
        room_mm=survey.room_mm,
        widths=survey.widths,
        unevenness_mm=piece.blank.unevenness_mm,
        sharpness_mm=mark.sharpness_mm,
        reading_distance_mm=mark.reading_distance_mm,
        hold=mark.hold,
        least_spacing_mm=math.sqrt(mark.size_mm[0] * mark.size_mm[1] / MOST_PIXELS),
    )


def air_kPa(machine: Machine, mark: Mark) -> float | None:
    """Return the air to set: the person's, else plenty for a cut and little for engraving, within the machine's. [kPa]

    Source
    ------
    Own choice after common practice, no source: low air engraves clean, strong air clears a cut.
    """
    if mark.air_kPa is not None:
        return mark.air_kPa
    if not machine.air_kPa:
        return None
    if mark.treatment == "cut":
        return max(machine.air_kPa)
    return min(max(AIR_COMMON_kPa, min(machine.air_kPa)), max(machine.air_kPa))


def recipe_of(wish: Wish, found: Found, *, air_kPa: float | None) -> Recipe:
    """Return the recipe of a found candidate, its power solved over the ripple and rounded to what can be set.

    A power outside what the machine fires or the person allows is kept as it is; a check tells.
    """
    power = found.power_W
    if wish.hold.power_W is None:
        power = solve_power_W(
            wish,
            speed_mm_per_s=found.speed_mm_per_s,
            line_spacing_mm=found.line_spacing_mm,
            focus_offset_mm=found.focus_offset_mm,
            passes=found.passes,
            guess_W=power,
        )
    least_W, most_W = power_window_W(wish.machine)
    if found.power_W <= most_W < power:
        power = most_W  # the solver may pass the cap by what the ripple takes; where that shows, a check on tone tells
    if wish.hold.power_W is None:  # crests must not char, nor char more than they do, for the sake of the mean
        power = min(power, max(found.power_W * 10.0**found.decades_to_char, found.power_W))
    if least_W <= found.power_W and power < least_W:
        power = least_W
    settable = float(settable_power_W(wish.machine, power_W=min(power, wish.machine.power_max_W)))
    if settable > power and "char" not in found.gave_way:
        settable = _below_char_W(wish.machine, settable_W=settable, most_W=found.power_W * 10.0**found.decades_to_char)
    if power > wish.machine.power_max_W:
        settable = power
    low: float | None = None
    if wish.faint_L is not None:
        ratio = 10.0 ** float(
            exposures_for_tones(wish.curve, wish.faint_L) - exposures_for_tones(wish.curve, wish.tone_L)
        )
        low = float(settable_power_W(wish.machine, power_W=max(settable * ratio, least_W)))
    return Recipe(
        power_W=settable,
        power_fraction=float(power_fraction(wish.machine, power_W=settable))
        if settable <= wish.machine.power_max_W
        else settable / wish.machine.power_max_W,
        speed_mm_per_s=found.speed_mm_per_s,
        line_spacing_mm=found.line_spacing_mm,
        focus_offset_mm=found.focus_offset_mm,
        stand_off_mm=wish.lens.focus_stand_off_mm + found.focus_offset_mm,
        passes=found.passes,
        scan_axis=found.axis,
        air_kPa=air_kPa,
        power_low_W=low,
        power_low_fraction=None if low is None else float(power_fraction(wish.machine, power_W=low)),
        direction=found.direction,
    )


def _below_char_W(machine: Machine, *, settable_W: float, most_W: float) -> float:
    """Return the power one step of the S word lower where the nearest would char and the lower one fires. [W]"""
    least_W, _ = power_window_W(machine)
    step = 10.0 ** -power_word_decimals(machine) / machine.power_word_max
    lower = float(power_fraction(machine, power_W=settable_W)) - step
    if settable_W <= most_W or lower <= 0.0:
        return settable_W
    watts = float(delivered_power_W(machine, power_fraction=lower))
    return watts if watts >= least_W * (1.0 - 1e-9) else settable_W


def burning_of(wish: Wish, recipe: Recipe) -> Burning:
    """Return what a halftone has to know of a recipe. Sources: `mean_dose_J_per_mm2`, `exposure_shift`."""
    radius = float(beam_radius_mm(wish.beam, offset_mm=recipe.focus_offset_mm))
    shift = exposure_shift(
        wish.curve,
        dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=recipe.speed_mm_per_s),
        passes=effective_passes(passes=recipe.passes, beam_radius_mm=radius, line_spacing_mm=recipe.line_spacing_mm),
    )
    dose = mean_dose_J_per_mm2(
        power_W=recipe.power_W,
        speed_mm_per_s=recipe.speed_mm_per_s,
        line_spacing_mm=recipe.line_spacing_mm,
        passes=recipe.passes,
    )
    return Burning(
        curve=wish.curve,
        full_exposure=float(np.log10(dose) + shift),
        beam_radius_mm=radius,
        smear_mm=recipe.speed_mm_per_s * wish.machine.rise_time_s,
        pixel_mm=recipe.line_spacing_mm,
        scan_axis=recipe.scan_axis,
    )


def half_tone_share(wish: Wish, burning: Burning, *, tone: float) -> float:
    """Return the dose at half the tone difference over that of the full tone, below 1. Source: `exposures_for_tones`."""
    half = float(exposures_for_tones(wish.curve, 0.5 * (wish.curve.bare_L + tone)))
    return float(10.0 ** min(half - burning.full_exposure, -1e-3))


def solid_picture_W(
    wish: Wish, recipe: Recipe, *, mark: Mark, piece: Piece, artwork: Artwork, grid: Grid
) -> PowerPicture:
    """Return the powers of an even tone, (rows, columns), row 0 lowest: drawn in by what the burn grows. [W]

    Source
    ------
    `inset_ink`; where the mark is only looked at, on pixels coarser than its lines, the drawing as it is.
    """
    drawn = draw_on_bed(artwork, grid=grid, size_mm=mark.size_mm, turn_deg=piece.turn_deg, as_light=False)
    if grid.pixel_mm > 1.001 * recipe.line_spacing_mm:
        ink = drawn >= 0.5
    else:
        burning = burning_of(wish, recipe)
        ink = inset_ink(
            drawn,
            pixel_mm=grid.pixel_mm,
            beam_radius_mm=burning.beam_radius_mm,
            smear_mm=burning.smear_mm,
            half_tone_dose_fraction=half_tone_share(wish, burning, tone=mark.tone_L),
            scan_axis=recipe.scan_axis,
        )
    return np.where(ink, np.float32(recipe.power_W), np.float32(0.0))


def photo_light(
    wish: Wish, *, mark: Mark, piece: Piece, artwork: Artwork, grid: Grid, resolvable_mm: float
) -> NDArray[np.float32]:
    """Return a photograph's light on the bed's grid, made ready for this wood and recipe. Source: `prepare_light`."""
    light = draw_on_bed(artwork, grid=grid, size_mm=mark.size_mm, turn_deg=piece.turn_deg, as_light=True)
    return prepare_light(
        light,
        coverage=picture_coverage(artwork, mark=mark, piece=piece, grid=grid),
        pixel_mm=grid.pixel_mm,
        preparation=mark.preparation,
        resolvable_mm=resolvable_mm,
        darkens=mark.tone_L < wish.curve.bare_L,
    )


def reproduction_of(wish: Wish, recipe: Recipe, *, mark: Mark, detail_mm: float) -> Choice:
    """Return how a photograph's tones are made: as the person says, else as suits the recipe."""
    asked = mark.reproduction
    if asked not in ("auto", "halftone"):
        return Choice(name=asked, why="")
    least_W, _ = power_window_W(wish.machine)
    return choose_reproduction(
        burning_of(wish, recipe),
        detail_mm=detail_mm,
        least_share=least_W / recipe.power_W,
        dots_only=asked == "halftone",
        step_share=10.0 ** -power_word_decimals(wish.machine)
        * wish.machine.power_max_W
        / (wish.machine.power_word_max * recipe.power_W),
    )


def photo_picture_W(wish: Wish, recipe: Recipe, *, mark: Mark, light: NDArray[np.float32], name: str) -> PowerPicture:
    """Return the powers of a photograph, (rows, columns), row 0 lowest. [W]

    Source
    ------
    `averaged_exposures_for_tones` pixel by pixel where power follows the tone; else dots of full power, their coverage
    by `tones_of_coverages_L`.
    """
    curve = wish.curve
    wished = wished_tones_L(light, bare_L=curve.bare_L, full_L=mark.tone_L)
    full = np.float32(recipe.power_W)
    burning = burning_of(wish, recipe)
    halftone = next((h for h in HALFTONES if h == name), None)
    if halftone is not None:
        coverages, tones = tones_of_coverages_L(burning, name=halftone)
        coverage = coverages_for_tones(wished, coverages=coverages, tone_of_coverage=tones)
        coverage[np.abs(wished - np.float32(curve.bare_L)) <= BARE_L] = 0.0
        dots = screened(coverage, name=halftone, cell_px=clustered_cell_px(burning))
        return np.where(dots, full, np.float32(0.0))
    least_W, _ = power_window_W(wish.machine)
    steps = np.linspace(curve.bare_L, mark.tone_L, GREY_STEPS)
    radius, spacing = burning.beam_radius_mm, recipe.line_spacing_mm
    exposures = averaged_exposures_for_tones(curve, steps, beam_radius_mm=radius, line_spacing_mm=spacing)
    powers = recipe.power_W * 10.0 ** (exposures - burning.full_exposure)
    powers = np.minimum(powers, recipe.power_W)
    faintest = float(
        tone_L(curve, burning.full_exposure + np.log10(least_W / recipe.power_W))
    )  # what the least power that fires already leaves
    nearer_bare = np.abs(steps - curve.bare_L) < np.abs(steps - faintest)
    powers = np.where(powers < least_W, np.where(nearer_bare, 0.0, least_W), powers)
    powers = np.where(np.abs(steps - curve.bare_L) <= BARE_L, 0.0, powers)
    table = settable_power_W(wish.machine, power_W=powers).astype(np.float32)
    share = (wished - np.float32(curve.bare_L)) / np.float32(mark.tone_L - curve.bare_L)
    return np.asarray(table[np.clip(np.rint(share * (GREY_STEPS - 1)), 0, GREY_STEPS - 1).astype(np.int32)])


def events_of(
    machine: Machine, recipe: Recipe, *, grid: Grid, picture_W: PowerPicture
) -> tuple[tuple[Event, ...], int]:
    """Return the motion events that burn a picture of powers with a recipe, and in how many islands.

    Source
    ------
    `planned_events`.
    """
    return planned_events(
        machine,
        [patch_of(grid, picture_W, axis=recipe.scan_axis)],
        axis=recipe.scan_axis,
        line_spacing_mm=grid.pixel_mm,
        speed_mm_per_s=recipe.speed_mm_per_s,
        passes=recipe.passes,
        direction=recipe.direction,
    )


def patch_of(grid: Grid, picture_W: PowerPicture, *, axis: Axis) -> Patch:
    """Return a picture on the bed as lines along an axis see it. Definition."""
    along_x = axis == "x"
    return Patch(
        power_W=picture_W if along_x else np.ascontiguousarray(picture_W.T),
        along_origin_mm=grid.x0_mm if along_x else grid.y0_mm,
        cross_origin_mm=grid.y0_mm if along_x else grid.x0_mm,
    )


def predict(wish: Wish, recipe: Recipe, *, events: tuple[Event, ...]) -> Predicted:
    """Return what a recipe is predicted to give. Sources: the functions it calls."""
    curve, machine = wish.curve, wish.machine
    radius = float(beam_radius_mm(wish.beam, offset_mm=recipe.focus_offset_mm))
    soft = float(beam_radius_mm(wish.beam, offset_mm=abs(recipe.focus_offset_mm) + wish.unevenness_mm))
    dwell = float(dwell_ms(beam_radius_mm=radius, speed_mm_per_s=recipe.speed_mm_per_s))
    dose = float(
        mean_dose_J_per_mm2(
            power_W=recipe.power_W,
            speed_mm_per_s=recipe.speed_mm_per_s,
            line_spacing_mm=recipe.line_spacing_mm,
            passes=recipe.passes,
        )
    )
    over = float(effective_passes(passes=recipe.passes, beam_radius_mm=radius, line_spacing_mm=recipe.line_spacing_mm))
    exposure = float(effective_exposure(curve, dose_J_per_mm2=dose, dwell_ms=dwell, passes=over))
    factors = ripple_factor(beam_radius_mm=radius, line_spacing_mm=recipe.line_spacing_mm, phase=np.array([0.0, 0.5]))
    with np.errstate(divide="ignore"):
        crest, trough = tone_L(curve, exposure + np.log10(factors))
    tone = predicted_tone_L(
        wish,
        power_W=recipe.power_W,
        speed_mm_per_s=recipe.speed_mm_per_s,
        line_spacing_mm=recipe.line_spacing_mm,
        focus_offset_mm=recipe.focus_offset_mm,
        passes=recipe.passes,
    )
    half = float(exposures_for_tones(curve, 0.5 * (curve.bare_L + tone)))
    return Predicted(
        tone_L=tone,
        tone_L_sd=tone_sd_L(curve, log10_dose=float(np.log10(dose)), dwell_ms=dwell, passes=over),
        ripple_L=float(abs(crest - trough)),
        ripple_limit_L=float(
            unseen_banding_L(tone=tone, period_mm=recipe.line_spacing_mm, distance_mm=wish.reading_distance_mm)
        ),
        detail_mm=float(
            narrowest_kept_mm(
                beam_radius_mm=edge_radius_mm(machine, beam_radius_mm=soft, one_way=recipe.direction == "one way"),
                smear_mm=recipe.speed_mm_per_s * machine.rise_time_s,
                line_spacing_mm=recipe.line_spacing_mm,
                half_tone_dose_fraction=float(10.0 ** min(half - exposure, -1e-3)),
            )
        ),
        dose_J_per_mm2=dose,
        dwell_ms=dwell,
        beam_radius_mm=radius,
        run_up_mm=room_needed_mm(machine, axis=recipe.scan_axis, speed_mm_per_s=recipe.speed_mm_per_s),
        time_s=program_time_s(machine, events),
        time_lower_bound_s=time_lower_bound_s(machine, events),
    )


def work_mark(wish: Wish, found: Found, *, survey: Survey, piece: Piece, mark: Mark, artwork: Artwork) -> MarkWork:
    """Return one mark worked through from a found recipe to picture, events and prediction."""
    machine = wish.machine
    recipe = recipe_of(wish, found, air_kPa=air_kPa(machine, mark))
    grid = grid_in_box(survey.box_bed_mm, pixel_mm=_pixel_mm(survey, machine, recipe))
    choice: Choice | None = None
    if mark.treatment == "photo":
        choice = reproduction_of(wish, recipe, mark=mark, detail_mm=found.detail_mm)
        light = photo_light(wish, mark=mark, piece=piece, artwork=artwork, grid=grid, resolvable_mm=found.detail_mm)
        picture = photo_picture_W(wish, recipe, mark=mark, light=light, name=choice.name)
        if choice.name != "continuous":
            recipe = replace(recipe, power_low_W=None, power_low_fraction=None)
    else:
        picture = solid_picture_W(wish, recipe, mark=mark, piece=piece, artwork=artwork, grid=grid)
    events, islands = events_of(machine, recipe, grid=grid, picture_W=picture)
    return MarkWork(
        mark=mark,
        survey=survey,
        wish=wish,
        found=found,
        recipe=recipe,
        predicted=predict(wish, recipe, events=events),
        grid=grid,
        picture_W=picture,
        events=events,
        islands=islands,
        reproduction=None if choice is None else choice.name,
        reproduction_why="" if choice is None else choice.why,
    )


def _pixel_mm(survey: Survey, machine: Machine, recipe: Recipe) -> float:
    """Return one line spacing, or coarser where ink lies off the bed for certain, so that the mark is only looked at.

    The mark's own box may reach over the edge of the bed while its ink does not: that is burnt, line by line.
    """
    ink, seen_to_mm = survey.ink_box_mm or survey.box_bed_mm, 2.0 * survey.grid.pixel_mm
    x0, y0, x1, y1 = ink
    off_mm = max(-x0, -y0, x1 - machine.bed_x_mm, y1 - machine.bed_y_mm)
    if off_mm <= seen_to_mm:
        return recipe.line_spacing_mm
    x0, y0, x1, y1 = survey.box_bed_mm
    return max(recipe.line_spacing_mm, math.sqrt((x1 - x0) * (y1 - y0) / STOPPED_PIXELS))
