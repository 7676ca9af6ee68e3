"""The motion card: verniers of short strokes burnt in either direction, at three speeds, with no correction applied.

A vernier shows a shift many times smaller than a stroke: the upper row is burnt towards +, the lower one towards −, and the
lower strokes stand a step further apart. Read by eye, the strokes that line up tell the shift; read in a photograph, all
of them do. A reversal offset shifts strokes alike at every speed, a late laser the more the quicker they are burnt.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput
from evenburn.core.motion.profile import run_up_mm, speed_within_mm_per_s
from evenburn.core.motion.raster import Line, sweep_of
from evenburn.core.nouns.card import Box, CardLine, CardVernier, CornerMark, Point
from evenburn.core.nouns.events import Event, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.planning.power import power_fraction, power_window_W, settable_power_W
from evenburn.core.response.curve import exposure_shift

SIZE_mm = (72.0, 30.0)
NAMES = ("slow", "middling", "quick")
SEAMS_mm = (23.4, 15.0, 6.6)  # from the lower edge of the card: slow is the uppermost
LAST = 10  # strokes are numbered from −10 to +10
PITCH_mm = 3.0
STEP_mm = 0.04
STROKE_mm = 1.5
ROW_mm = 1.8
LONGER_mm = {0: 1.0, 5: 0.5, 10: 0.5}  # rows stand out by so much at these numbers, as on a rule
SLOW_mm_per_s, QUICK_mm_per_s = 25.0, 400.0  # as far apart as the machine allows within these
APART = 1.6  # each vernier is so many times quicker than the one before, at least
DARK = 0.25  # decades past the middle of the wood's curve: dark, and well short of char
SPACINGS_mm = (0.10, 0.12, 0.15, 0.20)
ABOVE_LEAST = 1.15  # a tube fires unsteadily at its very least power


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """How the strokes of one vernier are burnt."""

    speed_mm_per_s: float
    line_spacing_mm: float
    power_W: float
    power_fraction: float


def uncorrected(machine: Machine) -> Machine:
    """Return the machine as if neither rise time nor reversal offset were known: edges are commanded where drawn."""
    return replace(machine, rise_time_s=0.0, reversal_offset_mm=0.0, reversal_sd_mm=0.0)


def width_burnt_mm() -> float:
    """Return how wide the widest row of strokes is. [mm] Definition."""
    return 2.0 * LAST * (PITCH_mm + STEP_mm) + STROKE_mm


def settings(
    machine: Machine, curve: CharacteristicCurve, *, beam_radius_mm: float, room_mm: float
) -> tuple[Setting, ...]:
    """Return how the verniers are burnt, slowest first: as far apart in speed as power and run-up allow, equally dark.

    Parameters
    ----------
    room_mm : for the run-up on the nearer side of the card.

    Raises
    ------
    InvalidInput
        If the machine cannot burn this wood dark enough at two speeds worth comparing.

    Source
    ------
    Own choice; exposure as in `exposure_shift`.
    """
    least, most = power_window_W(machine)
    fits = speed_within_mm_per_s(
        room_mm, accel_mm_per_s2=machine.accel_x_mm_per_s2, jerk_mm_per_s3=machine.jerk_mm_per_s3
    )
    top = min(machine.speed_max_mm_per_s, fits, QUICK_mm_per_s)

    def needed_W(speed: float, spacing: float) -> float:
        shift = float(exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=beam_radius_mm, speed_mm_per_s=speed)))
        return float(10.0 ** (curve.x_mid + DARK - shift) * speed * spacing)

    speeds = np.geomspace(1.0, max(top, 1.0), 400)
    strong = [v for v in speeds if needed_W(float(v), SPACINGS_mm[0]) <= most]
    weak = [v for v in speeds if needed_W(float(v), SPACINGS_mm[-1]) >= ABOVE_LEAST * least]
    quick = float(strong[-1]) if strong else 0.0
    slow = max(min(SLOW_mm_per_s, quick / APART**2), float(weak[0]) if weak else math.inf)
    if quick < APART * slow:
        raise InvalidInput(
            {
                "machine": f"on this wood strokes are dark enough from {slow:.0f} to {quick:.0f} mm/s only; the quick ones "
                f"have to be burnt at least {APART:g} times as fast as the slow ones"
            },
            hint="Take a wood that burns more easily, or check power_least_fraction and accel_x_mm_per_s2 in the machine file.",
        )
    count = 3 if quick >= APART**2 * slow else 2
    found = []
    for speed in (round(float(v), 1) for v in np.geomspace(slow, quick, count)):
        fires = [p for p in SPACINGS_mm if needed_W(speed, p) >= ABOVE_LEAST * least * (1.0 - 1e-2)]
        spacing = fires[0] if fires else SPACINGS_mm[-1]
        power = float(settable_power_W(machine, power_W=min(most, max(least, needed_W(speed, spacing)))))
        fraction = float(power_fraction(machine, power_W=power))
        found.append(Setting(speed_mm_per_s=speed, line_spacing_mm=spacing, power_W=power, power_fraction=fraction))
    return tuple(found)


def verniers(burnt: Sequence[Setting]) -> tuple[tuple[CardVernier, ...], tuple[CardLine, ...]]:
    """Return the verniers of a card and their strokes, each drawn in the direction it is burnt. Definition."""
    names = NAMES if len(burnt) == len(NAMES) else (NAMES[0], NAMES[-1])
    scales, strokes = [], []
    for name, setting, seam in zip(names, burnt, SEAMS_mm, strict=False):
        scales.append(
            CardVernier(
                id=name,
                speed_mm_per_s=setting.speed_mm_per_s,
                line_spacing_mm=setting.line_spacing_mm,
                step_mm=STEP_mm,
                row_mm=ROW_mm,
            )
        )
        for forward in (True, False):
            y = seam + (0.5 if forward else -0.5) * ROW_mm
            for number in range(-LAST, LAST + 1):
                x0, x1 = (round(x, 4) for x in _ends_mm(number, forward=forward))
                strokes.append(
                    CardLine(
                        id=stroke_id(name, number, forward=forward),
                        from_mm=(x0, y) if forward else (x1, y),
                        to_mm=(x1, y) if forward else (x0, y),
                        power_W=setting.power_W,
                        power_fraction=setting.power_fraction,
                        speed_mm_per_s=setting.speed_mm_per_s,
                        focus_offset_mm=0.0,
                    )
                )
    return tuple(scales), tuple(strokes)


def stroke_id(vernier: str, number: int, *, forward: bool) -> str:
    """Return the id of a stroke: the vernier's, > towards + or < towards −, its number with sign. Definition."""
    return f"{vernier}{'>' if forward else '<'}{number:+d}"


