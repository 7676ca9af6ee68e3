"""A wood's card: made for a machine, burnt, photographed, read; and the curve that follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.services.book.fit_wood import curve_of_readings
from evenburn.services.book.learn_wood import (
    MOST_PHOTOGRAPHS,
    BookCardWish,
    add_card,
    check_card,
    check_reading,
    keep_photographs,
    read_card_in_book,
)
from evenburn.services.book.wood_cards import (
    CardPhotograph,
    CardReading,
    WoodCard,
    card_file,
    card_of,
    fault_of_wood_card,
    newest_card,
    photograph_data,
    reading_picture,
)
from evenburn.services.book.wood_curves import CurvePage, curve_of_reading, curve_page
from evenburn.services.book.wood_makes import CardChoices, choices_for_card
from evenburn.web import urls
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.errors import told
from evenburn.web.forms import Form, Sent, gathering
from evenburn.web.pages.wood import files_named, none_wrong, numbered
from evenburn.web.render import YEAR_s, go, page
from evenburn.web.serving_files import kept_file
from evenburn.web.work import Progress

router = APIRouter()
PARTS = ("window", "mat")
PHOTOGRAPH = "photograph-"
_FIELDS = {"at_mm[1]": "at_x", "at_mm[2]": "at_y", "lens": "machine"}  # of a wish, as the form has them
PAPERS = (("A4", "A4"), ("Letter", "Letter"))
FORMS = (
    ("card", "card, 60 patches on 90 × 60 mm: a whole lot"),
    ("strip", "strip, 6 patches on 60 × 15 mm: one board"),
)
CAUTIONS = cautions_for(decision="card")
PRIVATE = {"cache-control": f"private, max-age={YEAR_s}, immutable"}


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCardPage:
    """The form for a card of a wood."""

    choices: CardChoices
    values: Mapping[str, str]
    forms: tuple[tuple[str, str], ...] = FORMS
    papers: tuple[tuple[str, str], ...] = PAPERS
    cautions: tuple[Caution, ...] = CAUTIONS
    fields: tuple[str, ...] = ("machine", "form", "page", "at_x", "at_y", "focus_offset_mm")
    errors: Mapping[str, str] = field(default_factory=dict)
    hint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPage:
    """A card: how to burn it, its photographs, what was read, and the curve that follows.

    Attributes
    ----------
    reading : the newest that tells something; `refused` is the newest of all where it refused a photograph.
    unread : photographs that no reading has looked at yet.
    curve : the newest that was fitted to the reading.
    fault : why its program is not handed out any more, "" where it is.
    """

    card: WoodCard
    reading: CardReading | None
    refused: CardReading | None
    unread: tuple[CardPhotograph, ...]
    curve: CurvePage | None
    fault: str
    cautions: tuple[Caution, ...] = CAUTIONS
    most: int = MOST_PHOTOGRAPHS
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


# ---- a new card --------------------------------------------------------------------------------------------------


@router.get("/woods/{wood_id}/cards/new")
def ask(request: Request, wood_id: str, desk: AtDesk) -> Response:
    """Ask what the card shall be."""
    return _ask(request, desk, wood_id, {})


@router.post("/woods/{wood_id}/cards/new")
def make(request: Request, wood_id: str, desk: AtDesk, sent: Form) -> Response:
    """Begin to make a card, or show the form again with what is wrong."""
    choices = choices_for_card(desk.book, wood_id)
    wrong: dict[str, str] = {}
    machine_id, _, lens = sent.text("machine").partition("/")
    if (machine_id, lens) not in {(line.machine_id, line.lens) for line in choices.machines}:
        wrong["machine"] = "choose a machine and a lens of it"
    at = (_length(sent, "at_x", wrong), _length(sent, "at_y", wrong))
    if (at[0] is None) != (at[1] is None) and not {"at_x", "at_y"} & set(wrong):
        wrong["at_x" if at[0] is None else "at_y"] = "is empty; write both, or none for the middle of the bed"
    offset = _length(sent, "focus_offset_mm", wrong)
    if sent.text("page") not in dict(PAPERS):
        wrong["page"] = "choose A4 or Letter"
    if choices.forbids:
        wrong[""] = choices.forbids
    if wrong:
        return _ask(request, desk, wood_id, sent.values, errors=wrong)
    wish = BookCardWish(
        machine_id=machine_id,
        lens=lens,
        strip=sent.text("form") == "strip",
        page=sent.text("page"),
        at_mm=None if at[0] is None or at[1] is None else (at[0], at[1]),
        focus_offset_mm=offset,
    )
    try:
        check_card(desk.book, wood_id, wish)
    except InvalidInput as error:
        fields = {_FIELDS.get(where, where): text for where, text in told(error).fields.items()}
        return _ask(request, desk, wood_id, sent.values, errors=fields, hint=error.hint)
    now = desk.now()

    def do(progress: Progress) -> None:
        add_card(desk.book, wood_id, wish, now=now, progress=progress)

    job = desk.work.begin(f"Making a card for {choices.name}", do, goes_to=urls.newest_card(wood_id))
    return go(urls.work(job.id))


@router.get("/woods/{wood_id}/cards/newest")
def newest(wood_id: str, desk: AtDesk) -> Response:
    """Lead to the newest card of a wood, to the form for one where it has none."""
    try:
        return go(urls.card(newest_card(desk.book, wood_id)))
    except NotFound:
        return go(urls.new_card(wood_id))


def _ask(
    request: Request,
    desk: Desk,
    wood_id: str,
    values: Mapping[str, str],
    *,
    errors: Mapping[str, str] | None = None,
    hint: str = "",
) -> Response:
    choices = choices_for_card(desk.book, wood_id)
    context = NewCardPage(choices=choices, values=values, errors=errors or {}, hint=hint)
    return page(request, "card_new.html", context, tab="woods", status=422 if errors else 200)


def _length(sent: Sent, name: str, wrong: dict[str, str]) -> float | None:
    length = None
    if sent.text(name):
        with gathering(wrong):
            length = sent.length_mm(name)
    return length


# ---- a card ------------------------------------------------------------------------------------------------------


@router.get("/cards/{card_id}")
def show(request: Request, card_id: int, desk: AtDesk) -> Response:
    """Show a card of a wood; one of a machine stands on a page of its own."""
    try:
        found = card_of(desk.book, card_id)
    except NotFound as error:
        if "machine" in error.message:
            return go(urls.machine_card(card_id))
        raise
    return _card_page(request, desk, found)


def _card_page(
    request: Request,
    desk: Desk,
    found: WoodCard,
    *,
    values: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> Response:
    reading = found.newest()
    curve_id = None if reading is None else curve_of_reading(desk.book, reading.reading_id)
    last = found.readings[0] if found.readings else None
    context = CardPage(
        card=found,
        reading=reading,
        refused=last if last is not None and last.refused else None,
        unread=tuple(p for p in found.photographs if not p.read),
        curve=None if curve_id is None else curve_page(desk.book, found.wood_id, curve_id),
        fault=fault_of_wood_card(desk.book, found.card_id),
        values=values or {},
        errors=errors or {},
    )
    return page(request, "card.html", context, tab="woods", status=422 if errors else 200)


@router.get("/cards/{card_id}/photographs")
@router.get("/cards/{card_id}/read")
def back(card_id: int) -> Response:
    """Lead to the card, where an address is asked for that only takes forms."""
    return go(urls.card(card_id))


@router.post("/cards/{card_id}/photographs")
def send(request: Request, card_id: int, desk: AtDesk, sent: Form) -> Response:
    """Keep photographs and begin to read them, or say at the field what is wrong with one."""
    found = card_of(desk.book, card_id)
    wrong: dict[str, str] = {}
    scale = _scale(sent, wrong)
    try:
        none_wrong(wrong)
        check_reading((0,), paper_L=scale["paper_L"], toner_L=scale["toner_L"])
        ids = keep_photographs(desk.book, card_id, files_named(sent, "photographs"), now=desk.now())
    except InvalidInput as error:
        return _card_page(request, desk, found, values=sent.values, errors=error.fields)
    return _read(desk, found, list(ids), scale)


@router.post("/cards/{card_id}/read")
def read(request: Request, card_id: int, desk: AtDesk, sent: Form) -> Response:
    """Begin to read photographs that the book has."""
    found = card_of(desk.book, card_id)
    wrong: dict[str, str] = {}
    ids = numbered(sent, PHOTOGRAPH)
    scale = _scale(sent, wrong)
    try:
        none_wrong(wrong)
        check_reading(ids, paper_L=scale["paper_L"], toner_L=scale["toner_L"])
    except InvalidInput as error:
        return _card_page(request, desk, found, values=sent.values, errors=error.fields)
    return _read(desk, found, ids, scale)


def _scale(sent: Sent, wrong: dict[str, str]) -> dict[str, float | None]:
    """Return the measured lightness of paper and toner, None where nobody told it."""
    told: dict[str, float | None] = {"paper_L": None, "toner_L": None}
    for name in told:
        if sent.text(name):
            with gathering(wrong):
                told[name] = sent.number(name)
    return told


def _read(desk: Desk, found: WoodCard, ids: list[int], scale: Mapping[str, float | None]) -> Response:
    """Begin the work: read, and fit a curve where something was read; a card that tells no curve is told on its page."""
    now = desk.now()

    def do(progress: Progress) -> None:
        came = read_card_in_book(
            desk.book,
            found.card_id,
            ids,
            now=now,
            paper_L=scale["paper_L"],
            toner_L=scale["toner_L"],
            progress=progress,
            run=desk.run,
        )
        if came.told:
            curve_of_readings(desk.book, found.wood_id, now=now, progress=progress)

    title = f"Reading card {found.number} of {found.wood_name}"
    job = desk.work.begin(title, do, goes_to=urls.card(found.card_id) + "#read")
    return go(urls.work(job.id))


# ---- files -------------------------------------------------------------------------------------------------------


@router.get("/cards/{card_id}/files/{name}")
def take_file(card_id: int, name: str, desk: AtDesk) -> Response:
    """Return a file of a card, to be saved."""
    data, media = card_file(desk.book, card_id, name)
    stem, _, ending = name.rpartition(".")
    return kept_file(data, name=f"{stem}-{card_id}.{ending}", media_type=media)


@router.get("/cards/{card_id}/photographs/{photograph_id}")
def show_photograph(card_id: int, photograph_id: int, desk: AtDesk) -> Response:
    """Return a photograph of a card."""
    data, media = photograph_data(desk.book, card_id, photograph_id)
    return kept_file(data, name=f"photograph-{photograph_id}", media_type=media, save=False, headers=PRIVATE)


@router.get("/cards/{card_id}/readings/{reading_id}/{part}.jpg")
def show_reading(card_id: int, reading_id: int, part: str, desk: AtDesk) -> Response:
    """Return what a reading found, drawn on its photograph."""
    if part not in PARTS:
        raise NotFound("a reading has no such picture")
    data = reading_picture(desk.book, card_id, reading_id, part="window" if part == "window" else "mat")
    return Response(data, media_type="image/jpeg", headers=PRIVATE)
