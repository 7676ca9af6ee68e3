"""Motion cards for people and as JSON: what was made, what was read, what was fitted."""

from __future__ import annotations

import json
import math
import sys
import textwrap
from typing import TYPE_CHECKING

from evenburn.core.errors import InvalidInput
from evenburn.core.units import duration_text

if TYPE_CHECKING:
    from evenburn.core.nouns.card import Reading
    from evenburn.services.fit_motion import MotionDocument, MotionFitted
    from evenburn.services.make_motion_card import MotionCardMade

WIDEST = 100


def named_numbers(given: list[str] | None, *, option: str, example: str) -> list[tuple[str, float]]:
    """Return what was given as NAME=NUMBER.

    Raises
    ------
    InvalidInput
        With every one that is not so.
    """
    found: list[tuple[str, float]] = []
    wrong: dict[str, str] = {}
    for text in given or ():
        name, sign, number = text.partition("=")
        try:
            value = float(number)
        except ValueError:
            value = math.nan
        if not (sign and name.strip() and math.isfinite(value)):
            wrong[f"{option} {text}"] = "is not a name, = and a number"
        else:
            found.append((name.strip(), value))
    if wrong:
        raise InvalidInput(wrong, hint=f"Write it as {option} {example}.")
    return found


def show_motion_card(made: MotionCardMade, *, as_json: bool) -> None:
    """Print what was made, what to time and how, what to mind before it burns, and what to do afterwards."""
    if as_json:
        document = {
            "card": made.document,
            "time_s": round(made.time_s, 3),
            "watched_s": round(made.watched_s, 3),
            "stand_off_mm": made.lens.focus_stand_off_mm,
            "checks": [{"level": c.level, "code": c.code, "text": _plain(c.text)} for c in made.checks],
            "cautions": [_plain(c) for c in made.cautions],
            "files": list(made.files),
        }
        sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=2) + "\n")
        return
    card = made.card
    x, y = card.origin_bed_mm
    wide, high = card.size_mm
    _say(f"motion card for {card.machine_name}")
    _say()
    _say(f"With a stopwatch, the laser off: two takes of each, {duration_text(made.watched_s)} in all")
    for raster in card.rasters:
        if not raster.burns:
            text = f"{raster.program}, {raster.name}: {raster.strokes} of {raster.length_mm:g} mm, about {raster.expected_s:.1f} s"
            _fill(f"  {raster.id:<6}", text)
    _fill("  ", "Press when the head sets off to and fro, press again when it comes to rest.")
    _say()
    _say(f"To burn: {made.wood.name}, {wide:g} × {high:g} mm, {duration_text(made.time_s)}")
    _fill("  ", f"stand-off {made.lens.focus_stand_off_mm:.1f} mm, in focus, lens {card.lens_name}")
    _fill("  ", f"lower left corner at x {x:g}, y {y:g} mm; the wood is to reach 10 mm further all round")
    for check in made.checks:
        _fill(f"  {check.level:<6}", f"{check.text} {check.remedy}")
    _say()
    _say("Before the first spark")
    for caution in made.cautions:
        _fill("  [ ] ", caution)
    _say()
    _say(f"{', '.join(made.files)} are in {made.folder.name or made.folder}.")
    times = " ".join(f"--time {r.id}={r.expected_s:.1f}" for r in card.rasters if not r.burns)
    _fill(
        "next: ",
        "photograph the card in its mat, evenburn read PHOTO --card card.json --to reading.json, then evenburn fit "
        f"card.json reading.json --machine FILE {times} … --to motion.json, with the times you took, each take",
    )


