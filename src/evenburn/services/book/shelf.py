"""The shelf: blanks in stock, what they are, where they came from, what was paid, and how many are left.

A blank stands in `blank`: its wood, what it is called, how many are left, and in its `document`

    blank          as a piece of batch.toml has it: shape, size_mm or diameter_mm, radius_mm, thickness_mm, unevenness_mm
    price          of one, a number; left out where nobody knows
    currency       as "€" or "CHF", at most 8 characters
    bought_at      ISO date
    from           who sold it, or where it was found
    photo_sha256   of its photograph among the book's files
    note           what else is to be known: "two with a knot"
    put            how many were put there altogether, at least `left_count`

A blank is used up when its piece is burnt: `mark_step` takes one away. At none left its line stays, so that its history does.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.batch_toml import BlankTable
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.photographs.glancing import glance_at
from evenburn.adapters.storage.book.keeping import keep, load
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import blank, wood
from evenburn.core.errors import InvalidInput, NotFound, UnreadableFile
from evenburn.services.book.saved import Saved
from evenburn.services.book.today import size_mm, size_text
from evenburn.services.book.wanted import Wants, wants_in

PER_PAGE = 60
MOST_LEFT, MOST_PRICE, LONGEST = 100_000, 1e6, 240
NOTE_LONGEST = 2000
SHAPES = ("rectangle", "rounded", "ellipse", "circle")
KNOWN = frozenset(
    {"name", "wood_id", "left_count", "blank", "price", "currency", "bought_at", "from", "note", "photo_sha256"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfLine:
    """A blank of the shelf.

    Attributes
    ----------
    document : its `blank` as batch.toml has it.
    size_text : as "200 × 150 × 12.1 mm".
    left, put : how many there are, and were put there.
    wanted : pieces placed on one like it that are not burnt yet, as `wants_in` counts them.
    """

    blank_id: int
    version: int
    name: str
    wood_id: str
    wood_name: str
    left: int
    put: int
    wanted: int
    document: dict[str, Any]
    shape: str
    size_mm: tuple[float | None, float | None, float]
    size_text: str
    price: float | None
    currency: str
    bought_at: str | None
    bought_from: str
    note: str
    has_photo: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfPage:
    """A page of the shelf, and what is told of all of it: how many blanks are left, and of how many woods."""

    lines: tuple[ShelfLine, ...]
    count: int
    page: int
    pages: int
    left: int
    woods: int


def list_shelf(
    book: Book, *, text: str = "", wood_id: str | None = None, all_of_them: bool = False, page: int = 1
) -> ShelfPage:
    """Return the shelf, what is left first by wood and name.

    Parameters
    ----------
    text : words that have to stand in name, wood or note.
    all_of_them : also what is used up.
    """
    with book.reading() as connection:
        wished: sa.ColumnElement[bool] = blank.c.removed_at.is_(None)
        sums = sa.select(
            sa.func.coalesce(sa.func.sum(blank.c.left_count), 0), sa.func.count(sa.distinct(blank.c.wood_id))
        ).where(wished, blank.c.left_count > 0)
        left, woods = connection.execute(sums).one()
        joined = blank.join(wood, blank.c.wood_id == wood.c.id)
        for word in text.split():
            wished = wished & (
                blank.c.name.icontains(word, autoescape=True)
                | wood.c.name.icontains(word, autoescape=True)
                | blank.c.document["note"].as_string().icontains(word, autoescape=True)
                | blank.c.document["from"].as_string().icontains(word, autoescape=True)
            )
        if wood_id:
            wished = wished & (blank.c.wood_id == wood_id)
        if not all_of_them:
            wished = wished & (blank.c.left_count > 0)
        count = int(connection.execute(sa.select(sa.func.count()).select_from(joined).where(wished)).scalar_one())
        pages = max(1, -(-count // PER_PAGE))
        at = min(max(1, page), pages)
        rows = connection.execute(
            sa.select(blank, wood.c.name.label("wood_name"))
            .select_from(joined)
            .where(wished)
            .order_by(blank.c.left_count == 0, wood.c.name, blank.c.name, blank.c.id)
            .limit(PER_PAGE)
            .offset((at - 1) * PER_PAGE)
        ).mappings()
        wants = wants_in(connection)
        lines = tuple(_line(dict(row), wants) for row in rows)
    return ShelfPage(lines=lines, count=count, page=at, pages=pages, left=int(left), woods=int(woods))


def blank_of(book: Book, blank_id: int) -> ShelfLine:
    """Return a blank of the shelf; NotFound if there is none of that number."""
    with book.reading() as connection:
        row = row_of(connection, blank, blank_id)
        name = connection.execute(sa.select(wood.c.name).where(wood.c.id == row["wood_id"])).scalar_one()
        wants = wants_in(connection)
    return _line({**row, "wood_name": name}, wants)


def put_on_shelf(book: Book, item: Mapping[str, Any], *, now: str) -> Saved:
    """Put blanks on the shelf.

    Parameters
    ----------
    item : `name`, `wood_id`, `left_count`, `blank` as in batch.toml, and of the document what is known.

    Raises
    ------
    InvalidInput
        With every field that does not hold.
    """
    with book.writing() as connection:
        values = _values(connection, item, put=None)
        _demand_new(connection, values)
        what = f"{values['left_count']} × “{values['name']}” put on the shelf"
        made = change(connection, [Change(table=blank, key=None, values=values)], what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=made.keys[0], version=1)


def change_shelf(book: Book, blank_id: int, item: Mapping[str, Any], *, version: int, now: str) -> Saved:
    """Change what stands on the shelf; raises as `put_on_shelf`, and ChangedMeanwhile."""
    with book.writing() as connection:
        row = row_of(connection, blank, blank_id)
        values = _values(connection, {**_item(row), **item}, put=row["document"].get("put"))
        what = f"“{values['name']}” on the shelf changed"
        made = change(
            connection, [Change(table=blank, key=blank_id, values=values, version=version)], what=what, now=now
        )
    return Saved(edit_id=made.edit_id, what=what, key=blank_id, version=version + 1)


def take_from_shelf(book: Book, blank_id: int, *, version: int, now: str) -> Saved:
    """Take a line off the shelf, all of its blanks; can be undone."""
    with book.writing() as connection:
        row = row_of(connection, blank, blank_id)
        what = f"“{row['name']}” taken off the shelf"
        made = change(connection, [Change(table=blank, key=blank_id, values=None, version=version)], what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=blank_id, version=version + 1)


def photo_on_shelf(book: Book, data: bytes, *, name: str, now: str) -> str:
    """Keep a photograph for the shelf, and return its `photo_sha256`.

    Raises
    ------
    InvalidInput
        At `photo`, why it is none.
    """
    try:
        found = glance_at(data, name=name)
    except UnreadableFile as why:
        raise InvalidInput({"photo": why.message}, hint=why.hint) from why
    with book.writing() as connection:
        return keep(book, connection, data, media_type=found.media_type, now=now)


def photo_of_blank(book: Book, blank_id: int) -> bytes:
    """Return the photograph of a blank small, as JPEG drawn anew from its pixels; NotFound where it has none."""
    with book.reading() as connection:
        sha256 = row_of(connection, blank, blank_id)["document"].get("photo_sha256")
    if sha256 is None:
        raise NotFound("that blank has no photograph")
    return _small(book, sha256)


@lru_cache(maxsize=256)
def _small(book: Book, sha256: str) -> bytes:
    return glance_at(load(book, sha256), name="photograph").small_jpeg


def _line(row: Mapping[str, Any], wants: Wants) -> ShelfLine:
    document = row["document"]
    size = size_mm(document["blank"])
    return ShelfLine(
        blank_id=row["id"],
        version=row["version"],
        name=row["name"],
        wood_id=row["wood_id"],
        wood_name=row["wood_name"],
        left=row["left_count"],
        put=max(int(document.get("put", 0)), row["left_count"]),
        wanted=wants.by_line.get(row["id"], 0),
        document=document["blank"],
        shape=document["blank"].get("shape", "rectangle"),
        size_mm=size,
        size_text=size_text(size),
        price=document.get("price"),
        currency=document.get("currency", ""),
        bought_at=document.get("bought_at"),
        bought_from=document.get("from", ""),
        note=document.get("note", ""),
        has_photo="photo_sha256" in document,
    )


def _item(row: Mapping[str, Any]) -> dict[str, Any]:
    document = {key: value for key, value in row["document"].items() if key != "put"}
    return {"name": row["name"], "wood_id": row["wood_id"], "left_count": row["left_count"], **document}


def _values(connection: sa.Connection, item: Mapping[str, Any], *, put: int | None) -> dict[str, Any]:
    """Return the columns of a blank; every fault at once."""
    wrong = {key: "is nothing a shelf knows" for key in item if key not in KNOWN}
    try:
        table = checked(BlankTable, dict(item.get("blank") or {}), name="blank")
        form = table.model_dump(mode="json", exclude_unset=True, exclude_none=True)
    except InvalidInput as error:
        form = {}
        wrong |= {f"blank.{where}".rstrip("."): text for where, text in error.fields.items()}
    name, count = str(item.get("name") or "").strip(), item.get("left_count")
    if not 1 <= len(name) <= LONGEST:
        wrong["name"] = "is missing" if not name else f"is longer than {LONGEST} characters"
    if not isinstance(count, int) or isinstance(count, bool) or not 0 <= count <= MOST_LEFT:
        wrong["left_count"] = f"is {count}; allowed is a whole number from 0 to {MOST_LEFT}"
    wood_id = item.get("wood_id")
    known = sa.select(wood.c.id).where(wood.c.id == wood_id, wood.c.removed_at.is_(None))
    if not wood_id or connection.execute(known).first() is None:
        wrong["wood_id"] = f"“{wood_id}” is no wood of the book" if wood_id else "is missing; choose what they are of"
    document: dict[str, Any] = {"blank": form}
    for key, text in (
        ("price", _price),
        ("currency", _currency),
        ("bought_at", _day),
        ("from", _text),
        ("note", _text),
    ):
        value = item.get(key)
        if value is None or value == "":
            continue
        fault = text(value)
        if fault:
            wrong[key] = fault
        document[key] = value
    sha256 = item.get("photo_sha256")
    if sha256:
        document["photo_sha256"] = sha256
    if wrong:
        raise InvalidInput(wrong, source="shelf")
    assert isinstance(count, int)  # noqa: S101  # looked at above
    document["put"] = max(count, put or 0)
    return {"wood_id": wood_id, "name": name, "left_count": count, "document": document}


def _demand_new(connection: sa.Connection, values: Mapping[str, Any]) -> None:
    """Refuse what stands on the shelf already to the last word: a form that was sent twice."""
    alike = connection.execute(
        sa.select(blank.c.document).where(
            *(blank.c[key] == values[key] for key in ("wood_id", "name", "left_count")), blank.c.removed_at.is_(None)
        )
    ).scalars()
    if any(document == values["document"] for document in alike):
        raise InvalidInput(
            {
                "name": f"“{values['name']}” stands on the shelf already, just as here; if there are more, change that line"
            },
            source="shelf",
        )


def _price(value: object) -> str:
    fits = isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value <= MOST_PRICE
    return "" if fits else f"is {value}; allowed is 0 to {MOST_PRICE:.0f}"


def _currency(value: object) -> str:
    fits = isinstance(value, str) and len(value) <= 8 and value.isprintable()
    return "" if fits else f"is {value!r}; allowed are 8 characters at most, as € or CHF"


def _day(value: object) -> str:
    try:
        fits = re.fullmatch(r"\d{4}-\d{2}-\d{2}", str(value)) and date.fromisoformat(str(value))
    except ValueError:
        fits = None
    return "" if fits else f"is “{value}”; allowed is a day, as 2026-05-28"


def _text(value: object) -> str:
    fits = isinstance(value, str) and len(value) <= NOTE_LONGEST
    return "" if fits else f"is longer than {NOTE_LONGEST} characters"
