"""How many blanks of the shelf are wanted: by pieces that are placed on one like it and are not burnt yet.

A piece does not say which blank of the shelf it takes before it is burnt. It counts for a blank of its wood, shape, size and
thickness; of several such lines the ones put there first are wanted first, and what is too much falls to the last.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import blank, piece, plan, step

SAME_mm = 0.05  # what a calliper tells apart
Form = tuple[Any, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Short:
    """A blank of the shelf of which pieces want more than are there; `blank_id` is the last line of its kind."""

    blank_id: int
    name: str
    left: int
    wanted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Wants:
    """What the shelf is wanted for: pieces by line of the shelf, and by form where they are more than the blanks."""

    by_line: Mapping[int, int]
    short: Mapping[Form, Short]
    of_batches: Mapping[str, frozenset[Form]]

    def short_of(self, wood_id: str, blank_document: Mapping[str, Any]) -> Short | None:
        """Return the blank that pieces like this one want more of than there are, None where there are enough or none is like it."""
        return self.short.get(_form(wood_id, blank_document))

    def short_in(self, batch_id: str) -> tuple[Short, ...]:
        """Return the blanks that pieces of a batch want and of which there are not enough, by name."""
        found = (self.short[form] for form in self.of_batches.get(batch_id, frozenset()) if form in self.short)
        return tuple(sorted(found, key=lambda one: (one.name, one.blank_id)))


def wants_in(connection: sa.Connection) -> Wants:
    """Return what the shelf is wanted for; of a piece that a list of names makes several of, all count."""
    lines: dict[Form, list[tuple[int, str, int]]] = {}
    shelf = sa.select(blank.c.id, blank.c.name, blank.c.wood_id, blank.c.left_count, blank.c.document["blank"])
    for id_, name, wood_id, left, document in connection.execute(
        shelf.where(blank.c.removed_at.is_(None)).order_by(blank.c.id)
    ):
        lines.setdefault(_form(wood_id, document), []).append((int(id_), str(name), int(left)))
    if not lines:
        return Wants(by_line={}, short={}, of_batches={})
    wanted, batches = _wanted(connection, {form[0] for form in lines})
    by_line: dict[int, int] = {}
    short: dict[Form, Short] = {}
    for form, alike in lines.items():
        rest = wanted.get(form, 0)
        if rest > (there := sum(left for _, _, left in alike)):
            short[form] = Short(blank_id=alike[-1][0], name=alike[-1][1], left=there, wanted=rest)
        for number, (id_, _, left) in enumerate(alike, start=1):
            by_line[id_] = rest if number == len(alike) else min(rest, left)
            rest -= by_line[id_]
    return Wants(by_line=by_line, short=short, of_batches={key: frozenset(forms) for key, forms in batches.items()})


def _wanted(connection: sa.Connection, woods: set[str]) -> tuple[dict[Form, int], dict[str, set[Form]]]:
    """Return how many pieces that are not burnt are of each form, and the forms of each batch."""
    document = sa.cast(piece.c.document["blank"], sa.Text)
    rows = connection.execute(
        sa.select(
            piece.c.wood_id,
            piece.c.batch_id,
            document,
            sa.func.sum(sa.func.coalesce(plan.c.document["pieces"].as_integer(), 1)),
        )
        .select_from(
            piece.outerjoin(plan, plan.c.piece_id == piece.c.id).outerjoin(
                step, sa.and_(step.c.piece_id == piece.c.id, step.c.name == "burnt")
            )
        )
        .where(piece.c.removed_at.is_(None), step.c.done_at.is_(None), piece.c.wood_id.in_(woods))
        .group_by(piece.c.wood_id, piece.c.batch_id, document)
    )
    wanted: dict[Form, int] = {}
    batches: dict[str, set[Form]] = {}
    for wood_id, batch_id, text, count in rows:
        form = _form(wood_id, json.loads(text))
        wanted[form] = wanted.get(form, 0) + int(count)
        batches.setdefault(str(batch_id), set()).add(form)
    return wanted, batches


def _form(wood_id: str, document: Mapping[str, Any]) -> Form:
    """Return what two blanks share that are alike: a piece's own margin and warp make it no other blank."""

    def told(value: Any) -> float | None:
        return None if value is None else round(float(value) / SAME_mm)

    shape = document.get("shape", "rectangle")
    sides = tuple(told(side) for side in document.get("size_mm") or ())
    measures = tuple(told(document.get(key)) for key in ("diameter_mm", "radius_mm", "thickness_mm"))
    return (wood_id, shape, sides, *measures, document.get("outline") if shape == "outline" else None)
