"""A backup is the same book; restoring touches no other; the command says both in plain words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import BOOK
from evenburn.cli.main import main
from evenburn.core.errors import EvenburnError, InvalidInput, StorageError, UnreadableFile
from evenburn.services.book.back_up_book import back_up_book, backup_name, in_the_book
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.restore_book import restore_beside, restore_book
from evenburn.services.book.take_in import TakenIn
from service.book.conftest import LATER, NOW


def rows_of(book: Book) -> dict[str, list[object]]:
    with book.reading() as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(sa.select(table).order_by(*table.primary_key))]
            for table in BOOK.sorted_tables
        }


def files_of(book: Book) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in book.files.rglob("*") if p.is_file()}


def test_a_backup_is_the_same_book(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    made = back_up_book(book, tmp_path / backup_name(NOW), now=NOW)
    assert made.name == "evenburn-book-2026-06-09.zip"
    again = restore_book(made, tmp_path / "again")
    assert rows_of(again) == rows_of(book)
    assert files_of(again) == files_of(book)
    assert in_the_book(again) == in_the_book(book)
    assert plan_piece(again, taken.piece_ids[0], now=LATER).summary.programs == 1  # and it can be worked in
    again.close()


def test_a_place_that_is_taken_is_left_alone(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    assert taken.piece_ids
    made = back_up_book(book, tmp_path / "b.zip", now=NOW)
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "note.txt").write_text("mine")
    for place in (tmp_path / "there", made):
        with pytest.raises(StorageError):
            restore_book(made, place)
    assert [p.name for p in (tmp_path / "there").iterdir()] == ["note.txt"]


@pytest.mark.parametrize("spoil", ["cut", "none", "other", "row"])
def test_what_is_no_whole_backup_makes_no_book(book: Book, taken: TakenIn, tmp_path: Path, spoil: str) -> None:
    assert taken.piece_ids
    source = back_up_book(book, tmp_path / "b.zip", now=NOW)
    data = source.read_bytes()
    match spoil:
        case "cut":
            source.write_bytes(data[: len(data) // 2])
        case "none":
            source.unlink()
        case "other":
            source.write_bytes(b"PK\x05\x06" + bytes(18))
        case "row":
            at = data.index(b"tables/piece.jsonl") + 60
            source.write_bytes(data[:at] + bytes(b ^ 0x55 for b in data[at : at + 8]) + data[at + 8 :])
    with pytest.raises((UnreadableFile, InvalidInput)):
        restore_book(source, tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_book_is_restored_beside_the_open_one(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    assert taken.piece_ids
    source = back_up_book(book, tmp_path / "b.zip", now=NOW)
    first, second = restore_beside(book, source, now=NOW), restore_beside(book, source, now=NOW)
    assert first.parent == second.parent == book.files.parent.parent
    assert (first.name, second.name) == ("book-restored-2026-06-09", "book-restored-2026-06-09-2")


def test_a_backup_needs_a_file_to_go_into(book: Book, tmp_path: Path) -> None:
    for target in (tmp_path, tmp_path / "nowhere" / "b.zip"):
        with pytest.raises(EvenburnError):
            back_up_book(book, target, now=NOW)


def test_the_command_backs_up_and_restores(
    book: Book, taken: TakenIn, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert taken.piece_ids
    place, target, to = str(book.files.parent), tmp_path / "b.zip", tmp_path / "again"
    assert main(["backup", str(target), "--book", place]) == 0
    assert "2 pieces" in capsys.readouterr().out
    assert main(["restore", str(target), "--to", str(to), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["pieces"] == 2
    assert main(["restore", str(target), "--to", str(to)]) == 4
    assert "not empty" in capsys.readouterr().err
    monkeypatch.setenv("EVENBURN_BOOK", str(to))
    assert main(["backup", str(tmp_path / "c.zip"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["woods"] == 2
    assert main(["backup", str(tmp_path / "d.zip"), "--book", str(tmp_path / "none")]) == 4
    assert "there is no book in none" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
    assert main(["restore", str(tmp_path / "missing.zip"), "--to", str(tmp_path / "e")]) == 2
