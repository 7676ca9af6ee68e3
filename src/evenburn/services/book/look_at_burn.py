"""Keep what came of a burn: its photographs, and, where a mat lay round it, how far it is from what was promised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.photographs.glancing import glance_at
from evenburn.adapters.storage.book.keeping import keep, load
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import burn, card, curve, photograph, piece, wood
from evenburn.core.errors import EvenburnError, InvalidInput, UnreadableFile
from evenburn.services.book.plan_piece import INDEX, plan_of
from evenburn.services.book.saved import Saved
from evenburn.services.progress import Progress, no_progress

if TYPE_CHECKING:
    from evenburn.services.compare_piece import Compared

MOST_PHOTOGRAPHS = 24
MOST_MATS = 40
OUTCOME = "outcome.json"
CARD_KINDS = {"wood": "wood card", "strip": "strip", "beam": "focus ladder", "motion": "stopwatch card"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mat:
    """A printed mat: the card that it was printed for, in words, and its page."""

    card_id: int
    name: str
    page: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A photograph as sent; `name` is what the person's computer calls it."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What came of it: the change, and how it came out in words; `compared` tells whether it was held against the plan."""

    saved: Saved
    compared: bool
    text: str


def mats_of(book: Book) -> tuple[Mat, ...]:
    """Return the mats that may lie round a finished piece, the newest first; any will do."""
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(card.c.id, card.c.kind, wood.c.name, card.c.document)
            .join(wood, wood.c.id == card.c.wood_id)
            .order_by(card.c.id.desc())
            .limit(MOST_MATS)
        ).all()
    return tuple(
        Mat(card_id=i, name=f"{CARD_KINDS.get(kind, 'card')} {i}, {name}", page=_page(document))
        for i, kind, name, document in rows
    )


def photographs_of_burn(book: Book, burn_id: int) -> tuple[int, ...]:
    """Return the photographs of a burn's piece that came since it was burnt, the oldest first: sent here or from a phone."""
    with book.reading() as connection:
        row = row_of(connection, burn, burn_id)
        later = connection.execute(
            sa.select(sa.func.min(burn.c.burnt_at)).where(
                burn.c.piece_id == row["piece_id"], burn.c.burnt_at > row["burnt_at"], burn.c.removed_at.is_(None)
            )
        ).scalar()
        wished = [
            photograph.c.piece_id == row["piece_id"],
            photograph.c.removed_at.is_(None),
            photograph.c.received_at >= row["burnt_at"],
        ]
        if later is not None:
            wished.append(photograph.c.received_at < later)
        return tuple(connection.execute(sa.select(photograph.c.id).where(*wished).order_by(photograph.c.id)).scalars())


def look_at_burn(
    book: Book,
    burn_id: int,
    pictures: Sequence[Picture],
    *,
    mat_card_id: int | None = None,
    also: Sequence[int] = (),
    version: int,
    now: str,
    progress: Progress = no_progress,
) -> Looked:
    """Keep photographs of what came of a burn, and hold them against its plan where a mat lay round it.

    Parameters
    ----------
    mat_card_id : card whose printed mat lay round it; None only keeps the photographs.
    also : photographs that are in the book already.

    Raises
    ------
    InvalidInput
        At `photographs`, why one is none. What only hinders comparing is told in the text, and the photographs are kept.
    ChangedMeanwhile
        If it is not the version that the person saw.
    """
    if not 1 <= len(pictures) + len(also) <= MOST_PHOTOGRAPHS:
        raise InvalidInput(
            {"photographs": f"{len(pictures) + len(also)} are given; allowed are 1 to {MOST_PHOTOGRAPHS}"}
        )
    progress("looks at the photographs", 0, 2)
    kinds = [_kind(one) for one in pictures]
    with book.reading() as connection:
        row = row_of(connection, burn, burn_id)
        name, slug = connection.execute(
            sa.select(piece.c.name, piece.c.slug).where(piece.c.id == row["piece_id"])
        ).one()
        before = [(str(n), load(book, s)) for n, s in _named(connection, also)]
    compared, why_not = None, ""
    if mat_card_id is not None:
        progress("holds it against its plan", 1, 2)
        every = [*before, *((one.name, one.data) for one in pictures)]
        compared, why_not = _compared(book, row, slug=slug, every=every, mat_card_id=mat_card_id, now=now)
    what = f"Photographs of “{name}” added"
    with book.writing() as connection:
        ids = [
            _keep(book, connection, one, media_type=kind, piece_id=row["piece_id"], now=now)
            for one, kind in zip(pictures, kinds, strict=True)
        ]
        earlier = row["outcome"] or {}
        outcome = {
            "photographs": list(dict.fromkeys([*(earlier.get("photographs") or ()), *also, *ids])),
            "compared": earlier.get("compared") if compared is None else compared,
            "not_compared": why_not,
        }
        made = change(
            connection,
            [Change(table=burn, key=burn_id, values={"outcome": outcome}, version=version)],
            what=what,
            now=now,
        )
    progress("done", 2, 2)
    text = compared["off"]["verdict"] if compared is not None else why_not
    saved = Saved(edit_id=made.edit_id, what=what, key=burn_id, version=version + 1)
    return Looked(saved=saved, compared=compared is not None, text=text)


