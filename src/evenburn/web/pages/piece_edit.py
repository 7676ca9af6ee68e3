"""What the forms of a piece's sheet do: one change each, told at the field where it does not hold, then planned at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import ChangedMeanwhile, InvalidInput
from evenburn.services.book.edit_piece import apply_fix, centre_marks, change_piece, copy_piece, remove_piece
from evenburn.services.book.new_piece import NewMark, Treatment, add_mark, replace_artwork
from evenburn.services.book.piece_edits import changes_since
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.saved import Saved
from evenburn.web import urls
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.forms import Form, Sent, gathering
from evenburn.web.pages.piece import Trouble, sheet_page
from evenburn.web.piece_form import Changes, blank_changes, json_table, mark_changes, place_changes
from evenburn.web.planning import plan_beside
from evenburn.web.render import changed, go

router = APIRouter()
TREATMENTS: tuple[Treatment, ...] = ("solid", "photo", "line", "cut")
NAME_LONGEST = 100


def _edited(
    request: Request,
    desk: Desk,
    piece_id: int,
    sent: Sent,
    do: Callable[[int], Saved | None],
    *,
    form: str,
    part: str,
) -> Response:
    """Make a change, plan the piece, and lead back to the part of the sheet; or show the form again with what is wrong.

    Parameters
    ----------
    do : makes the change, given the version that the form was made of; None where there was nothing to change.
    """
    try:
        saved = do(sent.whole("version"))
    except ChangedMeanwhile as error:
        meanwhile = changes_since(desk.book, piece_id, version=sent.whole("version"))
        return sheet_page(
            request,
            desk,
            piece_id,
            Trouble(
                form=form,
                status=409,
                kept=sent.values,
                errors={"version": error.message},
                meanwhile=meanwhile,
                files=_files(sent),
            ),
        )
    except InvalidInput as error:
        return sheet_page(
            request,
            desk,
            piece_id,
            Trouble(form=form, status=422, kept=sent.values, errors=error.fields, hint=error.hint, files=_files(sent)),
        )
    back = urls.own(sent.text("back"), otherwise=urls.piece(piece_id))
    back = back if "#" in back else f"{back}#{part}"
    if saved is None:
        return go(back)
    plan_beside(desk, piece_id, name=piece_of(desk.book, piece_id).name)
    return changed(back, saved)


def _files(sent: Sent) -> tuple[str, ...]:
    return tuple(one.name for each in sent.files.values() for one in each)


def _document(desk: Desk, piece_id: int) -> Mapping[str, Any]:
    return piece_of(desk.book, piece_id).document


def _keep(desk: Desk, piece_id: int, changes: Changes, *, version: int) -> Saved | None:
    """Keep what a form changes, None where it is nothing; what was wrong in it is told with what the piece's readers find."""
    if not changes[0] and not changes[1]:
        return None
    return change_piece(
        desk.book, piece_id, changes[0], version=version, now=desk.now(), wrong_already=changes[1] or None
    )


