"""What happened to a wood: cards made and read, curves fitted, pieces burnt; and which pieces are of it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import burn, curve, piece
from evenburn.services.book.wood_cards import WoodCard
from evenburn.services.book.wood_rows import LEARNT

HISTORY_MOST, PIECES_LOOKED_AT = 24, 200
NB = "\u00a0"
_DATED = re.compile(r"^\d{4}-\d{2}-\d{2}, ")


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """Something that happened to a wood, what came of it, and what it leads to."""

    at: str
    what: str
    came: str
    piece_id: int | None = None
    card_id: int | None = None
    curve_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceLine:
    """A piece of a wood and the tones wished for it."""

    piece_id: int
    name: str
    tones_L: tuple[float, ...]


def history_of(connection: sa.Connection, wood_id: str, cards: Sequence[WoodCard]) -> tuple[HistoryLine, ...]:
    """Return what happened to a wood, the newest first, `HISTORY_MOST` lines at most."""
    lines = [
        HistoryLine(
            at=read.read_at,
            what=f"Card {one.number} read: {read.patches} patches, {read.aside or 'none'} set aside"
            if read.told
            else f"Card {one.number}: {'photograph' if len(read.refused) == 1 else 'photographs'} refused",
            came=_scale(read.print_scale_error) if read.told else "",
            card_id=one.card_id,
        )
        for one in cards
        for read in one.readings
    ]
    lines += [
        HistoryLine(
            at=one.made_at,
            what=f"Card {one.number} made for {one.machine_name}",
            came=f"{len(one.card.patches)} patches",
            card_id=one.card_id,
        )
        for one in cards
    ]
    burns = connection.execute(
        sa.select(burn.c.piece_id, burn.c.burnt_at, burn.c.predicted, burn.c.outcome, burn.c.grade, piece.c.name)
        .join(piece, piece.c.id == burn.c.piece_id)
        .where(burn.c.wood_id == wood_id, burn.c.removed_at.is_(None))
        .order_by(burn.c.burnt_at.desc())
        .limit(HISTORY_MOST)
    )
    lines += [_burnt(dict(row)) for row in burns.mappings()]
    fitted = connection.execute(
        sa.select(curve.c.id, curve.c.made_at, curve.c.document, curve.c.source).where(curve.c.wood_id == wood_id)
    )
    lines += [
        HistoryLine(at=str(at), what="Curve fitted", came=made_from(document, source, cards), curve_id=int(id_))
        for id_, at, document, source in fitted
        if document["provenance"]["kind"] in LEARNT
    ]
    return tuple(sorted(lines, key=lambda line: line.at, reverse=True)[:HISTORY_MOST])


def _scale(error: float | None) -> str:
    if error is None:
        return ""
    text = f"{abs(100.0 * error):.1f}"
    return f"scale {'+' if error > 0 else '−'}{text}{NB}%" if text != "0.0" else "scale exact"


def made_from(document: Mapping[str, Any], source: Sequence[int], cards: Sequence[WoodCard]) -> str:
    """Return in words what a curve was made from: the cards it was fitted to, else what its provenance says, undated.

    Parameters
    ----------
    source : numbers of the readings that it was fitted to.
    """
    said = _DATED.sub("", str(document["provenance"]["detail"]))
    numbers = [f"card {c.number}" for c in reversed(cards) if any(r.reading_id in source for r in c.readings)]
    if not numbers:
        return said
    _, semicolon, beside = said.partition(";")
    return f"from {' and '.join(numbers)}{semicolon}{beside}"


def _burnt(row: Mapping[str, Any]) -> HistoryLine:
    promised, got, grade = row["predicted"].get("tone_L"), _got_L(row["outcome"]), row["grade"]
    came = f"came out L*{NB}{got:.0f}" if got is not None else f"graded {grade} of 5" if grade is not None else ""
    what = f"{row['name']} burnt" if promised is None else f"{row['name']}, promised L*{NB}{promised:.0f}"
    return HistoryLine(at=str(row["burnt_at"]), what=what, came=came, piece_id=int(row["piece_id"]))


def _got_L(outcome: Mapping[str, Any] | None) -> float | None:
    """Return the tone that its photographs told, as `look_at_burn` keeps it; None where none was held against the plan."""
    compared = (outcome or {}).get("compared")
    got = compared.get("got") if isinstance(compared, Mapping) else None
    tone = got.get("tone_L") if isinstance(got, Mapping) else None
    return float(tone) if isinstance(tone, int | float) else None


def pieces_of(connection: sa.Connection, wood_id: str) -> tuple[list[PieceLine], int]:
    """Return the newest pieces of a wood, and how many there are."""
    of_wood = (piece.c.wood_id == wood_id, piece.c.removed_at.is_(None))
    count = int(connection.execute(sa.select(sa.func.count()).select_from(piece).where(*of_wood)).scalar_one())
    rows = connection.execute(
        sa.select(piece.c.id, piece.c.name, piece.c.document)
        .where(*of_wood)
        .order_by(piece.c.id.desc())
        .limit(PIECES_LOOKED_AT)
    )
    return [
        PieceLine(piece_id=int(id_), name=str(name), tones_L=tuple(dict.fromkeys(_tones(document))))
        for id_, name, document in rows
    ], count


def _tones(document: Mapping[str, Any]) -> list[float]:
    return [float(m["tone_L"]) for m in document.get("mark") or [] if isinstance(m.get("tone_L"), int | float)]


def usual_tone_L(pieces: Sequence[PieceLine]) -> float | None:
    """Return the tone that most pieces wish for, the darkest of those that tie."""
    counted = Counter(tone for line in pieces for tone in line.tones_L)
    return min(counted, key=lambda tone: (-counted[tone], tone)) if counted else None
