"""A wood card planned for one machine: its patches, its program's events, and where on the bed it can lie."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.burning import card_events, card_picture_W
from evenburn.core.card.card_focus import card_focus
from evenburn.core.card.informing import believed_covariance
from evenburn.core.card.mat_geometry import mat_for_card
from evenburn.core.card.wood_card import (
    FORMS,
    PAST_CHAR,
    ROWS_AT,
    TWICE,
    CardForm,
    CORNER_IN_mm,
    card_speeds_mm_per_s,
    choose_patches,
    corner_marks,
)
from evenburn.core.errors import InvalidInput
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.card import Card, CardPatch
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.optics.lines import dwell_ms, power_for_dose_W
from evenburn.core.planning.power import power_fraction, power_window_W, settable_power_W
from evenburn.core.planning.raster_time import speed_limit_mm_per_s
from evenburn.core.response.curve import exposure_shift

POWERS = 40  # between the least and the greatest that can be set, evenly in logs
WHOLE_mm = 1.0  # the card's corner lies on whole millimetres


class CardOffBed(InvalidInput):
    """A place at which the card, or the run-up of its lines, leaves the bed; `allowed_mm` is least and greatest of x and of y."""

    def __init__(
        self,
        at_mm: tuple[float, float],
        *,
        allowed_mm: tuple[tuple[int, int], tuple[int, int]],
        speed_mm_per_s: float,
    ) -> None:
        self.at_mm, self.allowed_mm, self.speed_mm_per_s = at_mm, allowed_mm, speed_mm_per_s
        (x0, x1), (y0, y1) = allowed_mm
        super().__init__(
            {
                "--at": f"is {at_mm[0]:g},{at_mm[1]:g}, where the card or the run-up of its lines at {speed_mm_per_s:g} mm/s "
                f"leaves the bed; allowed is X {x0} to {x1}, Y {y0} to {y1}"
            },
            hint="Lay the card further from the edge, or leave --at out for the middle of the bed.",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardPlan:
    """A card, the events that burn it, how long that takes, and the same as a picture of powers, row 0 lowest."""

    card: Card
    events: tuple[Event, ...]
    time_s: float
    picture_W: NDArray[np.float32]
    line_spacing_mm: float


def plan_wood_card(
    machine: Machine,
    wood: Wood,
    *,
    lens: Lens,
    kind: Literal["wood", "strip"],
    page: str,
    at_mm: tuple[float, float] | None,
    focus_offset_mm: float | None,
    likeness: bool,
    generator: np.random.Generator,
) -> CardPlan:
    """Return a wood card for a machine, a lens and what is believed of a wood.

    Parameters
    ----------
    at_mm : the card's lower left corner on the bed; None for the middle of the bed.
    focus_offset_mm : None for the least at which the patches are even.
    likeness : the wood's curve is that of another wood it is like.

    Raises
    ------
    InvalidInput
        If the machine cannot burn the card, or the head would leave the bed.

    Source
    ------
    Own choice: `card_focus`, `card_speeds_mm_per_s`, `choose_patches`; docs/how-it-works/card.md.
    """
    form, curve = FORMS[kind], wood.curve
    focus = card_focus(curve, beam_of_lens(lens), offset_mm=focus_offset_mm)
    spacing, radius = focus.line_spacing_mm, focus.beam_radius_mm
    least, most = power_window_W(machine)
    powers = np.unique(settable_power_W(machine, power_W=np.geomspace(least, most, POWERS)))
    speed_most = _speed_most_mm_per_s(machine, form)
    rows = ROWS_AT[kind]
    speeds = card_speeds_mm_per_s(
        curve,
        beam_radius_mm=radius,
        line_spacing_mm=spacing,
        power_least_W=least,
        power_most_W=most,
        speed_most_mm_per_s=speed_most,
        count=1 + max(ROWS_AT["wood"]),
    )
    patches = choose_patches(
        curve,
        believed_covariance(curve, likeness=likeness),
        form=form,
        row_speeds_mm_per_s=[float(speeds[i]) for i in rows],
        powers_W=powers,
        power_fractions=power_fraction(machine, power_W=powers),
        beam_radius_mm=radius,
        line_spacing_mm=spacing,
        twice=TWICE[kind],
        generator=generator,
    )
    mark_power, mark_speed = _dark(
        machine, curve, radius_mm=radius, spacing_mm=spacing, power_most_W=most, speed_most_mm_per_s=speed_most
    )
    marks = corner_marks(form.size_mm)
    origin = at_mm if at_mm is not None else _middle_mm(machine, form)
    events = card_events(
        machine,
        patches,
        marks=marks,
        origin_bed_mm=origin,
        mark_power_W=mark_power,
        mark_speed_mm_per_s=mark_speed,
        mark_line_spacing_mm=spacing,
    )
    _within_reach(machine, form, events, origin_mm=origin, patches=patches)
    return CardPlan(
        card=Card(
            kind=kind,
            wood_id=wood.id,
            machine_name=machine.name,
            lens_name=lens.name,
            size_mm=form.size_mm,
            origin_bed_mm=origin,
            focus_offset_mm=focus.offset_mm,
            beam_radius_mm=radius,
            patches=patches,
            lines=(),
            corner_marks=marks,
            mat=mat_for_card(form.size_mm, kind=kind, page=page),
        ),
        events=events,
        time_s=program_time_s(machine, events),
        picture_W=card_picture_W(patches, marks=marks, mark_power_W=mark_power, size_mm=form.size_mm, pixel_mm=spacing),
        line_spacing_mm=spacing,
    )


def _speed_most_mm_per_s(machine: Machine, form: CardForm) -> float:
    """Return the greatest speed whose run-up fits beside a card in the middle of the bed."""
    wide, high = form.size_mm
    if wide > machine.bed_x_mm or high > machine.bed_y_mm:
        raise InvalidInput(
            {
                "machine": f"its bed of {machine.bed_x_mm:g} × {machine.bed_y_mm:g} mm does not take a card of "
                f"{wide:g} × {high:g} mm"
            },
            hint="Burn a strip instead: --strip.",
        )
    room = 0.5 * (machine.bed_x_mm - wide) + CORNER_IN_mm - WHOLE_mm
    fits = math.floor(speed_limit_mm_per_s(machine, axis="x", room_mm=room))
    return min(machine.speed_max_mm_per_s, float(max(1, fits)))


def _middle_mm(machine: Machine, form: CardForm) -> tuple[float, float]:
    x, y = (0.5 * (bed - side) for bed, side in zip((machine.bed_x_mm, machine.bed_y_mm), form.size_mm, strict=True))
    return math.floor(x / WHOLE_mm) * WHOLE_mm, math.floor(y / WHOLE_mm) * WHOLE_mm


def _dark(
    machine: Machine,
    curve: CharacteristicCurve,
    *,
    radius_mm: float,
    spacing_mm: float,
    power_most_W: float,
    speed_most_mm_per_s: float,
) -> tuple[float, float]:
    """Return power and speed for the corner marks: past the char limit, as quickly as this goes."""
    speeds = np.geomspace(1.0, speed_most_mm_per_s, 400)
    shift = exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=radius_mm, speed_mm_per_s=speeds))
    dose = 10.0 ** (curve.x_char + PAST_CHAR - shift)
    needed = power_for_dose_W(dose_J_per_mm2=dose, speed_mm_per_s=speeds, line_spacing_mm=spacing_mm)
    able = np.flatnonzero(needed <= power_most_W)
    at = int(able[-1]) if able.size else 0
    power = settable_power_W(machine, power_W=min(power_most_W, max(float(needed[at]), power_window_W(machine)[0])))
    return float(power), round(float(speeds[at]), 1)


def _within_reach(
    machine: Machine,
    form: CardForm,
    events: tuple[Event, ...],
    *,
    origin_mm: tuple[float, float],
    patches: tuple[CardPatch, ...],
) -> None:
    """Refuse a place on the bed at which the head would leave it, and say which places are left."""
    moved, _ = boxes_mm(events)
    assert moved is not None  # noqa: S101  # a card burns something
    quick = max(p.speed_mm_per_s for p in patches)
    allowed, off = [], False
    for axis, bed in enumerate((machine.bed_x_mm, machine.bed_y_mm)):
        at, side = origin_mm[axis], form.size_mm[axis]
        low = max(0.0, at - moved[axis])
        high = min(bed - side, at + bed - moved[axis + 2])
        off = off or not low - 1e-6 <= at <= high + 1e-6
        allowed.append((math.ceil(low - 1e-6), math.floor(high + 1e-6)))
    if not off:
        return
    (x0, x1), (y0, y1) = allowed
    if x0 > x1 or y0 > y1:
        raise InvalidInput(
            {"machine": f"its bed has no room for this card with the run-up of {quick:g} mm/s"},
            hint="Burn a strip instead: --strip.",
        )
    raise CardOffBed(origin_mm, allowed_mm=((x0, x1), (y0, y1)), speed_mm_per_s=quick)
