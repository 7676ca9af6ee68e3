"""The run sheet and the programs of a batch: there once it is planned whole, gone when a piece changes."""

from __future__ import annotations

import json
import zipfile
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import piece, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.begin import plan_batch_pieces
from evenburn.services.book.edit_piece import copy_piece
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.plan_piece import plan_all, plan_whole
from evenburn.services.book.reorder import move_piece
from evenburn.services.book.settings import change_settings
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.take_out import programs_of, run_sheet_of
from evenburn.services.book.today import today
from service.book.conftest import LATER, NOW


def test_the_programs_of_a_batch_come_as_one_zip_with_the_run_sheet(book: Book, taken: TakenIn) -> None:
    with pytest.raises(NotFound, match="not made"):
        run_sheet_of(book, taken.batch_id)
    plan_whole(book, taken.batch_id, now=NOW)
    assert run_sheet_of(book, taken.batch_id).read_bytes().startswith(b"%PDF-")
    path = programs_of(book, taken.batch_id)
    with zipfile.ZipFile(path) as packed:
        assert packed.testzip() is None
        assert {"plaque-front.ngc", "tag-name.ngc", "run-sheet.pdf"} <= set(packed.namelist())
        order = packed.read("order.txt").decode().splitlines()
        assert [line.split()[:2] for line in order[2:]] == [["1", "plaque-front.ngc"], ["2", "tag-name.ngc"]]
        assert "blank 12 mm, stand-off" in order[2]
        assert packed.read("plaque-front.ngc") == (path.parent / "plaque-front.ngc").read_bytes()
    assert not [p for p in path.parent.iterdir() if p.name.startswith(".packing")]
    with book.writing() as connection:
        row = row_of(connection, piece, taken.piece_ids[0])
        document = {**row["document"], "place_bed_mm": [201.0, 150.0]}
        change(connection, [Change(table=piece, key=row["id"], values={"document": document}, version=row["version"])], what="moved", now=LATER)  # fmt: skip
    with pytest.raises(NotFound, match="no longer holds"):
        programs_of(book, taken.batch_id)
    with pytest.raises(NotFound):
        programs_of(book, "nowhere")


def test_where_nothing_may_be_burnt_there_is_nothing_to_take_along(book: Book, taken: TakenIn) -> None:
    """Their dry traces are there all the same, to walk round the marks; a day's ZIP of them alone looks like programs."""
    say_what_they_are(book, {"beech": "faux leather (PVC)", "club-maple": "MDF"})
    whole = plan_whole(book, taken.batch_id, now=NOW)
    document = whole.document()
    assert not [mark for one in document["pieces"] for mark in one["marks"] if mark["files"]["program"]]
    bring_traces(whole.folder, document)
    with pytest.raises(NotFound, match="no program to take along"):
        programs_of(book, taken.batch_id)
    assert not list(whole.folder.glob("*.zip"))


def test_a_mark_that_is_held_back_brings_no_trace_and_a_run_of_several_is_brought(book: Book, taken: TakenIn) -> None:
    say_what_they_are(book, {"beech": "faux leather (PVC)"})
    whole = plan_whole(book, taken.batch_id, now=NOW)
    document = whole.document()
    document["runs"] = [{"file": "together_1.ngc", "marks": []}]
    bring_traces(whole.folder, document)
    (whole.folder / "together_1.ngc").write_text("M5\nM2\n")
    (whole.folder / "stray.ngc").write_text("M5\nM2\n")
    with zipfile.ZipFile(programs_of(book, taken.batch_id)) as packed:
        assert packed.namelist() == [
            "order.txt",
            "plaque-front-trace.ngc",
            "plaque-front.ngc",
            "together_1.ngc",
            "run-sheet.pdf",
        ]


def bring_traces(folder: Path, document: dict[str, Any]) -> None:
    """Give every mark of a plan its dry trace, as one has that only lies wrong: to be walked round, to see where."""
    for one in document["pieces"]:
        for mark in one["marks"]:
            mark["files"]["trace"] = f"{one['id']}-{mark['id']}-trace.ngc"
            (folder / mark["files"]["trace"]).write_text("M5\nM2\n")
    (folder / "plan.json").write_text(json.dumps(document))


def say_what_they_are(book: Book, names: dict[str, str]) -> None:
    with book.writing() as connection:
        for wood_id, name in names.items():
            row = row_of(connection, wood, wood_id)
            document = {**row["document"], "name": name}
            change(connection, [Change(table=wood, key=wood_id, values={"document": document}, version=row["version"])], what="name", now=NOW)  # fmt: skip


