"""Batches are begun on a machine of the book; the list tells how far each is; and the index finds their pieces."""

from __future__ import annotations

from dataclasses import replace

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import piece
from evenburn.core.errors import InvalidInput
from evenburn.services.book.batches import NewBatch, list_batches, machine_choices, new_batch
from evenburn.services.book.index_of import PER_PAGE, list_pieces
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.settings import change_settings
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW


def test_a_batch_is_begun_and_taken_back(book: Book, taken: TakenIn) -> None:
    (bench,) = machine_choices(book)
    assert (bench.name, bench.lenses) == ("Boathouse bench", ("2 inch",))
    wish = NewBatch(name=" Autumn regatta ", subtitle="", machine_id=bench.machine_id, lens="2 inch")
    saved = new_batch(book, wish, now=LATER)
    with pytest.raises(InvalidInput) as twice:  # a form that was sent twice
        new_batch(book, replace(wish, name="autumn  Regatta"), now=LATER)
    assert "is a batch already" in twice.value.fields["name"]
    again = new_batch(book, replace(wish, name="Autumn-regatta"), now=LATER)
    assert (saved.key, again.key) == ("autumn-regatta", "autumn-regatta-2")
    mark_step(book, taken.piece_ids[0], "burnt", done=True, now=NOW)
    change_settings(book, {"batch_id": saved.key})
    told = [(b.batch_id, b.count, b.burnt, b.shown) for b in list_batches(book)]
    assert told == [
        ("autumn-regatta-2", 0, 0, False),
        ("autumn-regatta", 0, 0, True),
        (taken.batch_id, 2, 1, False),
    ]
    undo_edit(book, saved.edit_id, now=LATER)
    assert [b.batch_id for b in list_batches(book) if b.shown] == [taken.batch_id]


def test_a_batch_that_cannot_be_begun_is_told_whole(book: Book, taken: TakenIn) -> None:
    with pytest.raises(InvalidInput) as told:
        new_batch(book, NewBatch(name="  ", subtitle="x" * 121, machine_id="nowhere", lens=""), now=NOW)
    assert set(told.value.fields) == {"name", "subtitle", "machine"}
    with pytest.raises(InvalidInput, match="2 inch"):
        new_batch(book, NewBatch(name="x", subtitle="", machine_id=taken.machine_id, lens="9 inch"), now=NOW)
    assert len(list_batches(book)) == 1


def test_the_index_is_searched_by_all_words_in_name_wood_or_batch(book: Book, taken: TakenIn) -> None:
    mark_step(book, taken.piece_ids[1], "burnt", done=True, now=NOW)
    mark_step(book, taken.piece_ids[1], "proof agreed", done=True, now=NOW)
    everything = list_pieces(book)
    assert [(line.name, line.state, line.wood_name) for line in everything.lines] == [
        ("Novice plaque", "not planned", "hard maple"),
        ("tag", "burnt", "beech"),
    ]
    for search, names in (
        ("NOVICE", ["Novice plaque"]),
        ("maple", ["Novice plaque"]),
        ("regatta tag", ["tag"]),
        ("regatta", ["Novice plaque", "tag"]),
        ("maple beech", []),
        ("%", []),
        ("_", []),
    ):
        assert [line.name for line in list_pieces(book, search=search).lines] == names, search
    assert list_pieces(book, search="maple").in_book == 2
    with pytest.raises(InvalidInput, match="page"):
        list_pieces(book, page=0)
    with pytest.raises(InvalidInput, match="search"):
        list_pieces(book, search="x" * 121)


def test_the_index_is_leafed_through(book: Book, taken: TakenIn) -> None:
    with book.writing() as connection:
        row = dict(connection.execute(sa.select(piece).where(piece.c.id == taken.piece_ids[0])).mappings().one())
        more = [{**row, "id": 100 + i, "slug": f"p{i}", "name": f"p{i}", "position": 9000 + i} for i in range(PER_PAGE)]
        connection.execute(sa.insert(piece), more)
    second = list_pieces(book, page=2)
    assert (second.count, second.pages, [line.name for line in second.lines]) == (62, 2, ["p58", "p59"])
    assert list_pieces(book, page=99).page == 2
