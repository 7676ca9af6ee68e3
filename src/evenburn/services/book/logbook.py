"""The logbook: every burn with its recipe, what was promised and what came of it; searched, graded, and taken along as CSV.

A burn stands in `burn`: `recipe` and `predicted` as plan.json has them for its mark, and, once somebody looked at it, its
`outcome`:

    photographs    numbers of its photographs
    compared       outcome.json, where one was held against the plan; null where it was not
    not_compared   why not, in words
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import burn, piece, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.saved import Saved
from evenburn.services.book.wood_rows import lightening

PER_PAGE = 40
GRADES = (1, 2, 3, 4, 5)
NOTE_LONGEST = 2000
WORDS_MOST = 12
AT_ONCE = 500  # rows of the CSV read at a time
Graded = Literal["", "1", "2", "3", "4", "5", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """A burn.

    Attributes
    ----------
    piece_there : whether the piece is still in the book.
    recipe, predicted : of its mark, as plan.json has them.
    got_L, off_L, verdict : from its photographs, where they could be held against the plan.
    photographs : their numbers.
    lightens : whether its wood turns lighter where it is burnt, as slate does; told of the lines of a page.
    grade : 1 (spoiled) to 5 (as good as it gets); None where nobody gave one.
    """

    burn_id: int
    version: int
    burnt_at: str
    piece_id: int
    piece_name: str
    piece_there: bool
    mark_id: str
    wood_id: str
    wood_name: str
    recipe: dict[str, Any]
    predicted: dict[str, Any]
    got_L: float | None
    got_L_sd: float | None
    off_L: float | None
    verdict: str
    not_compared: str
    photographs: tuple[int, ...]
    grade: int | None
    note: str
    lightens: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LogPage:
    """A page of the logbook; `burns` counts all there are, `count` those that were searched for."""

    lines: tuple[LogLine, ...]
    count: int
    burns: int
    page: int
    pages: int
    woods: tuple[tuple[str, str], ...]


def search_log(book: Book, *, text: str = "", wood_id: str | None = None, grade: Graded = "", page: int = 1) -> LogPage:
    """Return burns, the newest first.

    Parameters
    ----------
    text : words, each of which has to stand in the piece's name, the wood's, or the note.
    grade : "" for all, "none" for those that nobody graded.
    """
    with book.reading() as connection:
        burns = int(connection.execute(sa.select(sa.func.count()).where(burn.c.removed_at.is_(None))).scalar_one())
        wished = _wished(text=text, wood_id=wood_id, grade=grade)
        counted = sa.select(sa.func.count()).select_from(_JOINED if text.split() else burn).where(*wished)
        count = burns if len(wished) == 1 else int(connection.execute(counted).scalar_one())
        pages = max(1, -(-count // PER_PAGE))
        at = min(max(1, page), pages)
        ids = list(  # numbers alone first: what lies on the pages before is then not carried about
            connection.execute(
                sa.select(burn.c.id)
                .select_from(_JOINED if text.split() else burn)
                .where(*wished)
                .order_by(burn.c.burnt_at.desc(), burn.c.id.desc())
                .limit(PER_PAGE)
                .offset((at - 1) * PER_PAGE)
            ).scalars()
        )
        rows = {row["id"]: row for row in connection.execute(_SELECT.where(burn.c.id.in_(ids))).mappings()}
        lighter = lightening(connection, {row["wood_id"] for row in rows.values()})
        lines = tuple(replace(_line(rows[id_]), lightens=rows[id_]["wood_id"] in lighter) for id_ in ids)
        known = connection.execute(
            sa.select(wood.c.id, wood.c.name)
            .where(sa.exists().where(burn.c.wood_id == wood.c.id))
            .order_by(wood.c.name)
        )
        woods = tuple((str(i), str(n)) for i, n in known)
    return LogPage(lines=lines, count=count, burns=burns, page=at, pages=pages, woods=woods)


def burn_of(book: Book, burn_id: int) -> LogLine:
    """Return a burn; NotFound if there is none of that number."""
    with book.reading() as connection:
        row = connection.execute(_SELECT.where(burn.c.id == burn_id, burn.c.removed_at.is_(None))).mappings().first()
        if row is None:
            raise NotFound(f"burn {burn_id} is not in the logbook")
        lighter = lightening(connection, {row["wood_id"]})
    return replace(_line(row), lightens=row["wood_id"] in lighter)


def grade_burn(book: Book, burn_id: int, *, grade: int | None, note: str, version: int, now: str) -> Saved:
    """Say how a burn came out, with a grade, a note, or both; can be undone.

    Raises
    ------
    InvalidInput
        If the grade is none of 1 to 5, or the note too long.
    ChangedMeanwhile
        If it is not the version that the person saw.
    """
    wrong = {}
    if grade is not None and grade not in GRADES:
        wrong["grade"] = f"is {grade}; allowed are 1 to 5"
    if len(note) > NOTE_LONGEST:
        wrong["note"] = f"has {len(note)} characters; allowed are {NOTE_LONGEST}"
    if wrong:
        raise InvalidInput(wrong, source="logbook")
    with book.writing() as connection:
        row = row_of(connection, burn, burn_id)
        name = connection.execute(sa.select(piece.c.name).where(piece.c.id == row["piece_id"])).scalar_one()
        what = f"Burn of “{name}” graded" if grade != row["grade"] else f"Note on “{name}” changed"
        values = {"grade": grade, "note": note.strip()}
        made = change(connection, [Change(table=burn, key=burn_id, values=values, version=version)], what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=burn_id, version=version + 1)


COLUMNS = (
    *("burnt_at", "piece", "mark", "wood", "power_W", "power_low_W", "speed_mm_per_s", "line_spacing_mm"),
    *("focus_offset_mm", "stand_off_mm", "passes", "scan_axis", "air_kPa", "dose_J_per_mm2", "promised_L"),
    *("promised_L_sd", "got_L", "got_L_sd", "off_L", "time_s", "grade", "note"),
)


def log_csv(book: Book, *, text: str = "", wood_id: str | None = None, grade: Graded = "") -> Iterator[str]:
    """Yield the burns that `search_log` finds as CSV (RFC 4180), the newest first, a part at a time."""
    yield _csv([COLUMNS])
    wished = _wished(text=text, wood_id=wood_id, grade=grade)
    before: tuple[str, int] | None = None
    while True:
        ask = _SELECT.where(*wished)
        if before is not None:
            ask = ask.where(sa.tuple_(burn.c.burnt_at, burn.c.id) < sa.tuple_(*map(sa.literal, before)))
        with book.reading() as connection:
            found = connection.execute(ask.order_by(burn.c.burnt_at.desc(), burn.c.id.desc()).limit(AT_ONCE)).mappings()
            lines = [_line(row) for row in found]
        if not lines:
            return
        yield _csv([_cells(line) for line in lines])
        before = (lines[-1].burnt_at, lines[-1].burn_id)


def _csv(rows: list[tuple[object, ...]]) -> str:
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue()


def _cells(line: LogLine) -> tuple[object, ...]:
    recipe, predicted = line.recipe, line.predicted
    return (
        line.burnt_at,
        _text(line.piece_name),
        line.mark_id,
        _text(line.wood_name),
        *(recipe.get(key) for key in COLUMNS[4:13]),
        predicted.get("dose_J_per_mm2"),
        predicted.get("tone_L"),
        predicted.get("tone_L_sd"),
        line.got_L,
        line.got_L_sd,
        line.off_L,
        predicted.get("time_s"),
        line.grade,
        _text(line.note),
    )


def _text(text: str) -> str:
    """Return text that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t"} else text


