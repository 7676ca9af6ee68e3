"""Make a motion card: rasters to time with a stopwatch, verniers to burn, its picture and its mat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.ngc_writer import Head, lot_comments, program_lines
from evenburn.adapters.pictures.burn_image import write_burn_image
from evenburn.adapters.print.cautions import card_caution_lines
from evenburn.adapters.print.mat import write_mat
from evenburn.adapters.storage.card_folder import CARD_INDEX, CardFolder
from evenburn.core.errors import InvalidInput
from evenburn.core.motion.stopwatch import TimedRaster
from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.card import Card, CardRaster
from evenburn.core.nouns.cautions import PROGRAM_WORDS
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.motion_card_plan import TAKES, MotionPlan, PIXEL_mm, plan_motion_card
from evenburn.core.units import duration_text
from evenburn.services.make_card import MAT, PICTURE, PROGRAM, card_wood, lens_of
from evenburn.services.prove import prove_program


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionCardMade:
    """A motion card as it was written: where, what is in it, how long it burns and is watched, and what to mind."""

    card: Card
    wood: Wood
    machine: Machine
    lens: Lens
    time_s: float
    watched_s: float
    checks: tuple[Check, ...]
    cautions: tuple[str, ...]
    files: tuple[str, ...]
    folder: Path
    document: dict[str, Any]


def make_motion_card(
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
) -> MotionCardMade:
    """Make a motion card and write its files into a folder, all or nothing.

    Parameters
    ----------
    like, folder : as in `CardWish`.
    at_mm : the card's lower left corner on the bed; None for the middle.

    Raises
    ------
    InvalidInput, NotFound, UnreadableFile
        If what was asked does not hold, or the material may not be burnt; nothing is written.
    StorageError
        If the files cannot be written.
    ProgramNotSound
        If a program does not pass when it is read back.
    """
    if page not in ("A4", "Letter"):
        raise InvalidInput({"--page": f'is "{page}"; allowed are A4 and Letter'})
    if at_mm is not None and not all(0.0 <= v <= 10_000.0 for v in at_mm):
        raise InvalidInput({"--at": f"is {at_mm[0]:g},{at_mm[1]:g}; allowed is 0 to 10000 mm"})
    machine = read_machine(machine_file, name=machine_file.name)
    lens = lens_of(machine, lens_name)
    wood, checks = card_wood(wood_id, like=like, folder=folder)
    plan = plan_motion_card(machine, wood, lens=lens, page=page, at_mm=at_mm, program=PROGRAM)
    document = card_document(plan.card)
    timed = [r for r in plan.card.rasters if not r.burns]
    moves_only = replace(machine, line_overhead_s=0.0)  # the reader counts an overhead for what burns, and these do not
    with CardFolder(to) as output:
        head = Head(lines=card_head(plan, wood, machine=machine, lens=lens, date=date))
        output.write_text(PROGRAM, "\n".join(program_lines(machine, plan.events, head=head)) + "\n")
        prove_program(output.path(PROGRAM), machine, events=plan.events, time_s=plan.time_s)
        for entry, raster in zip(timed, plan.rasters, strict=True):
            head = Head(lines=raster_head(entry, raster, machine=machine, date=date))
            output.write_text(entry.program, "\n".join(program_lines(machine, raster.events, head=head)) + "\n")
            moves_s = program_time_s(moves_only, raster.events)
            prove_program(output.path(entry.program), moves_only, events=raster.events, time_s=moves_s)
        write_burn_image(
            output.path(PICTURE), plan.picture_W, power_full_W=float(plan.picture_W.max()), pixel_mm=PIXEL_mm
        )
        write_mat(plan.card, output.path(MAT))
        output.write_text(CARD_INDEX, json_text(document))
        output.finish()
    return MotionCardMade(
        card=plan.card,
        wood=wood,
        machine=machine,
        lens=lens,
        time_s=plan.time_s,
        watched_s=plan.watched_s(),
        checks=checks,
        cautions=card_caution_lines(lens, timed=True),
        files=(CARD_INDEX, *(r.program for r in timed), PROGRAM, PICTURE, MAT),
        folder=to,
        document=document,
    )


def card_head(plan: MotionPlan, wood: Wood, *, machine: Machine, lens: Lens, date: str) -> tuple[str, ...]:
    """Return what the head of the card's program says."""
    x, y = plan.card.origin_bed_mm
    speeds = ", ".join(f"{s.speed_mm_per_s:g}" for s in plan.burnt)
    return (
        f"evenburn motion card, made {date}",
        f"wood {wood.name}, card {plan.card.size_mm[0]:g} x {plan.card.size_mm[1]:g} mm",
        *lot_comments(wood),
        f"machine {machine.name}, lens {lens.name}",
        f"its lower left corner lies at x {x:g}, y {y:g} mm",
        f"set stand-off {lens.focus_stand_off_mm:.1f} mm, focus offset +0.0 mm",
        f"speeds {speeds} mm/s, time {duration_text(plan.time_s)}",
        "rise time and reversal offset of the machine file are left out",
        PROGRAM_WORDS,
    )


def raster_head(entry: CardRaster, raster: TimedRaster, *, machine: Machine, date: str) -> tuple[str, ...]:
    """Return what the head of a stopwatch raster says: what to do with the watch."""
    return (
        f"evenburn stopwatch raster {entry.id}, made {date}: the laser stays off",
        f"machine {machine.name}",
        f"{raster.name}: {raster.strokes} strokes of {raster.length_mm:g} mm at {raster.speed_mm_per_s:g} mm/s",
        "bring the head to where it starts, run the program from there:",
        f"x {_start(raster)[0]:g}, y {_start(raster)[1]:g} mm",
        "press when the head sets off to and fro, press again when it rests",
        f"expected {entry.expected_s:.1f} s; take it {TAKES} times",
    )


def _start(raster: TimedRaster) -> tuple[float, float]:
    """Return where a raster starts."""
    first = raster.events[0]
    to_mm = getattr(first, "to_mm", (0.0, 0.0))
    return float(to_mm[0]), float(to_mm[1])
