"""The cards of a wood with all that belongs to each: what burns it, photographs of it, readings, and what was drawn on them.

What the book makes for a card is named `card/FILE` among its photographs, since no photograph that somebody sends can have
such a name; `card/machine/MACHINE-ID.toml` is the machine as it was then. A reading's drawing is `card/reading-NUMBER.png`; that of a card taken in from a batch folder is `reading.png`,
received when its reading was.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal, cast

import sqlalchemy as sa

from evenburn.adapters.formats.card_json import CardDocument, card_from_document
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.keeping import load
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import card, file, photograph, reading, wood
from evenburn.core.errors import NotFound
from evenburn.core.nouns.card import Card
from evenburn.services.book.hand_out import (
    EVENNESS,
    UNKNOWN,
    WHOLE_LENS,
    WORDS,
    NotHandedOut,
    fault_of_card,
    machine_now,
    made_for,
)
from evenburn.services.book.take_in_cards import DRAWING

OWN = "card/"
MACHINE = f"{OWN}machine/"
PROGRAM, PICTURE, MAT, INDEX = "card.ngc", "card.png", "mat.pdf", "card.json"
MEDIA = {PROGRAM: "text/plain", PICTURE: "image/png", MAT: "application/pdf", INDEX: "application/json"}
KINDS = ("wood", "strip")  # those that tell a wood's curve; the others measure the machine
SHOWN = frozenset({"image/jpeg", "image/png", "image/webp"})  # what a browser shows
Part = Literal["mat", "window"]  # of the picture of a card
WIDEST_px: Mapping[Part, int] = {"window": 1200, "mat": 1600}
SCALE_TRUE_percent = 0.05  # less is not told: it is 0.0
_TIME = re.compile(r"\btime ([^()\n]+)")
_SPACING = re.compile(r"\bline spacing ([0-9.]+) mm")
_STAND_OFF = re.compile(r"\bset stand-off ([0-9.]+) mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPhotograph:
    """A photograph of a card. `shown` tells whether a browser can show it; `read` whether a reading has looked at it."""

    photograph_id: int
    name: str
    received_at: str
    shown: bool
    read: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """A photograph that a reading refused: what was seen, and what to do; its number where the book still has it."""

    name: str
    photograph_id: int | None
    shown: bool
    code: str
    text: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardReading:
    """A reading of a card.

    Attributes
    ----------
    number : of the reading among those of its card, from 1.
    patches, aside : how many were read, and how many of them are set aside for their flags.
    doubts : flag and the patches that wear it.
    refused : photographs that were left out; where all were, no number is told and `told` is False.
    drawn : whether there is a picture of what was found.
    """

    reading_id: int
    number: int
    read_at: str
    told: bool
    patches: int
    aside: int
    doubts: tuple[tuple[str, tuple[str, ...]], ...]
    bare_L: float | None
    bare_L_sd: float | None
    paper_L: float | None
    print_scale_error: float | None
    photographs: int
    refused: tuple[Refusal, ...]
    drawn: bool
    document: dict[str, Any]

    @property
    def scale_text(self) -> str:
        """Return how true to size the mat was printed, in words."""
        percent = 100.0 * (self.print_scale_error or 0.0)
        if abs(percent) < SCALE_TRUE_percent:
            return "true to size"
        return f"{abs(percent):.1f}\u00a0% {'larger' if percent > 0 else 'smaller'}, taken out"


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodCard:
    """A card of a wood.

    Attributes
    ----------
    number : of the card among those of its wood, from 1.
    time_text, line_spacing_mm, stand_off_mm : as the head of its program says; None where the program is not in the book.
    files : what can be taken to the machine and the printer.
    readings : the newest first.
    """

    card_id: int
    wood_id: str
    wood_name: str
    number: int
    kind: str
    made_at: str
    machine_name: str
    lens_name: str
    card: Card
    time_text: str | None
    line_spacing_mm: float | None
    stand_off_mm: float | None
    files: tuple[str, ...]
    photographs: tuple[CardPhotograph, ...]
    readings: tuple[CardReading, ...]

    def newest(self) -> CardReading | None:
        """Return the newest reading that tells something, None where none does."""
        return next((r for r in self.readings if r.told), None)


def card_of(book: Book, card_id: int) -> WoodCard:
    """Return a card of a wood; NotFound if there is none of that number, or it is one of a machine."""
    with book.reading() as connection:
        row = card_row(connection, card_id)
        name = str(connection.execute(sa.select(wood.c.name).where(wood.c.id == row["wood_id"])).scalar_one())
        made = _card(connection, row, name=name, number=_number(connection, row))
        program = _files(connection, card_id).get(OWN + PROGRAM)
    if program is None:
        return made
    head = _head(book, program)
    return replace(
        made,
        time_text=found[1].strip() if (found := _TIME.search(head)) else None,
        line_spacing_mm=float(found[1]) if (found := _SPACING.search(head)) else None,
        stand_off_mm=float(found[1]) if (found := _STAND_OFF.search(head)) else None,
    )


def card_row(connection: sa.Connection, card_id: int) -> dict[str, Any]:
    """Return the row of a card of a wood; NotFound as `card_of`."""
    found = connection.execute(sa.select(card).where(card.c.id == card_id)).mappings().one_or_none()
    if found is None:
        raise NotFound(f"there is no card {card_id} in the book")
    if found["kind"] not in KINDS:
        raise NotFound(f"card {card_id} is one of the machine", hint="The machine’s page tells of it.")
    return dict(found)


def cards_in(connection: sa.Connection, wood_id: str) -> tuple[WoodCard, ...]:
    """Return the cards of a wood, the newest first; without what only their programs tell."""
    name = row_of(connection, wood, wood_id)["name"]
    rows = connection.execute(
        sa.select(card).where(card.c.wood_id == wood_id, card.c.kind.in_(KINDS)).order_by(card.c.id)
    ).mappings()
    made = [_card(connection, dict(row), name=name, number=number) for number, row in enumerate(rows, start=1)]
    return tuple(reversed(made))


def newest_card(book: Book, wood_id: str) -> int:
    """Return the newest card of a wood; NotFound if it has none."""
    with book.reading() as connection:
        found = connection.execute(
            sa.select(sa.func.max(card.c.id)).where(card.c.wood_id == wood_id, card.c.kind.in_(KINDS))
        ).scalar()
    if found is None:
        raise NotFound("this wood has no card yet", hint="Make one.")
    return int(found)


def card_file(book: Book, card_id: int, name: str) -> tuple[bytes, str]:
    """Return a file of a card by its name, and its media type; the mat and card.json are made anew where they were not kept.

    A program is verified anew.

    Raises
    ------
    NotFound
        If the card has none of that name.
    NotHandedOut
        If it is its program, and that does not hold against the machine as it is.
    """
    from evenburn.adapters.print.mat import mat_pdf

    with book.reading() as connection:
        row = card_row(connection, card_id)
        kept = _files(connection, card_id).get(OWN + name)
    fault = fault_of_wood_card(book, card_id) if name == PROGRAM else ""
    if fault:
        raise NotHandedOut(f"the program of this card is not handed out: {fault}", hint="Make a further card.")
    if name == INDEX:
        return json_text(row["document"]).encode(), MEDIA[INDEX]
    if kept is not None and name in MEDIA:
        return load(book, kept), MEDIA[name]
    if name == MAT:
        return mat_pdf(card_in(row["document"])), MEDIA[MAT]
    raise NotFound(f"that card has no file of this name; it has {MAT} and {INDEX}", hint="Make a new card.")


def fault_of_wood_card(book: Book, card_id: int) -> str:
    """Return why a card's program is not handed out any more, "" where it holds against the machine as it is, or is not there."""
    with book.reading() as connection:
        row = card_row(connection, card_id)
        files = _files(connection, card_id)
        if OWN + PROGRAM not in files:
            return ""
        then = next((name for name in files if name.startswith(MACHINE)), None)
        now = None if then is None else machine_now(connection, then.removeprefix(MACHINE).removesuffix(".toml"))
    if then is None:
        return UNKNOWN
    made = made_for(
        book,
        files[then],
        lens_name=card_in(row["document"]).lens_name,
        keys=(*WORDS, *EVENNESS),
        lens_keys=WHOLE_LENS,
    )
    return fault_of_card({PROGRAM: load(book, files[OWN + PROGRAM])}, made, now)