_JOINED = burn.join(piece, burn.c.piece_id == piece.c.id).join(wood, burn.c.wood_id == wood.c.id)
_SELECT = sa.select(
    burn,
    piece.c.name.label("piece_name"),
    piece.c.removed_at.label("piece_removed_at"),
    wood.c.name.label("wood_name"),
).select_from(_JOINED)


def _wished(*, text: str, wood_id: str | None, grade: Graded) -> list[sa.ColumnElement[bool]]:
    wished: list[sa.ColumnElement[bool]] = [burn.c.removed_at.is_(None)]
    for word in text.split()[:WORDS_MOST]:
        columns = (piece.c.name, wood.c.name, burn.c.note)
        wished.append(sa.or_(*(c.icontains(word, autoescape=True) for c in columns)))
    if wood_id:
        wished.append(burn.c.wood_id == wood_id)
    if grade == "none":
        wished.append(burn.c.grade.is_(None))
    elif grade:
        wished.append(burn.c.grade == int(grade))
    return wished


def _line(row: Mapping[Any, Any]) -> LogLine:
    outcome = row["outcome"] or {}
    compared = outcome.get("compared") or {}
    got, off = compared.get("got") or {}, compared.get("off") or {}
    spreads = [got[k] for k in ("own_L_sd", "shared_L_sd") if k in got]
    return LogLine(
        burn_id=row["id"],
        version=row["version"],
        burnt_at=row["burnt_at"],
        piece_id=row["piece_id"],
        piece_name=row["piece_name"],
        piece_there=row["piece_removed_at"] is None,
        mark_id=row["mark_id"],
        wood_id=row["wood_id"],
        wood_name=row["wood_name"],
        recipe=row["recipe"],
        predicted=row["predicted"],
        got_L=got.get("tone_L"),
        got_L_sd=sum(s * s for s in spreads) ** 0.5 if spreads else None,
        off_L=off.get("tone_L"),
        verdict=off.get("verdict", ""),
        not_compared=outcome.get("not_compared") or "",
        photographs=tuple(outcome.get("photographs") or ()),
        grade=row["grade"],
        note=row["note"],
    )
