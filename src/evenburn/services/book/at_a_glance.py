"""What a list tells of planned pieces beside their times: the recipe of the first mark, the wished tone, and the checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import plan
from evenburn.core.errors import NotFound, UnreadableFile
from evenburn.core.nouns.check import Check, Level
from evenburn.services.book.plan_piece import INDEX, folder_of

KEPT = 512  # glances in memory, about 2 kB each; a folder is named by what is in it, so none can grow old


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkGlance:
    """A mark as a list shows it; `power_low_W` is that of a photograph's faintest tone."""

    mark_id: str
    power_W: float
    power_low_W: float | None
    speed_mm_per_s: float
    line_spacing_mm: float
    focus_offset_mm: float
    wished_tone_L: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckGlance:
    """A check with its remedies; each fix as plan.json has it, for `apply_fix`."""

    level: Level
    code: str
    text: str
    remedy: str
    fixes: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """A planned piece as a list shows it. `slugs` name the pieces that come of it, more than one for a list of names."""

    slugs: tuple[str, ...]
    marks: tuple[MarkGlance, ...]
    checks: tuple[CheckGlance, ...]

    def count(self, level: Level) -> int:
        """Return how many checks there are of a level."""
        return sum(check.level == level for check in self.checks)


def glances(book: Book, piece_ids: Sequence[int]) -> dict[int, Glance]:
    """Return piece → glance, for those that are planned and whose files are there."""
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(plan.c.piece_id, plan.c.inputs_sha256).where(plan.c.piece_id.in_(list(piece_ids)))
        ).all()
    found: dict[int, Glance] = {}
    for piece_id, sha256 in rows:
        try:
            found[piece_id] = _glance(folder_of(book, sha256))
        except (UnreadableFile, NotFound):
            continue  # the folder was thinned out, or the row names none; planning it again brings it back
    return found


def stopped_glance(glance: Glance, stop: Check) -> Glance:
    """Return a glance of what must not be burnt: without its marks and their settings, and with no check but that one."""
    told = CheckGlance(level=stop.level, code=stop.code, text=stop.text, remedy=stop.remedy, fixes=())
    return Glance(slugs=glance.slugs, marks=(), checks=(told,))


@lru_cache(maxsize=KEPT)
def _glance(folder: Path) -> Glance:
    document = read_json(folder / INDEX, name=INDEX, hint="Plan it again.")
    first = document["pieces"][0]
    return Glance(
        slugs=tuple(one["id"] for one in document["pieces"]),
        marks=tuple(
            MarkGlance(
                mark_id=mark["id"],
                power_W=mark["recipe"]["power_W"],
                power_low_W=mark["recipe"]["power_low_W"],
                speed_mm_per_s=mark["recipe"]["speed_mm_per_s"],
                line_spacing_mm=mark["recipe"]["line_spacing_mm"],
                focus_offset_mm=mark["recipe"]["focus_offset_mm"],
                wished_tone_L=mark["wished_tone_L"],
            )
            for mark in first["marks"]
        ),
        checks=_told_once(document["pieces"]),
    )


def _told_once(pieces: Sequence[Mapping[str, Any]]) -> tuple[CheckGlance, ...]:
    """Return the checks; what several marks or pieces say in the same words is told once."""
    found: dict[tuple[str, str], CheckGlance] = {}
    for one in pieces:
        for check in one["checks"]:
            found.setdefault(
                (check["level"], check["text"]),
                CheckGlance(
                    level=check["level"],
                    code=check["code"],
                    text=check["text"],
                    remedy=check["remedy"],
                    fixes=tuple(check["fixes"]),
                ),
            )
    return tuple(found.values())
