"""Pieces put into another order: one by one, and all for the fewest settings; every change can be undone."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import piece, plan, step
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.reorder import move_piece, order_for_set_ups, shift_piece
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.today import today
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW

FIVE = ("a", "b", "c", "d", "e")


@pytest.fixture
def five(book: Book, taken: TakenIn) -> dict[str, int]:
    """Five pieces in the batch, in this order and next to one another, in place of its own two; each with a setting."""
    with book.writing() as connection:
        row = dict(connection.execute(sa.select(piece).where(piece.c.id == taken.piece_ids[0])).mappings().one())
        connection.execute(sa.update(piece).values(removed_at=NOW))
        pieces = [{**row, "id": 10 + i, "slug": slug, "name": slug, "position": i + 1, "removed_at": None} for i, slug in enumerate(FIVE)]  # fmt: skip
        connection.execute(sa.insert(piece), pieces)
        for i, stand_off_mm in enumerate((10.0, 12.0, 10.0, 12.0, 10.0)):
            values = {
                "piece_id": 10 + i,
                "inputs_sha256": "",
                "planned_at": NOW,
                "time_s": 60.0,
                "folder": "plans/none",
            }
            summary = {"stops": 0, "warns": 0, "notes": 0, "placing_stops": 0, "artwork_stops": 0, "pieces": 1, "marks": 1, "programs": 1, "time_s": 60.0}  # fmt: skip
            document = {**summary, "set_ups": [[12.0, stand_off_mm]]}
            connection.execute(sa.insert(plan).values(**values, document=document))
    return {slug: 10 + i for i, slug in enumerate(FIVE)}


def _order(book: Book) -> str:
    return "".join(row.name for row in today(book, now=NOW).rows)


def test_a_piece_moves_before_another_and_back(book: Book, five: dict[str, int]) -> None:
    saved = move_piece(book, five["d"], before_id=five["b"], now=LATER)
    assert _order(book) == "adbce"
    assert saved.what == "d moved before b"
    move_piece(book, five["a"], before_id=None, now=LATER)
    assert _order(book) == "dbcea"
    undo_edit(book, saved.edit_id + 1, now=LATER)
    undo_edit(book, saved.edit_id, now=LATER)
    assert _order(book) == "abcde"


def test_there_is_always_room_between_two(book: Book, five: dict[str, int]) -> None:
    for turn in range(14):  # 1024 halves ten times, then all are numbered anew
        move_piece(book, five["e" if turn % 2 else "d"], before_id=five["b"], now=LATER)
    assert _order(book) == "adebc"


def test_one_place_on_and_to_either_end(book: Book, five: dict[str, int]) -> None:
    for slug, way, order in (("c", "earlier", "acbde"), ("c", "later", "abcde"), ("c", "first", "cabde"), ("c", "last", "abdec")):  # fmt: skip
        shift_piece(book, five[slug], way=way, now=LATER)
        assert _order(book) == order


def test_the_fewest_settings_leave_what_is_burnt_in_front(book: Book, five: dict[str, int], taken: TakenIn) -> None:
    assert (today(book, now=NOW).set_up_changes, today(book, now=NOW).least_set_up_changes) == (5, 2)
    with book.writing() as connection:
        connection.execute(sa.insert(step).values(piece_id=five["b"], name="burnt", done_at=NOW))
    saved = order_for_set_ups(book, taken.batch_id, now=LATER)
    assert _order(book) == "baced"
    assert today(book, now=NOW).set_up_changes == 2
    with pytest.raises(InvalidInput, match="already"):
        order_for_set_ups(book, taken.batch_id, now=LATER)
    undo_edit(book, saved.edit_id, now=LATER)
    assert _order(book) == "abcde"


def test_what_cannot_be_moved_is_told(book: Book, five: dict[str, int]) -> None:
    with pytest.raises(InvalidInput, match="not in this batch"):
        move_piece(book, five["a"], before_id=1, now=LATER)
    with pytest.raises(InvalidInput, match="the first already"):
        shift_piece(book, five["a"], way="earlier", now=LATER)
    with pytest.raises(InvalidInput, match="the last already"):
        shift_piece(book, five["e"], way="last", now=LATER)
    with pytest.raises(InvalidInput, match="allowed are"):
        shift_piece(book, five["a"], way="sideways", now=LATER)
    with pytest.raises(NotFound):
        move_piece(book, 4711, before_id=None, now=LATER)
    with pytest.raises(NotFound):
        order_for_set_ups(book, "nowhere", now=LATER)
    assert _order(book) == "abcde"
