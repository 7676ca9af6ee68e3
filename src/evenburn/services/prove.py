"""A program read back from disk and held against the events it was made of."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from evenburn.adapters.formats.ngc_reader import verify_file
from evenburn.core.errors import ProgramNotSound
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
    ProgramNotSound
        If anything differs; a program that does not pass is never kept.
    """
    report = verify_file(program, limits_of(machine))
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
    if faults:
        raise ProgramNotSound(
            f"{program.name} did not pass its own check: {'; '.join(faults[:3])}",
            hint="This is a fault of evenburn. Nothing was written; please report the batch folder.",
        )


def _same_box(there: Box | None, planned: Box | None) -> bool:
    if there is None or planned is None:
        return there is planned
    return bool(np.abs(np.subtract(there, planned)).max() <= PLACE_SLACK_mm)
