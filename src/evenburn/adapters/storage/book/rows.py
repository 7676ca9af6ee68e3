"""Change rows so that nothing is overwritten in silence and everything can be undone.

Each change is written down in `edit` with what stood there before, in the same transaction. Undo puts that back, unless
somebody has changed the row since: then it is told, as any later save is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import BOOK, edit, step
from evenburn.core.errors import ChangedMeanwhile, NotFound

Values = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One row to be changed.

    Attributes
    ----------
    key : of the row; None to add one whose key the database gives.
    values : columns to set; None takes the row away (it is hidden, and undo brings it back).
    version : that the person saw; None where the row is new.
    """

    table: sa.Table
    key: str | int | None
    values: Values | None
    version: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A step of a piece that is ticked, or taken back where `done_at` is None."""

    piece_id: int
    name: str
    done_at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What came of a change: its number for undo, and the keys of the rows in their order."""

    edit_id: int
    keys: tuple[str | int, ...]


def change(
    connection: sa.Connection, changes: Sequence[Change], *, what: str, now: str, ticks: Sequence[Tick] = ()
) -> Made:
    """Make changes together, and write them down.

    Parameters
    ----------
    ticks : steps of pieces that are ticked or taken back along with them.

    Raises
    ------
    ChangedMeanwhile
        If a row is not as the person saw it; nothing is changed.
    NotFound
        If a row is not there.
    """
    rows: list[dict[str, Any]] = []
    keys: list[str | int] = []
    for one in changes:
        key, before, after = _apply(connection, one, now=now)
        keys.append(key)
        rows.append({"table": one.table.name, "key": key, "before": before, "after": after})
    for tick in ticks:
        before_at = _ticked(connection, tick.piece_id, tick.name)
        _tick(connection, tick)
        rows.append({"table": step.name, "key": [tick.piece_id, tick.name], "before": before_at, "after": tick.done_at})
    made = connection.execute(sa.insert(edit).values(made_at=now, what=what, rows=rows))
    return Made(edit_id=_new_key(made), keys=tuple(keys))


def undo(connection: sa.Connection, edit_id: int, *, now: str) -> str:
    """Put back what stood before a change, and return what it was, in words.

    Raises
    ------
    NotFound
        If there is no such change, or it is undone already.
    ChangedMeanwhile
        If one of its rows was changed since; nothing is put back.
    """
    found = connection.execute(sa.select(edit).where(edit.c.id == edit_id)).mappings().one_or_none()
    if found is None or found["undone_at"] is not None:
        raise NotFound("there is nothing to undo", hint="It is undone already, or the book was replaced by another.")
    for row in reversed(found["rows"]):
        if row["table"] == step.name:
            _tick_back(connection, row)
        else:
            _put_back(connection, row, now=now)
    connection.execute(sa.update(edit).where(edit.c.id == edit_id).values(undone_at=now))
    return str(found["what"])


def row_of(connection: sa.Connection, table: sa.Table, key: str | int) -> dict[str, Any]:
    """Return a row that was not taken away; NotFound if there is none."""
    row = _row(connection, table, key)
    if row is None or row["removed_at"] is not None:
        raise NotFound(f"{table.name} {key} is not in the book")
    return row


def _row(connection: sa.Connection, table: sa.Table, key: str | int) -> dict[str, Any] | None:
    found = connection.execute(sa.select(table).where(table.c.id == key)).mappings().one_or_none()
    return None if found is None else dict(found)


def _new_key(made: sa.CursorResult[Any]) -> int:
    key = made.inserted_primary_key
    assert key is not None  # noqa: S101  # one row was inserted, and its table has a key
    return int(key[0])


def _apply(
    connection: sa.Connection, one: Change, *, now: str
) -> tuple[str | int, dict[str, Any] | None, dict[str, Any] | None]:
    table = one.table
    standing = None if one.key is None else _row(connection, table, one.key)
    if one.version is None and standing is None:
        if one.values is None:
            raise NotFound(f"{table.name} {one.key} is not in the book")
        values = {**one.values, "version": 1, "changed_at": now, "removed_at": None}
        if one.key is not None:
            values["id"] = one.key
        made = connection.execute(sa.insert(table).values(**values))
        key = one.key if one.key is not None else _new_key(made)
        return key, None, _row(connection, table, key)
    assert one.key is not None  # noqa: S101  # a version without a key names nothing
    if standing is None:
        raise NotFound(f"{table.name} {one.key} is not in the book")
    values = {"removed_at": now} if one.values is None else {**one.values, "removed_at": None}
    seen = one.version if one.version is not None else int(standing["version"])
    if one.version is None and standing["removed_at"] is None:
        raise ChangedMeanwhile(f"{table.name} {one.key} is in the book already", hint="Choose another name.")
    _step_on(connection, table, one.key, seen=seen, values=values, now=now)
    return one.key, standing, _row(connection, table, one.key)


def _step_on(
    connection: sa.Connection, table: sa.Table, key: str | int, *, seen: int, values: Values, now: str
) -> None:
    """Set columns of a row if it still is of the version seen; the database itself compares, so that no two may win."""
    changed = connection.execute(
        sa.update(table)
        .where(table.c.id == key, table.c.version == seen)
        .values(**{**values, "version": seen + 1, "changed_at": now})
    )
    if changed.rowcount != 1:
        raise ChangedMeanwhile(
            f"this {table.name} was changed in another window since you opened it; your change is not saved",
            hint="Look at it as it is now, then make your change again.",
            kind=table.name,
            key=str(key),
        )


def _put_back(connection: sa.Connection, row: Mapping[str, Any], *, now: str) -> None:
    table = BOOK.tables[row["table"]]
    before, after = row["before"], row["after"]
    standing = _row(connection, table, row["key"])
    same = standing is not None and _content(standing) == _content(after)  # also where it was changed, and changed back
    seen = int(standing["version"] if standing is not None and same else after["version"])
    if before is None:
        _step_on(connection, table, row["key"], seen=seen, values={"removed_at": now}, now=now)
        return
    _step_on(connection, table, row["key"], seen=seen, values=_content(before), now=now)


def _content(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a person changes of a row."""
    return {name: value for name, value in row.items() if name not in ("id", "version", "changed_at")}


# ---- steps: rows without a version, for a tick is there or not -------------------------------------------------


def _ticked(connection: sa.Connection, piece_id: int, name: str) -> str | None:
    at = connection.execute(sa.select(step.c.done_at).where(step.c.piece_id == piece_id, step.c.name == name))
    return at.scalar_one_or_none()


def _tick(connection: sa.Connection, tick: Tick) -> None:
    connection.execute(sa.delete(step).where(step.c.piece_id == tick.piece_id, step.c.name == tick.name))
    if tick.done_at is not None:
        connection.execute(sa.insert(step).values(piece_id=tick.piece_id, name=tick.name, done_at=tick.done_at))


def _tick_back(connection: sa.Connection, row: Mapping[str, Any]) -> None:
    piece_id, name = row["key"]
    if _ticked(connection, piece_id, name) != row["after"]:
        raise ChangedMeanwhile(
            f"“{name}” was ticked or taken back since", hint="Look at the piece as it is now, and tick it there."
        )
    _tick(connection, Tick(piece_id=piece_id, name=name, done_at=row["before"]))
