"""A planned piece looked at close: tiles and windows that agree, at other settings too, and what is said where it cannot be."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import piece
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.proof.scene import Window
from evenburn.services.book import proof_tiles
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.plan_piece import PiecePlanned, plan_piece
from evenburn.services.book.proof_kept import Kept
from evenburn.services.book.proof_of import look_of, proof_of, told_setting, window_at
from evenburn.services.book.proof_tiles import Ask, Prepared, memory_bytes, prepared, tile, window_picture
from evenburn.services.book.take_in import take_in_batch
from service.book.conftest import LATER, NOW, small_batch

LEVEL = 1  # of 255, what rounding may do


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """A book in which both pieces are planned once for all of these tests."""
    folder = tmp_path_factory.mktemp("close")
    made = open_book_at(folder / "book")
    taken = take_in_batch(made, small_batch(folder / "own"), now=NOW)
    for piece_id in taken.piece_ids:
        plan_piece(made, piece_id, now=NOW)
    yield made
    made.close()


@pytest.fixture(scope="module")
def plaque(book: Book) -> PiecePlanned:
    return plan_piece(book, 1, now=NOW)


@pytest.fixture(scope="module")
def tag(book: Book) -> PiecePlanned:
    return plan_piece(book, 2, now=NOW)


def _seen(data: bytes) -> np.ndarray:
    picture = Image.open(io.BytesIO(data))
    assert picture.format == "PNG"
    return np.asarray(picture.convert("RGB")).astype(int)


def _near(book: Book, piece_id: int, *, scale: float, size_px: tuple[int, int] = (120, 80)) -> Window:
    look = look_of(book, piece_id)
    return window_at(look, middle_mm=None, scale_px_per_mm=scale, size_px=size_px)


@pytest.mark.parametrize("level", [-2, 6, 9, 13])
def test_tiles_lie_beside_one_another_as_a_window_shows_them(book: Book, plaque: PiecePlanned, level: int) -> None:
    pixel = 2.0 ** (-level / 2)
    look = look_of(book, plaque.piece_id)
    column, row = (int(v / pixel / 512) for v in look.start_mm)
    left, right = (_seen(tile(book, plaque.piece_id, (level, c, row))) for c in (column, column + 1))
    assert left.shape == (512, 512, 3)
    both = Window(left_mm=column * 512 * pixel, top_mm=row * 512 * pixel, pixel_mm=pixel, columns=1024, rows=512)
    assert np.abs(np.hstack([left, right]) - _seen(window_picture(book, plaque.piece_id, both))).max() <= LEVEL


def test_a_blank_that_lies_turned_is_shown_upright(book: Book, tag: PiecePlanned) -> None:
    look = look_of(book, tag.piece_id)
    assert look.size_mm == pytest.approx((50.0, 30.0))
    data = window_picture(book, tag.piece_id, Window(left_mm=0.0, top_mm=0.0, pixel_mm=0.1, columns=500, rows=300))
    dark = _seen(data).sum(axis=2) < 400
    # its mark lies 8 mm from the left and from below, 30 by 12 mm large
    assert dark[95:225, 75:385].mean() > 0.1
    assert dark[:80].mean() < 0.01
    assert dark[:, 400:].mean() < 0.01


def test_a_setting_changes_what_is_seen_and_as_planned_it_does_not(book: Book, plaque: PiecePlanned) -> None:
    window = _near(book, plaque.piece_id, scale=60.0)
    proof = proof_of(book, plaque.piece_id)
    assert proof is not None
    mark = proof.shown

    def seen(**ask: float) -> np.ndarray:
        return _seen(window_picture(book, plaque.piece_id, window, ask=Ask(**ask)))  # type: ignore[arg-type]

    planned = seen()
    same = seen(focus_offset_mm=mark.focus_offset_mm, line_spacing_mm=mark.line_spacing_mm)
    assert np.abs(same - planned).max() <= LEVEL
    off = seen(focus_offset_mm=mark.focus_offset_mm + 3.0)
    assert np.abs(off - planned).mean() > 1.0
    wide = seen(line_spacing_mm=2.0 * mark.line_spacing_mm, focus_offset_mm=0.0)
    lines = wide.sum(axis=2)[:, 60] - wide.sum(axis=2)[:, 60].mean()
    assert np.abs(np.fft.rfft(lines)[1:]).max() > 500.0  # lines stand apart


def test_at_another_spacing_too_tiles_have_no_seams(book: Book, plaque: PiecePlanned) -> None:
    ask = Ask(line_spacing_mm=0.17)
    look = look_of(book, plaque.piece_id)
    pixel = 2.0**-5.5
    column, row = (int(v / pixel / 512) for v in look.start_mm)
    tiles = [_seen(tile(book, plaque.piece_id, (11, c, row), ask=ask)) for c in (column, column + 1)]
    both = Window(left_mm=column * 512 * pixel, top_mm=row * 512 * pixel, pixel_mm=pixel, columns=1024, rows=512)
    assert np.abs(np.hstack(tiles) - _seen(window_picture(book, plaque.piece_id, both, ask=ask))).max() <= LEVEL


def test_what_is_predicted_at_a_setting_is_told_with_what_pins_it(book: Book, plaque: PiecePlanned) -> None:
    proof = proof_of(book, plaque.piece_id)
    assert proof is not None
    planned = told_setting(book, proof, Ask())
    assert planned is not None
    assert planned.as_planned
    assert planned.changes == {}
    assert planned.tone_L == pytest.approx(proof.shown.tone_L)
    asked = told_setting(book, proof, Ask(line_spacing_mm=0.2, focus_offset_mm=0.04))
    assert asked is not None
    assert asked.changes == {
        "mark[1].hold.focus_offset_mm": pytest.approx(0.04),
        "mark[1].hold.line_spacing_mm": pytest.approx(0.2),
    }
    assert asked.lines_per_inch == pytest.approx(127.0)  # 25.4 mm to the inch
    assert asked.banding_seen


def test_the_scales_hold_what_is_planned(book: Book, plaque: PiecePlanned) -> None:
    proof = proof_of(book, plaque.piece_id)
    assert proof is not None
    for mark in proof.marks:
        low, middle, high = mark.offsets_mm
        assert low <= min(0.0, mark.focus_offset_mm)
        assert high >= max(2.0, mark.focus_offset_mm)
        assert middle == pytest.approx(0.5 * (low + high))
        assert mark.spacings_mm is not None
        assert mark.spacings_mm[0] <= mark.line_spacing_mm <= mark.spacings_mm[1]


@pytest.mark.parametrize(
    ("place", "ask", "field"),
    [
        ((40, 0, 0), Ask(), "level"),
        ((6, 10**9, 0), Ask(), "column"),
        ((6, 0, 0), Ask(focus_offset_mm=99.0), "offset"),
        ((6, 0, 0), Ask(line_spacing_mm=0.0), "spacing"),
        ((6, 0, 0), Ask(mark_id="no-such", focus_offset_mm=1.0), "mark"),
    ],
)
def test_what_cannot_be_drawn_is_said_at_its_field(
    book: Book, plaque: PiecePlanned, place: tuple[int, int, int], ask: Ask, field: str
) -> None:
    with pytest.raises(InvalidInput) as told:
        tile(book, plaque.piece_id, place, ask=ask)
    assert field in told.value.fields


def test_a_window_too_large_or_out_of_scale_is_refused(book: Book, plaque: PiecePlanned) -> None:
    wrong = Window(left_mm=1e9, top_mm=0.0, pixel_mm=1e-6, columns=100_000, rows=0)
    with pytest.raises(InvalidInput) as told:
        window_picture(book, plaque.piece_id, wrong)
    assert set(told.value.fields) == {"width", "height", "scale", "left"}


def test_what_is_kept_is_bounded_and_the_oldest_goes() -> None:
    kept: Kept[bytes] = Kept(most_bytes=100, most=50, size_bytes=len)
    for number in range(20):
        kept.get(number, lambda: bytes(10))
        kept.get(0, lambda: bytes(10))  # asked for again and again, it stays
    assert kept.size_bytes() <= 100
    assert kept.peek(0) is not None
    assert kept.peek(3) is None
    assert kept.get("large", lambda: bytes(500)) == bytes(500)
    assert kept.size_bytes() == 500


def test_what_could_not_be_made_is_tried_again() -> None:
    kept: Kept[bytes] = Kept(most_bytes=100, most=50, size_bytes=len)

    def fails() -> bytes:
        raise NotFound("not yet")

    with pytest.raises(NotFound):
        kept.get("a", fails)
    assert kept.get("a", lambda: b"now") == b"now"


def test_a_piece_is_prepared_once_however_many_ask(
    book: Book, plaque: PiecePlanned, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[int] = []
    usual = proof_tiles._prepare

    def counted(*args: object, **kwargs: object) -> object:
        made.append(1)
        return usual(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(proof_tiles, "_prepare", counted)
    monkeypatch.setattr(proof_tiles, "_PIECES", Kept(most_bytes=10**9, most=3, size_bytes=Prepared.size_bytes))
    monkeypatch.setattr(proof_tiles, "_DRAWN", Kept(most_bytes=10**9, most=99, size_bytes=len))
    threads = [threading.Thread(target=tile, args=(book, plaque.piece_id, (4, c, 0))) for c in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == [1]
    assert memory_bytes() < 600e6


def test_an_older_plan_is_not_passed_off_as_the_new_one(
    book: Book, plaque: PiecePlanned, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(proof_tiles, "_PIECES", Kept(most_bytes=10**9, most=3, size_bytes=Prepared.size_bytes))
    with book.writing() as connection:
        row = row_of(connection, piece, plaque.piece_id)
        document = {**row["document"], "place_bed_mm": [210.0, 150.0]}
        change(connection, [Change(table=piece, key=plaque.piece_id, values={"document": document}, version=row["version"])], what="place", now=LATER)  # fmt: skip
    plan_piece(book, plaque.piece_id, now=LATER)
    with pytest.raises(NotFound, match="planned anew"):
        prepared(book, plaque.piece_id, plan=plaque.inputs_sha256)


def test_without_a_plan_there_is_no_proof(tmp_path: Path) -> None:
    fresh = open_book_at(tmp_path / "book")
    taken = take_in_batch(fresh, small_batch(tmp_path / "own"), now=NOW)
    assert proof_of(fresh, taken.piece_ids[0]) is None
    with pytest.raises(NotFound):
        tile(fresh, taken.piece_ids[0], (4, 0, 0))
    with pytest.raises(NotFound):
        proof_of(fresh, 99)
    fresh.close()
