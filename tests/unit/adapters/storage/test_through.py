"""What is acknowledged is on the disk: bytes before the name, the folder after it, and both before the book tells of it."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy import event

from evenburn.adapters.storage import through
from evenburn.adapters.storage.book import keeping
from evenburn.adapters.storage.book.backing_up import back_up, restore
from evenburn.adapters.storage.book.keeping import keep
from evenburn.adapters.storage.book.opening import open_book
from evenburn.adapters.storage.card_folder import CARD_INDEX, CardFolder
from evenburn.adapters.storage.folder import INDEX, OutputFolder

NOW = "2026-06-09T08:00:00+00:00"


class Disk:
    """Stands between the program and the system: what it moved, made and wrote through, and what a pulled plug would take."""

    def __init__(self) -> None:
        self.events: list[str] = []
        self.faults: list[str] = []
        self._whole: dict[int, int] = {}  # file → when it was last written as it was written through
        self._unsaid: dict[int, str] = {}  # folder → a name in it that is not written through

    def fsync(self, real: Callable[[int], None], handle: int) -> None:
        real(handle)
        status = os.fstat(handle)
        if stat.S_ISDIR(status.st_mode):
            self.events.append("folder")
            self._unsaid.pop(status.st_ino, None)
        else:
            self.events.append("file")
            self._whole[status.st_ino] = status.st_mtime_ns

    def moves(self, source: str | Path, target: str | Path) -> None:
        self.events.append("rename")
        status = Path(source).stat()
        if self._whole.get(status.st_ino) != status.st_mtime_ns:
            self.faults.append(f"{Path(target).name} was moved before its bytes were on the disk")
        self.names(target)

    def names(self, target: str | Path) -> None:
        self._unsaid[Path(target).parent.stat().st_ino] = Path(target).name

    def acknowledge(self, *_: object) -> None:
        self.events.append("acknowledged")
        self.faults += [f"{name} was acknowledged before its folder was on the disk" for name in self._unsaid.values()]


@pytest.fixture(name="disk")
def _disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Disk]:  # noqa: ARG001  # its folder was made before
    disk = Disk()
    fsync, replace, mkdir = os.fsync, os.replace, os.mkdir

    def moved(source: str | Path, target: str | Path) -> None:
        disk.moves(source, target)
        replace(source, target)

    def made(path: str | Path, mode: int = 0o777) -> None:
        mkdir(path, mode)
        if not Path(path).name.startswith("."):  # a stage is thrown away
            disk.names(path)

    monkeypatch.setattr(os, "fsync", lambda handle: disk.fsync(fsync, handle))
    monkeypatch.setattr(os, "replace", moved)
    monkeypatch.setattr(os, "mkdir", made)
    event.listen(sa.Engine, "commit", disk.acknowledge)
    yield disk
    event.remove(sa.Engine, "commit", disk.acknowledge)


def test_a_file_goes_first_then_its_name_then_its_folder(disk: Disk, tmp_path: Path) -> None:
    (tmp_path / "stage").write_text("oars")

    through.move_in(tmp_path / "stage", tmp_path / "kept.txt")

    assert disk.events == ["file", "rename", "folder"]
    assert (tmp_path / "kept.txt").read_text() == "oars"
    assert disk.faults == []


def test_folders_above_one_another_are_each_written_through(disk: Disk, tmp_path: Path) -> None:
    through.make_folder(tmp_path / "a" / "b" / "c")

    assert disk.events == ["folder"] * 3
    assert (tmp_path / "a" / "b" / "c").is_dir()
    through.make_folder(tmp_path / "a" / "b" / "c")  # there already: nothing to do
    assert len(disk.events) == 3


def test_artwork_is_on_the_disk_before_the_book_tells_of_it(disk: Disk, tmp_path: Path) -> None:
    book = open_book(tmp_path / "book")
    with book.writing() as connection:
        keep(book, connection, b"<svg/>", media_type="image/svg+xml", now=NOW)
    book.close()

    assert disk.events[-5:] == [
        "folder",
        "file",
        "rename",
        "folder",
        "acknowledged",
    ]  # first that of its folder's own name
    assert disk.faults == []


def test_artwork_that_lies_there_already_is_written_through_too(disk: Disk, tmp_path: Path) -> None:
    """Whoever put it there may have been killed between the name and the folder."""
    book = open_book(tmp_path / "book")
    with book.writing() as connection:
        keep(book, connection, b"<svg/>", media_type="image/svg+xml", now=NOW)
    disk.events.clear()
    with book.writing() as connection:
        keep(book, connection, b"<svg/>", media_type="image/svg+xml", now=NOW)
    book.close()

    assert disk.events == ["folder", "acknowledged"]


def test_a_backup_and_a_book_made_from_it_are_on_the_disk(disk: Disk, tmp_path: Path) -> None:
    book = open_book(tmp_path / "book")
    with book.writing() as connection:
        for number in range(3):
            keep(book, connection, b"%d" % number, media_type="text/plain", now=NOW)
    disk.events.clear()

    back_up(book, tmp_path / "kept.zip", now=NOW)
    assert disk.events == ["file", "rename", "folder"]
    book.close()
    restore(tmp_path / "kept.zip", tmp_path / "again").close()

    disk.acknowledge()
    assert disk.faults == []
    assert disk.events.count("rename") == 4  # the backup and its three files


@pytest.mark.parametrize(("kind", "index"), [(OutputFolder, INDEX), (CardFolder, CARD_INDEX)])
def test_a_plan_is_on_the_disk_and_its_index_last(
    kind: type[OutputFolder], index: str, disk: Disk, tmp_path: Path
) -> None:
    for _ in range(2):  # the second takes the place of the first
        disk.events.clear()
        with kind(tmp_path / "out") as output:
            output.write_text(index, "{}")
            output.write_text("swan.ngc", "M2")
            output.path("swan.png").write_bytes(b"picture")  # as those write who know no disk
            output.finish()
    disk.acknowledge()

    assert disk.faults == []
    assert disk.events == [
        *["file"] * 3,
        "folder",  # without its index
        *["rename"] * 2,
        "folder",  # whole but for its index
        "rename",
        "folder",
        "acknowledged",
    ]


def test_a_name_that_is_not_written_through_is_noticed(
    disk: Disk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeping, "move_in", lambda stage, target: stage.replace(target))
    book = open_book(tmp_path / "book")
    with book.writing() as connection:
        keep(book, connection, b"<svg/>", media_type="image/svg+xml", now=NOW)
    book.close()

    assert any("before its bytes" in fault for fault in disk.faults)
    assert any("before its folder" in fault for fault in disk.faults)


@pytest.mark.parametrize(("number", "quiet"), [(errno.EINVAL, True), (errno.ENOTSUP, True), (errno.EIO, False)])
def test_what_a_file_system_cannot_promise_is_no_fault_but_a_failing_disk_is(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, quiet: bool
) -> None:
    def failing(_handle: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", failing)
    if quiet:
        through.sync_folder(tmp_path)
    else:
        with pytest.raises(OSError, match="error"):
            through.sync_folder(tmp_path)


def test_where_no_folder_can_be_opened_nothing_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "O_DIRECTORY")

    through.sync_folder(tmp_path / "not there")  # else it would say so


def test_commits_are_on_the_disk_before_they_return(tmp_path: Path) -> None:
    """FULL with a journal written ahead: NORMAL may lose the last commits with the power (SQLite's manual, PRAGMA synchronous)."""
    book = open_book(tmp_path / "book")
    with book.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar_one() == 2
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
    book.close()
