"""The focus ladder: single lines at several stand-offs and powers, along both axes, laid out on one card.

Each set-up of the stand-off has a block of lines along x and one along y in two bands of the card; the set-ups stand in
another order in each band, so that a board which changes from left to right is not taken for a focus. Within a
set-up all lines have one speed, so that the dwell is the same and only the dose differs: what Liu's relation asks for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput
from evenburn.core.motion.raster import Line, Run, run_events
from evenburn.core.nouns.card import CardLine
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.response.curve import exposure_shift

FloatArray = NDArray[np.float64]

SIZE_mm = (90.0, 60.0)
INSIDE_mm = (5.0, 5.0, 85.0, 55.0)  # the corner marks stand outside
SET_UPS = 9  # a person turns a screw for each
WAIST_WITHIN_mm = 3.0  # of where the machine file says
BEYOND_RAYLEIGH = 1.25  # lines reach so many Rayleigh lengths beyond that
LEAST_STAND_OFF_mm = 2.0
BANDS = 2
ORDERS = ((4, 0, 6, 2, 8, 1, 5, 7, 3), (7, 3, 1, 5, 0, 8, 2, 6, 4))  # of the set-ups, left to right, band by band
GAP_mm = 0.9  # bare wood between blocks
ALONG_X_SHARE = 0.48  # of a block's height are lines along x, the rest lines along y
ASIDE_RADII, PITCH_LEAST_mm, PITCH_MOST_mm = 5.0, 1.25, 2.0  # from line to line
DOUBT_mm = 1.2  # powers of a set-up suit a waist so far nearer or further than believed
FAINTEST, HOTTEST = 0.7, 3.5  # dose on the axis over the believed threshold, nearest and furthest waist
QUICKEST_mm_per_s = 300.0
SLOWEST_mm_per_s = 5.0
POWER_RATIO = 1.8  # between the hottest and the faintest line of a set-up, at least


@dataclass(frozen=True, slots=True, kw_only=True)
class Believed:
    """What is believed before the ladder is burnt: beam, wood, and what the machine can do.

    Attributes
    ----------
    power_least_W, power_most_W : least power that fires, most that the person allows.
    speed_most_mm_per_s : that the bed has run-up for.
    """

    beam: Beam
    curve: CharacteristicCurve
    power_least_W: float
    power_most_W: float
    speed_most_mm_per_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One set-up of the ladder: its focus offset, its speed, and where its blocks stand on the card, x0 by band."""

    focus_offset_mm: float
    speed_mm_per_s: float
    powers_W: tuple[float, ...]
    columns: tuple[int, ...]


