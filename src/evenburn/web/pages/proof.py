"""The proof for whoever looks close: tiles and windows of the board at any scale, and what is predicted at other settings."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.proof_of import (
    Proof,
    ToldSetting,
    board_window,
    look_of,
    proof_of,
    told_setting,
    window_at,
)
from evenburn.services.book.proof_tiles import Ask, tile, window_picture
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Sent, gathering
from evenburn.web.render import YEAR_s, page

router = APIRouter()
PLAIN_px = (960, 400)  # of the picture that is shown where there is no script


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofPage:
    """The proof by itself; `asked` is a setting that a form asked for, and `asked_picture` where its picture is."""

    proof: Proof
    asked: ToldSetting | None
    asked_picture: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldPart:
    """What is predicted at a setting, as a part of the page."""

    proof: Proof
    told: ToldSetting | None


@router.get("/pieces/{piece_id:int}/proof")
def show(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Show the proof of a piece by itself, at a setting where one is asked for."""
    sent = Sent(values=dict(request.query_params))
    proof = proof_of(desk.book, piece_id, slug=sent.text("of"), mark_id=sent.text("mark"))
    if proof is None:
        raise NotFound("this piece has no proof yet", hint="Plan it; its proof comes with the plan.")
    ask = _ask(sent)
    asked, picture = None, ""
    if not ask.as_planned():
        asked = told_setting(desk.book, proof, ask)
        picture = urls.proof_window(
            piece_id, plan=proof.plan, of=proof.slug, width=PLAIN_px[0], height=PLAIN_px[1], **_query(sent)
        )
    return page(request, "proof.html", ProofPage(proof=proof, asked=asked, asked_picture=picture), tab="pieces")


@router.get("/pieces/{piece_id:int}/proof/look.json")
def look(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Return what a viewer has to know of the board, with what will be lost where."""
    sent = Sent(values=dict(request.query_params))
    found = look_of(desk.book, piece_id, plan=sent.text("plan"), slug=sent.text("of"))
    return JSONResponse(asdict(found), headers=_kept(sent))


@router.get("/pieces/{piece_id:int}/proof/told")
def told(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Return what is predicted at a setting."""
    sent = Sent(values=dict(request.query_params))
    proof = proof_of(desk.book, piece_id, slug=sent.text("of"), mark_id=sent.text("mark"))
    if proof is None or (sent.text("plan") and sent.text("plan") != proof.plan):
        raise NotFound("this piece was planned anew", hint="Load the page again.")
    return page(request, "proof_told.html", ToldPart(proof=proof, told=told_setting(desk.book, proof, _ask(sent))))


@router.get("/pieces/{piece_id:int}/proof/window.png")
def window(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Return a window of the board: x, y are its middle from the left and from above in mm, scale is in pixels to a mm.

    Without a place it is the first look; with `board` the whole board, no larger than width and height.
    """
    sent = Sent(values=dict(request.query_params))
    wrong: dict[str, str] = {}
    width = height = 0
    x = y = scale = None
    with gathering(wrong):
        width = sent.whole("width")
    with gathering(wrong):
        height = sent.whole("height")
    with gathering(wrong):
        x, y = sent.optional_number("x"), sent.optional_number("y")
    with gathering(wrong):
        scale = sent.optional_number("scale")
    if scale is not None and scale <= 0.0:
        wrong["scale"] = f"is {scale:g}; it has to be above 0 pixels to a mm"
    if wrong:
        raise InvalidInput(wrong)
    found = look_of(desk.book, piece_id, plan=sent.text("plan"), slug=sent.text("of"))
    if sent.text("board"):
        asked = board_window(found, most_px=(max(width, 1), max(height, 1)))
    else:
        asked = window_at(
            found,
            middle_mm=None if x is None or y is None else (x, y),
            scale_px_per_mm=scale,
            size_px=(width, height),
        )
    data = window_picture(desk.book, piece_id, asked, plan=found.plan, ask=_ask(sent))
    return _png(data, sent)


@router.get("/pieces/{piece_id:int}/proof/{level}/{column}/{row}.png")
def one_tile(  # noqa: PLR0917  # three of them are the address
    request: Request, piece_id: int, level: int, column: int, row: int, desk: AtDesk
) -> Response:
    """Return a tile of the board, 512 pixels square, 2 to the power of half the level in pixels to a mm."""
    sent = Sent(values=dict(request.query_params))
    data = tile(desk.book, piece_id, (level, column, row), plan=sent.text("plan"), ask=_ask(sent))
    return _png(data, sent)


def _ask(sent: Sent) -> Ask:
    """Return what setting is asked for; lengths in mm, whatever unit is preferred."""
    wrong: dict[str, str] = {}
    offset = spacing = None
    with gathering(wrong):
        offset = sent.optional_number("offset", unit="mm")
    with gathering(wrong):
        spacing = sent.optional_number("spacing", unit="mm")
    if wrong:
        raise InvalidInput(wrong)
    return Ask(slug=sent.text("of"), mark_id=sent.text("mark"), focus_offset_mm=offset, line_spacing_mm=spacing)


def _query(sent: Sent) -> dict[str, str]:
    return {name: sent.text(name) for name in ("mark", "offset", "spacing") if sent.text(name)}


def _kept(sent: Sent) -> dict[str, str]:
    """Return headers that let a browser keep what hangs on a named plan alone."""
    return {"cache-control": f"private, max-age={YEAR_s}, immutable"} if sent.text("plan") else {}


def _png(data: bytes, sent: Sent) -> Response:
    return Response(data, media_type="image/png", headers=_kept(sent))
