"""What a photograph may be of: a burnt card, what came of a piece, artwork for a piece, or nothing yet: then it waits in the tray."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, cast

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, card, piece, wood
from evenburn.core.errors import NotFound
from evenburn.services.book.settings import settings_in

Kind = Literal["tray", "card", "piece", "artwork"]
_WRITTEN = re.compile(r"(card|piece|artwork)-([1-9][0-9]{0,8})")
MOST_CARDS, MOST_PIECES = 20, 60
CARD_KINDS = {"wood": "wood card", "strip": "strip", "beam": "focus ladder", "motion": "stopwatch card"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """Where photographs go: the tray, a card, or a piece as its outcome or as its artwork."""

    kind: Kind = "tray"
    id: int | None = None

    def written(self) -> str:
        """Return it as addresses and forms have it, say card-3."""
        return self.kind if self.id is None else f"{self.kind}-{self.id}"

    def document(self) -> dict[str, Any]:
        """Return it as the book keeps it."""
        match self.kind:
            case "tray":
                return {}
            case "card":
                return {"card_id": self.id}
            case "piece":
                return {"piece_id": self.id}
            case "artwork":
                return {"piece_id": self.id, "as": "artwork"}


@dataclass(frozen=True, slots=True, kw_only=True)
class AimLine:
    """An aim in words: what it is, and beside it of which wood, or as what; `wood_id` is None for the tray."""

    aim: Aim
    name: str
    beside: str
    wood_id: str | None = None


def aim_written(text: str) -> Aim:
    """Return the aim that a form or address names; NotFound where it names none."""
    if text in ("", "tray"):
        return Aim()
    found = _WRITTEN.fullmatch(text)
    if found is None:
        raise NotFound(f"“{text[:40]}” is nothing that a photograph can be of", hint="Choose from the list.")
    return Aim(kind=cast("Kind", found[1]), id=int(found[2]))


def aim_kept(document: Mapping[str, Any]) -> Aim:
    """Return the aim that the book kept."""
    if document.get("card_id") is not None:
        return Aim(kind="card", id=int(document["card_id"]))
    if document.get("piece_id") is not None:
        return Aim(kind="artwork" if document.get("as") == "artwork" else "piece", id=int(document["piece_id"]))
    return Aim()


def aim_in_words(connection: sa.Connection, aim: Aim) -> AimLine:
    """Return an aim in words; NotFound if what it names is not in the book."""
    if aim.id is None:
        return AimLine(aim=aim, name="The tray", beside="sorted later")
    if aim.kind == "card":
        row = connection.execute(_CARDS.where(card.c.id == aim.id)).one_or_none()
        if row is None:
            raise NotFound(f"card {aim.id} is not in the book")
        return _of_card(*row)
    row_of(connection, piece, aim.id)  # told where it was taken away
    return _of_piece(aim, *connection.execute(_PIECES.where(piece.c.id == aim.id)).one()[1:])


def aims_of(book: Book) -> tuple[AimLine, ...]:
    """Return what a person may photograph now: the tray, the newest cards, and the pieces of the batch that Today shows."""
    with book.reading() as connection:
        lines = [aim_in_words(connection, Aim())]
        newest = _CARDS.where(wood.c.removed_at.is_(None)).order_by(card.c.id.desc()).limit(MOST_CARDS)
        lines += [_of_card(*row) for row in connection.execute(newest)]
        batch_id = settings_in(connection).batch_id
        if batch_id is None:
            first = sa.select(batch.c.id).where(batch.c.removed_at.is_(None)).order_by(batch.c.position).limit(1)
            batch_id = connection.execute(first).scalar_one_or_none()
        rows = connection.execute(
            _PIECES.where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
            .order_by(piece.c.position)
            .limit(MOST_PIECES)
        ).all()
    lines += [_of_piece(Aim(kind="piece", id=key), name, of, wood_id) for key, name, of, wood_id in rows]
    lines += [_of_piece(Aim(kind="artwork", id=key), name, of, wood_id) for key, name, of, wood_id in rows]
    return tuple(lines)


_CARDS = sa.select(card.c.id, card.c.kind, wood.c.name, wood.c.id).join(wood, wood.c.id == card.c.wood_id)
_PIECES = sa.select(piece.c.id, piece.c.name, wood.c.name, wood.c.id).join(wood, wood.c.id == piece.c.wood_id)


def _of_card(key: int, kind: str, wood_name: str, wood_id: str) -> AimLine:
    name = CARD_KINDS.get(kind, "card")
    return AimLine(
        aim=Aim(kind="card", id=key), name=f"{name[:1].upper()}{name[1:]} {key}", beside=wood_name, wood_id=wood_id
    )


def _of_piece(aim: Aim, name: str, wood_name: str, wood_id: str) -> AimLine:
    beside = "artwork" if aim.kind == "artwork" else f"what came of it, {wood_name}"
    return AimLine(aim=aim, name=name, beside=beside, wood_id=wood_id)
