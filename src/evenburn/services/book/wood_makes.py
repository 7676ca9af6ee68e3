"""What a card of a wood may be made for: machines of the book with their lenses, and what is to be said of the material."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import machine
from evenburn.core.nouns.check import Check
from evenburn.services.book.wood_cards import cards_in
from evenburn.services.book.wood_rows import cautions_of, row_with_curve, wood_of_row


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineLens:
    """A machine of the book with one of its lenses."""

    machine_id: str
    machine_name: str
    lens: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardChoices:
    """What a card may be made for.

    Attributes
    ----------
    number : that the card will have among those of its wood.
    checks : cautions about the material; `forbids` is what stops it, empty where nothing does.
    """

    wood_id: str
    name: str
    number: int
    machines: tuple[MachineLens, ...]
    checks: tuple[Check, ...]
    forbids: str


def choices_for_card(book: Book, wood_id: str) -> CardChoices:
    """Return what a card of a wood may be made for; NotFound without the wood."""
    with book.reading() as connection:
        row, own = row_with_curve(connection, wood_id)
        number = len(cards_in(connection, wood_id)) + 1
        rows = connection.execute(
            sa.select(machine.c.id, machine.c.document).where(machine.c.removed_at.is_(None)).order_by(machine.c.id)
        ).all()
    one = wood_of_row(wood_id, row["document"], own)
    checks = cautions_of(one, row["document"], called=row["name"])
    return CardChoices(
        wood_id=wood_id,
        name=str(row["name"]),
        number=number,
        machines=tuple(
            MachineLens(machine_id=str(id_), machine_name=str(document["name"]), lens=str(lens["name"]))
            for id_, document in rows
            for lens in document["lens"]
        ),
        checks=checks,
        forbids=next((f"{check.text} {check.remedy}" for check in checks if check.level == "stop"), ""),
    )
