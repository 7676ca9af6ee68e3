"""The book: versions, changes that cannot overwrite one another, undo, files, backup; on SQLite and on a real PostgreSQL."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import time
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.backing_up import back_up, restore
from evenburn.adapters.storage.book.keeping import keep, load, path_of
from evenburn.adapters.storage.book.opening import DATABASE, Book, newest_version, open_book
from evenburn.adapters.storage.book.rows import Change, change, row_of, undo
from evenburn.adapters.storage.book.tables import BOOK, edit, file, piece, wood
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound, StorageError, UnreadableFile

NOW, LATER = "2026-06-09T08:00:00+00:00", "2026-06-09T09:00:00+00:00"
MAPLE = {"name": "hard maple", "document": {"name": "hard maple", "surface": "bare"}}


@pytest.fixture(scope="session")
def postgres(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Start a PostgreSQL server of our own on a socket, and return the URL of its database."""
    binaries = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    home = shutil.which("initdb")
    place = Path(home).parent if home else (binaries[-1] if binaries else None)
    if place is None:
        assert "CI" not in os.environ, "PostgreSQL is not installed; .ci/run installs it"
        pytest.skip("PostgreSQL is not installed (Debian: postgresql)")
    folder = tmp_path_factory.mktemp("pg")
    folder.chmod(0o777)
    folder.parent.chmod(0o755)
    data, sockets = folder / "data", Path("/tmp") / f"eb{os.getpid()}"  # noqa: S108  # a socket's path is short
    sockets.mkdir(mode=0o777, exist_ok=True)
    sockets.chmod(0o777)
    as_user = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"] if os.geteuid() == 0 else []
    for parent in folder.parents:
        if parent.owner() == "root" and parent != Path("/") and os.geteuid() == 0:
            parent.chmod(parent.stat().st_mode | 0o055)
    subprocess.run([*as_user, place / "initdb", "-D", data, "-U", "book", "-A", "trust", "-E", "UTF8", "--no-sync"], check=True, capture_output=True)  # fmt: skip
    server = subprocess.Popen([*as_user, place / "postgres", "-D", data, "-k", sockets, "-c", "listen_addresses=", "-c", "fsync=off"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
    try:
        url = f"postgresql://book@/postgres?host={sockets}"
        engine = sa.create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
        for attempt in range(150):
            try:
                engine.connect().close()
                break
            except sa.exc.OperationalError:
                assert attempt < 149, "PostgreSQL does not come up"
                time.sleep(0.2)
        engine.dispose()
        yield url
    finally:
        server.terminate()
        server.wait(20)
        shutil.rmtree(sockets, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def book(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Book]:
    if request.param == "sqlite":
        made = open_book(tmp_path / "book")
        yield made
        made.close()
        return
    url = request.getfixturevalue("postgres")
    engine = sa.create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
    with engine.begin() as connection:
        connection.execute(sa.text("DROP SCHEMA public CASCADE"))
        connection.execute(sa.text("CREATE SCHEMA public"))
    engine.dispose()
    made = open_book(f"{url}#files={tmp_path / 'files'}")
    yield made
    made.close()


def _wood(book: Book, key: str = "hard-maple") -> int:
    with book.writing() as connection:
        return change(connection, [Change(table=wood, key=key, values=MAPLE)], what="new wood", now=NOW).edit_id


def test_the_migrations_make_the_tables_as_they_are_described(book: Book) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.runtime.migration import MigrationContext

    with book.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), BOOK) == []
        assert MigrationContext.configure(connection).get_current_revision() == newest_version()


def test_it_opens_again_and_is_as_it_was(tmp_path: Path) -> None:
    first = open_book(tmp_path / "book")
    _wood(first)
    first.close()
    again = open_book(tmp_path / "book")
    with again.reading() as connection:
        assert row_of(connection, wood, "hard-maple")["document"] == MAPLE["document"]
    again.close()


def test_a_later_save_of_an_older_row_is_told_and_nothing_is_overwritten(book: Book) -> None:
    _wood(book)
    with book.writing() as connection:
        change(
            connection,
            [Change(table=wood, key="hard-maple", values={"name": "rock maple"}, version=1)],
            what="name",
            now=NOW,
        )
    with pytest.raises(ChangedMeanwhile, match="another window"), book.writing() as connection:
        change(
            connection,
            [Change(table=wood, key="hard-maple", values={"name": "sugar maple"}, version=1)],
            what="name",
            now=NOW,
        )
    with book.reading() as connection:
        row = row_of(connection, wood, "hard-maple")
        assert (row["name"], row["version"]) == ("rock maple", 2)
        assert connection.execute(sa.select(sa.func.count()).select_from(edit)).scalar_one() == 2


def test_changes_of_one_edit_are_kept_together_or_not_at_all(book: Book) -> None:
    with pytest.raises(NotFound), book.writing() as connection:
        change(
            connection,
            [Change(table=wood, key="hard-maple", values=MAPLE), Change(table=piece, key=77, values=None, version=1)],
            what="both",
            now=NOW,
        )
    with book.reading() as connection, pytest.raises(NotFound):
        row_of(connection, wood, "hard-maple")


def test_undo_brings_back_what_was_there(book: Book) -> None:
    made = _wood(book)
    with book.writing() as connection:
        taken = change(
            connection, [Change(table=wood, key="hard-maple", values=None, version=1)], what="wood taken away", now=NOW
        )
        with pytest.raises(NotFound):
            row_of(connection, wood, "hard-maple")
        assert undo(connection, taken.edit_id, now=LATER) == "wood taken away"
        assert row_of(connection, wood, "hard-maple")["name"] == "hard maple"
        with pytest.raises(NotFound, match="nothing to undo"):
            undo(connection, taken.edit_id, now=LATER)
    with book.writing() as connection:
        renamed = change(
            connection,
            [Change(table=wood, key="hard-maple", values={**MAPLE, "name": "club maple"}, version=3)],
            what="renamed",
            now=LATER,
        )
    with pytest.raises(ChangedMeanwhile), book.writing() as connection:
        undo(connection, made, now=LATER)  # it was changed since
    with book.writing() as connection:
        undo(connection, renamed.edit_id, now=LATER)
        undo(connection, made, now=LATER)  # it stands again as it was made
        with pytest.raises(NotFound):
            row_of(connection, wood, "hard-maple")


def test_a_name_that_is_taken_is_told(book: Book) -> None:
    _wood(book)
    with pytest.raises(ChangedMeanwhile, match="already"):
        _wood(book)


def test_files_are_kept_once_and_read_back(book: Book) -> None:
    with book.writing() as connection:
        first = keep(book, connection, b"<svg/>", media_type="image/svg+xml", now=NOW)
        assert keep(book, connection, b"<svg/>", media_type="image/svg+xml", now=LATER) == first
        assert connection.execute(sa.select(sa.func.count()).select_from(file)).scalar_one() == 1
    assert load(book, first) == b"<svg/>"
    path_of(book, first).write_bytes(b"<svg></svg>")
    with pytest.raises(StorageError, match="damaged"):
        load(book, first)
    for strange in ("../../etc/passwd", "ab", "Z" * 64):
        with pytest.raises(NotFound):
            path_of(book, strange)
    with pytest.raises(NotFound):
        load(book, "0" * 64)


def test_backup_and_restore(book: Book, tmp_path: Path) -> None:
    _wood(book)
    with book.writing() as connection:
        sha = keep(book, connection, b"\x89PNG", media_type="image/png", now=NOW)
    copy = back_up(book, tmp_path / "book.zip", now=LATER)
    again = restore(copy, tmp_path / "again")
    with again.reading() as connection, book.reading() as before:
        for table in BOOK.sorted_tables:
            rows, kept = (c.execute(sa.select(table)).all() for c in (connection, before))
            assert sorted(map(str, rows)) == sorted(map(str, kept))
    assert load(again, sha) == b"\x89PNG"
    with again.writing() as connection:  # new rows are numbered after those that came along
        change(connection, [Change(table=wood, key="oak", values=MAPLE)], what="new wood", now=LATER)
    with pytest.raises(StorageError, match="not empty"):
        restore(copy, tmp_path / "again")
    again.close()


def test_what_is_no_backup_makes_no_book(tmp_path: Path) -> None:
    book = open_book(tmp_path / "book")
    _wood(book)
    sound = back_up(book, tmp_path / "sound.zip", now=NOW)
    book.close()
    (tmp_path / "text.zip").write_text("no zip")
    (tmp_path / "short.zip").write_bytes(sound.read_bytes()[:-200])
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as other:
        other.writestr("book.json", json.dumps({"form": "something else"}))
    with zipfile.ZipFile(tmp_path / "newer.zip", "w") as newer:
        newer.writestr("book.json", json.dumps({"form": "evenburn book", "version": "9999", "rows": {}}))
    for name in ("text.zip", "short.zip", "other.zip", "missing.zip"):
        with pytest.raises(UnreadableFile):
            restore(tmp_path / name, tmp_path / "none")
    with pytest.raises(InvalidInput, match="9999"):
        restore(tmp_path / "newer.zip", tmp_path / "none")
    assert not (tmp_path / "none").exists()


def test_a_newer_book_is_left_alone(tmp_path: Path) -> None:
    open_book(tmp_path / "book").close()
    with sqlite3.connect(tmp_path / "book" / DATABASE) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    raw.close()
    before = (tmp_path / "book" / DATABASE).read_bytes()
    with pytest.raises(StorageError, match="newer evenburn"):
        open_book(tmp_path / "book")
    assert (tmp_path / "book" / DATABASE).read_bytes() == before


def test_what_is_no_book_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "text").mkdir()
    (tmp_path / "text" / DATABASE).write_text("this is no database, it is a shopping list that is long enough " * 20)
    with pytest.raises(StorageError, match="not a book, or is damaged"):
        open_book(tmp_path / "text")
    (tmp_path / "other").mkdir()
    raw = sqlite3.connect(tmp_path / "other" / DATABASE)
    raw.execute("CREATE TABLE songs (title TEXT)")
    raw.commit()
    raw.close()
    with pytest.raises(StorageError, match="not a book"):
        open_book(tmp_path / "other")