def show_strokes(reading: Reading) -> None:
    """Print how many strokes were seen, and the shift at each speed."""
    from evenburn.core.card.reversal_fit import shifts_of  # numbers are loaded when needed

    card = reading.card
    seen = sum(k.shift_mm is not None for k in reading.lines)
    count = reading.photographs
    _say(
        f"motion card, {card.machine_name}, {card.lens_name}: {seen} of {len(card.lines)} strokes from {count} "
        f"photograph{'' if count == 1 else 's'}"
    )
    for shift in shifts_of(reading):
        _say(
            f"  {shift.vernier:<9} {shift.speed_mm_per_s:6.1f} mm/s   strokes towards + land {shift.shift_mm:+.3f} "
            f"± {shift.shift_sd_mm:.3f} mm from strokes towards −"
        )


def show_motion(fitted: MotionFitted, *, as_json: bool, file_name: str) -> None:
    """Print what was fitted, what is doubted of it, and the lines for machine.toml."""
    document = fitted.document
    if as_json:
        sys.stdout.write(json.dumps(document.model_dump(exclude_none=True), ensure_ascii=False, indent=2) + "\n")
        return
    _say(f"{document.machine}, from {document.provenance.detail}")
    _say()
    for name, text in _rows(document):
        _say(f"  {name:<18}{text}")
    doubted = [f"{t.id} ({t.measured_s:g} s, off by {t.residual_s:+.2f} s)" for t in document.times if t.doubtful]
    if doubted:
        _fill(
            "  doubtful  ",
            f"{', '.join(doubted)}: take it again; the numbers above rest on the others more than on it.",
        )
    for shift in document.shifts:
        if shift.doubtful:
            _fill(
                "  doubtful  ",
                f"{shift.vernier}, {shift.by}: {shift.shift_mm:+.3f} mm, off by {shift.residual_mm:+.3f} mm; does the belt slip, "
                "or did the card move while it burnt?",
            )
    _say()
    _say("For machine.toml")
    for line in fitted.machine_lines():
        _say(f"  {line}")
    _say()
    _say(f"{file_name} holds the numbers.")


def _rows(d: MotionDocument) -> list[tuple[str, str]]:
    rows: list[tuple[str, str]] = []
    if d.accel_x_mm_per_s2 is not None and d.accel_y_mm_per_s2 is not None:
        for axis, value, sd in (
            ("x", d.accel_x_mm_per_s2, d.accel_x_sd_mm_per_s2),
            ("y", d.accel_y_mm_per_s2, d.accel_y_sd_mm_per_s2),
        ):
            share = 100.0 * (sd or 0.0) / value
            rows.append((f"acceleration {axis}", f"{value:.0f} ± {sd or 0.0:.0f} mm/s², {share:.1f} %"))
        if d.jerk_mm_per_s3 is None:
            rows.append(("jerk", "no limit shows in the times"))
        else:
            rows.append(("jerk", f"{d.jerk_mm_per_s3:.0f} ± {d.jerk_sd_mm_per_s3 or 0.0:.0f} mm/s³"))
    if d.line_overhead_s is not None:
        of = (
            "lines that burn"
            if d.line_overhead_from == "card"
            else "strokes with the laser off; time the card to be sure"
        )
        rows.append(
            (
                "line overhead",
                f"{1e3 * d.line_overhead_s:.1f} ± {1e3 * (d.line_overhead_sd_s or 0.0):.1f} ms, from {of}",
            )
        )
    if d.reversal_offset_mm is not None:
        rows.append(("reversal offset", f"{d.reversal_offset_mm:+.3f} ± {d.reversal_offset_sd_mm or 0.0:.3f} mm"))
        if d.rise_time_s is None:
            rows.append(("rise time", "not told apart from the offset; read the quick strokes too"))
        else:
            rows.append(("rise time", f"{1e3 * d.rise_time_s:.2f} ± {1e3 * (d.rise_time_sd_s or 0.0):.2f} ms"))
    return rows


def _plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def _fill(lead: str, text: str) -> None:
    _say(textwrap.fill(_plain(text), WIDEST, initial_indent=lead, subsequent_indent=" " * len(lead)))


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(_plain(text).encode(encoding, "replace").decode(encoding))
