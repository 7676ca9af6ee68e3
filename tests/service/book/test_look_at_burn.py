"""Photographs of what came of a burn: kept, and held against the plan where a mat lay round it. The bench is a test double."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import card, photograph
from evenburn.core.errors import ChangedMeanwhile, InvalidInput
from evenburn.services.book.logbook import burn_of, search_log
from evenburn.services.book.look_at_burn import Picture, look_at_burn, mats_of, photographs_of_burn
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import take_in_batch
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW
from service.finished_pieces import finished, mat_document


def test_a_photograph_in_a_mat_says_what_was_got(book: Book, tmp_path: Path) -> None:
    piece = finished(tmp_path / "piece")
    taken = take_in_batch(book, piece.folder / "batch", now=NOW)
    plan_piece(book, taken.piece_ids[0], now=NOW)
    mark_step(book, taken.piece_ids[0], "burnt", done=True, now=NOW)
    with book.writing() as connection:
        made = connection.execute(
            sa.insert(card).values(wood_id="hard-maple", kind="wood", made_at=NOW, document=mat_document())
        )
        assert made.inserted_primary_key is not None
        mat_id = int(made.inserted_primary_key[0])
    assert [mat.card_id for mat in mats_of(book)] == [mat_id]
    front = next(line for line in search_log(book).lines if line.mark_id == "front")
    photo = Picture(name="IMG_1.jpg", data=piece.photo_file.read_bytes())

    looked = look_at_burn(book, front.burn_id, [photo], mat_card_id=mat_id, version=1, now=LATER)
    assert looked.compared
    line = burn_of(book, front.burn_id)
    assert line.got_L == pytest.approx(
        piece.true_tone_L(edge_mm=1.0), abs=6.0
    )  # paper and toner are only believed here
    assert line.off_L == pytest.approx(line.got_L - line.predicted["tone_L"], abs=0.01)
    assert line.verdict == looked.text
    assert line.photographs == photographs_of_burn(book, front.burn_id)

    with pytest.raises(ChangedMeanwhile):
        look_at_burn(book, front.burn_id, [photo], version=1, now=LATER)
    reeds = next(line for line in search_log(book).lines if line.mark_id == "reeds")
    kept = look_at_burn(book, reeds.burn_id, [photo], mat_card_id=99, version=1, now=LATER)
    assert (kept.compared, kept.text) == (False, "That mat is not in the book.")
    assert len(burn_of(book, reeds.burn_id).photographs) == 1
    undo_edit(book, looked.saved.edit_id, now=LATER)
    assert burn_of(book, front.burn_id).got_L is None


def test_what_is_no_photograph_is_said_and_nothing_is_kept(book: Book, tmp_path: Path) -> None:
    from service.book.conftest import small_batch
    from service.book.test_logbook import burnt

    taken = take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)
    burn_id = burnt(book, taken.piece_ids[0], "front")
    for pictures in ([], [Picture(name="x.jpg", data=b"no picture")]):
        with pytest.raises(InvalidInput) as caught:
            look_at_burn(book, burn_id, pictures, version=1, now=LATER)
        assert "photographs" in caught.value.fields
    with book.reading() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(photograph)).scalar_one() == 0
