"""Batches: the list of them, and a new one that pieces can be added to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import batch, machine, piece, step
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.names import new_id, same_words
from evenburn.services.book.saved import Saved
from evenburn.services.book.settings import settings_in
from evenburn.services.book.spoiled import spoiled_by_batch
from evenburn.services.book.take_in import POSITION_STEP

NAME_LONGEST = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineChoice:
    """A machine that a batch can be burnt on, and its lenses."""

    machine_id: str
    name: str
    lenses: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchKept:
    """A batch as the list of batches tells it; `shown` is whether Today shows it, and `burnt` counts none of the spoiled."""

    batch_id: str
    name: str
    subtitle: str
    count: int
    burnt: int
    spoiled: int
    shown: bool
    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NewBatch:
    """What a person says of a new batch."""

    name: str
    subtitle: str
    machine_id: str
    lens: str


def machine_choices(book: Book) -> tuple[MachineChoice, ...]:
    """Return the machines of the book with their lenses."""
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(machine.c.id, machine.c.document).where(machine.c.removed_at.is_(None)).order_by(machine.c.id)
        )
        return tuple(_choice(str(id_), document) for id_, document in rows)


def list_batches(book: Book) -> tuple[BatchKept, ...]:
    """Return all batches, the newest first."""
    with book.reading() as connection:
        counts = _counts(connection, sa.select(piece.c.batch_id, sa.func.count()).where(piece.c.removed_at.is_(None)))
        burnt = _counts(
            connection,
            sa.select(piece.c.batch_id, sa.func.count())
            .join(step, sa.and_(step.c.piece_id == piece.c.id, step.c.name == "burnt"))
            .where(piece.c.removed_at.is_(None)),
        )
        spoiled = spoiled_by_batch(connection)
        chosen = settings_in(connection).batch_id
        rows = connection.execute(
            sa.select(batch.c.id, batch.c.document, batch.c.version)
            .where(batch.c.removed_at.is_(None))
            .order_by(batch.c.position)
        ).all()
    ids = [str(row[0]) for row in rows]
    shown = chosen if chosen in ids else next(iter(ids), None)
    return tuple(
        BatchKept(
            batch_id=str(id_),
            name=document["name"],
            subtitle=document.get("subtitle", ""),
            count=counts.get(str(id_), 0),
            burnt=burnt.get(str(id_), 0) - spoiled.get(str(id_), 0),
            spoiled=spoiled.get(str(id_), 0),
            shown=str(id_) == shown,
            version=version,
        )
        for id_, document, version in reversed(rows)
    )


def new_batch(book: Book, wish: NewBatch, *, now: str) -> Saved:
    """Begin a batch; `key` of what comes back is its id.

    Raises
    ------
    InvalidInput
        With every field that does not hold.
    """
    name = wish.name.strip()
    with book.writing() as connection:
        wrong: dict[str, str] = {}
        if not name:
            wrong["name"] = "is empty; write what the pieces are for"
        for field, text in (("name", name), ("subtitle", wish.subtitle)):
            if len(text) > NAME_LONGEST:
                wrong[field] = f"has {len(text)} letters; allowed are {NAME_LONGEST}"
        if name and batch_named(connection, name):
            wrong["name"] = f"“{name}” is a batch already; add to that one, or call this one otherwise"
        lenses: tuple[str, ...] = ()
        try:
            lenses = _choice(wish.machine_id, row_of(connection, machine, wish.machine_id)["document"]).lenses
        except NotFound:
            wrong["machine"] = f"“{wish.machine_id[:40]}” is not in the book" if wish.machine_id else "is not chosen"
        if lenses and wish.lens not in lenses:
            wrong["lens"] = f"“{wish.lens[:40]}” is none of this machine's; it has {', '.join(lenses)}"
        if wrong:
            raise InvalidInput(wrong)
        batch_id = new_id(name, set(connection.execute(sa.select(batch.c.id)).scalars()), otherwise="batch")
        last = connection.execute(sa.select(sa.func.max(batch.c.position))).scalar() or 0
        document = {"name": name, "subtitle": wish.subtitle.strip(), "machine": wish.machine_id, "lens": wish.lens}
        what = f"“{name}” begun"
        values = {"position": int(last) + POSITION_STEP, "document": document}
        made = change(connection, [Change(table=batch, key=batch_id, values=values)], what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=batch_id, version=1)


def batch_named(connection: sa.Connection, name: str) -> bool:
    """Return whether a batch is called so; capitals and blanks do not count."""
    names = connection.execute(sa.select(batch.c.document["name"].as_string()).where(batch.c.removed_at.is_(None)))
    return same_words(name) in map(same_words, names.scalars())


def _counts(connection: sa.Connection, counted: sa.Select[Any]) -> dict[str, int]:
    return {str(id_): int(count) for id_, count in connection.execute(counted.group_by(piece.c.batch_id))}


def _choice(machine_id: str, document: dict[str, Any]) -> MachineChoice:
    lenses = tuple(str(lens["name"]) for lens in document.get("lens") or ())
    return MachineChoice(machine_id=machine_id, name=document["name"], lenses=lenses)
