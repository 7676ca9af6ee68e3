"""One mark whose outlines are followed, as a line or a cut: paths, recipe, events, and what is predicted."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Point

from evenburn.core.art.bridges import bridge_spans
from evenburn.core.art.detail import Widths
from evenburn.core.art.ink import ink_box_mm, ink_profile
from evenburn.core.art.kerf import offset_for_kerf
from evenburn.core.art.picture import Artwork, Grid, grid_in_box
from evenburn.core.layout.nesting import inner_first
from evenburn.core.layout.place import mark_on_bed, on_bed, room_mm
from evenburn.core.layout.tour import order_paths, without_doubles
from evenburn.core.motion.follow import FollowPath, trace_events
from evenburn.core.motion.timing import program_time_s, time_lower_bound_s
from evenburn.core.nouns.events import Event, Trace
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Axis, Mark, Piece
from evenburn.core.nouns.path import Polyline
from evenburn.core.nouns.recipe import Predicted, Recipe
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import Beam, beam_of_lens, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, effective_passes
from evenburn.core.planning.candidates import Found
from evenburn.core.planning.follow_recipe import FollowFound, cut_recipe, line_recipe, peak_dose_J_per_mm2
from evenburn.core.planning.mark_plan import Followed, MarkWork, air_kPa
from evenburn.core.planning.power import power_fraction, power_window_W, settable_power_W
from evenburn.core.planning.survey import AXES, SURVEY_PIXELS, Survey
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import effective_exposure, tone_L, tone_sd_L
from evenburn.core.tone.vision import unseen_banding_L

FloatArray = NDArray[np.float64]
Box = tuple[float, float, float, float]

SUBPIXEL_BITS = 4  # lines are drawn to a sixteenth of a pixel
LEAST_PIXEL_mm = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class _Paths:
    """Paths on the bed in the order they are burnt, with what was told about them on the way."""

    paths: tuple[FollowPath, ...]
    lost_openings: int
    doubles: int
    bridges_missed: int
    unmoved: int
    drawn: tuple[Polyline, ...]


def work_follow(machine: Machine, *, lens: Lens, wood: Wood, piece: Piece, mark: Mark, artwork: Artwork) -> MarkWork:
    """Return one line or cut worked through from outlines to events and prediction.

    Raises
    ------
    UnreadableFile
        If the artwork has no outlines to follow.
    """
    beam = beam_of_lens(lens)
    found = _found(machine, lens=lens, beam=beam, wood=wood, piece=piece, mark=mark)
    laid = _lay(piece, mark, artwork, kerf_mm=found.width_mm)
    least_W, _ = power_window_W(machine)
    settable = found.power_W
    if found.power_W <= machine.power_max_W:
        settable = float(settable_power_W(machine, power_W=found.power_W))
    events = tuple(
        _as_written(machine, event)
        for event in trace_events(
            machine,
            laid.paths,
            speed_mm_per_s=found.speed_mm_per_s,
            line_energy_J_per_mm=settable / found.speed_mm_per_s,
            passes=found.passes,
            least_W=min(least_W, settable),
            most_W=settable,
        )
    )
    found = replace(found, power_W=settable, line_energy_J_per_mm=settable / found.speed_mm_per_s)
    survey = _survey(machine, piece=piece, mark=mark, paths=laid.paths, width_mm=found.width_mm)
    recipe = _recipe(machine, lens=lens, mark=mark, found=found, axis=_main_axis(laid.paths))
    predicted = _predict(machine, beam=beam, wood=wood, mark=mark, found=found, events=events)
    grid = grid_in_box(survey.box_bed_mm, pixel_mm=max(LEAST_PIXEL_mm, found.width_mm))
    picture = np.where(draw_paths(laid.paths, grid=grid, width_mm=grid.pixel_mm), np.float32(settable), np.float32(0.0))
    return MarkWork(
        mark=mark,
        survey=survey,
        wish=_wish(machine, lens=lens, beam=beam, wood=wood, piece=piece, mark=mark, survey=survey),
        found=Found(
            axis=recipe.scan_axis,
            speed_mm_per_s=found.speed_mm_per_s,
            line_spacing_mm=found.width_mm,
            focus_offset_mm=found.focus_offset_mm,
            passes=found.passes,
            power_W=found.power_W,
            time_s=predicted.time_s,
            ripple_L=0.0,
            detail_mm=found.width_mm,
            gave_way=(),
        ),
        recipe=recipe,
        predicted=predicted,
        grid=grid,
        picture_W=picture.astype(np.float32),
        events=events,
        followed=Followed(
            found=found,
            length_mm=_length_mm(laid.paths),
            outlines=len(laid.paths),
            closed=sum(path.closed for path in laid.paths),
            lost_openings=laid.lost_openings,
            doubles=laid.doubles,
            bridges_missed=laid.bridges_missed,
            unmoved=laid.unmoved,
            drawn=laid.drawn,
            paths=laid.paths,
        ),
    )


def followed_offset_mm(machine: Machine, *, lens: Lens, wood: Wood, piece: Piece, mark: Mark) -> float:
    """Return the focus offset of a line or cut, before it is worked. [mm] Sources: `line_recipe`, `cut_recipe`."""
    beam = beam_of_lens(lens)
    return _found(machine, lens=lens, beam=beam, wood=wood, piece=piece, mark=mark).focus_offset_mm


def _as_written(machine: Machine, event: Event) -> Event:
    """Return an event with its powers in whole steps of the S word, so that what is planned is what the file says."""
    if not isinstance(event, Trace):
        return event
    return replace(event, power_W=settable_power_W(machine, power_W=event.power_W))


def _found(machine: Machine, *, lens: Lens, beam: Beam, wood: Wood, piece: Piece, mark: Mark) -> FollowFound:
    if mark.treatment == "cut":
        return cut_recipe(machine, lens=lens, beam=beam, wood=wood, mark=mark, thickness_mm=piece.blank.thickness_mm)
    return line_recipe(machine, beam=beam, curve=wood.curve, mark=mark, unevenness_mm=piece.blank.unevenness_mm)


def _lay(piece: Piece, mark: Mark, artwork: Artwork, *, kerf_mm: float) -> _Paths:
    """Return the paths on the bed: kerf allowed for, doubles left out, ordered, bridged."""
    drawn = artwork.outlines(width_mm=mark.size_mm[0], height_mm=mark.size_mm[1])
    single, doubles = without_doubles(drawn)
    lost = unmoved = 0
    if mark.treatment == "cut":
        result = offset_for_kerf(single, kerf_mm=kerf_mm, keeps=mark.keeps)
        single, lost, unmoved = result.paths, len(result.lost), len(result.unmoved)
    to_bed = _bed_transform(piece, mark)
    on = tuple(Polyline(points_mm=to_bed(path.points_mm), closed=path.closed) for path in single)
    before = inner_first(on) if mark.treatment == "cut" else ()
    paths: list[FollowPath] = []
    missed = 0
    for path in order_paths(on, before=before):
        off = np.zeros((0, 2))
        if mark.bridges is not None and path.closed:
            bridges = bridge_spans(
                Polyline(points_mm=path.points_mm, closed=path.closed),
                count=mark.bridges.count,
                width_mm=mark.bridges.width_mm,
                kerf_mm=kerf_mm,
            )
            off, missed = bridges.spans, missed + bridges.missed
        paths.append(FollowPath(points_mm=path.points_mm, closed=path.closed, off_mm=off))
    return _Paths(
        paths=tuple(paths),
        lost_openings=lost,
        doubles=doubles,
        bridges_missed=missed,
        unmoved=unmoved,
        drawn=tuple(Polyline(points_mm=to_bed(path.points_mm), closed=path.closed) for path in drawn),
    )


class _BedTransform:
    """From a mark's own box to the bed: shifted to its place, turned and laid with its blank."""

    def __init__(self, piece: Piece, mark: Mark) -> None:
        corners = [on_bed(piece, Point(*p)) for p in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))]
        origin, right, up = (np.array([c.x, c.y]) for c in corners)
        self._matrix = np.stack([right - origin, up - origin])
        self._origin = origin + np.asarray(mark.place_mm) @ self._matrix

    def __call__(self, points_mm: FloatArray) -> FloatArray:
        return np.asarray(points_mm @ self._matrix + self._origin, dtype=np.float64)


