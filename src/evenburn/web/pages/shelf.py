"""The shelf: blanks in stock, as lines with a picture or their outline, and the form by which they are put there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import ChangedMeanwhile, InvalidInput
from evenburn.services.book.machine_cards import card_woods
from evenburn.services.book.shelf import (
    ShelfLine,
    ShelfPage,
    blank_of,
    change_shelf,
    list_shelf,
    photo_of_blank,
    photo_on_shelf,
    put_on_shelf,
    take_from_shelf,
)
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.figures import entry, trimmed
from evenburn.web.forms import Form, Sent, gathering
from evenburn.web.meanwhile import Meanwhile, meanwhile_of
from evenburn.web.render import YEAR_s, changed, page

router = APIRouter()
TAB = "shelf"
SHAPES = (
    ("rectangle", "rectangle"),
    ("rounded", "rectangle with round corners"),
    ("circle", "circle"),
    ("ellipse", "ellipse"),
)
KNOWN = (
    *("name", "wood_id", "left_count", "price", "currency", "bought_at", "from", "note", "photo", "shape"),
    *("width_mm", "height_mm", "diameter_mm", "radius_mm", "thickness_mm", "unevenness_mm"),
)
SKETCH_px = (78.0, 54.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """The outline of a blank in its small box, to scale."""

    kind: str
    x: float
    y: float
    width: float
    height: float
    radius: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfRow:
    """A line of the shelf with its sketch; None where only an outline file knows the shape."""

    line: ShelfLine
    sketch: Sketch | None
    price: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfSheet:
    """The shelf as searched."""

    shelf: ShelfPage
    rows: tuple[ShelfRow, ...]
    woods: tuple[tuple[str, str], ...]
    search: str
    wood: str
    all_of_them: bool
    searched: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankForm:
    """The form of a blank, of a new one with `blank_id` None."""

    blank_id: int | None
    version: int
    values: Mapping[str, str]
    woods: tuple[tuple[str, str], ...]
    shapes: tuple[tuple[str, str], ...]
    has_photo: bool
    errors: Mapping[str, str]
    hint: str
    known: tuple[str, ...]
    line: ShelfLine | None
    meanwhile: Meanwhile | None = None


@router.get("/shelf")
def show(request: Request, desk: AtDesk) -> Response:
    """Show what is in stock."""
    asked = request.query_params
    search, wood = asked.get("search", "")[:200].strip(), asked.get("wood", "")[:64]
    every = asked.get("all") == "yes"
    number = asked.get("page", "1")
    found = list_shelf(
        desk.book,
        text=search,
        wood_id=wood or None,
        all_of_them=every,
        page=int(number) if number.isascii() and number.isdecimal() and len(number) < 7 else 1,
    )
    context = ShelfSheet(
        shelf=found,
        rows=tuple(ShelfRow(line=line, sketch=_sketch(line), price=_price(line)) for line in found.lines),
        woods=(("", "all woods"), *card_woods(desk.book)),
        search=search,
        wood=wood,
        all_of_them=every,
        searched=bool(search or wood),
    )
    return page(request, "shelf.html", context, tab=TAB)


@router.get("/shelf/new")
def show_new(request: Request, desk: AtDesk) -> Response:
    """Show the form of new blanks."""
    values = {"shape": "rectangle", "left_count": "1", "bought_at": desk.now()[:10], "currency": "€"}
    return _form(request, desk, None, values=values)


@router.post("/shelf/new")
def add(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Put blanks on the shelf."""
    try:
        saved = put_on_shelf(desk.book, _item(desk, sent), now=desk.now())
    except InvalidInput as error:
        return _form(request, desk, None, values=sent.values, error=error)
    return changed(urls.shelf(), saved)


@router.get("/shelf/{blank_id}")
def show_blank(request: Request, blank_id: int, desk: AtDesk) -> Response:
    """Show the form of a blank."""
    line = blank_of(desk.book, blank_id)
    return _form(request, desk, line, values=_values(line))


