"""The n-th write fails, for each n: the book opens, nothing acknowledged is lost, no half file looks whole, and it works afterwards.

By hand and in `make check` some n of each kind of work; a lap of `make soak` draws others, `make campaign` takes every one.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from evenburn.core.errors import EvenburnError, StorageError
from evenburn.services.book.back_up_book import back_up_book
from evenburn.services.book.edit_piece import add_artwork, change_piece, copy_piece
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.restore_book import restore_book
from evenburn.services.book.take_in import take_in_batch
from evenburn.web.errors import Told, told
from faults.injecting import full_disk
from faults.looking import demand_sound, pieces_in
from service.book.conftest import LATER, NOW, small_batch
from soaking import CAMPAIGN, LAP, seed

Work = Callable[[Path, Path], None]
HERON = b'<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="20mm" viewBox="0 0 20 20"><circle cx="9" cy="9" r="8"/></svg>'


def saving(place: Path, _beside: Path) -> None:
    book = open_book_at(place)
    try:
        change_piece(book, 1, {"name": "Novice fours"}, version=1, now=LATER)
    finally:
        book.close()


def copying(place: Path, _beside: Path) -> None:
    book = open_book_at(place)
    try:
        copy_piece(book, 1, now=LATER)
    finally:
        book.close()


def uploading(place: Path, _beside: Path) -> None:
    book = open_book_at(place)
    try:
        add_artwork(book, HERON, name="heron.svg", now=LATER)
    finally:
        book.close()


def ticking(place: Path, _beside: Path) -> None:
    book = open_book_at(place)
    try:
        mark_step(book, 1, "burnt", done=True, now=LATER)
    finally:
        book.close()


def planning(place: Path, _beside: Path) -> None:
    book = open_book_at(place)
    try:
        plan_piece(book, 2, now=LATER)
    finally:
        book.close()


def taking_in(place: Path, beside: Path) -> None:
    book = open_book_at(place)
    try:
        take_in_batch(book, beside / "batch", now=LATER)
    finally:
        book.close()


def backing_up(place: Path, beside: Path) -> None:
    book = open_book_at(place)
    try:
        back_up_book(book, beside / "kept.zip", now=LATER)
    finally:
        book.close()


def restoring(_place: Path, beside: Path) -> None:
    restore_book(beside / "kept.zip", beside / "again").close()


def migrating(_place: Path, beside: Path) -> None:
    open_book_at(beside / "new").close()


# work, and how many of its writes are tried by hand
WORKS: dict[str, tuple[Work, int]] = {
    "saving": (saving, 3),
    "copying": (copying, 2),
    "uploading": (uploading, 4),
    "ticking": (ticking, 3),
    "planning": (planning, 3),
    "taking in": (taking_in, 4),
    "backing up": (backing_up, 4),
    "restoring": (restoring, 4),
    "migrating": (migrating, 4),
}


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a planned book, a batch folder to take in and a backup made before."""
    folder = tmp_path_factory.mktemp("faults")
    batch = small_batch(folder / "batch")
    book = open_book_at(folder / "book")
    taken = take_in_batch(book, batch, now=NOW)
    plan_piece(book, taken.piece_ids[0], now=NOW)
    back_up_book(book, folder / "kept.zip", now=NOW)
    book.close()
    text = (batch / "batch.toml").read_text().replace("Two for the regatta", "Two more")
    (batch / "batch.toml").write_text(text)
    return folder


def tried(count: int, wished: int) -> list[int]:
    """Return which writes fail, one after the other: all in a campaign, some at random in a lap, else from first to last."""
    if CAMPAIGN or count <= wished:
        return list(range(1, count + 1))
    if LAP:
        return sorted(random.Random(seed(0)).sample(range(1, count + 1), wished))  # noqa: S311  # cases, no secrets
    return sorted({1 + round(k * (count - 1) / (wished - 1)) for k in range(wished)})


def outcome(work: Work, there: Path) -> Told | None:
    """Return what a person is told; None where the work was done."""
    try:
        work(there / "book", there)
    except (EvenburnError, OSError) as error:  # temporary files that cannot be written come as what they are
        return told(error)
    return None


def copy_on(book: Book) -> None:
    for _ in range(400):
        copy_piece(book, 1, now=LATER)


@pytest.mark.parametrize("name", WORKS)
def test_whichever_write_fails_nothing_is_lost(name: str, ready: Path, tmp_path: Path) -> None:
    work, wished = WORKS[name]
    shutil.copytree(ready, tmp_path / "whole")
    before = pieces_in(tmp_path / "whole" / "book")
    with full_disk(None) as disk:
        work(tmp_path / "whole" / "book", tmp_path / "whole")
    after = pieces_in(tmp_path / "whole" / "book")
    assert disk.count >= 2
    numbers = tried(disk.count, wished)
    print(f"{name}: {len(numbers)} cases of {disk.count} writes")  # noqa: T201  # for a soak
    for number in numbers:
        there = tmp_path / f"fails-{number}"
        shutil.copytree(ready, there)
        with full_disk(number) as failing:
            shown = outcome(work, there)
        assert failing.failed
        acknowledged = shown is None
        if shown is not None:
            assert (shown.status, shown.heading) == (503, told(StorageError("")).heading), (number, shown)
            assert "intact" in shown.hint
        demand_sound(there / "book")
        assert pieces_in(there / "book") == (after if acknowledged else before), number
        restored = there / "from-backup"
        restore_book(there / "kept.zip", restored).close()  # the backup is the former or the new one, but whole
        assert pieces_in(restored) in (before, after)
        for place in ("again", "new"):  # a book half restored or half made is none, or is empty
            if not acknowledged and (there / place / "book.sqlite").exists():
                assert pieces_in(there / place) == {}
                shutil.rmtree(there / place)
        if not acknowledged:
            work(there / "book", there)  # once there is room again it simply works
            assert pieces_in(there / "book") == after
        shutil.rmtree(there)


def test_a_book_whose_database_may_not_grow_says_so_and_is_intact(ready: Path, tmp_path: Path) -> None:
    shutil.copytree(ready, tmp_path / "small")
    place = tmp_path / "small" / "book"
    book = open_book_at(place)
    before = pieces_in(place)
    with book.reading() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count={pages}")  # the database's own full disk
    with pytest.raises(StorageError, match="disk full"):
        copy_on(book)
    book.close()
    demand_sound(place)
    assert set(before.items()) <= set(pieces_in(place).items())