def test_what_cannot_be_planned_is_told_after_the_rest_is(book: Book, taken: TakenIn) -> None:
    with book.writing() as connection:
        row = row_of(connection, piece, taken.piece_ids[1])
        mark = {**row["document"]["mark"][0], "face": "no-such-face"}
        document = {**row["document"], "mark": [mark]}
        change(connection, [Change(table=piece, key=row["id"], values={"document": document}, version=row["version"])], what="face", now=LATER)  # fmt: skip
    told: list[tuple[str, int, int]] = []
    with pytest.raises(InvalidInput) as error:
        plan_batch_pieces(book, taken.batch_id, now=NOW, progress=lambda *step: told.append(step))
    assert set(error.value.fields) == {"tag"}
    first, second = today(book, now=NOW).rows
    assert (first.fresh, second.fresh) == (True, False)
    assert (first.glance is not None, second.glance) == (True, None)


def test_the_sheet_and_the_programs_are_of_what_is_left(book: Book, taken: TakenIn) -> None:
    """The last is burnt first: it is left out, and the bed moves from it, by the hand-made sum of today's own rows."""
    plan_all(book, taken.batch_id, now=NOW)
    plaque, tag = taken.piece_ids
    plan_whole(book, taken.batch_id, now=NOW)
    mark_step(book, tag, "burnt", done=True, now=LATER)
    with pytest.raises(NotFound, match="no longer holds"):
        run_sheet_of(book, taken.batch_id)
    whole = plan_whole(book, taken.batch_id, now=LATER)
    (left,) = whole.document()["pieces"]
    rows = {row.piece_id: row for row in today(book, now=LATER).rows}
    thick, stand_off = rows[tag].set_ups[-1]
    assert left["set_ups"][0]["bed_down_mm"] == pytest.approx(12.0 + rows[plaque].set_ups[0][1] - thick - stand_off)
    assert rows[plaque].focusings[0].bed_down_mm == pytest.approx(left["set_ups"][0]["bed_down_mm"])
    assert (left["id"], left["start_order"]) == ("plaque", 1)
    with zipfile.ZipFile(programs_of(book, taken.batch_id)) as packed:
        assert "tag-name.ngc" not in packed.namelist()
        assert "Burnt already, and left out: tag." in packed.read("order.txt").decode()
    sheet = _sheet_text(run_sheet_of(book, taken.batch_id))
    assert "burnt 2 tag" in sheet
    mark_step(book, plaque, "burnt", done=True, now=LATER)
    with pytest.raises(NotFound, match="every piece"):
        plan_whole(book, taken.batch_id, now=LATER)


def test_today_and_the_run_sheet_agree_on_the_time(book: Book, taken: TakenIn) -> None:
    """Also where the second finds its focus set, and where the change-over is one's own."""
    copy_piece(book, taken.piece_ids[0], now=NOW)
    for change_over_min in (4.0, 7.5):
        change_settings(book, {"change_over_min": change_over_min, "starts_at": "23:00"})
        plan_all(book, taken.batch_id, now=NOW)
        plan_whole(book, taken.batch_id, now=NOW)
        seen = today(book, now=NOW)
        assert not all(row.refocus for row in seen.rows)
        assert seen.starts_at is not None
        assert seen.ends_at is not None
        took = datetime.fromisoformat(seen.ends_at) - datetime.fromisoformat(seen.starts_at)
        burning_min = seen.total_time_s / 60.0
        assert took.total_seconds() / 60.0 == pytest.approx(burning_min + 3 * change_over_min, abs=1.0)  # to the minute
        text = _sheet_text(run_sheet_of(book, taken.batch_id))
        assert f"From start to end {round(burning_min + 3 * change_over_min)} min" in text
        assert f"3 times {change_over_min:g} min" in text


def _sheet_text(path: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())


def test_the_run_sheet_keeps_the_order_that_a_person_gave(book: Book, taken: TakenIn) -> None:
    plan_whole(book, taken.batch_id, now=NOW)
    plaque, tag = taken.piece_ids
    copy_piece(book, plaque, now=NOW)  # plaque, tag, plaque again: the fewest settings would burn both plaques together
    order = [row.slug for row in today(book, now=NOW).rows]
    move = next(row.piece_id for row in today(book, now=NOW).rows if row.piece_id not in {plaque, tag})
    if order.index("tag") == len(order) - 1:
        move_piece(book, move, before_id=None, now=LATER)
    wished = [row.slug for row in today(book, now=NOW).rows]
    assert wished.index("tag") == 1
    planned = plan_whole(book, taken.batch_id, now=LATER).document()
    assert [p["id"] for p in sorted(planned["pieces"], key=lambda p: p["start_order"])] == wished
