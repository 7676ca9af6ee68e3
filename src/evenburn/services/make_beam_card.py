"""Make a focus ladder: its card, one program for each stand-off to set, and its mat."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.ngc_writer import Head, lot_comments, program_lines
from evenburn.adapters.print.cautions import card_caution_lines
from evenburn.adapters.print.mat import write_mat
from evenburn.adapters.storage.card_folder import CARD_INDEX, CardFolder
from evenburn.core.card.beam_card import (
    Believed,
    Rung,
    SIZE_mm,
    ladder_events,
    ladder_lines,
    ladder_offsets_mm,
    lines_in_block,
    pitch_mm,
    rungs,
    threshold_J_per_mm2,
)
from evenburn.core.card.burning import card_events
from evenburn.core.card.mat_geometry import mat_for_card
from evenburn.core.card.wood_card import corner_marks
from evenburn.core.errors import InvalidInput
from evenburn.core.motion.profile import speed_within_mm_per_s
from evenburn.core.motion.timing import accel_mm_per_s2, lead_mm, program_time_s
from evenburn.core.nouns.card import Card
from evenburn.core.nouns.cautions import PROGRAM_WORDS
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.power import power_fraction, power_window_W, settable_power_W
from evenburn.core.units import duration_text
from evenburn.services.make_card import card_wood, lens_of
from evenburn.services.prove import prove_program

QUICKEST_mm_per_s = 300.0  # beyond, the laser's rise takes up too much of a line
MARK_TIMES = 2.2  # dose of the corner marks over the wood's half tone
MARK_SPACINGS_PER_RADIUS = 1.0
EDGE_mm = 1.0  # kept free of the bed's edge
MAT_FILE = "mat.pdf"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """One program of a ladder: the stand-off to set for it, and how long it burns."""

    file: str
    stand_off_mm: float
    focus_offset_mm: float
    lines: int
    time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamCard:
    """A ladder as made: its card, its programs in the order to burn them, and what to mind."""

    card: Card
    set_ups: tuple[SetUp, ...]
    checks: tuple[Check, ...]
    cautions: tuple[str, ...]
    files: tuple[str, ...]
    document: dict[str, Any]

    @property
    def burn_time_s(self) -> float:
        """Time of all programs together, without the setting between them. [s]"""
        return sum(s.time_s for s in self.set_ups)


def make_beam_card(
    machine_file: Path,
    wood_id: str,
    *,
    to: Path,
    date: str,
    like: str | None = None,
    folder: Path | None = None,
    page: str = "A4",
    lens_name: str | None = None,
    at_mm: tuple[float, float] | None = None,
) -> BeamCard:
    """Design a focus ladder for a machine and a wood, and write card.json, beam-01.ngc … and mat.pdf.

    Every program is read back from disk before anything is kept.

    Parameters
    ----------
    like, folder : as in `CardWish`.
    lens_name : the first lens of the machine where None.
    at_mm : the card's lower left corner on the bed; None for the middle.

    Raises
    ------
    UnreadableFile, InvalidInput, NotFound
        If the machine file does not hold, the wood is not known or must not be burnt, or no ladder can be burnt.
    StorageError
        If the files cannot be written.
    ProgramNotSound
        If a program does not pass when it is read back.
    """
    if page not in ("A4", "Letter"):
        raise InvalidInput({"--page": f'is "{page}"; allowed are A4 and Letter'})
    machine = read_machine(machine_file, name=machine_file.name)
    lens = lens_of(machine, lens_name)
    wood, checks = card_wood(wood_id, like=like, folder=folder)
    origin = _origin_mm(machine, at_mm)
    believed = Believed(
        beam=beam_of_lens(lens),
        curve=wood.curve,
        power_least_W=power_window_W(machine)[0],
        power_most_W=power_window_W(machine)[1],
        speed_most_mm_per_s=_speed_most_mm_per_s(machine, origin=origin),
    )
    offsets = ladder_offsets_mm(believed.beam, focus_stand_off_mm=lens.focus_stand_off_mm)
    pitch = pitch_mm(believed.beam, offsets_mm=offsets)
    steps = _settable(machine, rungs(believed, offsets_mm=offsets, lines=2 * sum(lines_in_block(pitch))))
    fractions = [power_fraction(machine, power_W=np.array(s.powers_W)).tolist() for s in steps]
    card = Card(
        kind="beam",
        wood_id=wood.id,
        machine_name=machine.name,
        lens_name=lens.name,
        size_mm=SIZE_mm,
        origin_bed_mm=origin,
        focus_offset_mm=0.0,
        beam_radius_mm=believed.beam.waist_radius_mm,
        patches=(),
        lines=ladder_lines(steps, apart_mm=pitch, power_fractions=fractions),
        corner_marks=corner_marks(SIZE_mm),
        mat=mat_for_card(SIZE_mm, kind="beam", page=page),
    )
    return _written(card, machine, lens, wood, believed=believed, offsets=offsets, to=to, date=date, checks=checks)


def _origin_mm(machine: Machine, at_mm: tuple[float, float] | None) -> tuple[float, float]:
    """Return where the card's lower left corner lies: as told, or so that it lies in the middle of the bed."""
    wide, high = SIZE_mm
    x, y = at_mm or (round(0.5 * (machine.bed_x_mm - wide), 3), round(0.5 * (machine.bed_y_mm - high), 3))
    right, above = machine.bed_x_mm - x - wide, machine.bed_y_mm - y - high
    if min(x, y, right, above) < EDGE_mm:
        raise InvalidInput(
            {
                "--at": f"a ladder of {wide:g} × {high:g} mm with its corner at {x:g},{y:g} does not lie on the bed of "
                f"{machine.bed_x_mm:g} × {machine.bed_y_mm:g} mm with {EDGE_mm:g} mm to spare"
            },
            hint="Leave --at out for the middle of the bed.",
        )
    return x, y