def _ends_mm(number: int, *, forward: bool) -> tuple[float, float]:
    middle = 0.5 * SIZE_mm[0] + number * (PITCH_mm if forward else PITCH_mm + STEP_mm)
    return middle - 0.5 * STROKE_mm, middle + 0.5 * STROKE_mm


def vernier_events(machine: Machine, burnt: Sequence[Setting], *, origin_bed_mm: Point) -> tuple[Event, ...]:
    """Return the events that burn the verniers, from the seam outwards: a line towards +, a line towards −, and so on.

    Parameters
    ----------
    machine : its corrections are left out.

    Source
    ------
    `sweep_of`.
    """
    plain = uncorrected(machine)
    events: list[Event] = []
    for setting, seam in zip(burnt, SEAMS_mm, strict=False):
        spacing = setting.line_spacing_mm
        for index in range(round((ROW_mm + max(LONGER_mm.values())) / spacing)):
            out = (index + 0.5) * spacing
            numbers = [n for n in range(-LAST, LAST + 1) if out < ROW_mm + LONGER_mm.get(abs(n), 0.0)]
            for forward in (True, False):
                ends = [_ends_mm(n, forward=forward) for n in numbers]
                edges = origin_bed_mm[0] + np.array(ends).ravel()
                power = np.zeros(edges.size - 1)
                power[::2] = setting.power_W
                line = Line(
                    cross_mm=origin_bed_mm[1] + seam + (out if forward else -out), edges_mm=edges, power_W=power
                )
                sweep = sweep_of(plain, line, axis="x", speed_mm_per_s=setting.speed_mm_per_s, forward=forward)
                events += [Travel(to_mm=(sweep.start_mm, sweep.cross_mm)), sweep]
    return tuple(events)


def room_needed_mm(machine: Machine, burnt: Sequence[Setting]) -> float:
    """Return the run-up that the quickest strokes need on either side. [mm] Source: `run_up_mm`."""
    return max(
        float(
            run_up_mm(
                s.speed_mm_per_s, accel_mm_per_s2=machine.accel_x_mm_per_s2, jerk_mm_per_s3=machine.jerk_mm_per_s3
            )
        )
        for s in burnt
    )


def picture_W(
    burnt: Sequence[Setting], marks: Sequence[CornerMark], *, size_mm: Point, pixel_mm: float
) -> NDArray[np.float32]:
    """Return what a motion card burns, row 0 lowest, all of it at one power: its lines closed to strokes. [W] Definition."""
    columns, rows = (round(side / pixel_mm) for side in size_mm)
    power_W = max(s.power_W for s in burnt)
    picture = np.zeros((rows, columns), np.float32)

    def fill(box: Box, value_W: float) -> None:
        x0, y0, x1, y1 = (round(edge / pixel_mm) for edge in box)
        picture[y0:y1, x0:x1] = value_W

    for _, seam in zip(burnt, SEAMS_mm, strict=False):
        for number in range(-LAST, LAST + 1):
            out = ROW_mm + LONGER_mm.get(abs(number), 0.0)
            for forward in (True, False):
                x0, x1 = _ends_mm(number, forward=forward)
                fill((x0, seam, x1, seam + out) if forward else (x0, seam - out, x1, seam), power_W)
    for mark in marks:
        fill(mark.box_mm, power_W)
        if mark.hole_mm is not None:
            fill(mark.hole_mm, 0.0)
    return picture