def _kind(one: Picture) -> str:
    try:
        return glance_at(one.data, name=one.name).media_type
    except UnreadableFile as why:
        raise InvalidInput({"photographs": why.message}, hint=why.hint) from why


def _keep(book: Book, connection: sa.Connection, one: Picture, *, media_type: str, piece_id: int, now: str) -> int:
    sha256 = keep(book, connection, one.data, media_type=media_type, now=now)
    key = connection.execute(
        sa.insert(photograph).values(sha256=sha256, name=one.name, received_at=now, piece_id=piece_id)
    ).inserted_primary_key
    assert key is not None  # noqa: S101  # one row was inserted
    return int(key[0])


def _named(connection: sa.Connection, ids: Sequence[int]) -> list[Any]:
    return list(
        connection.execute(
            sa.select(photograph.c.name, photograph.c.sha256)
            .where(photograph.c.id.in_(list(ids)), photograph.c.removed_at.is_(None))
            .order_by(photograph.c.id)
        )
    )


def _page(document: dict[str, Any]) -> str:
    wide = (document.get("mat") or {}).get("page_mm", [210.0])[0]
    return "A4" if abs(wide - 210.0) < 1.0 else "Letter"


# ---- held against the plan ---------------------------------------------------------------------------------------


def _compared(
    book: Book,
    row: dict[str, Any],
    *,
    slug: str,
    every: Sequence[tuple[str, bytes]],
    mat_card_id: int,
    now: str,
) -> tuple[dict[str, Any] | None, str]:
    """Return outcome.json, or None and in words why there is none."""
    from evenburn.services.compare_piece import CompareWish, compare_piece

    planned = plan_of(book, row["piece_id"])
    if planned is None or not (planned.folder / INDEX).is_file():
        return None, "Its plan is no longer at hand, so there is nothing to hold it against."
    of, _, tail = row["mark_id"].rpartition("/")
    piece_id, mark_id = of or slug, tail
    if not _same_recipe(planned.document(), row, piece_id=piece_id, mark_id=mark_id):
        return None, "The piece was planned anew since it was burnt, so the plan no longer tells of this burn."
    with book.reading() as connection:
        mat = connection.execute(sa.select(card.c.document).where(card.c.id == mat_card_id)).scalar_one_or_none()
        curve_document = connection.execute(
            sa.select(curve.c.document).join(wood, wood.c.curve_id == curve.c.id).where(wood.c.id == row["wood_id"])
        ).scalar_one_or_none()
    if mat is None:
        return None, "That mat is not in the book."
    with TemporaryDirectory(prefix="evenburn-outcome-") as folder_name:
        folder = Path(folder_name)
        (folder / "card.json").write_text(json_text(mat), encoding="utf-8")
        paths = []
        for number, (name, data) in enumerate(every, start=1):
            paths.append(folder / f"photo-{number}{glance_at(data, name=name).ending}")
            paths[-1].write_bytes(data)
        curve_file = None
        if curve_document is not None:
            curve_file = folder / "curve.json"
            curve_file.write_text(json_text(curve_document), encoding="utf-8")
        wish = CompareWish(piece_id=piece_id, mark_id=mark_id, curve=curve_file)
        try:
            found = compare_piece(
                paths, planned.folder / INDEX, folder / "card.json", wish=wish, to=folder / OUTCOME, date=now[:10]
            )
        except EvenburnError as error:
            text = "; ".join(error.fields.values()) if isinstance(error, InvalidInput) else error.message
            return None, f"It could not be held against its plan: {text}."
    return _told(found)


def _told(found: Compared) -> tuple[dict[str, Any] | None, str]:
    if found.outcome is None:
        one = found.left_out[0]
        return None, f"{one.text} {one.remedy}".strip()
    return found.document, ""


def _same_recipe(document: dict[str, Any], row: dict[str, Any], *, piece_id: str, mark_id: str) -> bool:
    for one in document["pieces"]:
        for mark in one["marks"]:
            if one["id"] == piece_id and mark["id"] == mark_id:
                return bool(mark["recipe"] == row["recipe"])
    return False