def photograph_data(book: Book, card_id: int, photograph_id: int) -> tuple[bytes, str]:
    """Return a photograph of a card, and its media type; NotFound if there is none."""
    with book.reading() as connection:
        found = connection.execute(
            sa.select(photograph.c.sha256, file.c.media_type)
            .join(file, file.c.sha256 == photograph.c.sha256)
            .where(photograph.c.id == photograph_id, photograph.c.card_id == card_id, photograph.c.removed_at.is_(None))
        ).one_or_none()
    if found is None or found[1] not in SHOWN:
        raise NotFound("that card has no such photograph that could be shown")
    return load(book, str(found[0])), str(found[1])


def reading_picture(book: Book, card_id: int, reading_id: int, *, part: Part) -> bytes:
    """Return what a reading found, drawn on its photograph, as JPEG: the whole mat, or the card in its window.

    Raises
    ------
    NotFound
        If there is no such reading, or it has no drawing.
    """
    with book.reading() as connection:
        row = card_row(connection, card_id)
        read_at = connection.execute(
            sa.select(reading.c.read_at).where(reading.c.id == reading_id, reading.c.card_id == card_id)
        ).scalar_one_or_none()
        kept = None if read_at is None else _drawing(_rows(connection, card_id), reading_id, str(read_at))
    if kept is None:
        raise NotFound("that reading has no drawing", hint="Read the photograph again.")
    return _cut(book, kept, json_text(row["document"]), part=part)


@lru_cache(maxsize=32)
def _cut(book: Book, sha256: str, document: str, *, part: Part) -> bytes:
    from evenburn.adapters.pictures.card_cut import cut_card_picture

    return cut_card_picture(load(book, sha256), _card_in(document), part=part, widest_px=WIDEST_px[part])


