"""What of the book must not be burnt, as its woods stand now: of a plan of it nothing is told, also where it was made before."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import wood
from evenburn.core.nouns.check import Check
from evenburn.core.planning.checks import material_check
from evenburn.core.planning.materials import is_forbidden
from evenburn.services.book.wood_rows import material_of

FORBIDDEN = "forbidden-material"


def stopping(wood_id: str, document: Mapping[str, Any], *, called: str) -> Check | None:
    """Return the stop of a wood that must not be burnt, or that is doubtful and nobody confirms; None where it may."""
    material = material_of(str(document["name"]), wood_id, str(document.get("surface") or ""), called)
    if material is None or (not is_forbidden(material) and document.get("confirmed_by")):
        return None
    return material_check(called, material, confirmed=False)


def forbidding(wood_id: str, document: Mapping[str, Any], *, called: str) -> Check | None:
    """Return the stop of a wood that must not be burnt at all, None where it may or is only doubtful."""
    stop = stopping(wood_id, document, called=called)
    return stop if stop is not None and stop.code == FORBIDDEN else None


def only_called_so(wood_id: str, document: Mapping[str, Any], *, called: str) -> Check | None:
    """Return the stop that only what its boards are called brings on, not what they are; else None."""
    if stopping(wood_id, document, called="") is not None:
        return None
    return stopping(wood_id, document, called=called)


def forbidden_in(connection: sa.Connection, wood_id: str) -> Check | None:
    """Return the stop of a wood of the book as `forbidding`; None where it is not in the book."""
    found = connection.execute(
        sa.select(wood.c.name, wood.c.document).where(wood.c.id == wood_id, wood.c.removed_at.is_(None))
    ).one_or_none()
    return None if found is None else forbidding(wood_id, found.document, called=str(found.name))


def without_settings(plan: Mapping[str, Any], stop: Check) -> dict[str, Any]:
    """Return a plan.json of what must not be burnt as planning writes it now: no marks, no set-ups, no check but that one."""
    told: dict[str, Any] = {
        "level": stop.level,
        "code": stop.code,
        "mark": None,
        "text": stop.text,
        "remedy": stop.remedy,
        "fixes": [],
    }
    pieces = [{**one, "marks": [], "set_ups": [], "checks": [told]} for one in plan["pieces"]]
    return {**plan, "total_time_s": 0.0, "pieces": pieces, "runs": []}
