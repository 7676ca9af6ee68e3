"""Open a book: find it, bring its tables up to date, and say plainly where that cannot be.

A book is a folder with `book.sqlite` and `files/`, or a PostgreSQL database by URL with a folder for its files. Every change
is one transaction. SQLite writes ahead to a journal, so that readers never wait, a killed program loses nothing that was
acknowledged, and a copy can be taken while it runs.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa
from sqlalchemy import event, exc

from evenburn.adapters.storage.through import make_folder
from evenburn.core.errors import NotFound, StorageError

if TYPE_CHECKING:
    from alembic.config import Config

DATABASE, FILES = "book.sqlite", "files"
WAITS_ms = 5000  # for another program that is writing
WRITES = "evenburn_writes"  # option of a connection that is going to change something


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Book:
    """An open book: its database, the folder of its files, and what it is called when one talks of it."""

    engine: sa.Engine
    files: Path
    name: str

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Give a connection that sees one state of the book and changes nothing."""
        with told(self.name), self.engine.connect() as connection:
            try:
                yield connection
            finally:
                connection.rollback()

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """Give a connection whose changes are all kept, or none where an error leaves it."""
        with told(self.name), self.engine.connect() as plain:
            connection = plain.execution_options(**{WRITES: True})
            with connection.begin():
                yield connection

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def open_book(place: str | Path) -> Book:
    """Open a book, made where there is none and brought up to date where it is older.

    Parameters
    ----------
    place : folder of the book, or URL of a PostgreSQL database with `files=FOLDER` behind it: URL#files=/some/folder.

    Raises
    ------
    StorageError
        If it cannot be read or written, is held by another program, is no book, or was written by a newer evenburn.
    """
    if isinstance(place, str) and place.startswith("postgresql"):
        url, _, tail = place.partition("#files=")
        if not tail:
            raise StorageError(
                "a book on PostgreSQL needs a folder for its files",
                hint="Write it behind the URL: …#files=/some/folder",
            )
        name, files = "the book on PostgreSQL", Path(tail)
        engine = sa.create_engine(_driven(url), pool_pre_ping=True)
    else:
        folder = Path(place)
        name, files = f"the book in {folder.name or folder}", folder / FILES
        _make(folder, name)
        engine = sa.create_engine(f"sqlite:///{folder / DATABASE}", connect_args={"timeout": WAITS_ms / 1000.0})
        event.listen(engine, "connect", _prepare)
        event.listen(engine, "begin", _begin)
    _make(files, name)
    with told(name):
        _bring_up_to_date(engine, name)
    return Book(engine=engine, files=files, name=name)


def _driven(url: str) -> str:
    """Return a URL that names its driver."""
    return url.replace("postgresql://", "postgresql+psycopg://", 1)


def _make(folder: Path, name: str) -> None:
    try:
        make_folder(folder)
    except OSError as error:
        raise StorageError(
            f"{name} cannot be made: {error.strerror}", hint="Choose another place with --book."
        ) from error


def _prepare(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are begun below, not by the driver when it thinks fit
    cursor = connection.cursor()
    for pragma in ("journal_mode=wal", "synchronous=full", f"busy_timeout={WAITS_ms}", "foreign_keys=on"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: sa.Connection) -> None:
    """Begin; who means to write takes the turn at once, so that of two writers the later waits instead of being refused."""
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


# ---- versions ----------------------------------------------------------------------------------------------------


NEWEST = "0001"  # of the book's tables, as the last of the migrations is called
NO_SUCH_NUMBER = "nothing in the book has a number that large"
_MARK = sa.table("alembic_version", sa.column("version_num", sa.String))


def newest_version() -> str:
    """Return the version of the book that this evenburn writes."""
    return NEWEST


def _config() -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    return config


def _bring_up_to_date(engine: sa.Engine, name: str) -> None:
    """Run what is missing, each version in one transaction together with its own mark; most books lack nothing."""
    with engine.connect() as connection:
        tables = sa.inspect(connection).get_table_names()
        now = connection.execute(sa.select(_MARK.c.version_num)).scalar() if _MARK.name in tables else None
        connection.rollback()
        if now == NEWEST:
            return
        from alembic import command
        from alembic.script import ScriptDirectory

        known = {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}
        if now is not None and now not in known:
            raise StorageError(
                f"{name} was written by a newer evenburn (version {now} of its tables; this one knows up to "
                f"{NEWEST}); nothing was changed",
                hint="Use that evenburn, or a backup from before.",
            )
        if now is None and tables:
            raise StorageError(
                f"{name} is a database, but not a book; nothing was changed", hint="Choose another place."
            )
        config = _config()
        config.attributes["connection"] = connection
        with connection.begin():
            command.upgrade(config, "head")


# ---- what goes wrong ---------------------------------------------------------------------------------------------

_WORDS = (
    ("database is locked", "is held by another program", "Close the other window or program, then repeat."),
    ("readonly database", "may not be written", "Give yourself the right to write it, or choose another with --book."),
    ("database or disk is full", "found the disk full; nothing of this change was kept", "Make room, then repeat."),
    ("disk I/O error", "could not be read or written: the disk fails", "Copy the book to another disk while you can."),
    ("file is not a database", "is not a book, or is damaged", "Restore a backup, or choose another with --book."),
    ("malformed", "is damaged", "Restore a backup."),
    ("unable to open database file", "cannot be opened", "Does the folder exist, and is it yours?"),
)


@contextmanager
def told(name: str) -> Iterator[None]:
    """Turn what a database says into words for a person."""
    try:
        yield
    except exc.DBAPIError as error:
        if isinstance(error.orig, OverflowError) or "out of range" in str(error.orig):
            raise NotFound(NO_SUCH_NUMBER) from error
        raise _in_words(name, str(error.orig)) from error
    except OverflowError as error:
        if "SQLite INTEGER" not in str(error):
            raise
        raise NotFound(NO_SUCH_NUMBER) from error
    except OSError as error:
        if isinstance(error, StorageError):
            raise
        full = error.errno == errno.ENOSPC
        raise StorageError(
            f"{name}: {'the disk is full' if full else error.strerror or error}",
            hint="Make room, then repeat." if full else "Is the folder yours?",
        ) from error


def _in_words(name: str, said: str) -> StorageError:
    for words, text, hint in _WORDS:
        if words in said:
            return StorageError(f"{name} {text}", hint=hint)
    if "connect" in said.lower():
        return StorageError(f"{name} does not answer", hint="Is the database running, and does the URL name it?")
    return StorageError(f"{name}: {said.strip().splitlines()[0] if said.strip() else 'the database failed'}", hint="")
