"""A phone delivers photographs: who may, what is taken, where it goes, and when it ends."""

from __future__ import annotations

import hashlib
import io

import pytest
import sqlalchemy as sa
from PIL import Image

from evenburn.adapters.storage.book.tables import artwork, card, delivery, photograph
from evenburn.core.errors import InvalidInput, NotFound, UnreadableFile
from evenburn.services.book.aims import Aim, aim_written, aims_of
from evenburn.services.book.deliver import (
    MOST_PHOTOGRAPHS,
    arrived,
    begin_delivery,
    deliver_photograph,
    delivery_of,
    drop_photograph,
    end_delivery,
    label,
    put_photograph,
    small_photograph,
    tray_of,
)
from evenburn.services.book.open_book import Book
from evenburn.services.book.take_in import TakenIn

NOW = "2026-06-09T08:00:00+00:00"
SOON = "2026-06-09T08:09:59+00:00"
OVER = "2026-06-09T08:10:00+00:00"


def shot(*, kind: str = "JPEG", size: tuple[int, int] = (160, 120), colour: int = 0) -> bytes:
    """Return a small picture of a kind; each colour makes other bytes."""
    stage = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").point(lambda v: (v + colour) % 256).save(stage, kind)
    return stage.getvalue()


def test_the_book_keeps_the_tokens_hash_alone(book: Book) -> None:
    begun = begin_delivery(book, Aim(), now=NOW)
    assert len(begun.token) >= 22  # 128 bits in letters
    with book.reading() as connection:
        (row,) = connection.execute(sa.select(delivery)).mappings().all()
    assert row["token_sha256"] == hashlib.sha256(begun.token.encode()).hexdigest()
    assert begun.token not in str(dict(row))


def test_a_photograph_reaches_its_piece(book: Book, taken: TakenIn) -> None:
    aim = Aim(kind="piece", id=taken.piece_ids[0])
    begun = begin_delivery(book, aim, now=NOW)
    assert begun.aim.name == "Novice plaque"
    sent = deliver_photograph(book, begun.token, data=shot(), name="IMG_1.JPG", now=SOON)
    (came,) = arrived(book, after_id=begun.after_id, aim=aim)
    assert came.id == sent.id
    with book.reading() as connection:
        row = connection.execute(sa.select(photograph)).mappings().one()
    assert row["piece_id"] == taken.piece_ids[0]
    assert row["name"] == "IMG_1.JPG"
    assert (book.files / row["sha256"][:2] / row["sha256"]).read_bytes() == shot()


@pytest.mark.usefixtures("taken")
def test_a_photograph_reaches_its_card(book: Book) -> None:
    with book.writing() as connection:
        connection.execute(sa.insert(card).values(id=7, wood_id="club-maple", kind="wood", made_at=NOW, document={}))
    aim = Aim(kind="card", id=7)
    assert "Wood card 7" in [line.name for line in aims_of(book)]
    begun = begin_delivery(book, aim, now=NOW)
    deliver_photograph(book, begun.token, data=shot(), name="a.jpg", now=SOON)
    with book.reading() as connection:
        assert connection.execute(sa.select(photograph.c.card_id)).scalar_one() == 7


def test_artwork_is_called_by_what_it_is(book: Book, taken: TakenIn) -> None:
    begun = begin_delivery(book, Aim(kind="artwork", id=taken.piece_ids[0]), now=NOW)
    deliver_photograph(book, begun.token, data=shot(kind="PNG"), name="../Boat House.exe", now=SOON)
    with book.reading() as connection:
        assert "boat-house.png" in connection.execute(sa.select(artwork.c.name)).scalars().all()


@pytest.mark.parametrize("wrong", ["", "x", "A" * 22, "' OR 1=1 --"])
def test_a_wrong_token_opens_nothing(book: Book, wrong: str) -> None:
    begin_delivery(book, Aim(), now=NOW)
    with pytest.raises(NotFound):
        delivery_of(book, wrong, now=NOW)
    with pytest.raises(NotFound):
        deliver_photograph(book, wrong, data=shot(), name="a.jpg", now=NOW)
    assert tray_of(book) == ()


def test_its_time_runs_out(book: Book) -> None:
    begun = begin_delivery(book, Aim(), now=NOW)
    assert delivery_of(book, begun.token, now=SOON).left_s == 1.0
    with pytest.raises(NotFound):
        deliver_photograph(book, begun.token, data=shot(), name="a.jpg", now=OVER)
    assert tray_of(book) == ()


