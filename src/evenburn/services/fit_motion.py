"""Fit how a bench moves: acceleration, jerk and overhead from a stopwatch, reversal offset and rise time from the card."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from evenburn.adapters.formats.card_json import card_document, read_card
from evenburn.adapters.formats.json_file import read_json, write_json
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.motion_json import (
    MotionDocument,
    MotionProvenanceDocument,
    ShiftDocument,
    TimeDocument,
    machine_lines,
)
from evenburn.adapters.formats.ngc_reader import verify_file
from evenburn.adapters.formats.reading_json import read_reading
from evenburn.core.card.reversal_fit import ReversalFit, Shift, fit_reversal, shifts_by_eye, shifts_of
from evenburn.core.errors import EvenburnError, InvalidInput, StorageError, UnreadableFile
from evenburn.core.motion.stopwatch import (
    MotionFit,
    fit_motion,
    overhead_of_burning_s,
    strokes_to_and_fro,
)
from evenburn.core.nouns.card import Card, CardRaster
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Machine
from evenburn.services.verify_program import limits_of

__all__ = ["MotionDocument", "MotionFitted", "check_times", "fit_motion_card", "is_reading", "kind_of_card", "least_s"]

SLOWEST_TIMES = 3.0  # a time longer than expected by this factor is none of this raster
QUICK_SLACK = 0.5  # seconds a hand may be early by, beyond what no head can beat
MOST_TIMES = 60
HELP = "docs/how-it-works/stopwatch.md goes through it step by step."


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionFitted:
    """What came of it: the document as written, and the photographs it rests on."""

    document: MotionDocument
    photographs: int

    def machine_lines(self) -> tuple[str, ...]:
        """Return the lines for machine.toml."""
        return machine_lines(self.document)


def fit_motion_card(
    card_file: Path,
    *,
    machine_file: Path,
    to: Path,
    date: str,
    times: Sequence[tuple[str, float]] = (),
    lines_up: Mapping[str, float] | None = None,
    readings: Sequence[Path] = (),
) -> MotionFitted:
    """Fit what was measured with a motion card and write motion.json.

    Parameters
    ----------
    times : the raster's id and the time it took [s], as often as it was taken; `card` is the card's own program.
    lines_up : by eye, for a vernier the number of the strokes that line up.
    readings : reading.json files of photographs of this card.

    Raises
    ------
    UnreadableFile, InvalidInput
        If a file does not hold, or a time or a number cannot be one of this card.
    StorageError
        If motion.json cannot be written.
    """
    card = read_card(card_file, name=card_file.name)
    if card.kind != "motion":
        raise InvalidInput(
            {"card": f"is a {card.kind} card, not a motion card"},
            source=card_file.name,
            hint="Take the card.json that `evenburn card motion` wrote.",
        )
    machine = read_machine(machine_file, name=machine_file.name)
    if machine.name != card.machine_name:
        raise InvalidInput(
            {"--machine": f'is "{machine.name}"; the card is for "{card.machine_name}"'},
            hint="Take the machine.toml the card was made with.",
        )
    if not to.parent.is_dir():
        raise StorageError(f"the folder {to.parent.name or to.parent} is not there", hint="Make it first.")
    check_times(card, times)
    moves = _moves(card, machine, times)
    residuals = _residuals(card, card_file, machine, times, moves)
    shifts, photographs = _shifts(card, lines_up or {}, readings)
    if moves is None and not shifts:
        raise InvalidInput(
            {
                "--time": f"nothing to fit: neither a time, nor strokes that line up, nor a reading; needed are {_wanted(card)}"
            },
            hint=HELP,
        )
    reversal = fit_reversal(shifts, beam_radius_mm=card.beam_radius_mm) if shifts else None
    document = _document(
        machine,
        moves,
        residuals,
        reversal,
        provenance=MotionProvenanceDocument(
            kind="measured", date=date, detail=_detail(times, reversal, photographs=photographs)
        ),
    )
    write_json(to, document.model_dump(exclude_none=True))
    return MotionFitted(document=document, photographs=photographs)


def check_times(card: Card, times: Sequence[tuple[str, float]]) -> None:
    """Refuse times that no run of this card's programs can have taken, and say which are missing.

    Raises
    ------
    InvalidInput
        With every time that does not hold.
    """
    wrong: dict[str, str] = {}
    known = {r.id: r for r in card.rasters}
    if len(times) > MOST_TIMES:
        wrong["--time"] = f"{len(times)} are given; allowed are {MOST_TIMES}"
    for name, taken in times:
        raster = known.get(name)
        if raster is None:
            wrong[f"--time {name}"] = f"there is no such raster; this card has {', '.join(known)}"
        elif not (math.isfinite(taken) and taken > 0.0):
            wrong[f"--time {name}"] = f"is {taken:g} s; a time is above 0"
        elif taken > SLOWEST_TIMES * raster.expected_s + QUICK_SLACK:
            wrong[f"--time {name}"] = f"is {taken:g} s; {raster.program} takes about {raster.expected_s:.1f} s"
        elif taken < least_s(raster) - QUICK_SLACK:
            wrong[f"--time {name}"] = (
                f"is {taken:g} s; {raster.program} takes {least_s(raster):.1f} s even if the head never had to start or stop"
            )
    given = {name for name, _ in times}
    missing = [r.id for r in card.rasters if not r.burns and r.id not in given]
    if times and missing and not wrong:
        wrong["--time"] = f"there is none for raster {' and '.join(missing)}; all of {_wanted(card)} are needed"
    if wrong:
        raise InvalidInput(wrong, hint=f"Write a time as --time 1=41.3, once for each take. {HELP}")


def least_s(raster: CardRaster) -> float:
    """Return the time of a raster's strokes at full speed throughout; of the card's own, half of what is expected. [s]"""
    return 0.5 * raster.expected_s if raster.burns else raster.strokes * raster.length_mm / raster.speed_mm_per_s


def _wanted(card: Card) -> str:
    return ", ".join(r.id for r in card.rasters if not r.burns) or "none"


def _program(machine: Machine, raster: CardRaster) -> tuple[Event, ...]:
    return strokes_to_and_fro(
        machine,
        axis=raster.axis,
        length_mm=raster.length_mm,
        speed_mm_per_s=raster.speed_mm_per_s,
        count=raster.strokes,
    )


def _moves(card: Card, machine: Machine, times: Sequence[tuple[str, float]]) -> MotionFit | None:
    """Return the fit of the rasters, or None where no time was taken."""
    programs = {r.id: _program(machine, r) for r in card.rasters if not r.burns}
    taken = [(name, t) for name, t in times if name in programs]
    if not taken:
        return None
    return fit_motion(machine, programs=[programs[name] for name, _ in taken], measured_s=[t for _, t in taken])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Timed:
    """The times with what they miss by, and the overhead of lines that burn, where it was timed."""

    times: tuple[TimeDocument, ...]
    burning_s: float | None
    burning_sd_s: float | None


def _residuals(
    card: Card, card_file: Path, machine: Machine, times: Sequence[tuple[str, float]], fit: MotionFit | None
) -> _Timed:
    if fit is None:
        return _Timed(times=(), burning_s=None, burning_sd_s=None)
    own = next((r for r in card.rasters if r.burns), None)
    of_card = [t for name, t in times if own is not None and name == own.id]
    burning_s = burning_sd_s = None
    reckoned_s = 0.0
    if own is not None and of_card:
        program = card_file.parent / own.program
        if not program.is_file():
            raise UnreadableFile(
                own.program, "is missing beside card.json; its time cannot be used", hint="Leave it there."
            )
        moving = replace(fit.machine(machine), line_overhead_s=0.0)
        bare_s = verify_file(program, limits_of(moving)).time_s
        burning_s, burning_sd_s = overhead_of_burning_s(
            bare_s, lines=own.strokes, measured_s=of_card, hand_sd_s=fit.hand_sd_s
        )
        reckoned_s = bare_s + own.strokes * burning_s
    found = []
    number = 0
    for name, taken in times:
        if own is not None and name == own.id:
            found.append(
                TimeDocument(id=name, measured_s=taken, residual_s=round(taken - reckoned_s, 3), doubtful=False)
            )
            continue
        found.append(
            TimeDocument(
                id=name,
                measured_s=taken,
                residual_s=round(float(fit.residual_s[number]), 3),
                doubtful=number in fit.doubtful,
            )
        )
        number += 1
    return _Timed(times=tuple(found), burning_s=burning_s, burning_sd_s=burning_sd_s)


def _shifts(card: Card, lines_up: Mapping[str, float], readings: Sequence[Path]) -> tuple[tuple[Shift, ...], int]:
    """Return what was read of the verniers, by eye and from photographs, and from how many of these."""
    shifts = list(shifts_by_eye(card, lines_up))
    photographs = 0
    mine = card_document(card)
    for path in readings:
        reading = read_reading(path, name=path.name)
        if card_document(reading.card) != mine:
            raise InvalidInput(
                {"card": "is another card than the one of card.json"},
                source=path.name,
                hint="Take the reading.json that was read with this card.json.",
            )
        photographs += reading.photographs
        shifts += shifts_of(reading)
    return tuple(shifts), photographs


def _detail(times: Sequence[tuple[str, float]], reversal: ReversalFit | None, *, photographs: int) -> str:
    parts = []
    if times:
        parts.append(f"{len(times)} stopwatch times")
    if photographs:
        parts.append(f"{photographs} photograph{'' if photographs == 1 else 's'} of the motion card")
    if reversal is not None and any(s.by == "eye" for s in reversal.shifts):
        parts.append("strokes that line up by eye")
    return ", ".join(parts)


def _document(
    machine: Machine,
    moves: MotionFit | None,
    timed: _Timed,
    reversal: ReversalFit | None,
    *,
    provenance: MotionProvenanceDocument,
) -> MotionDocument:
    told: dict[str, float | str | None] = {}
    if moves is not None:
        burnt = timed.burning_s is not None
        told |= {
            "accel_x_mm_per_s2": round(moves.accel_x_mm_per_s2, 1),
            "accel_x_sd_mm_per_s2": round(moves.accel_x_sd_mm_per_s2, 1),
            "accel_y_mm_per_s2": round(moves.accel_y_mm_per_s2, 1),
            "accel_y_sd_mm_per_s2": round(moves.accel_y_sd_mm_per_s2, 1),
            "jerk_mm_per_s3": None if moves.jerk_mm_per_s3 is None else round(moves.jerk_mm_per_s3, 0),
            "jerk_sd_mm_per_s3": None if moves.jerk_mm_per_s3 is None else round(moves.jerk_sd_mm_per_s3, 0),
            "line_overhead_s": round(_first(timed.burning_s, moves.line_overhead_s), 5),
            "line_overhead_sd_s": round(_first(timed.burning_sd_s, moves.line_overhead_sd_s), 5),
            "line_overhead_from": "card" if burnt else "rasters",
            "hand_sd_s": round(moves.hand_sd_s, 3),
        }
    shifts: list[ShiftDocument] = []
    if reversal is not None:
        told |= {
            "reversal_offset_mm": round(reversal.reversal_offset_mm, 5),
            "reversal_offset_sd_mm": round(reversal.reversal_offset_sd_mm, 5),
            "rise_time_s": None if reversal.rise_time_s is None else round(reversal.rise_time_s, 7),
            "rise_time_sd_s": None if reversal.rise_time_sd_s is None else round(reversal.rise_time_sd_s, 7),
        }
        shifts = [
            ShiftDocument(
                vernier=s.vernier,
                speed_mm_per_s=s.speed_mm_per_s,
                shift_mm=round(s.shift_mm, 5),
                shift_sd_mm=round(s.shift_sd_mm, 5),
                residual_mm=round(reversal.residual_mm[n], 5),
                by="eye" if s.by == "eye" else "photograph",
                doubtful=n in reversal.doubtful,
            )
            for n, s in enumerate(reversal.shifts)
        ]
    return MotionDocument.model_validate(
        {
            "schema_version": 1,
            "machine": machine.name,
            "provenance": provenance.model_dump(),
            "times": [t.model_dump() for t in timed.times],
            "shifts": [s.model_dump() for s in shifts],
            **told,
        }
    )


def _first(one: float | None, other: float) -> float:
    return other if one is None else one


def kind_of_card(path: Path) -> str:
    """Return the kind of the card in a card.json or a reading.json; empty where the file is neither."""
    try:
        card = read_json(path, name=path.name).get("card")
    except EvenburnError:
        return ""  # whoever reads it in earnest says what is wrong
    if isinstance(card, dict) and isinstance(card.get("card"), dict):
        card = card["card"]
    kind = card.get("kind") if isinstance(card, dict) else None
    return kind if isinstance(kind, str) else ""


def is_reading(path: Path) -> bool:
    """Return whether a file is a reading.json rather than a card.json."""
    try:
        return "photographs" in read_json(path, name=path.name)
    except EvenburnError:
        return False
