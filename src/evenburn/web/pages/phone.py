"""Let a phone send photographs: switch it on for something, show the way in, what arrives; and the tray of what is of nothing yet."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import segno
from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from evenburn.core.errors import InvalidInput
from evenburn.services.book.aims import Aim, AimLine, Kind, aim_written, aims_of
from evenburn.services.book.deliver import (
    Delivery,
    OPEN_min,
    Photograph,
    arrived,
    delivery_of,
    drop_photograph,
    put_photograph,
    small_photograph,
    tray_of,
)
from evenburn.web import urls
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.errors import Told, told
from evenburn.web.forms import Form, Sent
from evenburn.web.phone_serving import Door, NoNetwork, Open
from evenburn.web.render import YEAR_s, go, page

router = APIRouter()
GROUPS: dict[Kind, str] = {
    "tray": "Not yet of anything",
    "card": "A burnt card",
    "piece": "What came of a piece",
    "artwork": "Artwork for a piece",
}
INK, PAPER = "#17221e", "#f5f8f1"  # of the code, in light and dark alike: cameras want dark on light
SMALL_KEPT_s = YEAR_s


@dataclass(frozen=True, slots=True, kw_only=True)
class AimGroup:
    """Aims of one kind, for a list to choose from."""

    title: str
    lines: tuple[AimLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """What changes while the door stands open: the time left, and what has arrived."""

    delivery: Delivery | None
    came: tuple[Photograph, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhonePage:
    """The page. `opened` is the door where it stands open; `before` what the last one brought."""

    opened: Open | None
    code: Markup
    coming: Coming
    before: AimLine | None
    groups: tuple[AimGroup, ...]
    chosen: str
    tray: tuple[Photograph, ...]
    open_min: int
    fault: Told | None


@router.get("/phone")
def show(request: Request, desk: AtDesk) -> Response:
    """Show the page."""
    query = request.query_params
    asked = next((f"{kind}-{query[kind]}" for kind in ("card", "piece", "artwork") if query.get(kind)), "tray")
    return page(request, "phone.html", _context(request, desk, chosen=asked))


@router.get("/phone/part")
def part(request: Request, desk: AtDesk) -> Response:
    """Return what changes; when the door is closed, have the browser load the page anew."""
    coming = _coming(desk, _door(request).standing())
    headers = {"HX-Redirect": urls.deliver()} if coming.delivery is None else None
    return page(request, "phone_part.html", coming, headers=headers)


@router.post("/phone/on")
def switch_on(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Open the door, or say why it cannot be."""
    try:
        _door(request).open(aim_written(sent.text("aim")))
    except NoNetwork as error:
        fault = told(error)
        context = _context(request, desk, chosen=sent.text("aim"), fault=fault)
        return page(request, "phone.html", context, status=fault.status)
    return go(urls.deliver())


@router.post("/phone/off")
def switch_off(request: Request, sent: Form) -> Response:  # noqa: ARG001  # the form's token is looked at
    """Close the door."""
    _door(request).close()
    return go(urls.deliver())


@router.post("/phone/tray")
def out_of_tray(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Put the chosen photographs where they belong, or remove them."""
    try:
        aim, drop = aim_written(sent.text("aim")), bool(sent.text("drop"))
        for photograph_id in _ticked(sent):
            if drop:
                drop_photograph(desk.book, photograph_id, now=desk.now())
            else:
                put_photograph(desk.book, photograph_id, aim, now=desk.now())
    except InvalidInput as error:
        fault = told(error)
        context = _context(request, desk, chosen=sent.text("aim"), fault=fault)
        return page(request, "phone.html", context, status=fault.status)
    return go(f"{urls.deliver()}#tray")


@router.get("/photographs/{photograph_id}/small.jpg")
def small(photograph_id: int, desk: AtDesk) -> Response:
    """Return a photograph small, drawn anew."""
    data = small_photograph(desk.book, photograph_id)
    return Response(data, media_type="image/jpeg", headers={"cache-control": f"private, max-age={SMALL_KEPT_s}"})


def _ticked(sent: Sent) -> list[int]:
    names = [name.removeprefix("photograph-") for name in sent.values if name.startswith("photograph-")]
    ids = [int(name) for name in names if name.isdecimal() and len(name) < 10]
    if not ids:
        raise InvalidInput({"tray": "no photograph is chosen; tick one first"})
    return ids


def _door(request: Request) -> Door:
    door = request.app.state.door
    assert isinstance(door, Door)  # noqa: S101  # create_app put it there
    return door


def _coming(desk: Desk, opened: Open | None) -> Coming:
    if opened is None:
        return Coming(delivery=None, came=())
    return Coming(
        delivery=delivery_of(desk.book, opened.begun.token, now=desk.now()),
        came=arrived(desk.book, after_id=opened.begun.after_id, aim=opened.begun.aim.aim),
    )


def _context(request: Request, desk: Desk, *, chosen: str, fault: Told | None = None) -> PhonePage:
    door = _door(request)
    opened, last = door.standing(), door.last()
    coming = _coming(desk, opened)
    before = None
    if opened is None and last is not None:
        before = last.begun.aim
        coming = Coming(delivery=None, came=arrived(desk.book, after_id=last.begun.after_id, aim=before.aim))
    lines = aims_of(desk.book)
    aim = chosen if chosen in {line.aim.written() for line in lines} else Aim().written()
    code = (
        segno.make_qr(opened.address, error="m").svg_inline(border=4, dark=INK, light=PAPER, omitsize=True)
        if opened
        else ""
    )
    return PhonePage(
        opened=opened,
        code=Markup(code),  # noqa: S704  # drawn here, of our own address
        coming=coming,
        before=before,
        groups=tuple(
            AimGroup(title=GROUPS[kind], lines=tuple(each)) for kind, each in groupby(lines, key=lambda a: a.aim.kind)
        ),
        chosen=aim,
        tray=tray_of(desk.book),
        open_min=OPEN_min,
        fault=fault,
    )
