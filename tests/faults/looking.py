"""What has to hold of a book after any accident: it is sound, and everything it acknowledged is in it."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.keeping import load, path_of
from evenburn.adapters.storage.book.opening import DATABASE
from evenburn.adapters.storage.book.tables import artwork, file, photograph, piece, plan, step
from evenburn.core.errors import EvenburnError
from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.restore_book import restore_book

Acknowledged = dict[str, Any]  # {"done": what, …} once the book had said so, {"begun": turn} before


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


# ---- what was acknowledged ---------------------------------------------------------------------------------------


def sum_of(folder: Path) -> str:
    """Return one sum over the names and bytes of all files below a folder."""
    sums = hashlib.sha256()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        sums.update(f"{path.relative_to(folder)} {hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    return sums.hexdigest()


def lost_from(place: Path, lines: Sequence[Acknowledged], *, kept_in: Path) -> str:
    """Return what a book, or its backup, lacks of what was acknowledged, in the order it was; empty where nothing is."""
    book = open_book_at(place)
    try:
        lost = _lacks(book, lines, later=()) or _lacks_plans(book, lines)
    finally:
        book.close()
    return lost or _backup_lacks(kept_in, lines)


def _lacks(book: Book, lines: Sequence[Acknowledged], *, later: Sequence[Acknowledged]) -> str:
    """Return what a book lacks of the lines; what it has of later ones is no fault."""
    with book.reading() as connection:
        pieces = {row.id: row for row in connection.execute(sa.select(piece.c.id, piece.c.name, piece.c.removed_at))}
        arts = {str(n): str(s) for n, s in connection.execute(sa.select(artwork.c.name, artwork.c.sha256))}
        ticks = {(id_, name): at for id_, name, at in connection.execute(sa.select(step))}
    renamed = max((at for at, line in enumerate(lines) if line.get("done") == "rename"), default=None)
    if renamed is not None:
        name = lines[renamed]["name"]
        begun = {f"n {line['begun']}" for line in (*lines[renamed:], *later) if "begun" in line}
        if pieces[1].name not in {name, *begun}:
            return f"piece 1 is called {pieces[1].name}, and {name} was acknowledged"
    for line in lines:
        match line.get("done"):
            case "artwork":
                if arts.get(line["name"]) != line["sha256"]:
                    return f"artwork {line['name']} was acknowledged and is not there"
                try:
                    load(book, line["sha256"])
                except EvenburnError as error:
                    return f"artwork {line['name']} was acknowledged and is not what it was: {error}"
            case "copy" if line["key"] not in pieces:
                return f"piece {line['key']} was acknowledged and is not there"
            case "tick" if ticks.get((line["key"], line["name"])) != line["at"]:
                return f"the tick “{line['name']}” of piece {line['key']} was acknowledged and is not there"
            case "remove" if pieces[line["key"]].removed_at is None:
                return f"piece {line['key']} was taken away and is there"
    return ""


def _lacks_plans(book: Book, lines: Sequence[Acknowledged]) -> str:
    """Return which acknowledged plan is not as it was; the book tells of the last one, or of one that was begun after it."""
    plans = [at for at, line in enumerate(lines) if line.get("done") == "plan"]
    if not plans:
        return ""
    with book.reading() as connection:
        told = connection.execute(sa.select(plan.c.inputs_sha256).where(plan.c.piece_id == 1)).scalar_one_or_none()
    if told is None:
        return "the plan of piece 1 was acknowledged, and the book tells of none"
    last = lines[plans[-1]]["sha256"]
    if told != last and not any("begun" in line for line in lines[plans[-1] :]):
        return f"the book tells of the plan {told[:8]}, and {last[:8]} was acknowledged"
    for line in (lines[at] for at in plans):
        folder = book.files.parent / "plans" / line["sha256"]
        if not (folder / "plan.json").is_file() or sum_of(folder) != line["sum"]:
            return f"the plan {line['sha256'][:8]} was acknowledged, and its folder is not what it was"
        demand_whole_plan(folder)
    return ""


def _backup_lacks(kept: Path, lines: Sequence[Acknowledged]) -> str:
    """Return what the last acknowledged backup lacks of what was acknowledged before it; one begun after it may hold more."""
    backups = [at for at, line in enumerate(lines) if line.get("done") == "backup"]
    if not backups:
        return ""
    with tempfile.TemporaryDirectory(dir=kept.parent) as folder:
        try:
            book = restore_book(kept, Path(folder) / "restored")
        except EvenburnError as error:
            return f"a backup was acknowledged and cannot be restored: {error}"
        try:
            lost = _lacks(book, lines[: backups[-1]], later=lines[backups[-1] :])
        finally:
            book.close()
    return f"in the backup {lost}" if lost else ""
