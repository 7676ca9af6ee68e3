"""Let one phone deliver photographs for a short while: a token that only it is told, what it sends, and the end of it.

The book keeps the token's SHA-256 alone, so that nobody who reads the book can deliver. A delivery ends when the phone says
that it is done, when it is switched off here, or when its time is over; a newer one ends the one before. What is sent is
looked into before it is kept, goes by its SHA-256, and its name is only a label.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.photographs.glancing import Glanced, glance_at
from evenburn.adapters.storage.book.keeping import keep, load
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import delivery, file, photograph
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.aims import Aim, AimLine, aim_in_words, aim_kept
from evenburn.services.book.names import ARTWORKS
from evenburn.services.book.take_in import keep_artwork

OPEN_min = 10
MOST_PHOTOGRAPHS = 24  # of one delivery
TOKEN_bytes = 16  # 2^128 tries within ten minutes are beyond anybody, and 22 letters can still be typed by hand
NAME_LONGEST = 120
TRAY_SHOWN = 60
_SMALL_KEPT = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """A delivery that began. `token` is told to the phone and kept nowhere; what has a higher id than `after_id` came with it."""

    token: str
    expires_at: str
    aim: AimLine
    after_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """A delivery that is open; `after_id` as of `Begun`."""

    after_id: int
    expires_at: str
    left_s: float
    aim: AimLine


@dataclass(frozen=True, slots=True, kw_only=True)
class Photograph:
    """A photograph of the book. `aim` says of what, in words."""

    id: int
    name: str
    received_at: str
    size_MB: float
    aim: AimLine


def begin_delivery(book: Book, aim: Aim, *, now: str) -> Begun:
    """Begin a delivery and end every other.

    Raises
    ------
    NotFound
        If the card or piece is not in the book.
    """
    token = secrets.token_urlsafe(TOKEN_bytes)
    expires_at = (datetime.fromisoformat(now) + timedelta(minutes=OPEN_min)).isoformat(timespec="seconds")
    with book.writing() as connection:
        line = aim_in_words(connection, aim)
        _end(connection, now=now)
        after_id = int(connection.execute(sa.select(sa.func.coalesce(sa.func.max(photograph.c.id), 0))).scalar_one())
        kept = {**aim.document(), "after_id": after_id}
        connection.execute(
            sa.insert(delivery).values(token_sha256=_sha256(token), made_at=now, expires_at=expires_at, aim=kept)
        )
    return Begun(token=token, expires_at=expires_at, aim=line, after_id=after_id)


def delivery_of(book: Book, token: str, *, now: str) -> Delivery:
    """Return the delivery that a token opens.

    Raises
    ------
    NotFound
        If there is none, or it is over; which of the two is not told.
    """
    with book.reading() as connection:
        return _open(connection, token, now=now)


def deliver_photograph(book: Book, token: str, *, data: bytes, name: str, now: str) -> Photograph:
    """Keep a photograph that a phone sent, at what the delivery is aimed at.

    Raises
    ------
    NotFound
        As `delivery_of`.
    UnreadableFile
        If it is no photograph that can be read; nothing is kept.
    InvalidInput
        If the delivery has brought all it may.
    """
    shown = label(name)
    with book.reading() as connection:
        _open(connection, token, now=now)  # nothing is looked into for somebody without a token
    found = glance_at(data, name=shown)
    with book.writing() as connection:
        opened = _open(connection, token, now=now)
        if len(_arrived(connection, after_id=opened.after_id, aim=opened.aim.aim)) >= MOST_PHOTOGRAPHS:
            raise InvalidInput(
                {"photographs": f"{MOST_PHOTOGRAPHS} photographs came already; one delivery brings no more"},
                hint="Begin another at the computer.",
            )
        sha256 = keep(book, connection, data, media_type=found.media_type, now=now)
        key = _add(connection, sha256, shown, opened.aim.aim, now=now)
        _as_artwork(book, connection, data, name=shown, ending=found.ending, aim=opened.aim.aim, now=now)
    return Photograph(id=key, name=shown, received_at=now, size_MB=len(data) / 1e6, aim=opened.aim)


def end_delivery(book: Book, *, now: str, token: str | None = None) -> None:
    """End the delivery of a token, or whatever is open."""
    with book.writing() as connection:
        _end(connection, now=now, token=token)


def arrived(book: Book, *, after_id: int, aim: Aim) -> tuple[Photograph, ...]:
    """Return what came for an aim after a photograph, the newest first."""
    with book.reading() as connection:
        return _arrived(connection, after_id=after_id, aim=aim)


# ---- the tray ----------------------------------------------------------------------------------------------------


def tray_of(book: Book) -> tuple[Photograph, ...]:
    """Return the photographs that are of nothing yet, the newest first."""
    with book.reading() as connection:
        return _arrived(connection, after_id=0, aim=Aim())


def put_photograph(book: Book, photograph_id: int, aim: Aim, *, now: str) -> AimLine:
    """Take a photograph out of the tray and put it where it belongs.

    Raises
    ------
    NotFound
        If it is not in the tray (any more), or the aim is not in the book.
    InvalidInput
        If the aim is the tray, where it is already.
    """
    if aim.kind == "tray":
        raise InvalidInput({"aim": "is the tray, where the photograph is already; choose what it is of"})
    with book.writing() as connection:
        line = aim_in_words(connection, aim)
        row = _in_tray(connection, photograph_id)
        connection.execute(
            sa.update(photograph)
            .where(photograph.c.id == photograph_id)
            .values(card_id=aim.id if aim.kind == "card" else None, piece_id=aim.id if aim.kind != "card" else None)
        )
        if aim.kind == "artwork":
            data = load(book, row.sha256)
            ending = glance_at(data, name=row.name).ending
            _as_artwork(book, connection, data, name=row.name, ending=ending, aim=aim, now=now)
    return line


def drop_photograph(book: Book, photograph_id: int, *, now: str) -> str:
    """Take a photograph out of the tray for good, and return its name; the file stays until the book is thinned out.

    Raises
    ------
    NotFound
        If it is not in the tray (any more).
    """
    with book.writing() as connection:
        row = _in_tray(connection, photograph_id)
        connection.execute(sa.update(photograph).where(photograph.c.id == photograph_id).values(removed_at=now))
    return str(row.name)


def small_photograph(book: Book, photograph_id: int) -> bytes:
    """Return a photograph small, as JPEG drawn anew from its pixels; what was sent is never handed to a browser.

    Raises
    ------
    NotFound
        If it is not in the book.
    """
    with book.reading() as connection:
        found = connection.execute(
            sa.select(photograph.c.sha256, photograph.c.name).where(
                photograph.c.id == photograph_id, photograph.c.removed_at.is_(None)
            )
        ).one_or_none()
    if found is None:
        raise NotFound(f"photograph {photograph_id} is not in the book")
    return _small(book, found.sha256, found.name).small_jpeg


def label(name: str) -> str:
    """Return what a photograph is called for people: no folders, no control characters, not too long."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable()).strip()[-NAME_LONGEST:] or "photograph"