def _speed_most_mm_per_s(machine: Machine, *, origin: tuple[float, float]) -> float:
    """Return the greatest speed whose run-up fits beside the card, along both axes."""
    speeds = [min(machine.speed_max_mm_per_s, QUICKEST_mm_per_s)]
    x, y = origin
    rooms = (
        ("x", min(x, machine.bed_x_mm - x - SIZE_mm[0])),
        ("y", min(y, machine.bed_y_mm - y - SIZE_mm[1])),
    )
    for axis, room in rooms:
        accel = accel_mm_per_s2(machine, axis="x" if axis == "x" else "y")
        speeds.append(
            speed_within_mm_per_s(room - EDGE_mm, accel_mm_per_s2=accel, jerk_mm_per_s3=machine.jerk_mm_per_s3)
        )
    speed = min(speeds)
    return max(1.0, speed - abs(lead_mm(machine, speed_mm_per_s=speed)))


def _settable(machine: Machine, steps: tuple[Rung, ...]) -> tuple[Rung, ...]:
    return tuple(
        Rung(
            focus_offset_mm=s.focus_offset_mm,
            speed_mm_per_s=s.speed_mm_per_s,
            powers_W=tuple(settable_power_W(machine, power_W=np.array(s.powers_W)).tolist()),
            columns=s.columns,
        )
        for s in steps
    )


def _marks(card: Card, machine: Machine, believed: Believed) -> tuple[Event, ...]:
    """Return the events of the corner marks: an even dark square at the sharpest set-up there is."""
    radius = believed.beam.waist_radius_mm
    spacing = round(MARK_SPACINGS_PER_RADIUS * radius, 3)
    low, most = believed.power_least_W, believed.power_most_W
    speed = believed.speed_most_mm_per_s

    def power(at: float) -> float:
        return MARK_TIMES * threshold_J_per_mm2(believed.curve, radius_mm=radius, speed_mm_per_s=at) * at * spacing

    while power(speed) > most and speed > 1.0:
        speed *= 0.9
    speed = round(speed, 1)
    watts = float(settable_power_W(machine, power_W=np.array([max(low, min(most, power(speed)))]))[0])
    return card_events(
        machine,
        (),
        marks=card.corner_marks,
        origin_bed_mm=card.origin_bed_mm,
        mark_power_W=watts,
        mark_speed_mm_per_s=speed,
        mark_line_spacing_mm=spacing,
    )


