"""The JSON interface under /api/v1: the same services as the pages, the same errors in one shape; /api/v1/openapi.json tells all of it.

Whoever asks stands on this computer and calls the book by its own name, as the guard demands of pages. What changes something is
sent as application/json, which no form of another page can send unasked; a browser has to come from one of our own pages besides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from math import isfinite
from pathlib import PurePath
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from evenburn.core.errors import NotFound
from evenburn.services.book.edit_piece import change_piece
from evenburn.services.book.index_of import PieceList, list_pieces
from evenburn.services.book.logbook import LogLine, LogPage, burn_of, grade_burn, search_log
from evenburn.services.book.machine_of import MachineLine, MachinePage, list_machines, machine_of
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.saved import Saved
from evenburn.services.book.shelf import ShelfLine, ShelfPage, blank_of, list_shelf
from evenburn.services.book.today import Today, today
from evenburn.services.book.undo import last_edits, undo_edit
from evenburn.services.book.woods_of import WoodList, list_woods, wood_of
from evenburn.web.desk import AtDesk
from evenburn.web.guard import Refused

ROOT = "/api/v1"
LEFT_OUT = frozenset({"folder", "drawing", "drawing_narrow"})  # of this computer's disk, or only of a page


class FieldError(BaseModel):
    """One thing that is wrong."""

    field: str = Field(description="Where, as batch.toml or machine.toml calls it; empty for what stands in no field.")
    text: str = Field(description="What was seen, and what is allowed.")


class ErrorAnswer(BaseModel):
    """Every error, of whatever kind, in its one shape."""

    ok: bool = Field(description="false")
    error: str = Field(description="All of it in one line.")
    errors: list[FieldError] = Field(description="Each thing by itself, one at least.")
    hint: str = Field(description="What to do next; empty where there is nothing to say.")
    status: int = Field(description="As in the first line of the answer.")


async def sent_as_json(request: Request) -> None:
    """Refuse a change that is not sent as JSON: a form of a foreign page cannot send that without being asked about."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise Refused(
            f"this is sent as {kind or 'nothing that is named'}; allowed is application/json",
            status=415,
            hint="Set the header content-type: application/json.",
        )


router = APIRouter(
    prefix=ROOT,
    responses={
        "4XX": {
            "model": ErrorAnswer,
            "description": "What was asked does not hold, is not there, or was changed meanwhile.",
        },
        "5XX": {
            "model": ErrorAnswer,
            "description": "The book could not be written or read, or evenburn made a mistake.",
        },
    },
)
CHANGES = [Depends(sent_as_json)]
Id = Annotated[int, Path(ge=1, le=2**31 - 1)]
Name = Annotated[str, Path(max_length=64)]
Words = Annotated[str, Query(max_length=120, description="Words that all have to stand in it.")]
PageNumber = Annotated[int, Query(ge=1, le=1_000_000, description="From 1; past the last it is the last.")]


class Wish(BaseModel):
    """What is sent; an unknown key is an error."""

    model_config = ConfigDict(extra="forbid")


class StepWish(Wish):
    """A step to be ticked, or its tick to be taken back."""

    step: str = Field(description="proof agreed, burnt, washed, dry, sealed or handed over.")
    done: bool = Field(default=True, description="false takes the tick back.")
    blank_id: int | None = Field(default=None, description="Blank of the shelf that burning used up.")


class ChangesWish(Wish):
    """Changes of a piece."""

    version: int = Field(description="That you saw; an older one than the book has is refused with 409.")
    changes: dict[str, Any] = Field(
        description="Keys as in batch.toml, as mark[1].tone_L, to new values; null takes one away."
    )


class GradeWish(Wish):
    """How a burn came out."""

    version: int = Field(description="Of the burn, that you saw.")
    grade: int | None = Field(default=None, description="1 (spoiled) to 5 (as wished).")
    note: str = Field(default="", description="In words.")


class UndoWish(Wish):
    """A change to be taken back."""

    edit_id: int = Field(ge=1, le=2**31 - 1, description="As the change was answered with.")


class Undone(BaseModel):
    """What was taken back."""

    what: str


# ---- looked at ---------------------------------------------------------------------------------------------------


@router.get("/today", response_model=Today, summary="The batch on Today, or another")
def get_today(desk: AtDesk, batch: str | None = None, page: PageNumber = 1) -> JSONResponse:
    """Give the pieces of a batch in their order, with times, steps and checks."""
    return _answer(today(desk.book, now=desk.now(), batch_id=batch, page=page))


@router.get("/pieces", response_model=PieceList, summary="All pieces")
def get_pieces(desk: AtDesk, search: Words = "", page: PageNumber = 1) -> JSONResponse:
    """Give the pieces that a search finds."""
    return _answer(list_pieces(desk.book, search=search, page=page))


@router.get("/pieces/{piece_id}", response_model=dict[str, Any], summary="A piece with its plan")
def get_piece(desk: AtDesk, piece_id: Id) -> JSONResponse:
    """Give a piece: its document as in batch.toml, its steps, and the plan.json of its last plan."""
    return _answer(piece_of(desk.book, piece_id))


@router.get("/woods", response_model=WoodList, summary="All woods")
def get_woods(desk: AtDesk, search: Words = "", page: PageNumber = 1) -> JSONResponse:
    """Give the woods that a search finds."""
    return _answer(list_woods(desk.book, search=search, page=page))


