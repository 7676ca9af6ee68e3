"""A program read back from disk and held against the events it was made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from evenburn.adapters.formats.ngc_reader import Report, read_program, verify_file
from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.core.errors import InvalidInput, ProgramNotSound
from evenburn.core.motion.bounds import Box, boxes_mm
from evenburn.core.motion.raster import Line, sweep_of
from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.events import Event, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.planning.power import full_power_s, power_window_W
from evenburn.services.verify_program import limits_of

TIME_SLACK, TIME_SLACK_s = 0.005, 0.5  # what the contract allows between plan and file; a short program in seconds
ENERGY_SLACK = 0.01  # what the contract allows; coordinates of 1 µm take up to 1 % of a dot of 0.1 mm
PLACE_SLACK_mm = 0.0015  # coordinates are written to 1 µm
MACHINE_TOML = "machine.toml"
OwnLines = Literal["opening_lines", "closing_lines"]
TRIAL_mm, TRIAL_mm_per_s, TRIAL_AT = 1.0, 20.0, 0.37  # a short line, slow, where no parking place is
_PLACE, _TIME, _ENERGY = "they move the head", "they wait", "they burn"  # what such lines do, in words


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fault:
    """What a program does that its plan does not: told with its code and line, and in plain words of the lines that do it."""

    told: str
    plain: str
    line: int | None = None


def demand_sound_own_lines(machine: Machine, *, source: str = MACHINE_TOML) -> None:
    """Refuse lines of a machine that would change what its programs do, before any is planned.

    The same rule as `prove_program`: the shortest program that burns is read with them and without.

    Raises
    ------
    InvalidInput
        At `post_processor.opening_lines` and `.closing_lines`, with what they would do, as `source` has it.
    """
    if not (machine.post_processor.opening_lines or machine.post_processor.closing_lines):
        return
    events = _trial(machine)
    text = "\n".join([*program_lines(machine, events, head=Head(lines=())), ""])
    time_s = program_time_s(machine, events)
    faults = _faults(read_program(text, limits_of(machine)), machine, events=events, time_s=time_s)
    if faults:
        _refuse_own_lines(text, machine, faults, events=events, time_s=time_s, source=source)


def _trial(machine: Machine) -> tuple[Event, ...]:
    """Return a short line at a power that fires."""
    line = Line(
        cross_mm=TRIAL_AT * machine.bed_y_mm,
        edges_mm=TRIAL_AT * machine.bed_x_mm + np.array([0.0, TRIAL_mm]),
        power_W=np.array([power_window_W(machine)[1]]),
    )
    speed = min(TRIAL_mm_per_s, machine.speed_max_mm_per_s)
    sweep = sweep_of(machine, line, axis="x", speed_mm_per_s=speed, forward=True)
    return Travel(to_mm=(sweep.start_mm, sweep.cross_mm)), sweep


def prove_program(program: Path, machine: Machine, *, events: Sequence[Event], time_s: float) -> None:
    """Read a program back from disk and hold it against the plan: findings, time, energy, where it goes and burns.

    Events that burn nothing are to come out as a program that never lights the laser.

    Raises
    ------
    InvalidInput
        If it differs by the lines that machine.toml puts in.
    ProgramNotSound
        If anything else differs; a program that does not pass is never kept.
    """
    faults = _faults(verify_file(program, limits_of(machine)), machine, events=events, time_s=time_s)
    if not faults:
        return
    text = program.read_text(encoding="utf-8")
    _refuse_own_lines(text, machine, faults, events=events, time_s=time_s, source=MACHINE_TOML)
    raise ProgramNotSound(
        f"{program.name} did not pass its own check: {'; '.join(fault.told for fault in faults[:3])}",
        hint="This is a fault of evenburn. Nothing was written; please report the batch folder.",
    )


def _refuse_own_lines(
    text: str, machine: Machine, faults: Sequence[_Fault], *, events: Sequence[Event], time_s: float, source: str
) -> None:
    """Refuse a program's own lines where it would pass without them; say nothing where it would not in any case."""
    own = _own_lines_at_fault(text, machine, events=events, time_s=time_s)
    if not own:
        return
    lines = text.splitlines()
    told: dict[str, str] = {}
    for key in own:
        written: tuple[str, ...] = getattr(machine.post_processor, key)
        named = ((f, lines[f.line - 1]) for f in faults if f.line is not None)
        found = next((f"“{line}”: {f.plain}" for f, line in named if line in written), faults[0].plain)
        told[f"post_processor.{key}"] = f"{found}; lines of your own may neither move the head, wait, nor burn"
    raise InvalidInput(
        told,
        source=source,
        hint=f"Take them out of the machine “{machine.name}”, or leave only what switches things, as an air valve’s M8.",
    )


def _faults(report: Report, machine: Machine, *, events: Sequence[Event], time_s: float) -> list[_Fault]:
    faults = [
        _Fault(told=f"{f.code}, line {f.line}: {f.text}", plain=f.text, line=f.line)
        for f in report.findings
        if f.level == "stop"
    ]
    moved, burnt = boxes_mm(events)
    for what, there, planned in (("goes", report.travel_box_mm, moved), ("burns", report.burn_box_mm, burnt)):
        if not _same_box(there, planned):
            told = f"it {what} within {there}, the plan within {planned} mm"
            faults.append(_Fault(told=told, plain=_PLACE))
    if abs(report.time_s - time_s) > max(TIME_SLACK * time_s, TIME_SLACK_s):
        told = f"it takes {report.time_s:.1f} s by the reader's clock, {time_s:.1f} s by the plan's"
        faults.append(_Fault(told=told, plain=_TIME))
    planned_s = full_power_s(machine, events)
    if abs(report.full_power_s - planned_s) > ENERGY_SLACK * planned_s:
        told = f"it burns {report.full_power_s:.2f} s of full power, the plan {planned_s:.2f} s"
        faults.append(_Fault(told=told, plain=_ENERGY))
    return faults


def _own_lines_at_fault(text: str, machine: Machine, *, events: Sequence[Event], time_s: float) -> tuple[OwnLines, ...]:
    """Return which lines of machine.toml a program would pass without; none where it would not pass in any case."""
    lines = text.splitlines()
    opening, closing = list(machine.post_processor.opening_lines), list(machine.post_processor.closing_lines)
    first = lines.index("M5") + 1 if "M5" in lines else 0
    last = len(lines) - 1 - len(closing)
    if lines[first : first + len(opening)] != opening or lines[last:-1] != closing:
        return ()
    before, between = lines[:first], lines[first + len(opening) : last]
    tries: tuple[tuple[OwnLines, ...], ...] = (
        ("opening_lines",),
        ("closing_lines",),
        ("opening_lines", "closing_lines"),
    )
    for left_out in tries:
        kept_first = [] if "opening_lines" in left_out else opening
        kept_last = [] if "closing_lines" in left_out else closing
        shorter = "\n".join([*before, *kept_first, *between, *kept_last, *lines[-1:], ""])
        if not _faults(read_program(shorter, limits_of(machine)), machine, events=events, time_s=time_s):
            return left_out
    return ()


def _same_box(there: Box | None, planned: Box | None) -> bool:
    if there is None or planned is None:
        return there is planned
    return bool(np.abs(np.subtract(there, planned)).max() <= PLACE_SLACK_mm)
