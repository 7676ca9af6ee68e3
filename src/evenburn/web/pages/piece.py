"""The sheet of a piece: everything about it from top to bottom, as it stands in the book."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import EvenburnError, InvalidInput
from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.services.book.faces_of import FaceLine, faces
from evenburn.services.book.finishing import Afterwards, afterwards
from evenburn.services.book.piece_of import PieceSheet, piece_of
from evenburn.services.book.plan_piece import plan_of, plan_piece
from evenburn.services.book.programs_of import PieceFile, SetUpRow, files_of, set_up_of
from evenburn.services.book.reach_of import bed_of
from evenburn.services.book.recipes_of import LEVELS, MarkRecipe, letter, recipes_of
from evenburn.services.book.wood_choices import WoodChoice, wood_choices
from evenburn.web import figures, piece_form
from evenburn.web.bed_drawing import BedDrawn, draw_bed
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.forms import Sent, gathering
from evenburn.web.planning import job_of
from evenburn.web.render import page
from evenburn.web.work import Job

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A step of the piece as its strip shows it."""

    number: int
    name: str
    state: str
    next: bool
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkShown:
    """A mark as the table of marks shows it; `document` as batch.toml has it, `planned` as plan.json."""

    number: int
    letter: str
    document: Mapping[str, Any]
    planned: Mapping[str, Any] | None
    title: str
    file: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckShown:
    """A check with its remedies; `about` names the mark, or the piece of a list of names."""

    level: str
    code: str
    about: str
    text: str
    remedy: str
    fixes: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NameShown:
    """A piece that a list of names makes."""

    name: str
    time_s: float
    stops: int
    warns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LogShown:
    """A line of the log; `undo_id` where it can be taken back here, `burn_id` where it has a sheet of its own."""

    at: str
    text: str
    undone: bool = False
    undo_id: int | None = None
    burn_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """Why a form came back: what is wrong at its fields, what was typed, and what was changed meanwhile elsewhere."""

    form: str = ""
    status: int = 200
    errors: Mapping[str, str] = field(default_factory=dict)
    kept: Mapping[str, str] = field(default_factory=dict)
    hint: str = ""
    meanwhile: tuple[str, ...] = ()
    files: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Minded:
    """What to mind on the sheet, each place its own; `told` are keys of what the first one, `plan`, says in full."""

    plan: tuple[Caution, ...] = ()
    burn: tuple[Caution, ...] = ()
    trace: tuple[Caution, ...] = ()
    finish: tuple[Caution, ...] = ()
    cuts: bool = False
    told: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPage:
    """The sheet."""

    sheet: PieceSheet
    cells: tuple[Cell, ...]
    said: str
    fresh: bool
    job: Job | None
    drawn: BedDrawn | None
    bed_fault: str
    board_sha256: str
    marks: tuple[MarkShown, ...]
    names: tuple[NameShown, ...]
    recipes: tuple[MarkRecipe, ...]
    checks: tuple[CheckShown, ...]
    minded: Minded
    files: tuple[PieceFile, ...]
    set_up: tuple[SetUpRow, ...]
    total_time_s: float | None
    afterwards: tuple[Afterwards, ...]
    proof: Any
    woods: tuple[WoodChoice, ...]
    faces: tuple[FaceLine, ...]
    log: tuple[LogShown, ...]
    now: str
    trouble: Trouble
    form: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class BedPart:
    """The drawing alone, as it is fetched while a piece is moved."""

    sheet: PieceSheet
    drawn: BedDrawn | None
    bed_fault: str
    board_sha256: str