def _written(
    card: Card,
    machine: Machine,
    lens: Lens,
    wood: Wood,
    *,
    believed: Believed,
    offsets: tuple[float, ...],
    to: Path,
    date: str,
    checks: tuple[Check, ...],
) -> BeamCard:
    set_ups: list[SetUp] = []
    sharpest = min(offsets, key=abs)
    with CardFolder(to) as output:
        for number, offset in enumerate(offsets, start=1):
            mine = [k for k in card.lines if k.focus_offset_mm == offset]
            events = ladder_events(machine, mine, origin_bed_mm=card.origin_bed_mm)
            if offset == sharpest:
                events += _marks(card, machine, believed)
            name = f"beam-{number:02d}.ngc"
            set_up = SetUp(
                file=name,
                stand_off_mm=round(lens.focus_stand_off_mm + offset, 3),
                focus_offset_mm=offset,
                lines=len(mine),
                time_s=program_time_s(machine, events),
            )
            head = Head(lines=_head(card, wood, set_up, speed=mine[0].speed_mm_per_s, of=len(offsets), date=date))
            output.write_text(name, "\n".join(program_lines(machine, events, head=head)) + "\n")
            prove_program(output.path(name), machine, events=events, time_s=set_up.time_s)
            set_ups.append(set_up)
        write_mat(card, output.path(MAT_FILE))
        document = card_document(card)
        output.write_text(CARD_INDEX, json_text(document))
        output.finish()
    return BeamCard(
        card=card,
        set_ups=tuple(set_ups),
        checks=checks,
        cautions=_cautions(wood, lens, offsets=offsets),
        files=(*(s.file for s in set_ups), MAT_FILE, CARD_INDEX),
        document=document,
    )


def _head(card: Card, wood: Wood, set_up: SetUp, *, speed: float, of: int, date: str) -> tuple[str, ...]:
    x, y = card.origin_bed_mm
    wide, high = card.size_mm
    return (
        f"evenburn focus ladder, {set_up.file}, one of {of}, made {date}",
        f"machine {card.machine_name}, lens {card.lens_name}, wood {wood.name}",
        *lot_comments(wood),
        f"SET STAND-OFF {set_up.stand_off_mm:.2f} mm, focus offset {set_up.focus_offset_mm:+.2f} mm",
        f"card {wide:g} x {high:g} mm, lower left corner at x {x:.1f}, y {y:.1f} mm",
        "do not move the board between the programs",
        f"{set_up.lines} lines at {speed:g} mm/s, time {duration_text(set_up.time_s)}",
        PROGRAM_WORDS,
    )


def _cautions(wood: Wood, lens: Lens, *, offsets: tuple[float, ...]) -> tuple[str, ...]:
    nearest = lens.focus_stand_off_mm + offsets[0]
    found = [
        f"The nozzle comes as near as {nearest:.1f} mm to the work.",
        "Leave the board where it is until the last program is burnt; only the stand-off changes.",
        "Set each stand-off with a gauge, coming from the same side, so that play in the screw does not count.",
    ]
    if abs(offsets[0]) + 1e-6 < offsets[-1]:
        found.append(
            f"The ladder reaches {-offsets[0]:.1f} mm nearer and {offsets[-1]:.1f} mm further, as the nozzle must not touch."
        )
    if wood.burns_unevenly or wood.grain:
        found.append("A board of fine, even grain reads best: birch plywood, maple or lime rather than oak.")
    return (*found, *card_caution_lines(lens), *wood.cautions)
