"""Verify a program: read it back from disk and hold it against the machine."""

from __future__ import annotations

from pathlib import Path

from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.ngc_reader import Limits, Report, verify_file
from evenburn.core.nouns.machine import Machine

__all__ = ["Report", "limits_of", "verify_program"]


def limits_of(machine: Machine) -> Limits:
    """Return what the reader has to know of a machine."""
    return Limits(
        bed_x_mm=machine.bed_x_mm,
        bed_y_mm=machine.bed_y_mm,
        power_word_max=machine.power_word_max,
        speed_max_mm_per_s=machine.speed_max_mm_per_s,
        rapid_mm_per_s=machine.rapid_mm_per_s,
        accel_x_mm_per_s2=machine.accel_x_mm_per_s2,
        accel_y_mm_per_s2=machine.accel_y_mm_per_s2,
        jerk_mm_per_s3=machine.jerk_mm_per_s3,
        line_overhead_s=machine.line_overhead_s,
        power_cap_fraction=machine.power_cap_fraction,
        power_least_fraction=machine.power_least_fraction,
        on_words=(machine.post_processor.on_word,),
        corner_tolerance_mm=machine.corner_tolerance_mm,
    )


def verify_program(program: Path, machine_file: Path) -> Report:
    """Return what a program on disk does and what is wrong with it.

    Raises
    ------
    UnreadableFile, InvalidInput, NotFound
        If the program or the machine file cannot be read.
    """
    machine = read_machine(machine_file, name=machine_file.name)
    return verify_file(program, limits_of(machine))