def test_a_book_that_another_program_holds_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("evenburn.adapters.storage.book.opening.WAITS_ms", 50)
    book = open_book(tmp_path / "book")
    raw = sqlite3.connect(tmp_path / "book" / DATABASE, isolation_level=None)
    raw.execute("BEGIN IMMEDIATE")
    with pytest.raises(StorageError, match="held by another program"):
        _wood(book)
    raw.execute("ROLLBACK")
    raw.close()
    _wood(book)
    book.close()


def test_a_place_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="cannot be made"):
        open_book(tmp_path / "file" / "book")
    with pytest.raises(StorageError, match="folder for its files"):
        open_book("postgresql://nobody@/nothing")


def test_many_writers_at_once_wait_for_one_another(book: Book) -> None:
    _wood(book)

    def one(number: int) -> int:
        with book.writing() as connection:
            known = row_of(connection, wood, "hard-maple")  # reads first, then writes, as every verb does
            changed = Change(table=wood, key=f"wood-{number}", values=known["document"] and MAPLE)
            return change(connection, [changed], what=f"wood {number}", now=NOW).edit_id

    with ThreadPoolExecutor(max_workers=12) as workers:
        made = list(workers.map(one, range(24)))
    assert len(set(made)) == 24
    with book.reading() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(wood)).scalar() == 25
