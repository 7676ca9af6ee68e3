"""A new piece: few fields, for the mark is fitted on its blank and the blank put where the head reaches it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.services.book.faces_of import FaceLine, faces
from evenburn.services.book.machine_of import list_machines
from evenburn.services.book.new_piece import NewPiece, new_piece
from evenburn.services.book.settings import settings_of
from evenburn.services.book.shelf import ShelfLine, blank_of, list_shelf
from evenburn.services.book.today import BatchLine, today
from evenburn.services.book.wood_choices import WoodChoice, wood_choices
from evenburn.web import piece_form, urls
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.forms import Form, Sent, gathering
from evenburn.web.pages.piece_edit import wished_mark
from evenburn.web.piece_form import blank_table, shown
from evenburn.web.planning import plan_beside
from evenburn.web.render import changed, page

router = APIRouter()
NEW_BATCH = "+"  # stands for a batch that is to be begun; no id holds it


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPiecePage:
    """The form. `kept` is what stands in its fields, `files` the uploads that have to be chosen again."""

    batches: tuple[BatchLine, ...]
    woods: tuple[WoodChoice, ...]
    faces: tuple[FaceLine, ...]
    blanks: tuple[ShelfLine, ...]
    chosen_blank: ShelfLine | None
    has_machine: bool
    kept: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    hint: str = ""
    files: tuple[str, ...] = ()
    of_wood: tuple[Caution, ...] = cautions_for(decision="wood")
    of_cutting: tuple[Caution, ...] = cautions_for(decision="cut")
    form: Any = piece_form
    new_batch: str = NEW_BATCH


@router.get("/pieces/new")
def show(request: Request, desk: AtDesk, batch: str = "", blank: str = "") -> Response:
    """Show the form, for a batch and with a blank of the shelf where the address names them."""
    kept = {"batch": batch or settings_of(desk.book).batch_id or "", "face": "zilla-slab"}
    chosen = _chosen(desk, blank)
    if chosen is not None:
        kept |= _of_blank(chosen)
    return _page(request, desk, kept=kept, chosen=chosen)


def _page(
    request: Request,
    desk: Desk,
    *,
    kept: Mapping[str, str],
    chosen: ShelfLine | None = None,
    errors: Mapping[str, str] | None = None,
    hint: str = "",
    files: tuple[str, ...] = (),
) -> Response:
    seen = today(desk.book, now=desk.now())
    context = NewPiecePage(
        batches=seen.batches,
        woods=wood_choices(desk.book),
        faces=faces(),
        blanks=list_shelf(desk.book).lines,
        chosen_blank=chosen,
        has_machine=bool(seen.batches) or _has_machine(desk),
        kept=kept,
        errors=errors or {},
        hint=hint,
        files=files,
    )
    return page(request, "new_piece.html", context, tab="pieces", status=422 if errors else 200)


def _has_machine(desk: Desk) -> bool:
    return bool(list_machines(desk.book))


def _chosen(desk: Desk, number: str) -> ShelfLine | None:
    if not number.isascii() or not number.isdecimal() or len(number) > 9:
        return None
    return blank_of(desk.book, int(number))


def _of_blank(line: ShelfLine) -> dict[str, str]:
    """Return the fields of a blank of the shelf as the form shows them."""
    table = line.document
    size = table.get("size_mm") or (None, None)
    return {
        "blank_id": str(line.blank_id),
        "wood": line.wood_id,
        "blank.shape": table.get("shape", "rectangle"),
        "blank.size_mm[1]": shown(size[0], "length"),
        "blank.size_mm[2]": shown(size[1], "length"),
        "blank.diameter_mm": shown(table.get("diameter_mm"), "length"),
        "blank.radius_mm": shown(table.get("radius_mm"), "length"),
        "blank.thickness_mm": shown(table.get("thickness_mm"), "length"),
        "blank.unevenness_mm": shown(table.get("unevenness_mm"), "length"),
    }


@router.post("/pieces/new")
def add(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Add the piece, plan it, and lead to its sheet."""
    files = tuple(one.name for each in sent.files.values() for one in each)
    if sent.text("take_blank"):
        return _with_blank(request, desk, sent, files=files)
    try:
        wish, wrong = _wish(sent)
        batch = sent.text("batch")
        batch_id = None if batch in ("", NEW_BATCH) else batch
        saved = new_piece(desk.book, batch_id, wish, now=desk.now(), wrong_already=wrong)
    except InvalidInput as error:
        return _page(
            request,
            desk,
            kept=sent.values,
            chosen=_chosen(desk, sent.text("blank_id")),
            errors=error.fields,
            hint=error.hint,
            files=files,
        )
    plan_beside(desk, int(saved.key), name=wish.name)
    return changed(urls.piece(int(saved.key)), saved)


def _with_blank(request: Request, desk: Desk, sent: Sent, *, files: tuple[str, ...]) -> Response:
    """Return the form with the fields of a blank of the shelf filled in, all else as it was typed."""
    chosen = _chosen(desk, sent.text("blank_id"))
    kept = dict(sent.values) if chosen is None else {**sent.values, **_of_blank(chosen)}
    return _page(request, desk, kept=kept, chosen=chosen, files=files)


def _wish(sent: Sent) -> tuple[NewPiece, dict[str, str]]:
    """Return what the form wishes for, and every field that is no number or missing."""
    wrong: dict[str, str] = {}
    outline = sent.files.get("blank.outline", ())
    table: dict[str, Any] = {}
    with gathering(wrong):
        table = blank_table(sent)
    mark, wrong_of_mark = wished_mark(sent)
    wish = NewPiece(
        name=sent.text("name"),
        wood_id=sent.text("wood"),
        blank=table,
        outline_name=outline[0].name if outline else "",
        outline_data=outline[0].data if outline else b"",
        batch_name=sent.text("batch_name"),
        mark=mark,
    )
    return wish, {**wrong, **wrong_of_mark}
