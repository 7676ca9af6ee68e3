"""A wood as the book keeps it, turned into what the core reckons with, by the same rules as a wood's file in a batch folder."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from functools import lru_cache
from typing import Any

import numpy as np
import sqlalchemy as sa

from evenburn.adapters.formats.strict import checked
from evenburn.adapters.formats.wood_toml import (
    CurveDocument,
    WoodTable,
    curve_from_document,
    materials,
    shipped_ids,
    shipped_wood,
    wood_from_table,
)
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import curve, wood
from evenburn.core.errors import EvenburnError
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.wood import CharacteristicCurve, FinishingStep, Wood
from evenburn.core.planning.materials import Material, find_material, spoken_of
from evenburn.services.book.names import same_words

LEARNT = frozenset({"measured", "fitted"})
_KEPT = 1024  # woods in memory, some kilobytes each


def wood_of_row(wood_id: str, document: Mapping[str, Any], curve_document: Mapping[str, Any] | None) -> Wood:
    """Return a wood of the book as planning takes it: its own name, surface and curve over what ships of that id or name.

    Raises
    ------
    InvalidInput, NotFound
        If its document or curve does not hold, or it has no curve and none ships.
    """
    return wood_of_key(key_of_row(wood_id, document, curve_document))


def called_document(document: Mapping[str, Any], *, called: str) -> dict[str, Any]:
    """Return a wood's document for a folder, with what its boards are called where that says more than its name."""
    more = same_words(called) != same_words(str(document["name"]))
    return {**document, "called": called} if more else dict(document)


WoodKey = tuple[str, str, str | None]


def key_of_row(wood_id: str, document: Mapping[str, Any], curve_document: Mapping[str, Any] | None) -> WoodKey:
    """Return all that a wood is made of, as a key by which what follows from it can be remembered."""
    told = None if curve_document is None else json.dumps(curve_document, sort_keys=True)
    return wood_id, json.dumps(dict(document), sort_keys=True), told


@lru_cache(maxsize=_KEPT)
def wood_of_key(key: WoodKey) -> Wood:
    """Return the wood of a key; raises as `wood_of_row`."""
    wood_id, document, curve_document = key
    table = checked(WoodTable, json.loads(document), name=f"wood {wood_id}")
    return wood_from_table(
        wood_id, table, own_curve=None if curve_document is None else curve_of(json.loads(curve_document))
    )


def like_of(own: CharacteristicCurve) -> str | None:
    """Return the wood that ships whose starting value a curve is, None where it is none."""
    for shipped in shipped_ids():
        theirs = shipped_wood(shipped).curve
        if np.allclose(own.parameters(), theirs.parameters(), rtol=1e-6, atol=1e-9):
            return shipped
    return None


def curve_of(document: Mapping[str, Any]) -> CharacteristicCurve:
    """Return the curve of a curve.json; InvalidInput where it does not hold."""
    return curve_from_document(checked(CurveDocument, dict(document), name="curve.json"))


def row_with_curve(connection: sa.Connection, wood_id: str) -> tuple[dict[str, Any], dict[str, Any] | None]:
    """Return a wood's row and the document of the curve it works with; NotFound without the wood."""
    row = row_of(connection, wood, wood_id)
    if row["curve_id"] is None:
        return row, None
    document = connection.execute(sa.select(curve.c.document).where(curve.c.id == row["curve_id"])).scalar_one_or_none()
    return row, document


def finishing_of(connection: sa.Connection, wood_id: str) -> tuple[FinishingStep, ...]:
    """Return what is done to a wood after burning, as is common; nothing where the wood does not hold or is gone."""
    try:
        row, own = row_with_curve(connection, wood_id)
        return wood_of_row(wood_id, row["document"], own).finishing
    except EvenburnError:
        return ()


def lightening(connection: sa.Connection, wood_ids: Collection[str]) -> frozenset[str]:
    """Return which of some woods turn lighter where they are burnt, as slate does; one that does not hold does not."""
    rows = connection.execute(
        sa.select(wood.c.id, wood.c.document, curve.c.document)
        .select_from(wood.outerjoin(curve, wood.c.curve_id == curve.c.id))
        .where(wood.c.id.in_(wood_ids))
    )
    found = set()
    for wood_id, document, own in rows:
        try:
            known = wood_of_row(wood_id, document, own).curve
        except EvenburnError:
            continue
        if known.full_L > known.bare_L:
            found.add(str(wood_id))
    return frozenset(found)


@lru_cache(maxsize=_KEPT)
def material_of(*names: str) -> Material | None:
    """Return the material to refuse or to doubt that any of the names mentions, None where none does."""
    return find_material(materials(), *names)


def cautions_of(one: Wood, document: Mapping[str, Any], *, called: str) -> tuple[Check, ...]:
    """Return what is to be said of the material itself, as planning says it; also of what people call it."""
    from evenburn.core.planning.checks import wood_checks

    table = checked(WoodTable, dict(document), name=f"wood {one.id}")
    confirmation = table.confirmation()
    material = material_of(*spoken_of(one), called)
    found = wood_checks(one, material=material, confirmed=confirmation is not None, confirmation=confirmation)
    return tuple(check for check in found if check.code != "starting-value-curve")  # pages say so by themselves
