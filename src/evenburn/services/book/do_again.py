"""Do it like that one again: put a burn's recipe into a mark, or make a new piece alike."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import batch, burn, piece, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.names import new_id
from evenburn.services.book.saved import Saved
from evenburn.services.book.settings import settings_in
from evenburn.services.book.take_in import POSITION_STEP, checked_piece, piece_values

# what pins a recipe in batch.toml's `hold`; air stands in the mark itself
HELD = (*("speed_mm_per_s", "power_W", "line_spacing_mm", "focus_offset_mm", "passes", "scan_axis", "direction"),)
MOST_TARGETS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A mark that a recipe may be put into; `same_wood` tells whether it is of the wood that was burnt."""

    piece_id: int
    piece_name: str
    wood_name: str
    mark_id: str
    treatment: str
    version: int
    same_wood: bool


def targets_of(book: Book, burn_id: int) -> tuple[Target, ...]:
    """Return the marks of the batch on Today that a burn's recipe may be put into, those of its wood first."""
    with book.reading() as connection:
        row = row_of(connection, burn, burn_id)
        rows = connection.execute(
            sa.select(piece.c.id, piece.c.name, piece.c.wood_id, piece.c.document, piece.c.version, wood.c.name)
            .join(wood, wood.c.id == piece.c.wood_id)
            .where(piece.c.batch_id == _batch_id(connection), piece.c.removed_at.is_(None))
            .order_by(piece.c.wood_id != row["wood_id"], piece.c.position)
            .limit(MOST_TARGETS)
        ).all()
    return tuple(
        Target(
            piece_id=id_,
            piece_name=name,
            wood_name=wood_name,
            mark_id=mark["id"],
            treatment=mark.get("treatment", "solid"),
            version=version,
            same_wood=wood_id == row["wood_id"],
        )
        for id_, name, wood_id, document, version, wood_name in rows
        for mark in document["mark"]
    )


def do_it_again(book: Book, burn_id: int, piece_id: int, mark_id: str, *, version: int, now: str) -> Saved:
    """Put a burn's recipe into a mark of a piece, so that planning holds to it; can be undone.

    Parameters
    ----------
    version : of the piece, that the person saw.

    Raises
    ------
    InvalidInput
        At `mark`, if the piece has no such mark.
    ChangedMeanwhile
        If the piece was changed since.
    """
    with book.writing() as connection:
        of = row_of(connection, burn, burn_id)
        row = row_of(connection, piece, piece_id)
        document = _with_recipe(row["document"], {mark_id: of["recipe"]})
        what = f"Recipe of {of['burnt_at'][:10]} put into “{row['name']}”"
        made = change(
            connection,
            [
                Change(
                    table=piece,
                    key=piece_id,
                    values=piece_values(document, row["batch_id"], row["position"]),
                    version=version,
                )
            ],
            what=what,
            now=now,
        )
    notes = (
        () if of["wood_id"] == row["wood_id"] else ("It is of another wood, where the same recipe burns otherwise.",)
    )
    return Saved(edit_id=made.edit_id, what=what, key=piece_id, version=version + 1, notes=notes)


def make_alike(book: Book, burn_id: int, *, now: str) -> Saved:
    """Add a piece like the one that was burnt, every mark of it held to what it was burnt with, to the batch on Today.

    Raises
    ------
    NotFound
        If there is no batch, or the burn is not in the logbook.
    """
    with book.writing() as connection:
        of = row_of(connection, burn, burn_id)
        like = connection.execute(sa.select(piece).where(piece.c.id == of["piece_id"])).mappings().one()
        batch_id = _batch_id(connection)
        if batch_id is None:
            raise NotFound("there is no batch to add a piece to", hint="Begin one on Today.")
        recipes = dict(
            connection.execute(
                sa.select(burn.c.mark_id, burn.c.recipe).where(
                    burn.c.piece_id == of["piece_id"],
                    burn.c.burnt_at == of["burnt_at"],
                    burn.c.removed_at.is_(None),
                )
            ).all()
        )
        taken = set(connection.execute(sa.select(piece.c.slug).where(piece.c.batch_id == batch_id)).scalars())
        slug = new_id(like["slug"], taken, otherwise="piece")
        marks = {mark["id"] for mark in like["document"]["mark"]}
        document = _with_recipe(like["document"], {m: r for m, r in recipes.items() if m in marks})
        document = {**document, "id": slug, "name": f"{like['name']}, again"[:240]}
        last = connection.execute(sa.select(sa.func.max(piece.c.position)).where(piece.c.batch_id == batch_id)).scalar()
        what = f"“{document['name']}” added"
        made = change(
            connection,
            [Change(table=piece, key=None, values=piece_values(document, batch_id, int(last or 0) + POSITION_STEP))],
            what=what,
            now=now,
        )
    return Saved(edit_id=made.edit_id, what=what, key=made.keys[0], version=1)


def _batch_id(connection: sa.Connection) -> str | None:
    chosen = settings_in(connection).batch_id
    if chosen is not None:
        return chosen
    first = sa.select(batch.c.id).where(batch.c.removed_at.is_(None)).order_by(batch.c.position).limit(1)
    return connection.execute(first).scalar_one_or_none()


def _with_recipe(document: Mapping[str, Any], recipes: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Return a piece's document whose marks hold to recipes."""
    wished: dict[str, Any] = deepcopy(dict(document))
    known = {mark["id"]: mark for mark in wished["mark"]}
    for mark_id, recipe in recipes.items():
        if mark_id not in known:
            raise InvalidInput({"mark": f"“{mark_id}” is no mark of it; it has {', '.join(known)}"})
        mark = known[mark_id]
        mark["hold"] = {key: recipe[key] for key in HELD if recipe.get(key) is not None}
        if recipe.get("air_kPa") is not None:
            mark["air_kPa"] = recipe["air_kPa"]
    return checked_piece(wished)
