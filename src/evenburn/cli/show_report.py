"""A verified program on the terminal."""

from __future__ import annotations

import dataclasses
import json
import sys
import textwrap

from evenburn.core.nouns.cautions import cautions_for
from evenburn.core.units import duration_text
from evenburn.services.verify_program import Report

WIDTH = 100


def show_report(report: Report, *, name: str, as_json: bool) -> None:
    """Print the findings of a program, then what it does."""
    if as_json:
        json.dump({"program": name, **dataclasses.asdict(report)}, sys.stdout, indent=2, allow_nan=False)
        sys.stdout.write("\n")
        return
    for finding in report.findings:
        place = f"line {finding.line}: " if finding.line is not None else ""
        print(
            f"{finding.level:<5} {finding.code}: {place}{_sentence(finding.text)} {_sentence(finding.remedy)}".rstrip()
        )
    box = report.burn_box_mm
    where = f"burns x {box[0]:.1f} to {box[2]:.1f}, y {box[1]:.1f} to {box[3]:.1f} mm" if box else "burns nothing"
    print(f"{name}: {report.lines} lines, {report.moves} moves, {duration_text(report.time_s)}; {where}")
    if not report.passed:
        print("must not run")
        return
    print("passed")
    for caution in cautions_for(decision="verify"):
        print(textwrap.fill(caution.text, WIDTH))


def _sentence(text: str) -> str:
    """Return words with a capital and a full stop; none where there are none."""
    return "" if not text else text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
