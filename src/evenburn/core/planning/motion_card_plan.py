"""A motion card planned for one machine: verniers and corner marks to burn, rasters to time, and where on the bed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.burning import card_events
from evenburn.core.card.mat_geometry import mat_for_card
from evenburn.core.card.wood_card import corner_marks
from evenburn.core.errors import InvalidInput
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.stopwatch import TimedRaster, stopwatch_rasters
from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.card import Card, CardRaster
from evenburn.core.nouns.events import Event, Sweep
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.reversal_card import (
    Setting,
    SIZE_mm,
    picture_W,
    room_needed_mm,
    settings,
    uncorrected,
    vernier_events,
    verniers,
    width_burnt_mm,
)

OWN_PROGRAM = "card"  # the id under which the time of the burnt card itself is entered
PIXEL_mm = 0.04  # one step of the verniers
TAKES = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MotionPlan:
    """A motion card, the events that burn it, how long that takes, its picture of powers, and the rasters to time."""

    card: Card
    events: tuple[Event, ...]
    time_s: float
    picture_W: NDArray[np.float32]
    burnt: tuple[Setting, ...]
    rasters: tuple[TimedRaster, ...]

    def watched_s(self) -> float:
        """Return the time of all takes of the rasters, the laser off. [s] Definition."""
        return TAKES * sum(r.expected_s for r in self.card.rasters if not r.burns)


def raster_file(number: str) -> str:
    """Return the file of a stopwatch raster. Definition."""
    return f"stopwatch-{number}.ngc"


def plan_motion_card(
    machine: Machine, wood: Wood, *, lens: Lens, page: str, at_mm: tuple[float, float] | None, program: str
) -> MotionPlan:
    """Return a motion card for a machine, a lens and a wood.

    Parameters
    ----------
    at_mm : the card's lower left corner on the bed; None for the middle of the bed.
    program : file of the card's own program.

    Raises
    ------
    InvalidInput
        If the machine cannot burn the card, or the head would leave the bed.

    Source
    ------
    Own choice: `settings`, `stopwatch_rasters`; docs/how-it-works/stopwatch.md.
    """
    wide, high = SIZE_mm
    beds = (machine.bed_x_mm, machine.bed_y_mm)
    if wide > beds[0] or high > beds[1]:
        raise InvalidInput(
            {"machine": f"its bed of {beds[0]:g} × {beds[1]:g} mm does not take a card of {wide:g} × {high:g} mm"},
            hint="Time the rasters of a bench of your own making: docs/how-it-works/stopwatch.md.",
        )
    origin = at_mm if at_mm is not None else (math.floor(0.5 * (beds[0] - wide)), math.floor(0.5 * (beds[1] - high)))
    origin = (float(origin[0]), float(origin[1]))
    aside = 0.5 * (wide - width_burnt_mm())
    room = min(origin[0] + aside, beds[0] - origin[0] - wide + aside)
    radius = beam_of_lens(lens).waist_radius_mm
    burnt = settings(machine, wood.curve, beam_radius_mm=radius, room_mm=max(room, 0.1))
    scales, strokes = verniers(burnt)
    marks, mark = corner_marks(SIZE_mm), burnt[len(burnt) // 2]
    events = vernier_events(machine, burnt, origin_bed_mm=origin) + card_events(
        uncorrected(machine),
        (),
        marks=marks,
        origin_bed_mm=origin,
        mark_power_W=mark.power_W,
        mark_speed_mm_per_s=mark.speed_mm_per_s,
        mark_line_spacing_mm=mark.line_spacing_mm,
    )
    _check_reach(machine, events, needed_mm=room_needed_mm(machine, burnt))
    rasters = stopwatch_rasters(machine)
    time_s = program_time_s(machine, events)
    lines = sum(isinstance(e, Sweep) for e in events)
    own = CardRaster(
        id=OWN_PROGRAM,
        name="the card itself, burnt",
        program=program,
        axis="x",
        strokes=lines,
        length_mm=width_burnt_mm(),
        speed_mm_per_s=burnt[-1].speed_mm_per_s,
        expected_s=time_s,
        burns=True,
    )
    return MotionPlan(
        card=Card(
            kind="motion",
            wood_id=wood.id,
            machine_name=machine.name,
            lens_name=lens.name,
            size_mm=SIZE_mm,
            origin_bed_mm=origin,
            focus_offset_mm=0.0,
            beam_radius_mm=radius,
            patches=(),
            lines=strokes,
            corner_marks=marks,
            mat=mat_for_card(SIZE_mm, kind="motion", page=page),
            verniers=scales,
            rasters=(*(_entry(machine, r, str(n)) for n, r in enumerate(rasters, start=1)), own),
        ),
        events=events,
        time_s=time_s,
        picture_W=picture_W(burnt, marks, size_mm=SIZE_mm, pixel_mm=PIXEL_mm),
        burnt=burnt,
        rasters=rasters,
    )


def _entry(machine: Machine, raster: TimedRaster, number: str) -> CardRaster:
    return CardRaster(
        id=number,
        name=raster.name,
        program=raster_file(number),
        axis=raster.axis,
        strokes=raster.strokes,
        length_mm=raster.length_mm,
        speed_mm_per_s=raster.speed_mm_per_s,
        expected_s=program_time_s(machine, raster.events),
    )


def _check_reach(machine: Machine, events: tuple[Event, ...], *, needed_mm: float) -> None:
    """Refuse a place on the bed at which the head would leave it."""
    moved, _ = boxes_mm(events)
    if moved is None:
        return
    x0, y0, x1, y1 = moved
    if x0 < -1e-6 or y0 < -1e-6 or x1 > machine.bed_x_mm + 1e-6 or y1 > machine.bed_y_mm + 1e-6:
        raise InvalidInput(
            {
                "--at": f"the head would go from x {x0:.1f}, y {y0:.1f} to x {x1:.1f}, y {y1:.1f} mm; the bed is "
                f"{machine.bed_x_mm:g} × {machine.bed_y_mm:g} mm"
            },
            hint=f"Leave {needed_mm:.0f} mm on the left and on the right of the card for the run-up, or leave --at out.",
        )