def _bed_transform(piece: Piece, mark: Mark) -> _BedTransform:
    return _BedTransform(piece, mark)


def _around(path: FollowPath) -> FloatArray:
    """Return the points of a path, its first one repeated at the end where it is closed."""
    return np.vstack([path.points_mm, path.points_mm[:1]]) if path.closed else path.points_mm


def _length_mm(paths: tuple[FollowPath, ...]) -> float:
    return float(sum(np.hypot(*np.diff(_around(p), axis=0).T).sum() for p in paths))


def _main_axis(paths: tuple[FollowPath, ...]) -> Axis:
    """Return the axis along which most of the path runs."""
    along = sum((np.abs(np.diff(_around(p), axis=0)).sum(axis=0) for p in paths), start=np.zeros(2))
    return "x" if along[0] >= along[1] else "y"


def draw_paths(paths: tuple[FollowPath, ...], *, grid: Grid, width_mm: float) -> NDArray[np.bool_]:
    """Return where paths of a width lie on a grid, row 0 lowest; bridges are drawn too. Definition."""
    picture = np.zeros((grid.rows, grid.columns), np.uint8)
    scale = float(1 << SUBPIXEL_BITS)
    lines = [
        np.round(((_around(p) - (grid.x0_mm, grid.y0_mm)) / grid.pixel_mm - 0.5) * scale)
        .astype(np.int32)
        .reshape(-1, 1, 2)
        for p in paths
    ]
    thick = max(1, round(width_mm / grid.pixel_mm))
    cv2.polylines(picture, lines, isClosed=False, color=1, thickness=thick, shift=SUBPIXEL_BITS)
    return picture.astype(np.bool_)


