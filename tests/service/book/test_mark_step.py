"""Ticking a step off: what burning writes into the logbook and takes from the shelf, and how all of it goes back."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change
from evenburn.adapters.storage.book.tables import blank, burn, step, wood
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound
from evenburn.services.book.edit_piece import change_piece
from evenburn.services.book.finishing import steps_before
from evenburn.services.book.mark_step import mark_step, step_of
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW


def _shelf(book: Book, wood_id: str, count: int) -> int:
    with book.writing() as connection:
        values = {"wood_id": wood_id, "name": "plaques from the mill", "left_count": count, "document": {}}
        return int(change(connection, [Change(table=blank, key=None, values=values)], what="shelf", now=NOW).keys[0])


def _left(book: Book, blank_id: int) -> int:
    with book.reading() as connection:
        return int(connection.execute(sa.select(blank.c.left_count).where(blank.c.id == blank_id)).scalar_one())


def _burns(book: Book) -> list[dict[str, Any]]:
    with book.reading() as connection:
        rows = connection.execute(sa.select(burn).where(burn.c.removed_at.is_(None))).mappings()
        return [dict(row) for row in rows]


def _ticks(book: Book) -> dict[str, str]:
    with book.reading() as connection:
        return {str(name): str(at) for name, at in connection.execute(sa.select(step.c.name, step.c.done_at))}


def test_burning_writes_the_logbook_and_uses_up_a_blank(book: Book, taken: TakenIn) -> None:
    piece_id = taken.piece_ids[0]
    planned = plan_piece(book, piece_id, now=NOW)
    blank_id = _shelf(book, "club-maple", 2)
    assert [b.blank_id for b in step_of(book, piece_id, "burnt").blanks] == [blank_id]
    saved = mark_step(book, piece_id, "burnt", done=True, now=LATER, blank_id=blank_id)
    mark = planned.document()["pieces"][0]["marks"][0]
    (line,) = _burns(book)
    assert (line["mark_id"], line["burnt_at"], line["wood_id"]) == ("front", LATER, "club-maple")
    assert line["recipe"] == mark["recipe"]
    assert line["predicted"]["tone_L"] == mark["predicted"]["tone_L"]
    assert _left(book, blank_id) == 1
    assert _ticks(book) == {"burnt": LATER}
    assert saved.notes == ("One of “plaques from the mill” used up; 1 left.",)
    assert step_of(book, piece_id, "burnt").done_at == LATER
    assert undo_edit(book, saved.edit_id, now=LATER) == "Novice plaque: burnt"
    assert (_burns(book), _ticks(book), _left(book, blank_id)) == ([], {}, 2)


def test_taking_a_tick_back_undoes_what_it_did(book: Book, taken: TakenIn) -> None:
    piece_id = taken.piece_ids[0]
    plan_piece(book, piece_id, now=NOW)
    blank_id = _shelf(book, "club-maple", 1)
    mark_step(book, piece_id, "burnt", done=True, now=LATER, blank_id=blank_id)
    assert _left(book, blank_id) == 0
    saved = mark_step(book, piece_id, "burnt", done=False, now=LATER)
    assert saved.notes == ("One of “plaques from the mill” is back on the shelf.",)
    assert (_burns(book), _ticks(book), _left(book, blank_id)) == ([], {}, 1)
    undo_edit(book, saved.edit_id, now=LATER)
    assert len(_burns(book)) == 1
    assert (_ticks(book), _left(book, blank_id)) == ({"burnt": LATER}, 0)


def test_what_may_not_be_burnt_is_told_before_the_tick(book: Book, taken: TakenIn) -> None:
    piece_id = taken.piece_ids[0]
    plan_piece(book, piece_id, now=NOW)
    assert step_of(book, piece_id, "burnt").stops == ()
    change_piece(book, piece_id, {"place_bed_mm": [575.0, 150.0]}, version=1, now=LATER)
    plan_piece(book, piece_id, now=LATER)

    assert any("travel" in text or "bed" in text for text in step_of(book, piece_id, "burnt").stops)
    assert step_of(book, piece_id, "washed").stops == ()


def test_a_piece_that_was_not_planned_is_ticked_without_a_recipe(book: Book, taken: TakenIn) -> None:
    saved = mark_step(book, taken.piece_ids[1], "burnt", done=True, now=NOW)
    assert _burns(book) == []
    assert "not planned" in saved.notes[0]
    assert _ticks(book) == {"burnt": NOW}


def test_what_must_not_be_burnt_is_not_ticked_as_burnt(book: Book, taken: TakenIn) -> None:
    piece_id = taken.piece_ids[0]
    with book.writing() as connection:
        values = {"name": "PVC board", "document": {"name": "PVC board"}}
        connection.execute(sa.update(wood).where(wood.c.id == "club-maple").values(**values))

    with pytest.raises(InvalidInput) as caught:
        mark_step(book, piece_id, "burnt", done=True, now=NOW)

    assert "“burnt” is not ticked for Novice plaque. PVC board" in caught.value.fields["step"]
    assert "must not be burnt" in caught.value.fields["step"]
    assert (_burns(book), _ticks(book)) == ([], {})


def test_what_cannot_be_ticked_is_told_and_changes_nothing(book: Book, taken: TakenIn) -> None:
    piece_id = taken.piece_ids[0]
    empty = _shelf(book, "club-maple", 0)
    with pytest.raises(InvalidInput, match="proof agreed, burnt"):
        mark_step(book, piece_id, "checks", done=True, now=NOW)
    with pytest.raises(InvalidInput, match="none of"):
        mark_step(book, piece_id, "burnt", done=True, now=NOW, blank_id=empty)
    with pytest.raises(NotFound):
        mark_step(book, 4711, "washed", done=True, now=NOW)
    with pytest.raises(NotFound):
        mark_step(book, piece_id, "burnt", done=True, now=NOW, blank_id=4711)
    assert _ticks(book) == {}
    mark_step(book, piece_id, "washed", done=True, now=NOW)
    with pytest.raises(InvalidInput, match="ticked already"):
        mark_step(book, piece_id, "washed", done=True, now=LATER)
    with pytest.raises(InvalidInput, match="not ticked"):
        mark_step(book, piece_id, "dry", done=False, now=LATER)
    with pytest.raises(NotFound, match="no step"):
        step_of(book, piece_id, "recipe")


def test_a_tick_that_was_changed_since_is_not_undone(book: Book, taken: TakenIn) -> None:
    piece_id = taken.piece_ids[0]
    first = mark_step(book, piece_id, "washed", done=True, now=NOW)
    mark_step(book, piece_id, "washed", done=False, now=LATER)
    with pytest.raises(ChangedMeanwhile, match="washed"):
        undo_edit(book, first.edit_id, now=LATER)
    assert _ticks(book) == {}


def test_what_comes_before_a_step_is_told_where_it_is_not_ticked(book: Book, taken: TakenIn) -> None:
    piece_id = taken.piece_ids[0]
    assert step_of(book, piece_id, "burnt").skipped == ()
    assert step_of(book, piece_id, "washed").skipped == ("burnt",)
    assert step_of(book, piece_id, "handed over").skipped == ("burnt", "washed", "dry", "sealed")
    mark_step(book, piece_id, "burnt", done=True, now=NOW)
    assert not step_of(book, piece_id, "washed").out_of_order
    saved = mark_step(book, piece_id, "dry", done=True, now=LATER)
    assert saved.notes == ("“washed” is not ticked.",)
    assert mark_step(book, piece_id, "handed over", done=True, now=LATER).notes == (
        "“washed” and “sealed” are not ticked.",
    )
    assert step_of(book, piece_id, "dry").skipped == ()  # it is done, and only to be taken back


def test_what_is_not_done_to_a_wood_does_not_come_before() -> None:
    slate = shipped_wood("slate").finishing
    assert "sealed" not in steps_before("handed over", slate)
    assert steps_before("handed over", ()) == ("burnt",)
    assert steps_before("burnt", slate) == steps_before("proof agreed", slate) == ()
