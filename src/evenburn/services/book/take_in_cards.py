"""The cards of a batch folder: each with its photographs, and the reading and drawing where it was read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.card_json import CardDocument, card_from_document
from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.reading_json import ReadingDocument
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.keeping import keep
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import card, photograph, reading
from evenburn.services.book.names import MEDIA_TYPES, plain

PHOTOGRAPHS = (".jpg", ".jpeg", ".png", ".heic")
DRAWING = "reading.png"  # a photograph with what was found drawn on it; goes by this name among a card's photographs


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFound:
    """A card of a folder: its document, its kind, its reading's document where it was read, and its pictures."""

    wood_id: str
    folder: Path
    kind: str
    document: dict[str, Any]
    reading: dict[str, Any] | None
    photographs: tuple[Path, ...]


def cards_in(folder: Path, notes: list[str]) -> list[CardFound]:
    """Return the cards in a folder's `cards`, checked.

    Raises
    ------
    UnreadableFile, InvalidInput
        If a card or reading does not hold.
    """
    from evenburn.services.demo import CARDS

    found = []
    for path in sorted((folder / CARDS).glob("*/card.json")):
        home = path.parent
        name = f"{CARDS}/{home.name}/card.json"
        document = read_json(path, name=name)
        table = checked(CardDocument, document, name=name)
        if plain(table.wood) != table.wood:
            notes.append(f"{CARDS}/{home.name} is left out: it is of no wood.")
            continue
        read = home / "reading.json"
        reading_document = None
        if read.is_file():
            reading_document = read_json(read, name=f"{CARDS}/{home.name}/reading.json")
            checked(ReadingDocument, reading_document, name=f"{CARDS}/{home.name}/reading.json")
        pictures = sorted(p for p in home.iterdir() if p.suffix.lower() in PHOTOGRAPHS and p.name != "card.png")
        found.append(
            CardFound(
                wood_id=table.wood,
                folder=home,
                kind=card_from_document(table).kind,
                document=document,
                reading=reading_document,
                photographs=tuple(pictures),
            )
        )
    return found


def keep_cards(
    book: Book, connection: sa.Connection, cards: Sequence[CardFound], *, wood_ids: Mapping[str, str], now: str
) -> dict[str, list[int]]:
    """Keep cards with what belongs to them, and return the readings of each wood; a card that is there stays as it is."""
    readings: dict[str, list[int]] = {}
    for one in cards:
        wood_id = wood_ids[one.wood_id]
        document = {**one.document, "wood": wood_id}
        there = connection.execute(sa.select(card.c.document).where(card.c.wood_id == wood_id)).scalars()
        if document in list(there):
            continue
        card_id = _new(
            connection,
            sa.insert(card).values(wood_id=wood_id, kind=one.kind, made_at=now, document=document),
        )
        for path in one.photographs:
            sha256 = keep(book, connection, path.read_bytes(), media_type=MEDIA_TYPES[path.suffix.lower()], now=now)
            connection.execute(
                sa.insert(photograph).values(sha256=sha256, name=path.name, received_at=now, card_id=card_id)
            )
        if one.reading is not None:
            of_card = {**one.reading, "card": {**one.reading["card"], "wood": wood_id}}
            made = _new(connection, sa.insert(reading).values(card_id=card_id, read_at=now, document=of_card))
            if "refused" not in one.reading:
                readings.setdefault(wood_id, []).append(made)
    return readings


def _new(connection: sa.Connection, insert: sa.Insert) -> int:
    key = connection.execute(insert).inserted_primary_key
    assert key is not None  # noqa: S101  # one row was inserted, and its table has a key
    return int(key[0])
