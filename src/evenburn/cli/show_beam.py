"""Focus ladders for people and as JSON: what was made, what was read, what was fitted."""

from __future__ import annotations

import json
import sys
import textwrap
from typing import TYPE_CHECKING

from evenburn.core.units import duration_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from evenburn.core.nouns.card import Reading
    from evenburn.services.fit_beam import BeamFitted
    from evenburn.services.make_beam_card import BeamCard

WIDEST = 100


def show_beam_card(made: BeamCard, *, as_json: bool) -> None:
    """Print the stand-off to set for each program, how long they burn, and what to mind."""
    if as_json:
        document = {
            "card": made.document,
            "time_s": round(made.burn_time_s, 3),
            "programs": [
                {
                    "file": s.file,
                    "stand_off_mm": s.stand_off_mm,
                    "focus_offset_mm": s.focus_offset_mm,
                    "lines": s.lines,
                    "time_s": round(s.time_s, 3),
                }
                for s in made.set_ups
            ],
            "checks": [{"level": c.level, "code": c.code, "text": c.text.replace("\u00a0", " ")} for c in made.checks],
            "cautions": list(made.cautions),
            "files": list(made.files),
        }
        sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=2) + "\n")
        return
    card = made.card
    x, y = card.origin_bed_mm
    wide, high = card.size_mm
    _say(f"focus ladder for {card.machine_name}, {card.lens_name}, on {card.wood_id}")
    _say()
    _say("Set the stand-off, burn the program, go on to the next:")
    for s in made.set_ups:
        offset = f"{s.focus_offset_mm:+.1f}".replace("-", "−")
        _say(
            f"  {s.file}   stand-off {s.stand_off_mm:5.1f} mm   focus offset {offset:>5} mm   {s.lines} lines   {s.time_s:4.0f} s"
        )
    _say()
    _say(
        f"{duration_text(made.burn_time_s)} of burning in all; {wide:g} × {high:g} mm, lower left corner at x {x:g}, y {y:g} mm"
    )
    _say()
    for check in made.checks:
        _fill("  ", f"{check.level}: {check.text} {check.remedy}")
    _say("Before the first spark")
    for caution in made.cautions:
        _fill("  ", caution)
    _say()
    _say("Then print mat.pdf at 100 %, lay it round the card, photograph it from close by, and")
    _say("  evenburn read PHOTO --card card.json --to reading.json")
    _say("  evenburn fit reading.json --wood NAME --machine machine.toml --to beam.json")


def show_ladder_reading(reading: Reading) -> None:
    """Print the widths of a ladder, set-up by set-up."""
    card = reading.card
    seen = sum(k.width_mm > 0.0 for k in reading.lines)
    _say(
        f"{card.wood_id}, {card.machine_name}, {card.lens_name}: {seen} of {len(reading.lines)} lines measured, "
        f"from {reading.photographs} photograph{'' if reading.photographs == 1 else 's'}"
    )
    for offset in sorted({k.line.focus_offset_mm for k in reading.lines}):
        mine = [k for k in reading.lines if k.line.focus_offset_mm == offset]
        widths = sorted(k.width_mm for k in mine if k.width_mm > 0.0)
        told = f"{widths[0]:.3f} to {widths[-1]:.3f} mm wide" if widths else "none seen"
        _say(f"  focus offset {f'{offset:+.1f}'.replace('-', '−'):>5} mm: {len(widths)} of {len(mine)} lines, {told}")
    for flag in sorted({f for k in reading.lines for f in k.flags} - {"faint"}):
        names = ", ".join(k.line.id for k in reading.lines if flag in k.flags)
        _fill("  ", f"{flag}: {names}")


def fit_ladder(
    readings: Sequence[Path],
    *,
    machine: Path | None,
    wood: str | None,
    to: Path,
    plot: Path | None,
    date: str,
    as_json: bool,
) -> None:
    """Fit readings of a focus ladder and print what came of it."""
    from evenburn.services.fit_beam import fit_beam_reading

    fitted = fit_beam_reading(readings, to=to, date=date, wood_id=wood, machine_file=machine, plot=plot)
    show_beam(fitted, as_json=as_json, file_name=to.name)


def show_beam(fitted: BeamFitted, *, as_json: bool, file_name: str) -> None:
    """Print the beam, the stand-off to use, and the lines for the machine file."""
    d = fitted.document
    if as_json:
        sys.stdout.write(json.dumps(d.model_dump(exclude_none=True), ensure_ascii=False, indent=2) + "\n")
        return
    _say(f"{d.machine}, {d.lens}: {d.provenance.detail}")
    _say(f"  waist radius     {d.waist_radius_mm:.4f} ± {d.waist_radius_sd_mm:.4f} mm")
    _say(f"  Rayleigh length  {d.rayleigh_length_mm:.3f} ± {d.rayleigh_length_sd_mm:.3f} mm")
    offset = f"{d.waist_offset_mm:+.2f}".replace("-", "−")
    _say(f"  the waist lies   {offset} ± {d.waist_offset_sd_mm:.2f} mm from where the machine file says")
    if abs(d.astigmatism_mm) > 2.0 * d.astigmatism_sd_mm:
        _say(f"  across x and y it lies {abs(d.astigmatism_mm):.2f} ± {d.astigmatism_sd_mm:.2f} mm apart")
    _say(f"  lines end at     {d.threshold_J_per_mm2:.3f} J/mm² on {d.wood}, ± {100.0 * d.threshold_sd_share:.0f} %")
    if fitted.set_aside:
        _say(f"  {fitted.set_aside} lines were set aside as doubtful")
    _say()
    if d.focus_stand_off_mm is not None:
        _say(f"Set a stand-off of {d.focus_stand_off_mm:.2f} mm for the sharpest line. For the machine file:")
    else:
        _say("For the machine file (with --machine the stand-off is told too):")
    _say("  [[lens]]")
    for line in fitted.machine_lines:
        _say(f"  {line}")
    _say()
    _say(f"{file_name} holds the numbers, {fitted.plot_file.name} the plot.")


def _fill(lead: str, text: str) -> None:
    _say(
        textwrap.fill(text.replace("\u00a0", " "), WIDEST, initial_indent=lead, subsequent_indent=" " * (len(lead) + 2))
    )


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.replace("\u00a0", " ").encode(encoding, "replace").decode(encoding))
