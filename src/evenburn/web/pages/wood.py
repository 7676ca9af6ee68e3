"""A wood's page: its curve, the card as it was read, its shades, what happened to it, and what it all rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.change_wood import remove_wood, take_curve
from evenburn.services.book.fit_wood import curve_of_readings
from evenburn.services.book.wood_curves import CurvePage, curve_page, newest_curve
from evenburn.services.book.woods_of import WoodPage, evenness_picture, shades_picture, wood_of
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.figures import sentence, trimmed
from evenburn.web.forms import Form, Sent, SentFile
from evenburn.web.render import YEAR_s, changed, go, page
from evenburn.web.work import Progress

router = APIRouter()
LABELS_MOST = 10  # shades that are told with their figures, where there are many
PICTURES = {"shades": shades_picture, "evenness": evenness_picture}
JPEG = "image/jpeg"
READING = "reading-"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownWood:
    """A wood's page; every `label_step`-th shade is told with its figures."""

    wood: WoodPage
    label_step: int
    wished_text: str
    errors: Mapping[str, str] = field(default_factory=dict)
    hint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownCurve:
    """A curve beside the one that its wood works with."""

    curve: CurvePage


@router.get("/woods/{wood_id}")
def show(request: Request, wood_id: str, desk: AtDesk) -> Response:
    """Show a wood; ?tone= draws the exposure that a tone needs."""
    text = request.query_params.get("tone", "").strip()[:12]
    if not text:
        return _wood_page(request, wood_of(desk.book, wood_id))
    try:
        wished = Sent(values={"tone": text.removeprefix("L*")}).number("tone")
    except InvalidInput as error:
        return _wood_page(request, wood_of(desk.book, wood_id), text=text, errors=error.fields)
    found = wood_of(desk.book, wood_id, wished_L=wished)
    errors = {"tone": found.wished_wrong} if found.wished_wrong else {}
    return _wood_page(request, found, text=text, errors=errors)


def _wood_page(
    request: Request,
    found: WoodPage,
    *,
    text: str = "",
    errors: Mapping[str, str] | None = None,
    hint: str = "",
) -> Response:
    shown = ShownWood(
        wood=found,
        label_step=max(1, -(-len(found.shades) // LABELS_MOST)),
        wished_text=text or ("" if found.wished_L is None else trimmed(found.wished_L, 1)),
        errors=errors or {},
        hint=hint,
    )
    return page(request, "wood.html", shown, tab="woods", status=422 if errors else 200)


@router.get("/woods/{wood_id}/{name}.jpg")
def picture(wood_id: str, name: str, desk: AtDesk) -> Response:
    """Return a picture of a wood: its shades, or a large solid mark on it."""
    if name not in PICTURES:
        raise NotFound("a wood has no such picture")
    headers = {"cache-control": f"private, max-age={YEAR_s}, immutable"}
    return Response(PICTURES[name](desk.book, wood_id), media_type=JPEG, headers=headers)


@router.get("/woods/{wood_id}/remove")
@router.get("/woods/{wood_id}/fit")
@router.get("/woods/{wood_id}/curves")
def back(wood_id: str) -> Response:
    """Lead to the wood, where an address is asked for that only takes forms."""
    return go(urls.wood(wood_id))


@router.post("/woods/{wood_id}/remove")
def remove(request: Request, wood_id: str, desk: AtDesk, sent: Form) -> Response:
    """Take a wood out of the book."""
    try:
        saved = remove_wood(desk.book, wood_id, version=sent.whole("version"), now=desk.now())
    except InvalidInput as error:
        return _wood_page(request, wood_of(desk.book, wood_id), errors=error.fields, hint=error.hint)
    return changed(urls.woods(), saved)


# ---- curves ------------------------------------------------------------------------------------------------------


@router.post("/woods/{wood_id}/fit")
def fit(request: Request, wood_id: str, desk: AtDesk, sent: Form) -> Response:
    """Fit a curve to the readings that are ticked."""
    ids = numbered(sent, READING)
    found = wood_of(desk.book, wood_id)
    if not ids:
        return _wood_page(request, found, errors={"readings": "tick at least one reading"})
    now = desk.now()

    def do(progress: Progress) -> None:
        curve_of_readings(desk.book, wood_id, reading_ids=ids, now=now, progress=progress)

    job = desk.work.begin(f"Fitting {found.name}", do, goes_to=urls.wood_curve(wood_id, "newest"))
    return go(urls.work(job.id))


def numbered(sent: Sent, lead: str) -> list[int]:
    """Return the numbers of the ticked boxes whose names begin alike, as reading-12, in their order."""
    tails = [name.removeprefix(lead) for name in sent.values if name.startswith(lead)]
    return sorted(int(tail) for tail in tails if tail.isascii() and tail.isdecimal() and len(tail) <= 9)


@router.get("/woods/{wood_id}/curves/{number}")
def show_curve(request: Request, wood_id: str, number: str, desk: AtDesk) -> Response:
    """Show a curve beside the one that its wood works with."""
    if number == "newest":
        return go(urls.wood_curve(wood_id, newest_curve(desk.book, wood_id)))
    if not number.isascii() or not number.isdecimal() or len(number) > 9:
        raise NotFound("a wood has no such curve")
    shown = ShownCurve(curve=curve_page(desk.book, wood_id, int(number)))
    return page(request, "wood_curve.html", shown, tab="woods")


@router.post("/woods/{wood_id}/curves")
def take(request: Request, wood_id: str, desk: AtDesk, sent: Form) -> Response:
    """Let a wood work with a curve, or with its starting value; what hinders it is said on the wood's page."""
    curve_id = sent.whole("curve_id") if sent.text("curve_id") else None
    try:
        saved = take_curve(desk.book, wood_id, curve_id, version=sent.whole("version"), now=desk.now())
    except InvalidInput as error:
        text = "; ".join(error.fields.values())
        errors = {"": sentence(text)}
        return _wood_page(request, wood_of(desk.book, wood_id), errors=errors, hint=error.hint)
    return changed(urls.wood(wood_id), saved)


def files_named(sent: Sent, name: str) -> list[tuple[str, bytes]]:
    """Return the files of a field with what each is called."""
    files: tuple[SentFile, ...] = sent.files.get(name, ())
    return [(one.name, one.data) for one in files]


def none_wrong(wrong: Mapping[str, str]) -> None:
    """Raise InvalidInput where something is wrong with a form."""
    if wrong:
        raise InvalidInput(wrong)
