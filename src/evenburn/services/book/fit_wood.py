"""Fit a curve to the readings of a wood of the book; the wood works with it only once `take_curve` says so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from evenburn.adapters.formats.curve_json import curve_document
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.reading_json import read_reading
from evenburn.adapters.formats.wood_toml import shipped_as, shipped_ids, shipped_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import card, curve, reading, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.card import Reading
from evenburn.core.nouns.provenance import Provenance
from evenburn.services.book.wood_cards import KINDS
from evenburn.services.book.wood_rows import LEARNT, curve_of, like_of, row_with_curve
from evenburn.services.progress import Progress, no_progress

if TYPE_CHECKING:
    from evenburn.core.card.learning import Belief

MOST_READINGS = 24
DETAIL_LONGEST = 400


def curve_of_readings(
    book: Book,
    wood_id: str,
    *,
    reading_ids: Sequence[int] | None = None,
    now: str,
    progress: Progress = no_progress,
) -> int:
    """Fit a curve to readings of a wood, and return its number; the wood works with it only once `take_curve` says so.

    What is believed beforehand comes from curves of other lots of the same name and surface, else from the starting value;
    of a strip alone, from the curve of its lot.

    Parameters
    ----------
    reading_ids : None for the newest reading of each card; strips only where there is no whole card.

    Raises
    ------
    InvalidInput
        If there is no reading, or the readings tell no curve; what to burn instead is in the hint.
    NotFound
        If the wood or a reading is not in the book.
    """
    from evenburn.core.card.learning import learn

    progress("fitting the curve", 0, 2)
    with book.reading() as connection:
        row, own = row_with_curve(connection, wood_id)
        chosen = _chosen(connection, wood_id, reading_ids)
        strips = all(kind == "strip" for _, _, kind, _ in chosen)
        belief, beside = _belief(connection, row, own, of_board=strips)
    readings = _readings([document for *_, document in chosen])
    names = [f"{'strip' if kind == 'strip' else 'card'} {number}" for _, number, kind, _ in chosen]
    detail = f"{now[:10]}, from {' and '.join(names)}{beside}"
    provenance = Provenance(kind="fitted", detail=detail[:DETAIL_LONGEST])
    learnt = learn(readings, belief, provenance=provenance)
    document = curve_document(learnt.curve, wood_name=row["document"]["name"])
    progress("keeping the curve", 1, 2)
    with book.writing() as connection:
        row_of(connection, wood, wood_id)
        made = sa.insert(curve).values(
            wood_id=wood_id, made_at=now, document=document, source=[id_ for id_, *_ in chosen]
        )
        key = connection.execute(made).inserted_primary_key
        assert key is not None  # noqa: S101  # one row was inserted
    progress("the curve is fitted", 2, 2)
    return int(key[0])


def _chosen(
    connection: sa.Connection, wood_id: str, reading_ids: Sequence[int] | None
) -> list[tuple[int, int, str, dict[str, Any]]]:
    """Return readings to fit: number, number of its card, the card's kind, document."""
    cards = connection.execute(
        sa.select(card.c.id, card.c.kind).where(card.c.wood_id == wood_id, card.c.kind.in_(KINDS)).order_by(card.c.id)
    ).all()
    numbers = {int(id_): (number, str(kind)) for number, (id_, kind) in enumerate(cards, start=1)}
    rows = connection.execute(
        sa.select(reading.c.id, reading.c.card_id, reading.c.document)
        .where(reading.c.card_id.in_(list(numbers)))
        .order_by(reading.c.id)
    ).all()
    told = [(int(i), int(c), document) for i, c, document in rows if "refused" not in document]
    if reading_ids is None:
        newest = {card_id: (id_, document) for id_, card_id, document in told}
        whole = {c: v for c, v in newest.items() if numbers[c][1] == "wood"} or newest
        found = [(id_, *numbers[c], document) for c, (id_, document) in whole.items()]
    else:
        known = {id_: (c, document) for id_, c, document in told}
        strange = [id_ for id_ in reading_ids if id_ not in known]
        if strange:
            raise NotFound(f"reading {strange[0]} is none of this wood that tells anything")
        found = [(id_, *numbers[known[id_][0]], known[id_][1]) for id_ in dict.fromkeys(reading_ids)]
    if not found:
        raise InvalidInput({"readings": "no card of this wood was read yet"}, hint="Burn a card and photograph it.")
    if len(found) > MOST_READINGS:
        raise InvalidInput({"readings": f"{len(found)} are chosen; allowed are {MOST_READINGS}"})
    if len({n for _, n, _, _ in found}) < len(found):
        raise InvalidInput({"readings": "two are of one card; a card counts once"}, hint="Choose one of them.")
    return found


def _belief(
    connection: sa.Connection, row: Mapping[str, Any], own: Mapping[str, Any] | None, *, of_board: bool
) -> tuple[Belief, str]:
    """Return what is believed of a wood before its cards, and in words what that rests on."""
    from evenburn.core.card.learning import belief_of_board, belief_of_lots, belief_of_wood

    present = None if own is None else curve_of(own)
    if of_board and present is not None and present.provenance.kind in LEARNT:
        return belief_of_board(present), "; one board"
    about = row["document"]
    others = connection.execute(
        sa.select(wood.c.name, wood.c.document, curve.c.document)
        .select_from(wood.join(curve, wood.c.curve_id == curve.c.id))
        .where(wood.c.id != row["id"], wood.c.removed_at.is_(None))
    ).all()
    lots = [
        (str(called), curve_of(told))
        for called, document, told in others
        if (document["name"], document.get("surface", "bare")) == (about["name"], about.get("surface", "bare"))
        and told["provenance"]["kind"] in LEARNT
    ]
    if lots:
        return belief_of_lots([one for _, one in lots]), f"; beside {', '.join(called for called, _ in lots)}"
    base = shipped_as(str(row["id"]), about["name"])
    if base is not None:
        return belief_of_wood(shipped_wood(base).curve), ""
    first = connection.execute(
        sa.select(curve.c.document).where(curve.c.wood_id == row["id"]).order_by(curve.c.id)
    ).scalars()
    began = next((curve_of(d) for d in first if d["provenance"]["kind"] not in LEARNT), None)
    if began is None:
        began = present
    if began is None:
        raise NotFound(
            f"nothing is believed of {about['name']} yet; shipped are {', '.join(shipped_ids())}",
            hint="Put it in anew, as a wood that is like one of them.",
        )
    like = like_of(began)
    return belief_of_wood(began, likeness=True), f"; like {shipped_wood(like).name}" if like is not None else ""


def _readings(documents: Sequence[Mapping[str, Any]]) -> list[Reading]:
    with TemporaryDirectory(prefix="evenburn-fit-") as name:
        found = []
        for number, document in enumerate(documents):
            path = Path(name) / f"{number}.json"
            path.write_text(json_text(dict(document)), encoding="utf-8")
            found.append(read_reading(path, name="the reading"))
        return found
