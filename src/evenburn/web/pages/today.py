"""Today: the batch of the day as a timetable, what is ticked off on it, and the order it is burnt in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.cautions import Caution, Decision, cautions_for
from evenburn.services.book.begin import plan_batch_pieces
from evenburn.services.book.board_picture import board_picture
from evenburn.services.book.mark_step import BlankChoice, StepSheet, mark_step, said_together, step_of
from evenburn.services.book.reorder import move_piece, order_for_set_ups, shift_piece
from evenburn.services.book.settings import change_settings
from evenburn.services.book.strip import DERIVED
from evenburn.services.book.timetable import FINISHING
from evenburn.services.book.today import StripStep, Today, TodayRow, today
from evenburn.web import figures, urls
from evenburn.web.dayline import Burn, DayLine, Kind, day_line
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form, page_number
from evenburn.web.render import YEAR_s, changed, go, page
from evenburn.web.work import Job, Progress

router = APIRouter()
_DECIDES: dict[str, Decision] = {  # what is decided where a step is ticked
    "burnt": "burn",
    "washed": "finish",
    "dry": "finish",
    "sealed": "finish",
    "handed over": "hand over",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A step of a piece as its strip shows it: `at` a clock time, `day` the day above it where it is another."""

    number: int
    name: str
    state: str
    next: bool
    at: str
    day: str
    ticked_by_hand: bool
    skipped: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RowShown:
    """A piece as its row shows it; `said` is its strip read aloud."""

    row: TodayRow
    cells: tuple[Cell, ...]
    following: Cell | None
    said: str
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class TodayPage:
    """The day."""

    today: Today
    rows: tuple[RowShown, ...]
    line: DayLine | None
    stale: int
    page_address: Callable[..., str]
    job: Job | None
    errors: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepPage:
    """A step of a piece, to be ticked or taken back."""

    step: StepSheet
    blanks: tuple[BlankChoice, ...]
    cautions: tuple[Caution, ...]
    skipped: str
    back: str
    errors: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class StartPage:
    """A book with nothing in it."""

    job: Job | None


# ---- the page ----------------------------------------------------------------------------------------------------


@router.get("/")
def show(request: Request, desk: AtDesk, batch: str | None = None) -> Response:
    """Show the day."""
    return _show(request, desk, batch=batch, number=page_number(request))


def _show(
    request: Request,
    desk: AtDesk,
    *,
    batch: str | None,
    number: int = 1,
    errors: dict[str, str] | None = None,
) -> Response:
    seen = today(desk.book, now=desk.now(), batch_id=batch, page=number)
    job = desk.work.under_way()
    if seen.batch_id is None:
        return page(request, "start.html", StartPage(job=job), tab="today")
    context = TodayPage(
        today=seen,
        rows=tuple(_row(row, day=seen.day) for row in seen.rows),
        line=_line(seen),
        stale=sum(not row.fresh and row.time_s is not None for row in seen.rows),
        page_address=partial(urls.batch, batch),
        job=job,
        errors=errors or {},
    )
    return page(request, "today.html", context, tab="today", status=422 if errors else 200)


def _row(row: TodayRow, *, day: str) -> RowShown:
    states = [step.state for step in row.strip]
    last_done = max((i for i, state in enumerate(states) if state == "done"), default=-1)
    following = None
    if "stop" not in states and row.spoiled_burn_id is None:
        following = next((i for i in range(len(states)) if i > last_done and _is_open(row, i)), None)
    cells = tuple(
        _cell(step, number=i + 1, following=i == following, day=day, timed=row.ends_at is not None)
        for i, step in enumerate(row.strip)
    )
    kind: Kind = "burnt" if row.burnt else "stopped" if row.stops else "planned"
    following_cell = next((cell for cell in cells if cell.next), None)
    return RowShown(row=row, cells=cells, following=following_cell, said=_said(cells), kind=kind)


def _is_open(row: TodayRow, place: int) -> bool:
    """Return whether a step waits to be done; a wood that is not sealed has none of it."""
    step = row.strip[place]
    return step.state == "open" and not (row.ends_at and step.name in FINISHING and step.planned_at is None)


def _cell(step: StripStep, *, number: int, following: bool, day: str, timed: bool) -> Cell:
    moment = step.done_at or step.planned_at
    at = figures.clock(moment) if moment else ""
    other_day = moment is not None and figures.local(moment).date().isoformat() != day
    return Cell(
        number=number,
        name=step.name,
        state=step.state,
        next=following,
        at=at,
        day=_day(moment, day) if moment is not None and other_day else "",
        ticked_by_hand=step.name not in DERIVED,
        skipped=timed and step.name in FINISHING and moment is None,
    )


def _day(moment: str, day: str) -> str:
    """Return the day of a moment, short: the day of the week within six days, else the date."""
    there = figures.local(moment).date()
    away = abs((there - datetime.fromisoformat(day).date()).days)
    return figures.weekday(moment) if away <= 6 else figures.short_date(moment)


