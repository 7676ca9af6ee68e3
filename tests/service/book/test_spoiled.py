"""A spoiled piece: told as such wherever it stands, led to doing it again, and to nothing after burning."""

from __future__ import annotations

from typing import Any

import pytest

from evenburn.adapters.storage.book.opening import Book
from evenburn.services.book.batches import list_batches
from evenburn.services.book.index_of import list_pieces
from evenburn.services.book.logbook import grade_burn, search_log
from evenburn.services.book.mark_step import mark_step, step_of
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.plan_piece import plan_all, plan_whole
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.today import today
from service.book.conftest import LATER, NOW


@pytest.fixture
def burn_id(book: Book, taken: TakenIn) -> int:
    """The burn of the first piece, graded as spoiled."""
    plan_all(book, taken.batch_id, now=NOW)
    mark_step(book, taken.piece_ids[0], "burnt", done=True, now=NOW)
    (line,) = search_log(book).lines
    grade_burn(book, line.burn_id, grade=1, note="slipped", version=line.version, now=LATER)
    return line.burn_id


def _states(strip: Any) -> dict[str, str]:
    return {one.name: one.state for one in strip}


def test_it_is_told_wherever_the_piece_stands(book: Book, taken: TakenIn, burn_id: int) -> None:
    seen = today(book, now=LATER)
    row = seen.rows[0]
    assert (seen.burnt, seen.spoiled, seen.count) == (0, 1, 2)
    assert row.burnt
    assert row.spoiled_burn_id == burn_id
    assert _states(row.strip)["burnt"] == "spoiled"
    assert {one.planned_at for one in row.strip} == {None}  # nothing is washed, dried or handed over
    line = next(one for one in list_pieces(book).lines if one.piece_id == row.piece_id)
    assert (line.state, line.spoiled_burn_id) == ("spoiled", burn_id)
    sheet = piece_of(book, row.piece_id)
    assert (sheet.spoiled, sheet.burn_id, _states(sheet.strip)["burnt"]) == (True, burn_id, "spoiled")
    (kept,) = list_batches(book)
    assert (kept.burnt, kept.spoiled) == (0, 1)
    assert step_of(book, row.piece_id, "washed").out_of_order
    other = next(one for one in seen.rows if one.piece_id != row.piece_id)
    assert (other.spoiled_burn_id, piece_of(book, other.piece_id).burn_id) == (None, None)
    whole = plan_whole(book, taken.batch_id, now=LATER)
    assert [one["id"] for one in whole.document()["pieces"]] == ["tag"]


def test_another_grade_or_another_burn_makes_it_whole_again(book: Book, taken: TakenIn, burn_id: int) -> None:
    piece_id = taken.piece_ids[0]
    mark_step(book, piece_id, "burnt", done=False, now=LATER)
    assert today(book, now=LATER).spoiled == 0
    mark_step(book, piece_id, "burnt", done=True, now=LATER)
    (line,) = search_log(book).lines
    assert line.burn_id != burn_id
    assert (today(book, now=LATER).burnt, today(book, now=LATER).spoiled) == (1, 0)
    assert piece_of(book, piece_id).burn_id == line.burn_id
    grade_burn(book, line.burn_id, grade=2, note="", version=line.version, now=LATER)
    assert today(book, now=LATER).spoiled == 0
