"""The sheet for the customer: looked at, saved as PDF to print, or as a picture to send."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.services.book.customer_proof import (
    CustomerProof,
    customer_proof,
    customer_sheet_pdf,
    customer_sheet_png,
)
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.figures import local, preferred
from evenburn.web.forms import Sent
from evenburn.web.render import page

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerPage:
    """The sheet, looked at."""

    told: CustomerProof
    cautions: tuple[Caution, ...] = cautions_for(decision="hand over")


@router.get("/pieces/{piece_id:int}/customer")
def show(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Show the sheet as it will be printed."""
    return page(request, "customer.html", CustomerPage(told=_told(request, piece_id, desk)), tab="pieces")


@router.get("/pieces/{piece_id:int}/customer.pdf")
def pdf(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Return the sheet to print."""
    told = _told(request, piece_id, desk)
    return Response(
        customer_sheet_pdf(desk.book, told), media_type="application/pdf", headers=_named(f"{told.slug}-to-agree.pdf")
    )


@router.get("/pieces/{piece_id:int}/customer.png")
def png(request: Request, piece_id: int, desk: AtDesk) -> Response:
    """Return the sheet as a picture to send; with `save` a browser keeps it as a file."""
    told = _told(request, piece_id, desk)
    data = customer_sheet_png(desk.book, told)
    save = "save" in request.query_params
    return Response(data, media_type="image/png", headers=_named(f"{told.slug}-to-agree.png") if save else None)


def _told(request: Request, piece_id: int, desk: Desk) -> CustomerProof:
    sent = Sent(values=dict(request.query_params))
    return customer_proof(
        desk.book,
        piece_id,
        date=local(desk.now()).date().isoformat(),
        slug=sent.text("of"),
        inch=preferred() == "inch",
    )


def _named(name: str) -> dict[str, str]:
    return {"content-disposition": f"attachment; filename*=UTF-8''{quote(name, safe='')}"}