@router.post("/shelf/{blank_id}")
def change(request: Request, blank_id: int, desk: AtDesk, sent: Form) -> Response:
    """Change a blank; what does not hold is said at its field, and the form is kept."""
    line = blank_of(desk.book, blank_id)
    try:
        item = _item(desk, sent, before=line)
        saved = change_shelf(desk.book, blank_id, item, version=sent.whole("version"), now=desk.now())
    except InvalidInput as error:
        return _form(request, desk, line, values=sent.values, error=error)
    except ChangedMeanwhile as error:
        meanwhile = meanwhile_of(desk, error, key=blank_id, version=sent.whole("version"), sent=sent)
        values = {**sent.values, "version": str(line.version)}
        return _form(request, desk, line, values=values, meanwhile=meanwhile)
    return changed(urls.shelf(), saved)


@router.post("/shelf/{blank_id}/take")
def take(blank_id: int, desk: AtDesk, sent: Form) -> Response:
    """Take a line off the shelf."""
    saved = take_from_shelf(desk.book, blank_id, version=sent.whole("version"), now=desk.now())
    return changed(urls.shelf(), saved)


@router.get("/shelf/{blank_id}/photo.jpg")
def photo(blank_id: int, desk: AtDesk) -> Response:
    """Give the photograph of a blank, drawn anew."""
    headers = {"cache-control": f"private, max-age={YEAR_s}"}
    return Response(photo_of_blank(desk.book, blank_id), media_type="image/jpeg", headers=headers)


def _form(
    request: Request,
    desk: AtDesk,
    line: ShelfLine | None,
    *,
    values: Mapping[str, str],
    error: InvalidInput | None = None,
    meanwhile: Meanwhile | None = None,
) -> Response:
    outline = line is not None and line.shape == "outline"
    known = {**dict.fromkeys(KNOWN, ""), **{k: v for k, v in values.items() if k in KNOWN}}
    context = BlankForm(
        blank_id=None if line is None else line.blank_id,
        version=_version(values, line),
        values=known,
        woods=_woods(desk, known["wood_id"]),
        shapes=(*SHAPES, *((("outline", "outline of its own"),) if outline else ())),
        has_photo=line is not None and line.has_photo,
        errors={} if error is None else _at_fields(error.fields),
        hint="" if error is None else error.hint,
        known=KNOWN,
        line=line,
        meanwhile=meanwhile,
    )
    status = 409 if meanwhile else 422 if error else 200
    return page(request, "shelf_form.html", context, tab=TAB, status=status)


def _woods(desk: AtDesk, chosen: str) -> tuple[tuple[str, str], ...]:
    """Return the woods to choose from; where none of them is chosen yet, it is for the person to choose, not for the list."""
    woods = card_woods(desk.book)
    return woods if not woods or chosen in dict(woods) else (("", "choose"), *woods)


def _version(values: Mapping[str, str], line: ShelfLine | None) -> int:
    told = values.get("version", "")
    if told.isascii() and told.isdecimal() and len(told) < 10:
        return int(told)
    return 0 if line is None else line.version


