"""The book as one file, taken while it runs, and a book made again from such a file.

The file is a ZIP: `book.json` names the version of the tables and how many rows each has; `tables/NAME.jsonl` holds the rows,
one JSON object to a line; `files/` the artwork and photographs under their SHA-256. It is the same from SQLite and from
PostgreSQL, and goes back into either.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import exc

from evenburn.adapters.storage.book.keeping import path_of, put
from evenburn.adapters.storage.book.opening import Book, newest_version, open_book, told
from evenburn.adapters.storage.book.tables import BOOK, file
from evenburn.adapters.storage.through import move_in
from evenburn.core.errors import InvalidInput, StorageError, UnreadableFile

INDEX = "book.json"
FORM = "evenburn book"
MOST_bytes = 1 << 36  # a backup that unpacks to more is none of ours …
MOST_TIMES, ALLOWED_bytes = 200, 1 << 26  # … nor one that unpacks to so many times its own size, and more than this
LARGEST_INDEX_bytes = 1 << 20
LARGEST_FILE_bytes = 1 << 30  # of artwork or photograph; it is held in memory
LONGEST_ROW_bytes = 1 << 26
AT_ONCE = 500
# what reading an archive raises where it is damaged, or made to be; what it does not support is a RuntimeError too
DAMAGE = (KeyError, ValueError, zipfile.BadZipFile, OSError, EOFError, RuntimeError, zlib.error)


def back_up(book: Book, target: Path, *, now: str) -> Path:
    """Write the whole book into one file, as it is at one moment, and return the file.

    The file appears when it is whole; until then, and if this fails, what was there before stays.

    Raises
    ------
    StorageError
        If it cannot be written, or a file of the book is missing.
    """
    with told(f"the backup {target.name}"):
        handle, name = tempfile.mkstemp(prefix=".backup-", suffix=".zip", dir=target.parent)
        stage = Path(name)
        try:
            with os.fdopen(handle, "wb") as out, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
                _pack(book, packed, now=now)
            move_in(stage, target)
        finally:
            stage.unlink(missing_ok=True)
    return target


def _pack(book: Book, packed: zipfile.ZipFile, *, now: str) -> None:
    counts: dict[str, int] = {}
    with book.reading() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ"))
        for table in BOOK.sorted_tables:
            counts[table.name] = 0
            with packed.open(f"tables/{table.name}.jsonl", "w", force_zip64=True) as out:
                for row in connection.execute(sa.select(table)).mappings():
                    out.write(json.dumps(dict(row), ensure_ascii=False).encode() + b"\n")
                    counts[table.name] += 1
        names = list(connection.execute(sa.select(file.c.sha256)).scalars())
    for sha256 in names:
        path = path_of(book, sha256)
        if not path.exists():
            raise StorageError(f"{book.name}: a file is missing, and the backup would not be whole", hint="")
        packed.write(path, f"files/{sha256}", compress_type=zipfile.ZIP_STORED)
    index = {"form": FORM, "version": newest_version(), "made_at": now, "rows": counts, "files": len(names)}
    packed.writestr(INDEX, json.dumps(index, indent=2))


def restore(source: Path, place: str | Path) -> Book:
    """Make a book from a backup, where none is yet, and return it open.

    Raises
    ------
    UnreadableFile, InvalidInput
        If the file is no backup, is not whole, or is of a newer evenburn; then no book is made.
    StorageError
        If there is a book already, or it cannot be written.
    """
    name = source.name
    try:
        packed = zipfile.ZipFile(source)
    except FileNotFoundError as error:
        raise UnreadableFile(name, "is missing") from error
    except DAMAGE as error:
        raise UnreadableFile(name, "is no backup of a book, or is cut short") from error
    with packed:
        index = _checked(packed, name)
        book = open_book(place)
        try:
            _fill(book, packed, name=name, counts=index["rows"])
        except BaseException:
            book.close()
            raise
    return book


def _fill(book: Book, packed: zipfile.ZipFile, *, name: str, counts: dict[str, Any]) -> None:
    with told(book.name), book.writing() as connection:
        if any(connection.execute(sa.select(sa.func.count()).select_from(t)).scalar_one() for t in BOOK.sorted_tables):
            raise StorageError(f"{book.name} is not empty", hint="Restore into a new place with --book.")
        for table in BOOK.sorted_tables:
            _unpack_table(connection, table, packed, name=name, count=counts.get(table.name, 0))
        for sha256 in connection.execute(sa.select(file.c.sha256)).scalars():
            _unpack_file(book, packed, sha256, name=name)
        _count_on(connection)


def _checked(packed: zipfile.ZipFile, name: str) -> dict[str, Any]:
    try:
        size = packed.getinfo(INDEX).file_size
        index = json.loads(packed.read(INDEX)) if size <= LARGEST_INDEX_bytes else None
    except (*DAMAGE, RecursionError) as error:
        raise UnreadableFile(name, "is no backup of a book, or is damaged") from error
    if not isinstance(index, dict) or index.get("form") != FORM or not isinstance(index.get("rows"), dict):
        raise UnreadableFile(name, "is no backup of a book")
    if index.get("version") != newest_version():
        raise InvalidInput(
            {"version": f"is {str(index.get('version'))[:40]}; this evenburn restores {newest_version()}"},
            source=name,
            hint="Restore it with the evenburn that made it; this one then brings the book up to date.",
        )
    unpacked = sum(info.file_size for info in packed.infolist())
    stored = sum(info.compress_size for info in packed.infolist())
    if unpacked > min(MOST_bytes, MOST_TIMES * stored + ALLOWED_bytes):
        raise UnreadableFile(name, "would unpack to far more than a book holds")
    try:
        damaged = packed.testzip()
    except DAMAGE as error:
        raise UnreadableFile(name, "is damaged") from error
    if damaged is not None:
        raise UnreadableFile(name, f"is damaged at {damaged[:80]}")
    return index


def _unpack_table(
    connection: sa.Connection, table: sa.Table, packed: zipfile.ZipFile, *, name: str, count: int
) -> None:
    rows: list[dict[str, Any]] = []
    seen = 0
    try:
        for row in _rows(table, packed):
            rows.append(row)
            seen += 1
            if len(rows) == AT_ONCE:
                connection.execute(sa.insert(table), rows)
                rows = []
        if rows:
            connection.execute(sa.insert(table), rows)
    except (exc.IntegrityError, exc.DataError, *DAMAGE, TypeError, OverflowError, RecursionError) as error:
        if isinstance(error, OSError):
            raise  # the computer's own fault: the archive was read to its end before
        raise UnreadableFile(name, f"holds no sound rows of {table.name}") from error
    if seen != count:
        raise UnreadableFile(name, f"tells of {str(count)[:40]} rows of {table.name} and holds {seen}")


def _rows(table: sa.Table, packed: zipfile.ZipFile) -> Iterator[dict[str, Any]]:
    """Yield the rows of a table as an archive holds them; raises ValueError where one is none of this table."""
    with packed.open(f"tables/{table.name}.jsonl") as lines:
        while line := lines.readline(LONGEST_ROW_bytes + 1):
            row = json.loads(line) if len(line) <= LONGEST_ROW_bytes else None
            if not isinstance(row, dict) or set(row) != set(table.c.keys()):
                raise ValueError(f"no row of {table.name}")
            for column in table.c:
                if not _fits(row[column.key], column):
                    raise ValueError(f"{table.name}.{column.key}")
            yield row


def _fits(value: Any, column: sa.Column[Any]) -> bool:
    """Return whether a value is of a column's kind."""
    if isinstance(column.type, sa.JSON):
        return True
    if value is None:
        return bool(column.nullable)
    if isinstance(column.type, sa.Integer):
        return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 1 << 63
    if isinstance(column.type, sa.Float):
        return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return isinstance(value, str)


def _unpack_file(book: Book, packed: zipfile.ZipFile, sha256: str, *, name: str) -> None:
    member = f"files/{sha256}"
    try:
        if packed.getinfo(member).file_size > LARGEST_FILE_bytes:
            raise UnreadableFile(name, "holds a file that is larger than any that evenburn keeps")
        data = packed.read(member)
    except KeyError as error:
        raise UnreadableFile(name, "lacks one of the book's files") from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise UnreadableFile(name, "holds a file that is damaged")
    put(path_of(book, sha256), data)  # of a name that is the hash of what is in it, and so no path


def _count_on(connection: sa.Connection) -> None:
    """Let PostgreSQL number new rows after those that came with their own numbers."""
    if connection.dialect.name != "postgresql":
        return
    for table in BOOK.sorted_tables:
        if "id" in table.c and isinstance(table.c.id.type, sa.Integer):
            connection.execute(
                sa.text(
                    f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), COALESCE(MAX(id), 0) + 1, false) "  # noqa: S608  # names of our own tables
                    f"FROM {table.name}"
                )
            )