def ladder_offsets_mm(beam: Beam, *, focus_stand_off_mm: float) -> tuple[float, ...]:
    """Return the focus offsets of a ladder, nearest first. [mm]

    They reach as far to both sides, unless the nozzle would come too near to the work.

    Raises
    ------
    InvalidInput
        If there is no room for three set-ups on the near side.

    Source
    ------
    Own choice: the waist is caught with a Rayleigh length beyond it on either side where it lies within 3 mm.
    """
    reach = max(WAIST_WITHIN_mm + BEYOND_RAYLEIGH * beam.rayleigh_length_mm, 2.2 * beam.rayleigh_length_mm)
    step = reach / (SET_UPS // 2)
    step = math.ceil(step * 10.0 - 1e-9) / 10.0 if step >= 0.5 else step
    near = min(SET_UPS // 2, math.floor((focus_stand_off_mm - LEAST_STAND_OFF_mm) / step + 1e-9))
    if near < 1:
        raise InvalidInput(
            {
                "focus_stand_off_mm": f"is {focus_stand_off_mm:g}; a ladder needs at least {LEAST_STAND_OFF_mm + step:.1f}, "
                f"so that one set-up is nearer than it"
            },
            hint="Is the stand-off measured from the nozzle to the work?",
        )
    return tuple(round(step * n, 3) for n in range(-near, SET_UPS - near))


def pitch_mm(beam: Beam, *, offsets_mm: Sequence[float]) -> float:
    """Return the distance from line to line: room for the widest with bare wood beside it. [mm] Definition."""
    furthest = max(abs(z) for z in offsets_mm)
    widest = float(beam_radius_mm(beam, offset_mm=furthest))
    return round(float(np.clip(ASIDE_RADII * widest, PITCH_LEAST_mm, PITCH_MOST_mm)), 2)


def threshold_J_per_mm2(curve: CharacteristicCurve, *, radius_mm: float, speed_mm_per_s: float) -> float:
    """Return the dose at which half of the tone is reached. [J/mm²] Definition."""
    dwell = dwell_ms(beam_radius_mm=radius_mm, speed_mm_per_s=speed_mm_per_s)
    return float(10.0 ** (curve.x_mid - exposure_shift(curve, dwell_ms=dwell)))


def _power_W(believed: Believed, *, times: float, radius_mm: float, speed: float) -> float:
    """Return the power whose dose on the axis is so many times the threshold."""
    threshold = threshold_J_per_mm2(believed.curve, radius_mm=radius_mm, speed_mm_per_s=speed)
    return times * threshold * speed * radius_mm * math.sqrt(0.5 * math.pi)


def rungs(believed: Believed, *, offsets_mm: Sequence[float], lines: int) -> tuple[Rung, ...]:
    """Return the set-ups with their speeds and powers.

    The speed is the greatest at which the hottest line is still within the machine's power; powers rise
    evenly in their logarithm from just below what the sharpest plausible beam needs to several times what the widest needs.

    Raises
    ------
    InvalidInput
        If the machine cannot burn such lines on this wood.

    Source
    ------
    Own choice; dose on the axis of a line √(2/π) P / (v w).
    """
    speeds = np.geomspace(SLOWEST_mm_per_s, believed.speed_most_mm_per_s, 300)
    found = []
    for place, z in enumerate(offsets_mm):
        near, far = (
            float(beam_radius_mm(believed.beam, offset_mm=d)) for d in (max(0.0, abs(z) - DOUBT_mm), abs(z) + DOUBT_mm)
        )
        hottest = np.array([_power_W(believed, times=HOTTEST, radius_mm=far, speed=float(v)) for v in speeds])
        able = speeds[hottest <= believed.power_most_W]
        if able.size == 0:
            raise InvalidInput(
                {
                    "machine": f"even at {SLOWEST_mm_per_s:g} mm/s its {believed.power_most_W:.1f} W are too little for lines "
                    f"{abs(z):.1f} mm off focus"
                },
                hint="Raise power_cap_fraction, or take a wood that darkens sooner.",
            )
        speed = float(able[-1])
        speed = float(np.floor(speed)) if speed >= 20.0 else float(np.floor(10.0 * speed) / 10.0)
        most = min(believed.power_most_W, _power_W(believed, times=HOTTEST, radius_mm=far, speed=speed))
        least = max(believed.power_least_W, _power_W(believed, times=FAINTEST, radius_mm=near, speed=speed))
        if most < POWER_RATIO * least:
            raise InvalidInput(
                {
                    "machine": f"powers from {believed.power_least_W:.1f} to {believed.power_most_W:.1f} W do not reach from a "
                    f"faint line to a full one at {speed:g} mm/s, {abs(z):.1f} mm off focus"
                },
                hint="Lower power_least_fraction if the laser fires below it, or raise power_cap_fraction.",
            )
        columns = tuple(order.index(place) for order in ORDERS)
        found.append(
            Rung(
                focus_offset_mm=float(z),
                speed_mm_per_s=speed,
                powers_W=tuple(float(p) for p in np.geomspace(least, most, lines)),
                columns=columns,
            )
        )
    return tuple(found)


def lines_in_block(apart_mm: float) -> tuple[int, int]:
    """Return how many lines along x and how many along y a block holds. Definition."""
    x0, y0, x1, y1 = INSIDE_mm
    wide, high = (x1 - x0) / SET_UPS - GAP_mm, (y1 - y0) / BANDS - 2.0 * GAP_mm
    return int(ALONG_X_SHARE * high / apart_mm + 1e-6), int(wide / apart_mm + 1e-6)


def ladder_lines(
    steps: Sequence[Rung], *, apart_mm: float, power_fractions: Sequence[Sequence[float]]
) -> tuple[CardLine, ...]:
    """Return the lines of a ladder on its card.

    Parameters
    ----------
    power_fractions : of each rung's powers.

    Source
    ------
    Own choice, drawn in docs/how-it-works/ladder.md.
    """
    x0, y0, x1, y1 = INSIDE_mm
    column, band = (x1 - x0) / SET_UPS, (y1 - y0) / BANDS
    along_x, along_y = lines_in_block(apart_mm)
    each = along_x + along_y
    found = []
    for number, rung in enumerate(steps):
        for floor in range(BANDS):
            left = x0 + rung.columns[floor] * column + 0.5 * GAP_mm
            right, low = left + column - GAP_mm, y0 + floor * band + 0.5 * GAP_mm
            # every second power goes to the one band, the others to the other; neighbours are far apart in power
            mine = list(range(floor, BANDS * each, BANDS))
            mixed = mine[::2] + mine[1::2]
            powers_x, powers_y = mixed[:along_x:], mixed[along_x:]
            if floor % 2:
                powers_y, powers_x = mixed[:along_y], mixed[along_y:]
            for n, index in enumerate(powers_x):
                y = low + 0.5 * apart_mm + n * apart_mm
                found.append(
                    _line(rung, number, index, ends=((left, y), (right, y)), fractions=power_fractions[number])
                )
            foot = low + along_x * apart_mm + GAP_mm
            top = y0 + (floor + 1) * band - 0.5 * GAP_mm
            for n, index in enumerate(powers_y):
                x = 0.5 * (left + right) + (n - 0.5 * (len(powers_y) - 1)) * apart_mm
                found.append(_line(rung, number, index, ends=((x, foot), (x, top)), fractions=power_fractions[number]))
    return tuple(sorted(found, key=lambda k: k.id))


def _line(
    rung: Rung,
    number: int,
    index: int,
    *,
    ends: tuple[tuple[float, float], tuple[float, float]],
    fractions: Sequence[float],
) -> CardLine:
    (ax, ay), (bx, by) = ends
    axis = "x" if ay == by else "y"
    return CardLine(
        id=f"{number + 1}-{axis}{index + 1:02d}",
        from_mm=(round(ax, 3), round(ay, 3)),
        to_mm=(round(bx, 3), round(by, 3)),
        power_W=rung.powers_W[index],
        power_fraction=fractions[index],
        speed_mm_per_s=rung.speed_mm_per_s,
        focus_offset_mm=rung.focus_offset_mm,
    )


def axis_of(line: CardLine) -> Axis:
    """Return the axis a line runs along. Definition."""
    across, up = abs(line.to_mm[0] - line.from_mm[0]), abs(line.to_mm[1] - line.from_mm[1])
    return "x" if across >= up else "y"


def ladder_events(
    machine: Machine, lines: Sequence[CardLine], *, origin_bed_mm: tuple[float, float]
) -> tuple[Event, ...]:
    """Return the events that burn lines of one set-up, lowest first, those along x before those along y, all one way.

    Source
    ------
    `run_events`: run-up on either side, so that every line burns at constant speed.
    """
    events: list[Event] = []
    axes: tuple[Axis, ...] = ("x", "y")
    for axis in axes:
        mine = [k for k in lines if axis_of(k) == axis]
        a, c = (0, 1) if axis == "x" else (1, 0)
        for speed in sorted({k.speed_mm_per_s for k in mine}):
            burnt = tuple(
                Line(
                    cross_mm=origin_bed_mm[c] + k.from_mm[c],
                    edges_mm=origin_bed_mm[a] + np.array(sorted((k.from_mm[a], k.to_mm[a]))),
                    power_W=np.array([k.power_W]),
                )
                for k in sorted(mine, key=lambda k: k.from_mm[::-1] if axis == "x" else k.from_mm)
                if k.speed_mm_per_s == speed
            )
            events += run_events(
                machine, [Run(lines=burnt, forward=True)], axis=axis, speed_mm_per_s=speed, direction="one way"
            )
    return tuple(events)
