"""A piece of the book with all that its sheet shows: what it is, how far it is, what it rests on, and what happened to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.keeping import load
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import artwork, blank, burn, file, piece, step
from evenburn.core.errors import EvenburnError, NotFound
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.wood import FinishingStep, Wood
from evenburn.services.book.forbidden import forbidding, without_settings
from evenburn.services.book.inputs import inputs_sha256, known_wood, sources_of
from evenburn.services.book.names import files_named
from evenburn.services.book.piece_edits import EditOfPiece, edits_of_piece
from evenburn.services.book.plan_piece import PiecePlanned, plan_of, planned_with
from evenburn.services.book.spoiled import spoiled_of
from evenburn.services.book.strip import StripStep, strip_of
from evenburn.services.book.today import size_mm
from evenburn.services.book.wanted import Short, wants_in

MOST_BURNS, MOST_BLANKS = 12, 40


@dataclass(frozen=True, slots=True, kw_only=True)
class ArtworkFile:
    """Artwork as it was given: somebody else's, to be saved or looked at as a picture, never run."""

    name: str
    media_type: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnOfPiece:
    """A burn of a piece as its log tells it; `grade` is 1 to 5, None where nobody gave one."""

    burn_id: int
    mark_id: str
    burnt_at: str
    grade: int | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankOnShelf:
    """A blank of the piece's wood on the shelf, and how many are left."""

    blank_id: int
    name: str
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveTold:
    """What a wood's curve rests on: kind and detail of its provenance, its char limit, its blotches, and whether it lightens.

    Attributes
    ----------
    char_limit_J_per_mm2 : at a dwell of 1 ms. [J/mm²]
    evenness_L : standard deviation inside an even patch. [L*]
    """

    kind: str
    detail: str
    char_limit_J_per_mm2: float | None
    evenness_L: float | None
    lightens: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceSheet:
    """All that the sheet of a piece shows.

    Attributes
    ----------
    document : the piece as batch.toml has it.
    version : to be named by the next save.
    size_mm : box and thickness of the blank; the box is None where only its outline knows. [mm]
    ready : whether it was planned before as it stands now, so that planning it takes no time, and is not so planned last.
    planned, plan : its last plan and the plan.json of it; None where it was never planned, or its files are gone.
    forbidden : the stop of its wood where that must not be burnt at all, None elsewhere; nothing of a plan is then told.
    machine, lens_name : what it is planned for.
    artworks : what the files of its document are called.
    short : the blank of the shelf that pieces like it want more of than there are; None where it is burnt or there are enough.
    finishing : what is done after burning, as is common for such wood.
    burn_id : a burn of it as it stands burnt, or where it is spoiled the burn that spoiled it; None where it is not burnt.
    spoiled : whether its burn was graded so.
    before_id, after_id : neighbours in the batch, None at an end.
    """

    piece_id: int
    batch_id: str
    batch_name: str
    batch_subtitle: str
    order: int
    count: int
    slug: str
    name: str
    wood_id: str
    wood_name: str
    wood_surface: str
    document: dict[str, Any]
    version: int
    size_mm: tuple[float | None, float | None, float]
    strip: tuple[StripStep, ...]
    planned: PiecePlanned | None
    ready: bool
    plan: dict[str, Any] | None
    forbidden: Check | None
    machine: dict[str, Any]
    machine_id: str
    lens_name: str
    curve: CurveTold
    finishing: tuple[FinishingStep, ...]
    artworks: tuple[str, ...]
    burns: tuple[BurnOfPiece, ...]
    blanks: tuple[BlankOnShelf, ...]
    short: Short | None
    edits: tuple[EditOfPiece, ...]
    burn_id: int | None
    spoiled: bool
    before_id: int | None
    after_id: int | None