@router.get("/pieces/{piece_id:int}")
def show(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Show the sheet of a piece."""
    return sheet_page(request, desk, piece_id)


@router.get("/pieces/{piece_id:int}/bed")
def bed(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Return the drawing of a piece as it would lie elsewhere, or be scanned at another speed."""
    sheet = piece_of(desk.book, piece_id)
    drawn, fault = _drawn(desk, sheet, Sent(values=dict(request.query_params)))
    context = BedPart(sheet=sheet, drawn=drawn, bed_fault=fault, board_sha256=_board(sheet))
    return page(request, "piece_bed.html", context)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobPart:
    """How far the planning of a piece is; `held` where a form with what somebody typed must not be swept away."""

    piece_id: int
    has_plan: bool
    fresh: bool
    job: Job | None
    held: bool = False


@router.get("/pieces/{piece_id:int}/job")
def job(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Return how far the planning of a piece is."""
    planned = plan_of(desk.book, piece_id)
    fresh = planned is not None and planned.fresh
    context = JobPart(
        piece_id=piece_id, has_plan=planned is not None, fresh=fresh, job=None if fresh else job_of(desk, piece_id)
    )
    return page(request, "piece_job_part.html", context)


def sheet_page(request: Request, desk: Desk, piece_id: int, trouble: Trouble | None = None) -> Response:
    """Return the sheet of a piece, with a form that came back where there is one."""
    sheet = piece_of(desk.book, piece_id)
    if sheet.ready:
        plan_piece(desk.book, piece_id, now=desk.now())  # it was planned so before: nothing is left to do but to say so
        sheet = piece_of(desk.book, piece_id)
    fresh = sheet.planned is not None and sheet.planned.fresh
    told = trouble or Trouble()
    looked = Sent(values=told.kept if told.form == "place" else dict(request.query_params))
    drawn, fault = _drawn(desk, sheet, looked)
    plan = sheet.plan
    files = () if plan is None or sheet.planned is None else files_of(sheet.planned, plan)
    cells = _cells(sheet)
    under_way = job_of(desk, piece_id)
    context = SheetPage(
        sheet=sheet,
        cells=cells,
        said=_said(cells),
        fresh=fresh,
        job=None if fresh or under_way is None or under_way.state == "done" else under_way,
        drawn=drawn,
        bed_fault=fault,
        board_sha256=_board(sheet),
        marks=_marks(sheet),
        names=() if plan is None else _names(plan),
        recipes=() if plan is None else recipes_of(plan, sheet.document),
        checks=() if plan is None else _checks(plan),
        minded=Minded() if plan is None else _minded(plan, files),
        files=files,
        set_up=() if plan is None or not fresh else set_up_of(plan),
        total_time_s=None if plan is None else plan["total_time_s"],
        afterwards=afterwards(sheet.finishing, ticks={s.name: s.done_at for s in sheet.strip if s.done_at}),
        proof=_proof(desk, piece_id),
        woods=wood_choices(desk.book),
        faces=faces(),
        log=_log(sheet),
        now=desk.now(),
        trouble=told,
        form=piece_form,
    )
    return page(request, "piece.html", context, tab="pieces", status=told.status)


def _minded(plan: Mapping[str, Any], files: tuple[PieceFile, ...]) -> Minded:
    lens = plan["lens"]
    cuts = any(mark["treatment"] == "cut" for one in plan["pieces"] for mark in one["marks"])
    first = cautions_for(decision="plan")
    if cuts:
        known = {one.key for one in first}
        first += tuple(one for one in cautions_for(decision="cut") if one.key not in known)
    return Minded(
        plan=first,
        burn=cautions_for(decision="burn", wavelength_um=lens["wavelength_um"], lens=lens["name"]),
        trace=cautions_for(decision="trace") if any(one.kind == "dry trace" for one in files) else (),
        finish=cautions_for(decision="finish"),
        cuts=cuts,
        told=frozenset(one.key for one in first),
    )


def _board(sheet: PieceSheet) -> str:
    """Return what the piece's picture was planned with, empty where there is none."""
    pictured = sheet.planned is not None and sheet.plan is not None and sheet.forbidden is None
    return sheet.planned.inputs_sha256 if sheet.planned is not None and pictured else ""


def _drawn(desk: Desk, sheet: PieceSheet, looked: Sent) -> tuple[BedDrawn | None, str]:
    """Return the drawing of the bed, with the place, turn and speed that are looked at; else why there is none."""
    wrong: dict[str, str] = {}
    values: dict[str, float | None] = {}
    for name in ("place_bed_mm[1]", "place_bed_mm[2]", "speed_mm_per_s"):
        with gathering(wrong):
            values[name] = looked.optional_length_mm(name)
    with gathering(wrong):
        values["turn_deg"] = looked.optional_number("turn_deg", unit="°")
    x, y = sheet.document["place_bed_mm"]
    at_x, at_y = values.get("place_bed_mm[1]"), values.get("place_bed_mm[2]")
    place = (x if at_x is None else at_x, y if at_y is None else at_y)
    try:
        looked_at = bed_of(
            desk.book,
            sheet.piece_id,
            place_bed_mm=place,
            turn_deg=values.get("turn_deg"),
            speed_mm_per_s=values.get("speed_mm_per_s"),
        )
    except InvalidInput as error:
        return None, "; ".join(f"{where} {text}" for where, text in error.fields.items())
    except EvenburnError as error:
        return None, error.message
    return draw_bed(looked_at), "; ".join(wrong.values())


def _proof(desk: Desk, piece_id: int) -> Any:
    """Return the proof of a piece, None while it has none."""
    try:
        return importlib.import_module("evenburn.services.book.proof_of").proof_of(desk.book, piece_id)
    except (ImportError, EvenburnError):
        return None


def _cells(sheet: PieceSheet) -> tuple[Cell, ...]:
    states = [step.state for step in sheet.strip]
    last = max((i for i, state in enumerate(states) if state == "done"), default=-1)
    ends = "stop" in states or "spoiled" in states
    following = None if ends else next((i for i, s in enumerate(states) if i > last and s == "open"), None)
    return tuple(
        Cell(
            number=i + 1,
            name=step.name,
            state=step.state,
            next=i == following,
            at=f"{figures.weekday(step.done_at)} {figures.clock(step.done_at)}" if step.done_at else "",
        )
        for i, step in enumerate(sheet.strip)
    )


def _said(cells: tuple[Cell, ...]) -> str:
    done = sum(cell.state == "done" for cell in cells)
    stopped = next((f", stopped at {c.name}" for c in cells if c.state == "stop"), "")
    stopped = next((f", {c.name} and spoiled" for c in cells if c.state == "spoiled"), stopped)
    following = next((f", next {c.name}" for c in cells if c.next), "")
    return f"{done} of {len(cells)} done{stopped or following}"


def _log(sheet: PieceSheet) -> tuple[LogShown, ...]:
    """Return what happened to the piece, the newest first; the last change can be taken back here."""
    lead = f"{sheet.name}: "
    lines = [
        LogShown(
            at=one.made_at,
            text=f"{one.what.removeprefix(lead)}{', taken back' if one.undone_at else ''}.",
            undone=one.undone_at is not None,
            undo_id=one.edit_id if number == 0 and one.undone_at is None else None,
        )
        for number, one in enumerate(sheet.edits)
    ]
    lines += [
        LogShown(
            at=one.burnt_at,
            text=" ".join(
                [f"Mark {one.mark_id} burnt{f', grade {one.grade} of 5' if one.grade else ''}.", one.note]
            ).strip(),
            burn_id=one.burn_id,
        )
        for one in sheet.burns
    ]
    if sheet.planned is not None:
        told = sheet.planned.summary
        stops = f", {figures.many(told.stops, 'stop')}" if told.stops else ""
        text = f"Planned: {figures.duration(told.time_s)} at the machine{stops}."
        lines.append(LogShown(at=sheet.planned.planned_at, text=text))
    return tuple(sorted(lines, key=lambda line: line.at, reverse=True))


def _marks(sheet: PieceSheet) -> tuple[MarkShown, ...]:
    planned = {} if sheet.plan is None else {m["id"]: m for m in sheet.plan["pieces"][0]["marks"]}
    return tuple(
        MarkShown(
            number=number,
            letter=letter(number - 1),
            document=mark,
            planned=planned.get(mark["id"]),
            title=_title(mark),
            file=mark.get("art") or "",
        )
        for number, mark in enumerate(sheet.document["mark"], start=1)
    )


def _title(mark: Mapping[str, Any]) -> str:
    if mark.get("column"):
        return f"column “{mark['column']}” of the list, in {mark['face']}"
    if mark.get("text"):
        return f"“{' / '.join(mark['text'].splitlines())}” in {mark['face']}"
    return str(mark.get("art", ""))


def _names(plan: Mapping[str, Any]) -> tuple[NameShown, ...]:
    if len(plan["pieces"]) < 2:
        return ()
    return tuple(
        NameShown(
            name=one["name"],
            time_s=sum(mark["predicted"]["time_s"] for mark in one["marks"]),
            stops=sum(check["level"] == "stop" for check in one["checks"]),
            warns=sum(check["level"] == "warn" for check in one["checks"]),
        )
        for one in plan["pieces"]
    )


def _checks(plan: Mapping[str, Any]) -> tuple[CheckShown, ...]:
    """Return the checks, stops first; of a list of names each once, said with whose it is where it is not of all."""
    several = len(plan["pieces"]) > 1
    letters = {m["id"]: letter(i) for i, m in enumerate(plan["pieces"][0]["marks"])}
    found: dict[tuple[str, str, str], list[str]] = {}
    first: dict[tuple[str, str, str], Mapping[str, Any]] = {}
    for one in plan["pieces"]:
        for check in one["checks"]:
            key = (check["level"], check["text"], check["mark"] or "")
            found.setdefault(key, []).append(one["name"])
            first.setdefault(key, check)
    shown = [
        _check(first[key], whose if several and len(whose) < len(plan["pieces"]) else [], letters)
        for key, whose in found.items()
    ]
    return tuple(sorted(shown, key=lambda check: LEVELS[check.level]))


def _check(check: Mapping[str, Any], whose: list[str], letters: Mapping[str, str]) -> CheckShown:
    about = ", ".join(whose[:4]) + (f" and {len(whose) - 4} more" if len(whose) > 4 else "")
    if not about and len(letters) > 1 and check["mark"] in letters:
        about = letters[check["mark"]]
    fixes = tuple(check["fixes"])
    return CheckShown(
        level=check["level"],
        code=check["code"],
        about=about,
        text=check["text"],
        remedy=check["remedy"],
        fixes=fixes,
    )
