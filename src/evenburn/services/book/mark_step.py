"""Tick a step of a piece off, or take the tick back; burning writes the logbook and uses up a blank of the shelf."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, Tick, change, row_of
from evenburn.adapters.storage.book.tables import blank, burn, edit, piece, step
from evenburn.core.errors import EvenburnError, InvalidInput, NotFound
from evenburn.core.nouns.check import Check
from evenburn.services.book.finishing import STEPS as FINISHING
from evenburn.services.book.finishing import steps_before
from evenburn.services.book.forbidden import forbidden_in
from evenburn.services.book.plan_piece import plan_of
from evenburn.services.book.saved import Saved
from evenburn.services.book.spoiled import spoiled_of
from evenburn.services.book.strip import TICKED
from evenburn.services.book.wood_rows import finishing_of

BURNT = "burnt"
ID_LONGEST = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankChoice:
    """A blank of the shelf that a piece may be burnt on."""

    blank_id: int
    name: str
    left_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSheet:
    """A step of a piece: when it was done (None where it is not), and for burning the blanks of its wood that are left.

    `forbidden` is the stop of a wood that must not be burnt, where the step is burning; None elsewhere. `stops` says in
    words what of the piece's plan may not be burnt, where the step is burning and not done. `skipped` are the steps before it
    that are not ticked, where it is not done itself; `spoiled_burn_id` is the burn that spoiled the piece, None where none did.
    """

    piece_id: int
    piece_name: str
    batch_id: str
    name: str
    done_at: str | None
    blanks: tuple[BlankChoice, ...]
    forbidden: Check | None = None
    stops: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()
    spoiled_burn_id: int | None = None

    @property
    def out_of_order(self) -> bool:
        """Return whether it is not what comes next to this piece, so that one asks before it is ticked."""
        return self.done_at is None and (
            bool(self.skipped) or (self.name in FINISHING and self.spoiled_burn_id is not None)
        )


def step_of(book: Book, piece_id: int, step_name: str) -> StepSheet:
    """Return a step of a piece.

    Raises
    ------
    NotFound
        If the piece is not in the book, or the step is none that is ticked by hand.
    """
    if step_name not in TICKED:
        raise NotFound(f"“{step_name[:40]}” is no step that is ticked", hint=f"Those are {', '.join(TICKED)}.")
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        at = _done_at(connection, piece_id, step_name)
        forbidden = forbidden_in(connection, row["wood_id"]) if step_name == BURNT else None
        blanks: tuple[BlankChoice, ...] = ()
        if step_name == BURNT and at is None:
            found = connection.execute(
                sa.select(blank.c.id, blank.c.name, blank.c.left_count)
                .where(blank.c.wood_id == row["wood_id"], blank.c.left_count > 0, blank.c.removed_at.is_(None))
                .order_by(blank.c.name)
            )
            blanks = tuple(BlankChoice(blank_id=id_, name=name, left_count=left) for id_, name, left in found)
        skipped = _skipped(connection, row, step_name) if at is None else ()
        spoiled_burn_id = spoiled_of(connection, [piece_id]).get(piece_id)
    return StepSheet(
        piece_id=piece_id,
        piece_name=row["name"],
        batch_id=row["batch_id"],
        name=step_name,
        done_at=at,
        blanks=blanks,
        forbidden=forbidden,
        stops=_stops(book, piece_id) if step_name == BURNT and at is None and forbidden is None else (),
        skipped=skipped,
        spoiled_burn_id=spoiled_burn_id,
    )


def _skipped(connection: sa.Connection, row: Mapping[str, Any], name: str) -> tuple[str, ...]:
    """Return the steps before one that are not ticked; of a wood that does not hold only burning is known to come before."""
    finishing = finishing_of(connection, row["wood_id"]) if name in FINISHING else ()
    ticked = set(connection.execute(sa.select(step.c.name).where(step.c.piece_id == row["id"])).scalars())
    return tuple(one for one in steps_before(name, finishing) if one not in ticked)


def _stops(book: Book, piece_id: int) -> tuple[str, ...]:
    """Return what the plan says may not be burnt; nothing where there is no plan, or its files are gone."""
    planned = plan_of(book, piece_id)
    if planned is None or not planned.summary.stops:
        return ()
    try:
        document = planned.document()
    except EvenburnError:
        return ()
    found = [check for one in document["pieces"] for check in one["checks"] if check["level"] == "stop"]
    return tuple(
        dict.fromkeys(f"{check['mark']}: {check['text']}" if check["mark"] else check["text"] for check in found)
    )


def mark_step(book: Book, piece_id: int, step_name: str, *, done: bool, now: str, blank_id: int | None = None) -> Saved:
    """Tick a step off, or take the tick back.

    Burning writes a line of the logbook for each mark that has a program, with the recipe and prediction of the plan as it
    stands, and uses up one blank; taking it back takes the lines away and puts the blank back on the shelf.

    Parameters
    ----------
    step_name : one of `TICKED`.
    blank_id : of the shelf, used up by burning.

    Raises
    ------
    NotFound
        If the piece or the blank is not in the book.
    InvalidInput
        If the step cannot be ticked, is so already, none of that blank is left, or the material must not be burnt at all.
    """
    if step_name not in TICKED:
        raise InvalidInput({"step": f"is “{step_name}”; those that are ticked by hand are {', '.join(TICKED)}"})
    marks = _marks(book, piece_id) if done and step_name == BURNT else ((), ())
    with book.writing() as connection:
        row = row_of(connection, piece, piece_id)
        at = _done_at(connection, piece_id, step_name)
        if done == (at is not None):
            raise InvalidInput(
                {"step": f"“{step_name}” of {row['name']} {'is ticked already' if done else 'is not ticked'}"},
                hint="It was done in another window. Look at the piece as it is now.",
            )
        forbidden = forbidden_in(connection, row["wood_id"]) if done and step_name == BURNT else None
        if forbidden is not None:
            raise InvalidInput(
                {"step": f"“burnt” is not ticked for {row['name']}. {forbidden.text}"}, hint=forbidden.remedy
            )
        notes: list[str] = list(marks[1])
        skipped = _skipped(connection, row, step_name) if done else ()
        if skipped:
            notes.append(f"{said_together(skipped)} {'is' if len(skipped) == 1 else 'are'} not ticked.")
        changes: list[Change] = []
        if step_name == BURNT:
            if done:
                changes = [_burn_line(row, mark_id, mark, now=now) for mark_id, mark in marks[0]]
                changes += _use_up(connection, blank_id, notes)
            else:
                changes = _taken_back(connection, piece_id, str(at), notes)
        what = f"{row['name']}: {step_name}" + ("" if done else " taken back")
        tick = Tick(piece_id=piece_id, name=step_name, done_at=now if done else None)
        made = change(connection, changes, what=what, now=now, ticks=[tick])
    return Saved(edit_id=made.edit_id, what=what, key=piece_id, version=row["version"], notes=tuple(notes))


def said_together(names: Sequence[str]) -> str:
    """Return steps in quotes, as one says them together: “burnt”, “washed” and “dry”."""
    quoted = [f"“{name}”" for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} and {quoted[-1]}"


def _done_at(connection: sa.Connection, piece_id: int, name: str) -> str | None:
    found = connection.execute(sa.select(step.c.done_at).where(step.c.piece_id == piece_id, step.c.name == name))
    return found.scalar_one_or_none()


def _marks(book: Book, piece_id: int) -> tuple[tuple[tuple[str, Mapping[str, Any]], ...], tuple[str, ...]]:
    """Return the marks that were burnt, as the plan has them, and what to say of the plan."""
    planned = plan_of(book, piece_id)
    nothing = "It was not planned, so the logbook has no recipe of it."
    if planned is None:
        return (), (nothing,)
    try:
        document = planned.document()
    except EvenburnError:
        return (), (nothing,)
    several = len(document["pieces"]) > 1
    found = [
        (f"{one['id']}/{mark['id']}"[-ID_LONGEST:] if several else mark["id"], mark)
        for one in document["pieces"]
        for mark in one["marks"]
        if mark["files"]["program"] is not None
    ]
    stale = "The logbook has the recipe of the last plan; the piece was changed since." if not planned.fresh else ""
    return tuple(found), (stale,) if stale else ()


def _burn_line(row: Mapping[str, Any], mark_id: str, mark: Mapping[str, Any], *, now: str) -> Change:
    predicted = {**mark["predicted"], "wished_tone_L": mark["wished_tone_L"], "treatment": mark["treatment"]}
    return Change(
        table=burn,
        key=None,
        values={
            "piece_id": row["id"],
            "mark_id": mark_id,
            "wood_id": row["wood_id"],
            "burnt_at": now,
            "recipe": mark["recipe"],
            "predicted": predicted,
            "note": "",
        },
    )


def _use_up(connection: sa.Connection, blank_id: int | None, notes: list[str]) -> list[Change]:
    if blank_id is None:
        return []
    row = row_of(connection, blank, blank_id)
    if row["left_count"] < 1:
        raise InvalidInput(
            {"blank_id": f"none of “{row['name']}” is left"}, hint="Count the shelf, or tick it without a blank."
        )
    left = row["left_count"] - 1
    notes.append(f"One of “{row['name']}” used up; {left or 'none'} left.")
    return [Change(table=blank, key=blank_id, values={"left_count": left}, version=row["version"])]


def _taken_back(connection: sa.Connection, piece_id: int, at: str, notes: list[str]) -> list[Change]:
    """Return the changes that take a burn's lines away, and put the blank it used back."""
    lines = connection.execute(
        sa.select(burn.c.id, burn.c.version).where(
            burn.c.piece_id == piece_id, burn.c.burnt_at == at, burn.c.removed_at.is_(None)
        )
    )
    changes = [Change(table=burn, key=id_, values=None, version=version) for id_, version in lines]
    blank_id = _blank_used(connection, piece_id, at)
    if blank_id is not None:
        row = row_of(connection, blank, blank_id)
        changes.append(
            Change(table=blank, key=blank_id, values={"left_count": row["left_count"] + 1}, version=row["version"])
        )
        notes.append(f"One of “{row['name']}” is back on the shelf.")
    return changes


def _blank_used(connection: sa.Connection, piece_id: int, at: str) -> int | None:
    """Return the blank that the tick of that moment used up, None where it used none or the shelf no longer has it."""
    ticked = {"table": step.name, "key": [piece_id, BURNT], "before": None, "after": at}
    for rows in connection.execute(
        sa.select(edit.c.rows).where(edit.c.made_at == at, edit.c.undone_at.is_(None))
    ).scalars():
        if ticked not in rows:
            continue
        for row in rows:
            if row["table"] == blank.name:
                standing = connection.execute(sa.select(blank.c.removed_at).where(blank.c.id == row["key"])).first()
                return int(row["key"]) if standing is not None and standing[0] is None else None
    return None
