"""A program read back from disk and held against the events it was made of."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np

from evenburn.adapters.formats.ngc_reader import Report, read_program, verify_file
from evenburn.core.errors import InvalidInput, ProgramNotSound
from evenburn.core.motion.bounds import Box, boxes_mm
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Machine
from evenburn.core.planning.power import full_power_s
from evenburn.services.verify_program import limits_of

TIME_SLACK, TIME_SLACK_s = 0.005, 0.5  # what the contract allows between plan and file; a short program in seconds
ENERGY_SLACK = 0.01  # what the contract allows; coordinates of 1 µm take up to 1 % of a dot of 0.1 mm
PLACE_SLACK_mm = 0.0015  # coordinates are written to 1 µm


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
    own = _own_lines_at_fault(program, machine, events=events, time_s=time_s)
    if own:
        raise InvalidInput(
            {f"post_processor.{key}": f"changes what the program does: {faults[0]}" for key in own},
            source="machine.toml",
            hint="Without these lines the program passes. Take them out, or leave only what neither moves nor burns.",
        )
    raise ProgramNotSound(
        f"{program.name} did not pass its own check: {'; '.join(faults[:3])}",
        hint="This is a fault of evenburn. Nothing was written; please report the batch folder.",
    )


def _faults(report: Report, machine: Machine, *, events: Sequence[Event], time_s: float) -> list[str]:
    faults = [f"{f.code}, line {f.line}: {f.text}" for f in report.findings if f.level == "stop"]
    if abs(report.time_s - time_s) > max(TIME_SLACK * time_s, TIME_SLACK_s):
        faults.append(f"it takes {report.time_s:.1f} s by the reader's clock, {time_s:.1f} s by the plan's")
    planned_s = full_power_s(machine, events)
    if abs(report.full_power_s - planned_s) > ENERGY_SLACK * planned_s:
        faults.append(f"it burns {report.full_power_s:.2f} s of full power, the plan {planned_s:.2f} s")
    moved, burnt = boxes_mm(events)
    for what, there, planned in (("goes", report.travel_box_mm, moved), ("burns", report.burn_box_mm, burnt)):
        if not _same_box(there, planned):
            faults.append(f"it {what} within {there}, the plan within {planned} mm")
    return faults


def _own_lines_at_fault(
    program: Path, machine: Machine, *, events: Sequence[Event], time_s: float
) -> tuple[Literal["opening_lines", "closing_lines"], ...]:
    """Return which lines of machine.toml a program would pass without; none where it would not pass in any case."""
    lines = program.read_text(encoding="utf-8").splitlines()
    opening, closing = list(machine.post_processor.opening_lines), list(machine.post_processor.closing_lines)
    first = lines.index("M5") + 1 if "M5" in lines else 0
    last = len(lines) - 1 - len(closing)
    if lines[first : first + len(opening)] != opening or lines[last:-1] != closing:
        return ()
    before, between = lines[:first], lines[first + len(opening) : last]
    for left_out in (("opening_lines",), ("closing_lines",), ("opening_lines", "closing_lines")):
        kept_first = [] if "opening_lines" in left_out else opening
        kept_last = [] if "closing_lines" in left_out else closing
        text = "\n".join([*before, *kept_first, *between, *kept_last, *lines[-1:], ""])
        if not _faults(read_program(text, limits_of(machine)), machine, events=events, time_s=time_s):
            return left_out
    return ()


def _same_box(there: Box | None, planned: Box | None) -> bool:
    if there is None or planned is None:
        return there is planned
    return bool(np.abs(np.subtract(there, planned)).max() <= PLACE_SLACK_mm)