@lru_cache(maxsize=256)
def _head(book: Book, sha256: str) -> str:
    return load(book, sha256)[:2000].decode("ascii", "replace")


def card_in(document: Mapping[str, Any]) -> Card:
    """Return the card of a card.json; InvalidInput where it does not hold."""
    return _card_in(json_text(dict(document)))


@lru_cache(maxsize=256)
def _card_in(document: str) -> Card:
    return card_from_document(checked(CardDocument, json.loads(document), name=INDEX))


# ---- rows --------------------------------------------------------------------------------------------------------


def _card(connection: sa.Connection, row: Mapping[str, Any], *, name: str, number: int) -> WoodCard:
    card_id = int(row["id"])
    rows = _rows(connection, card_id)
    read = connection.execute(
        sa.select(reading.c.id, reading.c.read_at, reading.c.document)
        .where(reading.c.card_id == card_id)
        .order_by(reading.c.id)
    ).all()
    seen = {entry["name"] for _, _, document in read for entry in document["photographs"]}
    times = {str(read_at) for _, read_at, _ in read}
    photographs = tuple(
        CardPhotograph(
            photograph_id=int(r["id"]),
            name=str(r["name"]),
            received_at=str(r["received_at"]),
            shown=r["media_type"] in SHOWN,
            read=r["name"] in seen,
        )
        for r in rows
        if "/" not in r["name"] and not (r["name"] == DRAWING and r["received_at"] in times)
    )
    one = card_in(row["document"])
    kept = {r["name"] for r in rows}
    return WoodCard(
        card_id=card_id,
        wood_id=str(row["wood_id"]),
        wood_name=name,
        number=number,
        kind=str(row["kind"]),
        made_at=str(row["made_at"]),
        machine_name=one.machine_name,
        lens_name=one.lens_name,
        card=one,
        time_text=None,
        line_spacing_mm=None,
        stand_off_mm=None,
        files=tuple(n for n in (PROGRAM, MAT, PICTURE, INDEX) if OWN + n in kept or n in (MAT, INDEX)),
        photographs=photographs,
        readings=tuple(
            reversed(
                [
                    _reading(int(id_), str(at), document, number=n, rows=rows, photographs=photographs)
                    for n, (id_, at, document) in enumerate(read, start=1)
                ]
            )
        ),
    )


def _reading(
    reading_id: int,
    read_at: str,
    document: dict[str, Any],
    *,
    number: int,
    rows: Sequence[Mapping[str, Any]],
    photographs: Sequence[CardPhotograph],
) -> CardReading:
    from evenburn.core.nouns.card import SET_ASIDE

    known = {p.name: p for p in photographs}
    patches = document["patches"]
    flags = sorted({flag for p in patches for flag in p["flags"]})
    return CardReading(
        reading_id=reading_id,
        number=number,
        read_at=read_at,
        told="refused" not in document,
        patches=len(patches),
        aside=sum(bool(SET_ASIDE & set(p["flags"])) for p in patches),
        doubts=tuple((flag, tuple(p["id"] for p in patches if flag in p["flags"])) for flag in flags),
        bare_L=document.get("bare_wood_L"),
        bare_L_sd=document.get("bare_wood_L_sd"),
        paper_L=document.get("paper_L"),
        print_scale_error=document.get("print_scale_error"),
        photographs=len(document["photographs"]),
        refused=tuple(
            Refusal(
                name=entry["name"],
                photograph_id=known[entry["name"]].photograph_id if entry["name"] in known else None,
                shown=entry["name"] in known and known[entry["name"]].shown,
                code=entry["refused"]["code"],
                text=entry["refused"]["text"],
                remedy=entry["refused"]["remedy"],
            )
            for entry in document["photographs"]
            if entry.get("refused")
        ),
        drawn=_drawing(rows, reading_id, read_at) is not None,
        document=document,
    )


def _rows(connection: sa.Connection, card_id: int) -> list[dict[str, Any]]:
    found = connection.execute(
        sa.select(photograph.c.id, photograph.c.name, photograph.c.received_at, photograph.c.sha256, file.c.media_type)
        .join(file, file.c.sha256 == photograph.c.sha256)
        .where(photograph.c.card_id == card_id, photograph.c.removed_at.is_(None))
        .order_by(photograph.c.id)
    ).mappings()
    return [dict(row) for row in found]


def _files(connection: sa.Connection, card_id: int) -> dict[str, str]:
    return {str(row["name"]): str(row["sha256"]) for row in _rows(connection, card_id)}


def _drawing(rows: Sequence[Mapping[str, Any]], reading_id: int, read_at: str) -> str | None:
    own = f"{OWN}reading-{reading_id}.png"
    for row in rows:
        if row["name"] == own or (row["name"] == DRAWING and row["received_at"] == read_at):
            return cast("str", row["sha256"])
    return None


def _number(connection: sa.Connection, row: Mapping[str, Any]) -> int:
    return int(
        connection.execute(
            sa.select(sa.func.count())
            .select_from(card)
            .where(card.c.wood_id == row["wood_id"], card.c.kind.in_(KINDS), card.c.id <= row["id"])
        ).scalar_one()
    )
