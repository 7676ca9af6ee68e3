"""The woods that a piece can be of: those of the book, then those that ship and are not in it yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.wood_toml import shipped_ids, shipped_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import curve, wood
from evenburn.services.book.wood_rows import LEARNT

MOST = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodChoice:
    """A wood to choose; `in_book` where the book has it, `known` where it works with a curve that was measured, not only believed."""

    wood_id: str
    name: str
    surface: str
    in_book: bool
    known: bool


def wood_choices(book: Book) -> tuple[WoodChoice, ...]:
    """Return the woods of the book by name, then the shipped ones that it has not."""
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(wood.c.id, wood.c.name, wood.c.document["surface"].as_string(), curve.c.document)
            .select_from(wood.outerjoin(curve, wood.c.curve_id == curve.c.id))
            .where(wood.c.removed_at.is_(None))
            .order_by(wood.c.name, wood.c.id)
            .limit(MOST)
        ).all()
    own = [
        WoodChoice(wood_id=i, name=name, surface=surface or "bare", in_book=True, known=_learnt(own))
        for i, name, surface, own in rows
    ]
    there = {choice.wood_id for choice in own}
    shipped = [shipped_wood(i) for i in shipped_ids() if i not in there]
    return (
        *own,
        *(WoodChoice(wood_id=w.id, name=w.name, surface="bare", in_book=False, known=False) for w in shipped),
    )


def _learnt(curve_document: Mapping[str, Any] | None) -> bool:
    return curve_document is not None and curve_document["provenance"]["kind"] in LEARNT