# ---- what these share --------------------------------------------------------------------------------------------


@lru_cache(maxsize=_SMALL_KEPT)
def _small(book: Book, sha256: str, name: str) -> Glanced:
    return glance_at(load(book, sha256), name=name)


def _sha256(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _open(connection: sa.Connection, token: str, *, now: str) -> Delivery:
    row = connection.execute(sa.select(delivery).where(delivery.c.token_sha256 == _sha256(token))).one_or_none()
    left_s = 0.0
    if row is not None and row.used_at is None:
        left_s = (datetime.fromisoformat(row.expires_at) - datetime.fromisoformat(now)).total_seconds()
    if row is None or left_s <= 0.0:
        raise NotFound("there is nothing here (any more)", hint="Let the computer show a new code.")
    return Delivery(
        after_id=int(row.aim.get("after_id", 0)),
        expires_at=row.expires_at,
        left_s=left_s,
        aim=aim_in_words(connection, aim_kept(row.aim)),
    )


def _end(connection: sa.Connection, *, now: str, token: str | None = None) -> None:
    ending = sa.update(delivery).where(delivery.c.used_at.is_(None)).values(used_at=now)
    connection.execute(ending if token is None else ending.where(delivery.c.token_sha256 == _sha256(token)))


def _add(connection: sa.Connection, sha256: str, name: str, aim: Aim, *, now: str) -> int:
    made = connection.execute(
        sa.insert(photograph).values(
            sha256=sha256,
            name=name,
            received_at=now,
            card_id=aim.id if aim.kind == "card" else None,
            piece_id=aim.id if aim.kind in ("piece", "artwork") else None,
        )
    )
    key = made.inserted_primary_key
    assert key is not None  # noqa: S101  # one row was inserted, and its table has a key
    return int(key[0])


def _as_artwork(
    book: Book, connection: sa.Connection, data: bytes, *, name: str, ending: str, aim: Aim, now: str
) -> None:
    """Add a photograph to the artwork of the book where it is meant as such, called by what it is and not by what it says."""
    if aim.kind == "artwork":
        stem = name.rsplit(".", 1)[0] or "photograph"
        keep_artwork(book, connection, data, written=f"{stem}{ending}", endings=ARTWORKS, now=now)


def _in_tray(connection: sa.Connection, photograph_id: int) -> Any:
    row = connection.execute(
        sa.select(photograph.c.sha256, photograph.c.name).where(photograph.c.id == photograph_id, *_UNASSIGNED)
    ).one_or_none()
    if row is None:
        raise NotFound(f"photograph {photograph_id} is not in the tray", hint="It may have been put somewhere already.")
    return row


_UNASSIGNED = (
    photograph.c.card_id.is_(None),
    photograph.c.piece_id.is_(None),
    photograph.c.removed_at.is_(None),
)


def _arrived(connection: sa.Connection, *, after_id: int, aim: Aim) -> tuple[Photograph, ...]:
    of: tuple[sa.ColumnElement[bool], ...]
    match aim.kind:
        case "card":
            of = (photograph.c.card_id == aim.id, photograph.c.removed_at.is_(None))
        case "piece" | "artwork":
            of = (photograph.c.piece_id == aim.id, photograph.c.removed_at.is_(None))
        case "tray":
            of = _UNASSIGNED
    line = aim_in_words(connection, aim)
    rows = connection.execute(
        sa.select(photograph.c.id, photograph.c.name, photograph.c.received_at, file.c.bytes)
        .join(file, file.c.sha256 == photograph.c.sha256)
        .where(*of, photograph.c.id > after_id)
        .order_by(photograph.c.id.desc())
        .limit(TRAY_SHOWN)
    )
    return tuple(
        Photograph(id=key, name=name, received_at=at, size_MB=size / 1e6, aim=line) for key, name, at, size in rows
    )