def _survey(machine: Machine, *, piece: Piece, mark: Mark, paths: tuple[FollowPath, ...], width_mm: float) -> Survey:
    corners = mark_on_bed(piece, place_mm=mark.place_mm, size_mm=mark.size_mm)
    box: Box = tuple(float(c) for c in corners.bounds)  # type: ignore[assignment]  # bounds are four
    corners_mm = [(box[:2], box[2:])]  # a kerf may leave no path at all
    points = np.vstack([p.points_mm for p in paths] if paths else corners_mm)
    reach = 0.5 * width_mm if paths else 0.0
    around: Box = (
        min(box[0], float(points[:, 0].min()) - reach),
        min(box[1], float(points[:, 1].min()) - reach),
        max(box[2], float(points[:, 0].max()) + reach),
        max(box[3], float(points[:, 1].max()) + reach),
    )
    pixel = max(0.05, math.sqrt((around[2] - around[0]) * (around[3] - around[1]) / SURVEY_PIXELS))
    grid = grid_in_box(around, pixel_mm=min(pixel, around[2] - around[0], around[3] - around[1]))
    ink = draw_paths(paths, grid=grid, width_mm=width_mm)
    touched = ink_box_mm(ink, x0_mm=grid.x0_mm, y0_mm=grid.y0_mm, pixel_mm=grid.pixel_mm)
    inked = touched if touched is not None else around
    return Survey(
        box_bed_mm=around,
        grid=grid,
        ink=ink,
        ink_box_mm=touched,
        profiles={axis: ink_profile(ink, axis=axis, pixel_mm=grid.pixel_mm) for axis in AXES},
        room_mm={a: room_mm(inked, axis=a, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm) for a in AXES},
        widths=Widths(stroke_mm=None, gap_mm=None),
        faint_L=None,
    )


def _wish(machine: Machine, *, lens: Lens, beam: Beam, wood: Wood, piece: Piece, mark: Mark, survey: Survey) -> Wish:
    return Wish(
        machine=machine,
        lens=lens,
        beam=beam,
        curve=wood.curve,
        tone_L=mark.tone_L,
        faint_L=None,
        profiles=survey.profiles,
        room_mm=survey.room_mm,
        widths=survey.widths,
        unevenness_mm=piece.blank.unevenness_mm,
        sharpness_mm=mark.sharpness_mm,
        reading_distance_mm=mark.reading_distance_mm,
        hold=mark.hold,
    )


def _recipe(machine: Machine, *, lens: Lens, mark: Mark, found: FollowFound, axis: Axis) -> Recipe:
    air = air_kPa(machine, mark)
    return Recipe(
        power_W=found.power_W,
        power_fraction=float(power_fraction(machine, power_W=found.power_W))
        if found.power_W <= machine.power_max_W
        else found.power_W / machine.power_max_W,
        speed_mm_per_s=found.speed_mm_per_s,
        line_spacing_mm=found.width_mm,
        focus_offset_mm=found.focus_offset_mm,
        stand_off_mm=lens.focus_stand_off_mm + found.focus_offset_mm,
        passes=found.passes,
        scan_axis=axis,
        air_kPa=air,
        way="cut" if mark.treatment == "cut" else "line",
    )


def _predict(
    machine: Machine, *, beam: Beam, wood: Wood, mark: Mark, found: FollowFound, events: tuple[Event, ...]
) -> Predicted:
    curve = wood.curve
    radius = float(beam_radius_mm(beam, offset_mm=found.focus_offset_mm))
    dwell = float(dwell_ms(beam_radius_mm=radius, speed_mm_per_s=found.speed_mm_per_s))
    peak = found.passes * peak_dose_J_per_mm2(line_energy_J_per_mm=found.line_energy_J_per_mm, beam_radius_mm=radius)
    over = float(effective_passes(passes=found.passes, beam_radius_mm=radius, line_spacing_mm=math.inf))
    exposure = float(effective_exposure(curve, dose_J_per_mm2=peak, dwell_ms=dwell, passes=over))
    if mark.treatment == "cut":
        exposure = min(exposure, curve.x_char)  # what is past it is gone; the edge of the cut shows
    tone = float(tone_L(curve, exposure))
    log10_dose = min(float(np.log10(peak)), curve.x_char)
    return Predicted(
        tone_L=tone,
        tone_L_sd=tone_sd_L(curve, log10_dose=log10_dose, dwell_ms=dwell, passes=over),
        ripple_L=0.0,
        ripple_limit_L=float(
            unseen_banding_L(tone=tone, period_mm=found.width_mm, distance_mm=mark.reading_distance_mm)
        ),
        detail_mm=found.width_mm,
        dose_J_per_mm2=found.passes * found.line_energy_J_per_mm / found.width_mm,
        dwell_ms=dwell,
        beam_radius_mm=radius,
        run_up_mm=0.0,
        time_s=program_time_s(machine, events),
        time_lower_bound_s=time_lower_bound_s(machine, events),
    )