def _said(cells: tuple[Cell, ...]) -> str:
    done = sum(cell.state == "done" for cell in cells)
    stopped = next((cell.name for cell in cells if cell.state == "stop"), None)
    following = next((cell for cell in cells if cell.next), None)
    tail = ""
    if any(cell.state == "spoiled" for cell in cells):
        tail = ", burnt and spoiled"
    elif stopped is not None:
        tail = f", stopped at {stopped}"
    elif following is not None:
        tail = f", next {following.name}" + (f", planned {following.day} {following.at}" if following.at else "")
    return " ".join(f"{done} of {len(cells)} done{tail}".split())


def _line(seen: Today) -> DayLine | None:
    burns = []
    for row in seen.rows:
        if row.starts_at is None or row.ends_at is None or (row.burnt and not row.burnt_today):
            continue
        kind: Kind = "burnt" if row.burnt else "stopped" if row.stops else "planned"
        before = row.focusings[0].stand_off_mm if row.refocus and row.focusings else None
        burns.append(
            Burn(
                order=row.order,
                name=row.name,
                starts_at=row.starts_at,
                ends_at=row.ends_at,
                kind=kind,
                stand_off_mm=before,
            )
        )
    return day_line(burns, now=seen.now_at)


@router.get("/pieces/{piece_id}/picture")
def picture(piece_id: int, desk: AtDesk) -> Response:
    """Return the small picture of a piece; its address wears what it was planned with, so it may be kept."""
    data = board_picture(desk.book, piece_id)
    return Response(data, media_type="image/png", headers={"cache-control": f"private, max-age={YEAR_s}, immutable"})


# ---- steps -------------------------------------------------------------------------------------------------------


@router.get("/pieces/{piece_id}/step")
def step(request: Request, piece_id: int, desk: AtDesk, name: str = "", back: str = "") -> Response:
    """Show a step with when it was done, or with what it uses up."""
    return _step(request, desk, piece_id, name=name, back=back)


def _step(
    request: Request, desk: AtDesk, piece_id: int, *, name: str, back: str, errors: dict[str, str] | None = None
) -> Response:
    sheet = step_of(desk.book, piece_id, name)
    context = StepPage(
        step=sheet,
        blanks=sheet.blanks,
        cautions=cautions_for(decision=_DECIDES[sheet.name]) if sheet.name in _DECIDES else (),
        skipped=said_together(sheet.skipped) if sheet.skipped else "",
        back=urls.own(back, otherwise=urls.batch(sheet.batch_id)),
        errors=errors or {},
    )
    return page(request, "today_step.html", context, tab="today", status=422 if errors else 200)


@router.post("/pieces/{piece_id}/step")
def tick(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Tick a step, or take it back where the form says so; one that is out of order is asked about first."""
    name, back = sent.text("step"), urls.own(sent.text("back"), otherwise=urls.today())
    done = sent.text("done") != "no"
    if done and not sent.text("anyway") and name in FINISHING and step_of(desk.book, piece_id, name).out_of_order:
        return go(urls.tick(piece_id, name, back=back))
    try:
        blank_id = sent.whole("blank_id") if sent.text("blank_id") else None
        saved = mark_step(desk.book, piece_id, name, done=done, now=desk.now(), blank_id=blank_id)
    except InvalidInput as error:
        if "blank_id" not in error.fields:
            raise
        return _step(request, desk, piece_id, name=name, back=back, errors=dict(error.fields))
    return changed(back, saved)


# ---- order -------------------------------------------------------------------------------------------------------


@router.post("/pieces/{piece_id}/move")
def move(piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Move a piece before another, or a place earlier or later."""
    back = urls.own(sent.text("back"), otherwise=urls.today())
    if sent.text("way"):
        saved = shift_piece(desk.book, piece_id, way=sent.text("way"), now=desk.now())
    else:
        before_id = None if sent.text("before") == "end" else sent.whole("before")
        saved = move_piece(desk.book, piece_id, before_id=before_id, now=desk.now())
    return changed(f"{back}#piece-{piece_id}", saved)


@router.post("/batches/{batch_id}/order")
def order(batch_id: str, desk: AtDesk, sent: Form) -> Response:
    """Put what is left into the order with the fewest settings."""
    saved = order_for_set_ups(desk.book, batch_id, now=desk.now())
    return changed(urls.own(sent.text("back"), otherwise=urls.batch(batch_id)), saved)


@router.post("/batches/{batch_id}/begin")
def begin_day(request: Request, batch_id: str, desk: AtDesk, sent: Form) -> Response:
    """Set when the bench opens."""
    try:
        change_settings(desk.book, {"starts_at": sent.text("starts_at")})
    except InvalidInput as error:
        return _show(request, desk, batch=batch_id, errors=dict(error.fields))
    return go(urls.own(sent.text("back"), otherwise=urls.batch(batch_id)))


@router.post("/batches/{batch_id}/plan")
def plan(batch_id: str, desk: AtDesk, sent: Form) -> Response:
    """Plan what is not planned, or has changed since."""

    def plan_them(progress: Progress) -> None:
        plan_batch_pieces(desk.book, batch_id, now=desk.now(), progress=progress, run=desk.run)

    goes_to = urls.own(sent.text("back"), otherwise=urls.batch(batch_id))
    return go(urls.work(desk.work.begin("Planning the batch", plan_them, goes_to=goes_to).id))