def piece_of(book: Book, piece_id: int) -> PieceSheet:
    """Return a piece with all that its sheet shows.

    Raises
    ------
    NotFound
        If it is not in the book.
    """
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        document = row["document"]
        sources = sources_of(connection, row["batch_id"], [document])
        ids = _order(connection, row["batch_id"])
        ticks = {
            str(name): str(at)
            for name, at in connection.execute(
                sa.select(step.c.name, step.c.done_at).where(step.c.piece_id == piece_id)
            )
        }
        burns = _burns(connection, piece_id)
        spoiled_burn_id = spoiled_of(connection, [piece_id]).get(piece_id)
        blanks = _blanks(connection, row["wood_id"])
        short = None if "burnt" in ticks else wants_in(connection).short_of(row["wood_id"], document["blank"])
        edits = edits_of_piece(connection, piece_id)
    planned = plan_of(book, piece_id)
    sha256 = inputs_sha256(sources, [document])
    source = sources.woods.get(row["wood_id"])
    place = ids.index(piece_id)
    one = known_wood(row["wood_id"], source)
    stop = None if source is None else forbidding(row["wood_id"], source.document, called=source.name)
    return PieceSheet(
        piece_id=piece_id,
        batch_id=row["batch_id"],
        batch_name=sources.batch["name"],
        batch_subtitle=sources.batch.get("subtitle", ""),
        order=place + 1,
        count=len(ids),
        slug=row["slug"],
        name=row["name"],
        wood_id=row["wood_id"],
        wood_name=row["wood_id"] if source is None else source.name,
        wood_surface="bare" if source is None else source.document.get("surface", "bare"),
        document=document,
        version=row["version"],
        size_mm=size_mm(document["blank"]),
        strip=strip_of(
            None if planned is None else planned.summary,
            fresh=planned is not None and planned.fresh,
            has_artwork=all(name in sources.files for name in files_named(document)),
            curve_kind=None if source is None or source.curve is None else source.curve["provenance"]["kind"],
            ticks=ticks,
            spoiled=spoiled_burn_id is not None,
        ),
        planned=planned if planned is None or stop is None else _without_set_ups(planned),
        ready=(planned is None or not planned.fresh) and planned_with(book, sha256) is not None,
        plan=_plan(planned, stop),
        forbidden=stop,
        machine=sources.machine,
        machine_id=sources.batch["machine"],
        lens_name=sources.batch["lens"],
        curve=_curve(None if source is None else source.curve, one),
        finishing=() if one is None else one.finishing,
        artworks=tuple(files_named(document)),
        burns=burns,
        blanks=blanks,
        short=short,
        edits=edits,
        burn_id=spoiled_burn_id or next((one.burn_id for one in burns if one.burnt_at == ticks.get("burnt")), None),
        spoiled=spoiled_burn_id is not None,
        before_id=ids[place - 1] if place > 0 else None,
        after_id=ids[place + 1] if place + 1 < len(ids) else None,
    )


def artwork_of(book: Book, name: str) -> ArtworkFile:
    """Return artwork of the book by the name that pieces call it by.

    Raises
    ------
    NotFound
        If the book has none of that name.
    """
    with book.reading() as connection:
        row = connection.execute(
            sa.select(artwork.c.sha256, file.c.media_type)
            .select_from(artwork.join(file, artwork.c.sha256 == file.c.sha256))
            .where(artwork.c.name == name)
        ).one_or_none()
    if row is None:
        raise NotFound("that artwork is not in the book")
    return ArtworkFile(name=name, media_type=row.media_type, data=load(book, row.sha256))


def _order(connection: sa.Connection, batch_id: str) -> Sequence[int]:
    return list(
        connection.execute(
            sa.select(piece.c.id)
            .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
            .order_by(piece.c.position, piece.c.id)
        ).scalars()
    )


def _burns(connection: sa.Connection, piece_id: int) -> tuple[BurnOfPiece, ...]:
    rows = connection.execute(
        sa.select(burn.c.id, burn.c.mark_id, burn.c.burnt_at, burn.c.grade, burn.c.note)
        .where(burn.c.piece_id == piece_id, burn.c.removed_at.is_(None))
        .order_by(burn.c.burnt_at.desc(), burn.c.id)
        .limit(MOST_BURNS)
    )
    return tuple(
        BurnOfPiece(burn_id=r.id, mark_id=r.mark_id, burnt_at=r.burnt_at, grade=r.grade, note=r.note) for r in rows
    )


def _blanks(connection: sa.Connection, wood_id: str) -> tuple[BlankOnShelf, ...]:
    rows = connection.execute(
        sa.select(blank.c.id, blank.c.name, blank.c.left_count)
        .where(blank.c.wood_id == wood_id, blank.c.left_count > 0, blank.c.removed_at.is_(None))
        .order_by(blank.c.name)
        .limit(MOST_BLANKS)
    )
    return tuple(BlankOnShelf(blank_id=r.id, name=r.name, left=r.left_count) for r in rows)


def _plan(planned: PiecePlanned | None, stop: Check | None) -> dict[str, Any] | None:
    """Return a plan.json, None where its files were thinned out; of what must not be burnt without any setting."""
    if planned is None:
        return None
    try:
        document = planned.document()
    except EvenburnError:
        return None
    return document if stop is None else without_settings(document, stop)


def _without_set_ups(planned: PiecePlanned) -> PiecePlanned:
    return replace(planned, summary=replace(planned.summary, time_s=0.0, programs=0, set_ups=()))


def _curve(document: Mapping[str, Any] | None, one: Wood | None) -> CurveTold:
    if document is not None:
        told = document["provenance"]
        return CurveTold(
            kind=told["kind"],
            detail=told.get("detail", ""),
            char_limit_J_per_mm2=10.0 ** document["x_char"],
            evenness_L=document["evenness_L"],
            lightens=document["parameters"]["full_L"] > document["parameters"]["bare_L"],
        )
    return CurveTold(
        kind="starting value",
        detail="" if one is None else one.curve.provenance.detail,
        char_limit_J_per_mm2=None if one is None else float(10.0**one.curve.x_char),
        evenness_L=None if one is None else one.curve.evenness_L,
        lightens=one is not None and one.curve.full_L > one.curve.bare_L,
    )