@router.post("/pieces/{piece_id:int}/place")
def place(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Put the piece elsewhere on the bed."""

    def do(version: int) -> Saved | None:
        return _keep(desk, piece_id, place_changes(sent, _document(desk, piece_id)), version=version)

    return _edited(request, desk, piece_id, sent, do, form="place", part="the-blank")


@router.post("/pieces/{piece_id:int}/centre")
def centre(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Centre the marks on the blank."""

    def do(version: int) -> Saved:
        return centre_marks(desk.book, piece_id, version=version, now=desk.now())

    return _edited(request, desk, piece_id, sent, do, form="centre", part="the-blank")


@router.post("/pieces/{piece_id:int}/blank")
def blank(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Change name, wood and blank."""

    def do(version: int) -> Saved | None:
        return _keep(desk, piece_id, blank_changes(sent, _document(desk, piece_id)), version=version)

    return _edited(request, desk, piece_id, sent, do, form="blank", part="the-blank")


@router.post("/pieces/{piece_id:int}/marks/new")
def new_mark(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Add a mark in the middle of the blank."""

    def do(version: int) -> Saved:
        wish, wrong = wished_mark(sent, lead="new.")
        return add_mark(desk.book, piece_id, wish, version=version, now=desk.now(), wrong_already=wrong)

    def told(version: int) -> Saved:
        try:
            return do(version)
        except InvalidInput as error:
            raise InvalidInput({_in_form(k): v for k, v in error.fields.items()}, hint=error.hint) from error

    return _edited(request, desk, piece_id, sent, told, form="new-mark", part="the-marks")


def _in_form(where: str) -> str:
    return where if where.startswith(("new.", "version")) else f"new.{where}"


def wished_mark(sent: Sent, *, lead: str = "") -> tuple[NewMark, dict[str, str]]:
    """Return the mark that a form wishes for, and every field that is no number."""
    wrong: dict[str, str] = {}
    tone: float | None = None
    margin: float | None = None
    with gathering(wrong):
        tone = sent.optional_number(f"{lead}tone_L", unit="L*")
    with gathering(wrong):
        margin = sent.optional_length_mm(f"{lead}margin")
    given = sent.files.get(f"{lead}artwork", ())
    treatment = sent.text(f"{lead}treatment")
    wish = NewMark(
        artwork_name=given[0].name if given else "",
        artwork_data=given[0].data if given else b"",
        text=sent.text(f"{lead}text"),
        face=sent.text(f"{lead}face"),
        treatment=next((t for t in TREATMENTS if t == treatment), None),
        tone_L=tone,
        margin_mm=margin,
    )
    return wish, wrong


@router.post("/pieces/{piece_id:int}/marks/{number:int}")
def mark(request: Request, piece_id: int, number: int, desk: AtDesk, sent: Form) -> Response:
    """Change a mark."""

    def do(version: int) -> Saved | None:
        document = _document(desk, piece_id)
        _demand_mark(document, number)
        return _keep(desk, piece_id, mark_changes(sent, document, number), version=version)

    return _edited(request, desk, piece_id, sent, do, form=f"mark-{number}", part="the-marks")


@router.post("/pieces/{piece_id:int}/marks/{number:int}/artwork")
def other_artwork(request: Request, piece_id: int, number: int, desk: AtDesk, sent: Form) -> Response:
    """Take other artwork for a mark."""
    name = f"mark[{number}].artwork"

    def do(version: int) -> Saved:
        document = _document(desk, piece_id)
        _demand_mark(document, number)
        given = sent.files.get(name, ())
        if not given:
            raise InvalidInput({name: "is missing; choose a file"})
        try:
            return replace_artwork(
                desk.book,
                piece_id,
                document["mark"][number - 1]["id"],
                name=given[0].name,
                data=given[0].data,
                version=version,
                now=desk.now(),
            )
        except InvalidInput as error:
            fields = {name if k == "artwork" else f"mark[{number}].{k}": v for k, v in error.fields.items()}
            raise InvalidInput(fields, hint=error.hint) from error

    return _edited(request, desk, piece_id, sent, do, form=f"mark-{number}", part="the-marks")


@router.post("/pieces/{piece_id:int}/marks/{number:int}/remove")
def remove_mark(request: Request, piece_id: int, number: int, desk: AtDesk, sent: Form) -> Response:
    """Take a mark away."""

    def do(version: int) -> Saved:
        document = _document(desk, piece_id)
        _demand_mark(document, number)
        if len(document["mark"]) == 1:
            raise InvalidInput({"version": "A piece needs a mark; add another before you take this one away"})
        return change_piece(
            desk.book, piece_id, {f"mark[{number}]": None}, version=version, now=desk.now(), what="a mark taken away"
        )

    return _edited(request, desk, piece_id, sent, do, form=f"mark-{number}", part="the-marks")


def _demand_mark(document: Mapping[str, Any], number: int) -> None:
    if not 1 <= number <= len(document["mark"]):
        raise InvalidInput({"version": f"This piece has no mark {number} any more; look at it as it is now"})


@router.post("/pieces/{piece_id:int}/take")
def take(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Take a recipe, or make a concession."""

    def do(version: int) -> Saved:
        what = sent.text("text")[:NAME_LONGEST]
        return change_piece(
            desk.book, piece_id, json_table(sent, "changes"), version=version, now=desk.now(), what=what
        )

    return _edited(request, desk, piece_id, sent, do, form="take", part="the-recipe")


@router.post("/pieces/{piece_id:int}/fix")
def fix(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Apply a remedy."""

    def do(version: int) -> Saved:
        return apply_fix(desk.book, piece_id, json_table(sent, "fix"), version=version, now=desk.now())

    return _edited(request, desk, piece_id, sent, do, form="fix", part="checks")


@router.post("/pieces/{piece_id:int}/plan")
def plan(piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Plan the piece as it stands."""
    plan_beside(desk, piece_id, name=piece_of(desk.book, piece_id).name)
    return go(urls.own(sent.text("back"), otherwise=urls.piece(piece_id)))


@router.post("/pieces/{piece_id:int}/copy")
def copy(piece_id: int, desk: AtDesk, sent: Form) -> Response:  # noqa: ARG001  # the form's token is looked at
    """Copy the piece, and lead to the copy."""
    saved = copy_piece(desk.book, piece_id, now=desk.now())
    plan_beside(desk, int(saved.key), name=piece_of(desk.book, int(saved.key)).name)
    return changed(urls.piece(int(saved.key)), saved)


@router.post("/pieces/{piece_id:int}/remove")
def remove(request: Request, piece_id: int, desk: AtDesk, sent: Form) -> Response:
    """Take the piece out of its batch, and lead to what is left of it."""
    batch_id = piece_of(desk.book, piece_id).batch_id
    try:
        saved = remove_piece(desk.book, piece_id, version=sent.whole("version"), now=desk.now())
    except ChangedMeanwhile as error:
        meanwhile = changes_since(desk.book, piece_id, version=sent.whole("version"))
        return sheet_page(
            request,
            desk,
            piece_id,
            Trouble(form="remove", status=409, errors={"version": error.message}, meanwhile=meanwhile),
        )
    return changed(urls.batch(batch_id), saved)
