"""Whether a bench has drifted: what came of its burns, of several woods together, held against what was promised."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import sqlalchemy as sa

from evenburn.adapters.formats.json_file import write_json
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import burn, machine
from evenburn.core.errors import InvalidInput
from evenburn.services.name_drift import name_drift

MOST_OUTCOMES = 120  # the newest; older ones tell of a bench that is no longer


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftTold:
    """What burns together say of a bench.

    Attributes
    ----------
    kind : as `NamedDrift.kind`.
    text, remedy : in words.
    burns, lots : how many burns and woods it rests on.
    """

    kind: str
    text: str
    remedy: str
    burns: int
    lots: int


def drift_of(book: Book, machine_id: str) -> DriftTold | None:
    """Return what the newest burns on a machine say of it, None where none was held against its plan with its wood's curve."""
    with book.reading() as connection:
        name = row_of(connection, machine, machine_id)["document"]["name"]
        outcomes = connection.execute(
            sa.select(burn.c.id, burn.c.outcome)
            .where(burn.c.removed_at.is_(None), burn.c.outcome["compared"]["machine"].as_string() == name)
            .order_by(burn.c.burnt_at.desc())
            .limit(MOST_OUTCOMES)
        ).all()
    # pieces of two batches may go by one id, so the burn's number stands beside it
    documents = [{**o["compared"], "piece": f"{o['compared']['piece']} {id_}"[:120]} for id_, o in outcomes]
    if not documents:
        return None
    with TemporaryDirectory(prefix="evenburn-drift-") as folder:
        files = []
        for number, document in enumerate(documents):
            files.append(Path(folder) / f"outcome-{number}.json")
            write_json(files[-1], document)
        try:
            found = name_drift(files)
        except InvalidInput:
            return None  # none of them tells of the exposure
    return DriftTold(
        kind=found.named.kind,
        text=found.named.text,
        remedy=found.named.remedy,
        burns=sum(lot.marks for lot in found.named.lots),
        lots=len(found.named.lots),
    )