def test_a_used_token_opens_nothing_and_keeps_what_came(book: Book) -> None:
    begun = begin_delivery(book, Aim(), now=NOW)
    deliver_photograph(book, begun.token, data=shot(), name="a.jpg", now=NOW)
    end_delivery(book, token=begun.token, now=SOON)
    with pytest.raises(NotFound):
        deliver_photograph(book, begun.token, data=shot(colour=9), name="b.jpg", now=SOON)
    assert [p.name for p in tray_of(book)] == ["a.jpg"]


def test_a_newer_delivery_ends_the_one_before(book: Book) -> None:
    first = begin_delivery(book, Aim(), now=NOW)
    second = begin_delivery(book, Aim(), now=NOW)
    with pytest.raises(NotFound):
        delivery_of(book, first.token, now=NOW)
    assert delivery_of(book, second.token, now=NOW).aim.aim == Aim()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "no photograph"),
        (b"<!doctype html><script>alert(1)</script>", "no photograph"),
        (b"GIF89a" + b"\x00" * 40, "no photograph"),
        (b"%PDF-1.7 " + b"\x00" * 40, "no photograph"),
        (shot()[: len(shot()) // 2], "damaged"),
        (shot(kind="PNG")[:60], "damaged"),
        (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "HEIC"),
        (shot(size=(40, 30)), "40 × 30"),
    ],
)
def test_what_is_no_photograph_is_refused_by_its_bytes(book: Book, data: bytes, said: str) -> None:
    begun = begin_delivery(book, Aim(), now=NOW)
    with pytest.raises(UnreadableFile, match=said):
        deliver_photograph(book, begun.token, data=data, name="card.jpg", now=NOW)
    assert tray_of(book) == ()
    assert [p for p in book.files.rglob("*") if p.is_file()] == []


def test_one_delivery_brings_so_many_and_no_more(book: Book) -> None:
    begun = begin_delivery(book, Aim(), now=NOW)
    for i in range(MOST_PHOTOGRAPHS):
        deliver_photograph(book, begun.token, data=shot(colour=i), name=f"{i}.jpg", now=NOW)
    with pytest.raises(InvalidInput, match="24 photographs"):
        deliver_photograph(book, begun.token, data=shot(colour=99), name="more.jpg", now=NOW)


def test_the_tray_is_emptied_where_things_belong(book: Book, taken: TakenIn) -> None:
    begun = begin_delivery(book, Aim(), now=NOW)
    one = deliver_photograph(book, begun.token, data=shot(), name="one.jpg", now=NOW)
    two = deliver_photograph(book, begun.token, data=shot(colour=5), name="two.jpg", now=NOW)
    put_photograph(book, one.id, Aim(kind="piece", id=taken.piece_ids[1]), now=SOON)
    assert [p.name for p in tray_of(book)] == ["two.jpg"]
    with pytest.raises(NotFound, match="not in the tray"):
        put_photograph(book, one.id, Aim(kind="piece", id=taken.piece_ids[0]), now=SOON)
    assert drop_photograph(book, two.id, now=SOON) == "two.jpg"
    assert tray_of(book) == ()
    with pytest.raises(NotFound):
        small_photograph(book, two.id)


def test_the_small_picture_is_drawn_anew_and_upright(book: Book) -> None:
    stage = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6  # lies on its right side, as phones write what was held upright
    Image.new("RGB", (1600, 1200), (120, 90, 60)).save(stage, "JPEG", exif=exif, comment=b"<script>alert(1)</script>")
    begun = begin_delivery(book, Aim(), now=NOW)
    sent = deliver_photograph(book, begun.token, data=stage.getvalue(), name="up.jpg", now=NOW)
    small = small_photograph(book, sent.id)
    assert b"script" not in small
    with Image.open(io.BytesIO(small)) as picture:
        assert picture.format == "JPEG"
        assert picture.size == (210, 280)


@pytest.mark.parametrize("written", ["card-0", "card-x", "piece--1", "wood-1", "card-1; drop", "card-" + "9" * 30])
def test_an_aim_that_is_none_is_told(written: str) -> None:
    with pytest.raises(NotFound):
        aim_written(written)


@pytest.mark.parametrize("aim", [Aim(), Aim(kind="card", id=3), Aim(kind="piece", id=4), Aim(kind="artwork", id=4)])
def test_an_aim_reads_back_as_written(aim: Aim) -> None:
    assert aim_written(aim.written()) == aim


def test_an_aim_that_is_not_in_the_book_begins_nothing(book: Book) -> None:
    with pytest.raises(NotFound):
        begin_delivery(book, Aim(kind="piece", id=99), now=NOW)


def test_a_name_is_a_label_and_no_path() -> None:
    assert label("../../etc/pass\x00wd") == "passwd"
    assert label("\x1b\n") == "photograph"
