"""What of a book does not hold: rows whose document is none, as a backup from elsewhere may bring in.

Asked only where something went wrong that nobody foresaw, so that a person is told which row it is instead of nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.batch_toml import BlankTable, PieceTable
from evenburn.adapters.formats.machine_toml import MachineTable
from evenburn.adapters.formats.strict import StrictModel, checked
from evenburn.adapters.formats.wood_toml import CurveDocument, WoodTable
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import batch, blank, burn, card, curve, machine, piece, plan, reading, wood
from evenburn.core.errors import InvalidInput, UnreadableFile

AT_ONCE = 500
HINT = "Take the last changes back, or restore another backup."


def fault_in_book(book: Book) -> UnreadableFile | None:
    """Return what is wrong with the first row whose document does not hold, None where all do."""
    with book.reading() as connection:
        for table, column, wrong in _LOOKED_AT:
            key = next(iter(table.primary_key))
            wished = sa.select(key, column).order_by(key)
            if "removed_at" in table.c:
                wished = wished.where(table.c.removed_at.is_(None))
            for key_, document in connection.execution_options(yield_per=AT_ONCE).execute(wished):
                text = wrong(document)
                if text:
                    return UnreadableFile(book.name, f"{table.name} {key_} is not sound: {text}", hint=HINT)
    return None


def _held_by(form: type[StrictModel], *, inside: str = "") -> Callable[[Any], str]:
    """Return what says what is wrong with a document, or with what stands in it under a key."""

    def wrong(document: Any) -> str:
        told = _no_table(document)
        if told or not isinstance(document, Mapping):
            return told
        part = document.get(inside) if inside else document
        if not isinstance(part, Mapping):
            return f"{inside} is missing"
        try:
            checked(form, dict(part), name="")
        except InvalidInput as error:
            return "; ".join(f"{where}: {text}" for where, text in list(error.fields.items())[:3])
        return ""

    return wrong


def _no_table(document: Any) -> str:
    return "" if isinstance(document, Mapping) else "its document is no table of names and values"


def _named(*keys: str) -> Callable[[Any], str]:
    """Return what says which keys a document lacks."""

    def wrong(document: Any) -> str:
        told = _no_table(document)
        lacks = [] if told else [key for key in keys if key not in document]
        return told or (f"{' and '.join(lacks)} missing" if lacks else "")

    return wrong


_LOOKED_AT: tuple[tuple[sa.Table, sa.ColumnElement[Any], Callable[[Any], str]], ...] = (
    (machine, machine.c.document, _held_by(MachineTable)),
    (wood, wood.c.document, _held_by(WoodTable)),
    (curve, curve.c.document, _held_by(CurveDocument)),
    (batch, batch.c.document, _named("name", "machine", "lens")),
    (piece, piece.c.document, _held_by(PieceTable)),
    (blank, blank.c.document, _held_by(BlankTable, inside="blank")),
    (plan, plan.c.document, _named("time_s", "stops", "set_ups")),
    (card, card.c.document, _named("mat")),
    (reading, reading.c.document, _no_table),
    (burn, burn.c.recipe, _named("power_W", "speed_mm_per_s")),
    (burn, burn.c.predicted, _no_table),
    (burn, burn.c.outcome, lambda document: "" if document is None else _no_table(document)),
)
