"""The woods of the book: a list of them, and a page of each with all that is known of it and what that rests on."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.wood_toml import materials, shipped_as, shipped_ids, shipped_wood
from evenburn.adapters.pictures.wood_swatches import evenness_jpeg, shades_jpeg, tone_colours
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import blank, card, curve, piece, wood
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.wood import FinishingStep
from evenburn.core.response.curve import tone_range_L
from evenburn.core.response.shades import shades_L
from evenburn.services.book.wood_cards import KINDS, WoodCard, cards_in
from evenburn.services.book.wood_curve import (
    NARROW,
    WIDE,
    CurveDrawing,
    Patch,
    curve_drawing,
    middle_dwell_ms,
    patches_of,
)
from evenburn.services.book.wood_figures import Shade, inside_L, readings_under, sd_of, shades_of, tone_sd_L
from evenburn.services.book.wood_history import HistoryLine, PieceLine, history_of, made_from, pieces_of, usual_tone_L
from evenburn.services.book.wood_rows import (
    LEARNT,
    WoodKey,
    cautions_of,
    key_of_row,
    row_with_curve,
    wood_of_key,
    wood_of_row,
)

PER_PAGE = 40
PIECES_MOST = 8
SHADES_px, EVENNESS_px, EDGE_px = (2380, 108), (600, 88), 18
SOLID_DEPTH = 0.8  # of the way from bare to the fullest tone: where large solid marks commonly lie
# blotches, ± L*, and what to expect of large solid marks: own choice
EXPECT = (
    (1.2, "Large solid marks come out even."),
    (2.2, "Expect a faint cloudiness across large solid marks."),
    (3.4, "Expect soft blotches across large solid marks."),
    (math.inf, "Expect plain blotches: prefer lines and lettering to large solid marks."),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodLine:
    """A wood of the list.

    Attributes
    ----------
    kind, detail : where its curve comes from, and in which words.
    since : when that curve came into the book; None for the starting value that ships.
    shades : how many tones are told apart; `colours` are theirs, the bare surface first.
    pieces, blanks, cards : how many of each.
    """

    wood_id: str
    name: str
    what: str
    surface: str
    kind: str
    detail: str
    since: str | None
    shades: int
    colours: tuple[str, ...]
    char_J_per_mm2: float
    evenness_L: float
    pieces: int
    blanks: int
    cards: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodList:
    """A page of woods, and how many there are in all and without the search."""

    rows: tuple[WoodLine, ...]
    search: str
    count: int
    every: int
    page: int
    pages: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveLine:
    """A curve of a wood: None as its number is the starting value that ships. `works` tells whether the wood works with it."""

    curve_id: int | None
    made_at: str | None
    kind: str
    detail: str
    works: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodPage:
    """All that is known of a wood.

    Attributes
    ----------
    name, what : what people call it, and what it is.
    kind, detail, since : where its curve comes from; `since` None for the starting value that ships.
    boards_read : how many cards the curve rests on; of one, how far boards differ is only believed.
    inside_L : how much the tone differs inside one patch of the cards, None where none was read.
    tone_sd_L : how far off its tones may be by the curve alone, root mean square over its shades.
    drawing, drawing_narrow : its curve, for a wide page and a phone.
    wished_L : the tone that is drawn; None where none is, or the wood does not take it (`wished_wrong` then says so).
    expect : what its blotches will do.
    checks : cautions about the material.
    pieces, piece_count : the first few, and how many.
    blanks_left : on the shelf.
    newest : the card to show, read last among those the curve rests on.
    waits : the newest fitted curve, where the wood does not work with it and with no later one; a person has to say.
    """

    wood_id: str
    name: str
    what: str
    surface: str
    confirmed_by: str | None
    confirmed_on: str | None
    cut_J_per_mm3: float | None
    cut_is_own: bool
    version: int
    kind: str
    detail: str
    since: str | None
    curve_id: int | None
    lightens: bool
    bare_L: float
    faint_L: float
    full_L: float
    char_J_per_mm2: float
    kappa: float
    kappa_sd: float
    evenness_L: float
    board_L: float
    boards_read: int
    inside_L: float | None
    reading_L: float
    tone_sd_L: float
    expect: str
    shades: tuple[Shade, ...]
    drawing: CurveDrawing
    drawing_narrow: CurveDrawing
    patches: tuple[Patch, ...]
    wished_L: float | None
    wished_wrong: str
    finishing: tuple[FinishingStep, ...]
    checks: tuple[Check, ...]
    cards: tuple[WoodCard, ...]
    newest: WoodCard | None
    curves: tuple[CurveLine, ...]
    waits: CurveLine | None
    history: tuple[HistoryLine, ...]
    pieces: tuple[PieceLine, ...]
    piece_count: int
    blanks_left: int

    @property
    def learnt(self) -> bool:
        """Return whether its curve was measured, not only believed."""
        return self.kind in LEARNT


def list_woods(book: Book, *, search: str = "", page: int = 1) -> WoodList:
    """Return a page of woods by name, those whose name or id holds every word of the search.

    Raises
    ------
    InvalidInput
        If the page is none.
    """
    if page < 1:
        raise InvalidInput({"page": f"is {page}; allowed is 1 or more"})
    there = wood.c.removed_at.is_(None)
    found: list[sa.ColumnElement[bool]] = [there]
    for word in search.lower().split()[:8]:
        names = sa.func.lower(wood.c.name).contains(word, autoescape=True)
        found.append(names | wood.c.id.contains(word, autoescape=True))
    with book.reading() as connection:
        every = int(connection.execute(sa.select(sa.func.count()).select_from(wood).where(there)).scalar_one())
        count = int(connection.execute(sa.select(sa.func.count()).select_from(wood).where(*found)).scalar_one())
        pages = max(1, -(-count // PER_PAGE))
        page = min(page, pages)
        rows = connection.execute(
            sa.select(wood.c.id, wood.c.name, wood.c.document, curve.c.document, curve.c.made_at)
            .select_from(wood.outerjoin(curve, wood.c.curve_id == curve.c.id))
            .where(*found)
            .order_by(sa.func.lower(wood.c.name), wood.c.id)
            .limit(PER_PAGE)
            .offset((page - 1) * PER_PAGE)
        ).all()
        ids = [str(row[0]) for row in rows]
        one = sa.func.count()
        pieces = _counts(connection, piece, one, ids, piece.c.removed_at.is_(None))
        cards = _counts(connection, card, one, ids, card.c.kind.in_(KINDS))
        blanks = _counts(connection, blank, sa.func.sum(blank.c.left_count), ids, blank.c.removed_at.is_(None))
    lines = tuple(
        _line(row, pieces=pieces.get(row[0], 0), cards=cards.get(row[0], 0), blanks=blanks.get(row[0], 0))
        for row in rows
    )
    return WoodList(rows=lines, search=search, count=count, every=every, page=page, pages=pages)


def wood_of(book: Book, wood_id: str, *, wished_L: float | None = None) -> WoodPage:
    """Return all that is known of a wood.

    Parameters
    ----------
    wished_L : a tone whose exposure is drawn; None for the one that most of its pieces wish for.

    Raises
    ------
    NotFound
        If it is not in the book.
    """
    with book.reading() as connection:
        row, own = row_with_curve(connection, wood_id)
        cards = cards_in(connection, wood_id)
        made = connection.execute(
            sa.select(curve.c.id, curve.c.made_at, curve.c.document, curve.c.source)
            .where(curve.c.wood_id == wood_id)
            .order_by(curve.c.id.desc())
        ).all()
        pieces, piece_count = pieces_of(connection, wood_id)
        history = history_of(connection, wood_id, cards)
        blanks = _counts(
            connection, blank, sa.func.sum(blank.c.left_count), [wood_id], blank.c.removed_at.is_(None)
        ).get(wood_id, 0)
    one = wood_of_row(wood_id, row["document"], own)
    works = next((m for m in made if m[0] == row["curve_id"]), None)
    readings = readings_under(cards, [] if works is None else list(works[3]))
    dwell = middle_dwell_ms([r for _, r in readings])
    patches = patches_of(one.curve, [r for _, r in readings], named=len(readings) > 1)
    asked = wished_L if wished_L is not None else usual_tone_L(pieces)
    faint, full = tone_range_L(one.curve)
    low, high = min(faint, full), max(faint, full)
    fits = asked is not None and low <= asked <= high
    wrong = "" if fits or wished_L is None else f"is {wished_L:g}; this wood takes L* {low:.1f} to {high:.1f}"
    wished = asked if fits else None
    provenance = one.curve.provenance
    curves = _curve_lines(wood_id, row, made, cards)
    return WoodPage(
        wood_id=wood_id,
        name=row["name"],
        what=one.name,
        surface=one.surface,
        confirmed_by=row["document"].get("confirmed_by"),
        confirmed_on=row["document"].get("confirmed_on"),
        cut_J_per_mm3=one.cut_J_per_mm3,
        cut_is_own="cut_J_per_mm3" in row["document"],
        version=row["version"],
        kind=provenance.kind,
        detail=provenance.detail if works is None else made_from(works[2], works[3], cards),
        since=None if works is None else works[1],
        curve_id=row["curve_id"],
        lightens=one.curve.full_L > one.curve.bare_L,
        bare_L=one.curve.bare_L,
        faint_L=faint,
        full_L=full,
        char_J_per_mm2=10.0**one.curve.x_char,
        kappa=one.curve.kappa,
        kappa_sd=sd_of(one, "kappa"),
        evenness_L=one.curve.evenness_L,
        board_L=one.curve.board_L,
        boards_read=len({card_id for card_id, _ in readings}),
        inside_L=inside_L(readings),
        reading_L=one.curve.reading_L,
        tone_sd_L=tone_sd_L(one, dwell=dwell),
        expect=next(text for most, text in EXPECT if one.curve.evenness_L < most),
        shades=shades_of(one),
        drawing=curve_drawing(one, patches, frame=WIDE, dwell=dwell, wished_L=wished),
        drawing_narrow=curve_drawing(one, patches, frame=NARROW, dwell=dwell, wished_L=wished),
        patches=patches,
        wished_L=wished if wished_L is None or fits else wished_L,
        wished_wrong=wrong,
        finishing=one.finishing,
        checks=cautions_of(one, row["document"], called=row["name"]),
        cards=cards,
        newest=_newest(cards, {c for c, _ in readings}),
        curves=curves,
        waits=_waiting(curves),
        history=history,
        pieces=tuple(pieces[:PIECES_MOST]),
        piece_count=piece_count,
        blanks_left=blanks,
    )


def shades_picture(book: Book, wood_id: str) -> bytes:
    """Return the shades of a wood side by side, all of one board, as JPEG; NotFound without the wood."""
    return _shades_picture(_key_in(book, wood_id))


def evenness_picture(book: Book, wood_id: str) -> bytes:
    """Return a large solid mark as blotchy as it will come out on a wood, as JPEG; NotFound without the wood."""
    return _evenness_picture(_key_in(book, wood_id))


def _key_in(book: Book, wood_id: str) -> WoodKey:
    with book.reading() as connection:
        row, own = row_with_curve(connection, wood_id)
    return key_of_row(wood_id, row["document"], own)


@lru_cache(maxsize=64)
def _shades_picture(key: WoodKey) -> bytes:
    one = wood_of_key(key)
    return shades_jpeg(one, shades_L(one.curve) or (one.curve.bare_L,), size_px=SHADES_px)


@lru_cache(maxsize=64)
def _evenness_picture(key: WoodKey) -> bytes:
    one = wood_of_key(key)
    faint, full = tone_range_L(one.curve)
    return evenness_jpeg(one, faint + SOLID_DEPTH * (full - faint), size_px=EVENNESS_px, edge_px=EDGE_px)


# ---- figures -----------------------------------------------------------------------------------------------------


def _line(row: Sequence[Any], *, pieces: int, cards: int, blanks: int) -> WoodLine:
    wood_id, name, document, own, since = row
    key = key_of_row(wood_id, document, own)
    one = wood_of_key(key)
    tones, colours = _looks(key)
    return WoodLine(
        wood_id=wood_id,
        name=name,
        what=one.name,
        surface=one.surface,
        kind=one.curve.provenance.kind,
        detail=one.curve.provenance.detail,
        since=since,
        shades=tones,
        colours=colours,
        char_J_per_mm2=10.0**one.curve.x_char,
        evenness_L=one.curve.evenness_L,
        pieces=pieces,
        blanks=blanks,
        cards=cards,
    )


@lru_cache(maxsize=1024)
def _looks(key: WoodKey) -> tuple[int, tuple[str, ...]]:
    one = wood_of_key(key)
    tones = shades_L(one.curve)
    return len(tones), tone_colours(one, (one.curve.bare_L, *tones))


# ---- rows --------------------------------------------------------------------------------------------------------


def _counts(
    connection: sa.Connection, table: sa.Table, what: Any, ids: Sequence[str], *where: sa.ColumnElement[bool]
) -> dict[str, int]:
    rows = connection.execute(
        sa.select(table.c.wood_id, what).where(table.c.wood_id.in_(ids), *where).group_by(table.c.wood_id)
    )
    return {str(wood_id): int(n or 0) for wood_id, n in rows}


def _newest(cards: Sequence[WoodCard], used: set[int]) -> WoodCard | None:
    """Return the card to show: of those that the curve rests on the newest, else the newest that was read, else none."""
    read = [c for c in cards if c.newest() is not None]
    return next((c for c in read if c.card_id in used), read[0] if read else None)


def _curve_lines(
    wood_id: str, row: Mapping[str, Any], made: Sequence[Any], cards: Sequence[WoodCard]
) -> tuple[CurveLine, ...]:
    lines = [
        CurveLine(
            curve_id=int(id_),
            made_at=str(at),
            kind=document["provenance"]["kind"],
            detail=made_from(document, source, cards),
            works=id_ == row["curve_id"],
        )
        for id_, at, document, source in made
    ]
    if shipped_as(wood_id, row["document"]["name"]) is not None:
        lines.append(
            CurveLine(
                curve_id=None,
                made_at=None,
                kind="starting value",
                detail=f"of {row['document']['name']}, from memory",
                works=row["curve_id"] is None,
            )
        )
    return tuple(lines)


def _waiting(curves: Sequence[CurveLine]) -> CurveLine | None:
    newest = next((c for c in curves if c.kind in LEARNT), None)
    works = next((c for c in curves if c.works), None)
    if newest is None or newest.works or newest.curve_id is None:
        return None
    later = works is not None and works.curve_id is not None and works.curve_id > newest.curve_id
    return None if later else newest


# ---- for forms ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class BeginsWith:
    """What a new wood may begin with, in groups of (key, name), and the materials to refuse or to doubt: name, level, why."""

    choices: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    materials: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodTold:
    """What a person told of a wood, as texts for a form: called, name, surface, cut_J_per_mm3, confirmed_by."""

    called: str
    values: dict[str, str]
    version: int


def begins_with(book: Book) -> BeginsWith:
    """Return what a new wood may begin with: "ship:ID" for a starting value, "lot:ID" for a new lot of a wood of the book."""
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(wood.c.id, wood.c.name).where(wood.c.removed_at.is_(None)).order_by(sa.func.lower(wood.c.name))
        ).all()
    return BeginsWith(
        choices=(
            ("a starting value", tuple((f"ship:{i}", shipped_wood(i).name) for i in shipped_ids())),
            ("a wood of the book, as a new lot of it", tuple((f"lot:{i}", str(name)) for i, name in rows)),
        ),
        materials=tuple((m.name, m.level, m.why) for m in materials()),
    )


def told_of_wood(book: Book, wood_id: str) -> WoodTold:
    """Return what a person told of a wood; NotFound if it is not in the book."""
    with book.reading() as connection:
        row, _ = row_with_curve(connection, wood_id)
    document = row["document"]
    cut = document.get("cut_J_per_mm3")
    return WoodTold(
        called=str(row["name"]),
        values={
            "called": str(row["name"]),
            "name": document["name"],
            "surface": document.get("surface", "bare"),
            "cut_J_per_mm3": "" if cut is None else f"{cut:g}",
            "confirmed_by": document.get("confirmed_by", ""),
        },
        version=int(row["version"]),
    )
