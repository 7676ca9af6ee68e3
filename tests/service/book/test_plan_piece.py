"""A piece of the book is planned once for the same inputs, and a plan that no longer holds is told."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import machine, piece, plan
from evenburn.core.errors import InvalidInput, NotFound, UnreadableFile
from evenburn.services.book import plan_piece as module
from evenburn.services.book.plan_piece import plan_all, plan_of, plan_piece, plan_whole
from evenburn.services.book.take_in import TakenIn, take_in_batch
from evenburn.services.plan_batch import plan_batch
from service.book.conftest import LATER, NOW


def _changed(book: Book, piece_id: int, **values: object) -> None:
    with book.writing() as connection:
        row = row_of(connection, piece, piece_id)
        document = {**row["document"], **values}
        change(connection, [Change(table=piece, key=piece_id, values={"document": document}, version=row["version"])], what="place", now=LATER)  # fmt: skip


def test_a_piece_is_planned_once_and_stale_when_what_it_rests_on_changes(book: Book, taken: TakenIn) -> None:
    tag = taken.piece_ids[1]
    assert plan_of(book, tag) is None
    first = plan_piece(book, tag, now=NOW)
    assert first.fresh
    assert first.document()["pieces"][0]["id"] == "tag"
    assert first.summary.time_s == pytest.approx(first.document()["total_time_s"])
    assert (first.summary.pieces, first.summary.marks, first.summary.programs, first.summary.stops) == (1, 1, 1, 0)
    assert first.summary.set_ups[0][0] == 5.0
    assert (first.batch_folder / "batch.toml").is_file()
    assert plan_piece(book, tag, now=LATER) == first  # nothing to do
    assert plan_of(book, tag) == first

    _changed(book, tag, place_bed_mm=[210.0, 150.0])
    stale = plan_of(book, tag)
    assert stale is not None
    assert not stale.fresh
    again = plan_piece(book, tag, now=LATER)
    assert again.fresh
    assert again.planned_at == LATER
    assert again.folder != first.folder
    _changed(book, tag, place_bed_mm=[200.0, 150.0])
    back = plan_piece(book, tag, now=LATER)  # the first folder is there still
    assert back.folder == first.folder

    with book.writing() as connection:
        row = row_of(connection, machine, taken.machine_id)
        document = {**row["document"], "speed_max_mm_per_s": 500.0}
        change(connection, [Change(table=machine, key=row["id"], values={"document": document}, version=row["version"])], what="speed", now=LATER)  # fmt: skip
    held = plan_of(book, tag)
    assert held is not None
    assert not held.fresh


def test_a_plan_whose_files_are_gone_is_made_again(book: Book, taken: TakenIn) -> None:
    first = plan_piece(book, taken.piece_ids[1], now=NOW)
    shutil.rmtree(first.folder)
    gone = plan_of(book, taken.piece_ids[1])
    assert gone is not None
    assert not gone.fresh
    with pytest.raises(UnreadableFile, match=r"plan\.json"):
        gone.document()
    assert plan_piece(book, taken.piece_ids[1], now=LATER).fresh


def test_a_piece_that_does_not_hold_is_told_and_leaves_no_folder(book: Book, taken: TakenIn) -> None:
    _changed(book, taken.piece_ids[1], wood="ebony")
    with pytest.raises(InvalidInput, match="ebony"):
        plan_piece(book, taken.piece_ids[1], now=NOW)
    with pytest.raises(NotFound):
        plan_piece(book, 4711, now=NOW)
    assert not [p for p in (book.files.parent / "plans").glob("*") if p.is_dir()]


def test_planning_that_is_stopped_leaves_nothing(book: Book, taken: TakenIn) -> None:
    def stop(_what: str, _done: int, _of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        plan_piece(book, taken.piece_ids[1], now=NOW, progress=stop)
    assert plan_of(book, taken.piece_ids[1]) is None
    assert list((book.files.parent / "plans").iterdir()) == []


def test_all_pieces_are_planned_and_one_fault_stops_no_other(book: Book, taken: TakenIn) -> None:
    _changed(book, taken.piece_ids[0], wood="ebony")
    heard: list[str] = []
    done = plan_all(book, taken.batch_id, now=NOW, progress=lambda what, _d, _o: heard.append(what))
    assert done.planned == 1
    assert set(done.faults) == {taken.piece_ids[0]}
    assert "tag planned" in heard
    with pytest.raises(NotFound):
        plan_all(book, "no-such-batch", now=NOW)


def test_the_batch_is_planned_as_one_for_its_run_sheet(book: Book, taken: TakenIn) -> None:
    whole = plan_whole(book, taken.batch_id, now=NOW)
    assert whole.run_sheet.read_bytes().startswith(b"%PDF")
    assert [p["id"] for p in whole.document()["pieces"]] == ["plaque", "tag"]
    assert plan_whole(book, taken.batch_id, now=LATER).was_there
    with pytest.raises(NotFound):
        plan_whole(book, "no-such-batch", now=NOW)
    with book.reading() as connection:
        assert connection.execute(sa.select(plan)).all() == []


def test_sheets_and_run_sheet_have_the_same_programs(book: Book, batch_folder: Path, tmp_path: Path) -> None:
    """A coarse plaque and a fine tag of one thickness: planned as one batch folder they would meet at one focus offset."""
    text = (batch_folder / "batch.toml").read_text().replace("thickness_mm = 5.0", "thickness_mm = 12.0")
    (batch_folder / "batch.toml").write_text(
        text.replace('treatment = "solid"', 'treatment = "solid"\nsharpness_mm = 0.5')
    )
    taken = take_in_batch(book, batch_folder, now=NOW)
    plan_all(book, taken.batch_id, now=NOW)
    whole = _programs(plan_whole(book, taken.batch_id, now=NOW).folder)
    alone: dict[str, bytes] = {}
    for piece_id in taken.piece_ids:
        planned = plan_of(book, piece_id)
        assert planned is not None
        alone |= _programs(planned.folder)

    assert len(whole) >= 2
    assert whole == alone
    plan_batch(batch_folder, to=tmp_path / "agreed", date="2026-06-09")
    assert _programs(tmp_path / "agreed") != alone  # else nothing was shown


def _programs(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.glob("*.ngc")}


def test_old_folders_go_when_there_are_many(book: Book, taken: TakenIn, monkeypatch: pytest.MonkeyPatch) -> None:
    root = book.files.parent / "plans"
    for number in range(4):
        (root / f"{number:064d}").mkdir(parents=True)
    monkeypatch.setattr(module, "MOST_FOLDERS", 2)
    made = plan_piece(book, taken.piece_ids[1], now=NOW)
    left = {p for p in root.iterdir() if p.is_dir()}
    assert made.folder in left
    assert len(left) == 2
    assert Path(made.folder / "run-sheet.pdf").is_file()