@router.get("/woods/{wood_id}", response_model=dict[str, Any], summary="A wood with its curve")
def get_wood(desk: AtDesk, wood_id: Name) -> JSONResponse:
    """Give all that is known of a wood and lot."""
    return _answer(wood_of(desk.book, wood_id))


@router.get("/machines", response_model=list[MachineLine], summary="All machines")
def get_machines(desk: AtDesk) -> JSONResponse:
    """Give the machines of the book."""
    return _answer(list_machines(desk.book))


@router.get("/machine", response_model=MachinePage, summary="The machine of the batch on Today")
def get_machine(desk: AtDesk) -> JSONResponse:
    """Give the machine in use: its figures with where each comes from, its lenses, its cards."""
    found = machine_of(desk.book)
    if found is None:
        raise NotFound("there is no machine in the book", hint="Add one first.")
    return _answer(found)


@router.get("/machines/{machine_id}", response_model=MachinePage, summary="A machine")
def get_one_machine(desk: AtDesk, machine_id: Name) -> JSONResponse:
    """Give a machine."""
    return _answer(machine_of(desk.book, machine_id))


@router.get("/shelf", response_model=ShelfPage, summary="The shelf")
def get_shelf(
    desk: AtDesk,
    search: Words = "",
    wood: str | None = None,
    *,
    all: bool = False,
    page: PageNumber = 1,
) -> JSONResponse:
    """Give the blanks in stock; with all=true also what is used up."""
    return _answer(list_shelf(desk.book, text=search, wood_id=wood, all_of_them=all, page=page))


@router.get("/shelf/{blank_id}", response_model=ShelfLine, summary="A blank of the shelf")
def get_blank(desk: AtDesk, blank_id: Id) -> JSONResponse:
    """Give a blank of the shelf."""
    return _answer(blank_of(desk.book, blank_id))


@router.get("/log", response_model=LogPage, summary="The logbook")
def get_log(
    desk: AtDesk,
    search: Words = "",
    wood: str | None = None,
    grade: Annotated[str, Query(pattern="^([1-5]|none)?$", description="1 to 5, or none: those not graded.")] = "",
    page: PageNumber = 1,
) -> JSONResponse:
    """Give burns, the newest first, each with recipe, prediction and what came of it."""
    return _answer(search_log(desk.book, text=search, wood_id=wood, grade=grade, page=page))  # type: ignore[arg-type]


@router.get("/log/{burn_id}", response_model=LogLine, summary="A burn")
def get_burn(desk: AtDesk, burn_id: Id) -> JSONResponse:
    """Give a burn."""
    return _answer(burn_of(desk.book, burn_id))


@router.get("/changes", response_model=list[dict[str, Any]], summary="The last changes")
def get_changes(desk: AtDesk, most: Annotated[int, Query(ge=1, le=200)] = 20) -> JSONResponse:
    """Give the last changes, the newest first, each with its number for undo."""
    return _answer(last_edits(desk.book, most=most))


# ---- changed -----------------------------------------------------------------------------------------------------


@router.post("/pieces/{piece_id}/plan", response_model=dict[str, Any], summary="Plan a piece", dependencies=CHANGES)
def post_plan(desk: AtDesk, piece_id: Id) -> JSONResponse:
    """Plan a piece, unless its plan is fresh, and answer when that is done, some seconds later."""
    return _answer(plan_piece(desk.book, piece_id, now=desk.now(), run=desk.run))


@router.post("/pieces/{piece_id}/step", response_model=Saved, summary="Tick a step", dependencies=CHANGES)
def post_step(desk: AtDesk, piece_id: Id, wish: StepWish) -> JSONResponse:
    """Tick a step of a piece, or take its tick back; burning writes the logbook and uses a blank up."""
    saved = mark_step(desk.book, piece_id, wish.step, done=wish.done, now=desk.now(), blank_id=wish.blank_id)
    return _answer(saved)


@router.post("/pieces/{piece_id}/change", response_model=Saved, summary="Change a piece", dependencies=CHANGES)
def post_change(desk: AtDesk, piece_id: Id, wish: ChangesWish) -> JSONResponse:
    """Change a piece, all or nothing."""
    return _answer(change_piece(desk.book, piece_id, wish.changes, version=wish.version, now=desk.now()))


@router.post("/log/{burn_id}/grade", response_model=Saved, summary="Grade a burn", dependencies=CHANGES)
def post_grade(desk: AtDesk, burn_id: Id, wish: GradeWish) -> JSONResponse:
    """Say how a burn came out."""
    saved = grade_burn(desk.book, burn_id, grade=wish.grade, note=wish.note, version=wish.version, now=desk.now())
    return _answer(saved)


@router.post("/undo", response_model=Undone, summary="Take a change back", dependencies=CHANGES)
def post_undo(desk: AtDesk, wish: UndoWish) -> JSONResponse:
    """Take a change back, unless somebody built on it since."""
    return _answer({"what": undo_edit(desk.book, wish.edit_id, now=desk.now())})


# ---- as JSON -----------------------------------------------------------------------------------------------------


def _answer(value: Any) -> JSONResponse:
    return JSONResponse(plain(value))


def plain(value: Any) -> Any:
    """Return a frozen result as JSON has it; places on this computer's disk and drawings of pages are left out."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: plain(getattr(value, f.name))
            for f in fields(value)
            if f.name not in LEFT_OUT and not isinstance(getattr(value, f.name), bytes | PurePath)
        }
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(one) for one in value]
    if isinstance(value, float):
        return value if isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    return plain(value.tolist())  # what numpy holds
