"""The list of changes, and undo."""

from __future__ import annotations

import pytest

from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import ChangedMeanwhile, NotFound
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.reorder import move_piece
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.today import today
from evenburn.services.book.undo import edit_line, last_edits, undo_edit
from service.book.conftest import LATER, NOW


def test_changes_are_listed_newest_first_with_what_was_taken_back(book: Book, taken: TakenIn) -> None:
    washed = mark_step(book, taken.piece_ids[0], "washed", done=True, now=LATER)
    undo_edit(book, washed.edit_id, now=LATER)
    assert [(e.what, e.undone_at) for e in last_edits(book)] == [
        ("Novice plaque: washed", LATER),
        ("“Two for the regatta” taken in", None),
    ]
    assert [e.edit_id for e in last_edits(book, most=1)] == [washed.edit_id]
    assert edit_line(book, taken.edit_id).made_at == NOW


def test_a_batch_that_was_taken_in_goes_out_again(book: Book, taken: TakenIn) -> None:
    undo_edit(book, taken.edit_id, now=LATER)
    assert today(book, now=LATER).batch_id is None


def test_nothing_is_undone_twice(book: Book, taken: TakenIn) -> None:
    undo_edit(book, taken.edit_id, now=LATER)
    for number in (taken.edit_id, 4711):
        with pytest.raises(NotFound):
            undo_edit(book, number, now=LATER)
    with pytest.raises(NotFound):
        edit_line(book, 4711)


def test_changes_are_taken_back_one_after_another_but_not_under_another(book: Book, taken: TakenIn) -> None:
    first, second = taken.piece_ids
    one = move_piece(book, second, before_id=first, now=LATER)
    two = move_piece(book, second, before_id=None, now=LATER)
    with pytest.raises(ChangedMeanwhile):
        undo_edit(book, one.edit_id, now=LATER)
    undo_edit(book, two.edit_id, now=LATER)
    assert [row.piece_id for row in today(book, now=NOW).rows] == [second, first]
    undo_edit(book, one.edit_id, now=LATER)
    assert [row.piece_id for row in today(book, now=NOW).rows] == [first, second]
