"""What has to hold of a book after any accident."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import sqlalchemy as sa

from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.opening import DATABASE
from evenburn.adapters.storage.book.tables import artwork, file, photograph, piece
from evenburn.services.book.open_book import open_book_at


def pieces_in(place: Path) -> dict[int, str]:
    """Return the pieces of a book that are not taken away: number and name."""
    book = open_book_at(place)
    try:
        with book.reading() as connection:
            rows = connection.execute(sa.select(piece.c.id, piece.c.name).where(piece.c.removed_at.is_(None))).all()
            return {int(id_): str(name) for id_, name in rows}
    finally:
        book.close()


def demand_sound(place: Path) -> None:
    """Demand that a book opens, its database is whole, every file it tells of is there as it was, and no plan is a half one."""
    book = open_book_at(place)
    try:
        with book.reading() as connection:
            if (place / DATABASE).exists():
                assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
                assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
            told = set(connection.execute(sa.select(file.c.sha256)).scalars())
            named = set(connection.execute(sa.select(artwork.c.sha256)).scalars())
            named |= set(connection.execute(sa.select(photograph.c.sha256)).scalars())
        assert named <= told
        for sha256 in told:
            assert hashlib.sha256(path_of(book, sha256).read_bytes()).hexdigest() == sha256
        for index in sorted((place / "plans").glob("*/plan.json")):
            demand_whole_plan(index.parent)
    finally:
        book.close()


def demand_whole_plan(folder: Path) -> None:
    """Demand that all files a plan names are there, and each program ends as one."""
    document = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    assert (folder / document["run_sheet"]).read_bytes().rstrip().endswith(b"%%EOF")
    for one in document["pieces"]:
        for mark in one["marks"]:
            for name in mark["files"].values():
                assert name is None or (folder / name).stat().st_size > 0, name
            if mark["files"]["program"] is not None:
                assert (folder / mark["files"]["program"]).read_text().rstrip().endswith("M2")
