"""The index of pieces: all of every batch, searched by name, wood or batch, a page at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import batch, piece, plan, step, wood
from evenburn.core.errors import InvalidInput
from evenburn.services.book.inputs import inputs_sha256, sources_of
from evenburn.services.book.spoiled import spoiled_of
from evenburn.services.book.strip import TICKED
from evenburn.services.book.today import size_mm

PER_PAGE = 60
SEARCH_LONGEST = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceLine:
    """A piece as the index tells it.

    Attributes
    ----------
    state : "spoiled" where its burn was graded so, the last step that was ticked, else "stop", "planned", "changed since it was
        planned" or "not planned".
    spoiled_burn_id : the burn that spoiled it; None where none did.
    state_at : when that step was ticked; None for the others.
    size_mm : box and thickness; the box is None where only its outline knows.
    time_s : machine time, None where it was not planned. [s]
    pictured : whether its plan has a picture; what must not be burnt has none.
    """

    piece_id: int
    name: str
    batch_id: str
    batch_name: str
    wood_id: str
    wood_name: str
    size_mm: tuple[float | None, float | None, float]
    state: str
    state_at: str | None
    spoiled_burn_id: int | None
    stops: int
    time_s: float | None
    inputs_sha256: str | None
    pictured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceList:
    """A page of the index: how many are found in all, which page of how many, and how many pieces the book has."""

    lines: tuple[PieceLine, ...]
    count: int
    page: int
    pages: int
    in_book: int


def list_pieces(book: Book, *, search: str = "", page: int = 1) -> PieceList:
    """Return a page of the pieces that a search finds, those of the newest batch first.

    Parameters
    ----------
    search : words that all stand in the name of the piece, its wood or its batch; empty for all pieces.
    page : from 1, `PER_PAGE` pieces each; past the last it is the last.

    Raises
    ------
    InvalidInput
        If the page is none, or the search too long.
    """
    if page < 1:
        raise InvalidInput({"page": f"is {page}; allowed is 1 or more"})
    if len(search) > SEARCH_LONGEST:
        raise InvalidInput({"search": f"has {len(search)} letters; allowed are {SEARCH_LONGEST}"})
    with book.reading() as connection:
        batches = {
            str(id_): document
            for id_, document in connection.execute(
                sa.select(batch.c.id, batch.c.document).where(batch.c.removed_at.is_(None))
            )
        }
        in_book = connection.execute(_standing(sa.select(sa.func.count(piece.c.id)))).scalar_one()
        found = _found(search, batches)
        count = connection.execute(_standing(sa.select(sa.func.count(piece.c.id))).where(found)).scalar_one()
        pages = max(1, -(-count // PER_PAGE))
        page = min(page, pages)
        told = sa.select(
            piece,
            wood.c.name.label("wood_name"),
            plan.c.time_s,
            plan.c.inputs_sha256,
            plan.c.document["stops"].as_integer().label("stops"),
            plan.c.document["marks"].as_integer().label("marks"),
        )
        shown = (
            _standing(told)
            .where(found)
            .order_by(batch.c.position.desc(), piece.c.position, piece.c.id)
            .limit(PER_PAGE)
            .offset((page - 1) * PER_PAGE)
        )
        rows = [dict(row) for row in connection.execute(shown).mappings()]
        ticks = _last_ticks(connection, [row["id"] for row in rows])
        fresh = _fresh(connection, rows)
        spoiled = spoiled_of(connection, [row["id"] for row in rows])
    lines = tuple(
        _line(
            row,
            batches[row["batch_id"]],
            tick=ticks.get(row["id"]),
            fresh=row["id"] in fresh,
            spoiled_burn_id=spoiled.get(row["id"]),
        )
        for row in rows
    )
    return PieceList(lines=lines, count=count, page=page, pages=pages, in_book=in_book)


def _standing(select: sa.Select[Any]) -> sa.Select[Any]:
    joined = piece.join(batch, batch.c.id == piece.c.batch_id).join(wood, wood.c.id == piece.c.wood_id)
    return select.select_from(joined.outerjoin(plan, plan.c.piece_id == piece.c.id)).where(
        piece.c.removed_at.is_(None), batch.c.removed_at.is_(None)
    )


def _found(search: str, batches: Mapping[str, Mapping[str, Any]]) -> sa.ColumnElement[bool]:
    """Return that all words of a search stand in a piece's name, its wood's, or its batch's."""
    conditions: list[sa.ColumnElement[bool]] = [sa.true()]
    for word in search.casefold().split():
        named = [id_ for id_, document in batches.items() if word in document["name"].casefold()]
        conditions.append(
            sa.or_(
                piece.c.name.icontains(word, autoescape=True),
                piece.c.wood_id.icontains(word, autoescape=True),
                wood.c.name.icontains(word, autoescape=True),
                piece.c.batch_id.in_(named),
            )
        )
    return sa.and_(*conditions)


def _last_ticks(connection: sa.Connection, ids: Sequence[int]) -> dict[int, tuple[str, str]]:
    """Return of each piece the last step that was ticked, and when."""
    found: dict[int, tuple[str, str]] = {}
    for id_, name, at in connection.execute(
        sa.select(step.c.piece_id, step.c.name, step.c.done_at).where(step.c.piece_id.in_(ids))
    ):
        if name in TICKED and (id_ not in found or TICKED.index(name) > TICKED.index(found[id_][0])):
            found[id_] = (name, at)
    return found


def _fresh(connection: sa.Connection, rows: Sequence[Mapping[str, Any]]) -> set[int]:
    """Return the pieces whose plan is of them as they stand."""
    fresh: set[int] = set()
    for batch_id in dict.fromkeys(row["batch_id"] for row in rows):
        here = [row for row in rows if row["batch_id"] == batch_id]
        sources = sources_of(connection, batch_id, [row["document"] for row in here])
        fresh |= {row["id"] for row in here if row["inputs_sha256"] == inputs_sha256(sources, [row["document"]])}
    return fresh


def _line(
    row: Mapping[str, Any],
    about: Mapping[str, Any],
    *,
    tick: tuple[str, str] | None,
    fresh: bool,
    spoiled_burn_id: int | None,
) -> PieceLine:
    stops = row["stops"] or 0
    if spoiled_burn_id is not None:
        state = "spoiled"
    elif tick is not None:
        state = tick[0]
    elif row["inputs_sha256"] is None:
        state = "not planned"
    elif not fresh:
        state = "changed since it was planned"
    else:
        state = "stop" if stops else "planned"
    return PieceLine(
        piece_id=row["id"],
        name=row["name"],
        batch_id=row["batch_id"],
        batch_name=about["name"],
        wood_id=row["wood_id"],
        wood_name=row["wood_name"],
        size_mm=size_mm(row["document"]["blank"]),
        state=state,
        state_at=None if tick is None else tick[1],
        spoiled_burn_id=spoiled_burn_id,
        stops=stops,
        time_s=row["time_s"],
        inputs_sha256=row["inputs_sha256"],
        pictured=bool(row["marks"]),
    )