def _item(desk: AtDesk, sent: Sent, *, before: ShelfLine | None = None) -> dict[str, Any]:
    """Return what a form says of a blank; InvalidInput with every field that is no number."""
    wrong: dict[str, str] = {}
    shape = sent.text("shape") or "rectangle"
    blank: dict[str, Any] = {} if before is None else dict(before.document)
    blank["shape"] = shape
    if shape != "outline":
        for key in ("size_mm", "radius_mm", "diameter_mm"):
            blank.pop(key, None)
        with gathering(wrong):
            if shape == "circle":
                blank["diameter_mm"] = _length(sent, "diameter_mm", before)
        if shape != "circle":
            sides = []
            for name in ("width_mm", "height_mm"):
                with gathering(wrong):
                    sides.append(_length(sent, name, before))
            blank["size_mm"] = sides
        if shape == "rounded":
            with gathering(wrong):
                blank["radius_mm"] = _length(sent, "radius_mm", before)
    with gathering(wrong):
        blank["thickness_mm"] = _length(sent, "thickness_mm", before)
    blank.pop("unevenness_mm", None)
    if sent.text("unevenness_mm"):
        with gathering(wrong):
            blank["unevenness_mm"] = _length(sent, "unevenness_mm", before)
    item: dict[str, Any] = {
        "name": sent.text("name"),
        "wood_id": sent.text("wood_id"),
        "blank": blank,
        **{key: sent.text(key) for key in ("currency", "bought_at", "from", "note")},
    }
    with gathering(wrong):
        item["left_count"] = sent.whole("left_count")
    with gathering(wrong):
        item["price"] = sent.optional_number("price")
    if item["price"] is None:
        item["currency"] = ""
    if sent.files.get("photo"):
        one = sent.files["photo"][0]
        with gathering(wrong):
            item["photo_sha256"] = photo_on_shelf(desk.book, one.data, name=one.name, now=desk.now())
    elif sent.text("no_photo"):
        item["photo_sha256"] = None
    if wrong:
        raise InvalidInput(wrong)
    return item


def _length(sent: Sent, name: str, before: ShelfLine | None) -> float:
    """Return the length in a field in mm; one that still says what it said is kept to its last digit."""
    value = None if before is None else _lengths(before).get(name)
    if value is not None and sent.text(name) == entry(value):
        return value
    return sent.length_mm(name)


def _lengths(line: ShelfLine) -> dict[str, float]:
    wide, high = line.document.get("size_mm") or (None, None)
    known = {
        "width_mm": wide,
        "height_mm": high,
        **{key: line.document.get(key) for key in ("diameter_mm", "radius_mm", "thickness_mm", "unevenness_mm")},
    }
    return {key: value for key, value in known.items() if value is not None}


def _values(line: ShelfLine) -> dict[str, str]:
    return {
        "name": line.name,
        "wood_id": line.wood_id,
        "left_count": str(line.left),
        "shape": line.shape,
        "price": "" if line.price is None else trimmed(line.price, 2),
        "currency": line.currency,
        "bought_at": line.bought_at or "",
        "from": line.bought_from,
        "note": line.note,
        **{key: entry(value) for key, value in _lengths(line).items()},
    }


def _at_fields(errors: Mapping[str, str]) -> dict[str, str]:
    """Return errors at the fields of the form: blank.size_mm[1] stands at the width."""
    places = {"size_mm": "width_mm", "size_mm[1]": "width_mm", "size_mm[2]": "height_mm", "": "shape"}
    found: dict[str, str] = {}
    for where, text in errors.items():
        at = where.removeprefix("blank").removeprefix(".") if where.startswith("blank") else where
        at = places.get(at, at) if where.startswith("blank") else at
        found.setdefault(at, text)
    return found


def _price(line: ShelfLine) -> str:
    if line.price is None:
        return ""
    return f"{line.price:.2f}\u00a0{line.currency}".rstrip()


def _sketch(line: ShelfLine) -> Sketch | None:
    """Return the outline of a blank, to scale in its box."""
    wide, high, _ = line.size_mm
    if wide is None or high is None:
        return None
    scale = min((SKETCH_px[0] - 4.0) / wide, (SKETCH_px[1] - 4.0) / high)
    w, h = round(wide * scale, 1), round(high * scale, 1)
    return Sketch(
        kind="round" if line.shape in {"circle", "ellipse"} else "box",
        x=round((SKETCH_px[0] - w) / 2.0, 1),
        y=round((SKETCH_px[1] - h) / 2.0, 1),
        width=w,
        height=h,
        radius=round((line.document.get("radius_mm") or 0.0) * scale, 1),
    )
