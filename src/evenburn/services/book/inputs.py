"""What a plan rests on: documents and files of the book, and the number by which one tells that none of them changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn import __version__
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import artwork, batch, curve, machine, wood
from evenburn.core.errors import EvenburnError
from evenburn.core.nouns.wood import Wood
from evenburn.services.book.names import files_named
from evenburn.services.book.wood_rows import called_document, material_of, wood_of_row

AT_ONCE = 500  # names in one question to the database


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodSource:
    """A wood's document, and that of the curve it works with; `name` as people say it."""

    name: str
    document: dict[str, Any]
    curve: dict[str, Any] | None

    def laid(self) -> dict[str, Any]:
        """Return its document as a batch folder has it, with what its boards are called."""
        return called_document(self.document, called=self.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """What the pieces of a batch are planned with: batch, machine, woods by id, and files, SHA-256 by name."""

    batch: dict[str, Any]
    machine: dict[str, Any]
    woods: dict[str, WoodSource]
    files: dict[str, str]


def sources_of(connection: sa.Connection, batch_id: str, documents: Sequence[Mapping[str, Any]]) -> Sources:
    """Return what pieces of a batch are planned with.

    Raises
    ------
    NotFound
        If the batch or its machine is not in the book; a wood or file that is not there is left out.
    """
    batch_document = row_of(connection, batch, batch_id)["document"]
    machine_document = row_of(connection, machine, batch_document["machine"])["document"]
    wood_ids = sorted({str(d["wood"]) for d in documents})
    names = sorted({name for d in documents for name in files_named(d)})
    woods: dict[str, WoodSource] = {}
    for part in _parts(wood_ids):
        rows = connection.execute(
            sa.select(wood.c.id, wood.c.name, wood.c.document, curve.c.document)
            .select_from(wood.outerjoin(curve, wood.c.curve_id == curve.c.id))
            .where(wood.c.id.in_(part), wood.c.removed_at.is_(None))
        )
        woods |= {row[0]: WoodSource(name=row[1], document=row[2], curve=row[3]) for row in rows}
    files: dict[str, str] = {}
    for part in _parts(names):
        found = connection.execute(sa.select(artwork.c.name, artwork.c.sha256).where(artwork.c.name.in_(part)))
        files |= {str(name): str(sha) for name, sha in found}
    return Sources(batch=batch_document, machine=machine_document, woods=woods, files=files)


def _parts(names: Sequence[str]) -> Iterable[Sequence[str]]:
    return (names[at : at + AT_ONCE] for at in range(0, len(names), AT_ONCE))


def known_wood(wood_id: str, source: WoodSource | None) -> Wood | None:
    """Return a wood as planning takes it; None where it is not in the book or does not hold, and planning says why."""
    if source is None:
        return None
    try:
        return wood_of_row(wood_id, source.document, source.curve)
    except EvenburnError:
        return None


def inputs_sha256(sources: Sources, documents: Sequence[Mapping[str, Any]]) -> str:
    """Return the SHA-256 of all that a plan of these pieces rests on.

    The version of evenburn is among it, and what it knows by now of materials that must not be burnt or are doubtful.
    """
    wood_ids = sorted({str(d["wood"]) for d in documents})
    woods = {i: (s.laid(), s.curve) for i in wood_ids if (s := sources.woods.get(i)) is not None}
    names = sorted({name for d in documents for name in files_named(d)})
    told = [
        __version__,
        sources.batch,
        sources.machine,
        woods,
        {name: sources.files.get(name) for name in names},
        list(documents),
    ]
    found = {
        i: material_of(i, sources.woods[i].name, *(str(document.get(key) or "") for key in ("name", "surface")))
        for i, (document, _) in woods.items()
    }
    if any(found.values()):
        told.append({i: [one.name, one.level] for i, one in found.items() if one is not None})
    text = json.dumps(told, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
