"""A card made, photographed, read and fitted in the book; with the demo's own card and photograph."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from PIL import Image

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import card, photograph, reading
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.change_wood import NewWood, change_wood, new_wood, take_curve
from evenburn.services.book.fit_wood import curve_of_readings
from evenburn.services.book.learn_wood import (
    BookCardWish,
    add_card,
    check_reading,
    keep_photographs,
    read_card_in_book,
)
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.wood_cards import card_file, card_in, card_of, photograph_data, reading_picture
from evenburn.services.book.wood_curves import curve_of_reading, curve_page
from evenburn.services.book.woods_of import wood_of
from service.book.conftest import LATER, NOW

DEMO = resources.files("evenburn") / "assets" / "demo" / "cards" / "hard-maple"


@dataclass
class Reads:
    """A wood, a card of it that was burnt before, and what its photograph told."""

    book: Book
    wood_id: str
    card_id: int
    reading_id: int
    document: dict[str, Any]


def burnt_card(book: Book, wood_id: str) -> int:
    """Hang the demo's card on a wood, as if it had been made here."""
    document = card_document(card_in(json.loads((DEMO / "card.json").read_text())))
    with book.writing() as connection:
        key = connection.execute(
            sa.insert(card).values(wood_id=wood_id, kind="wood", made_at=NOW, document={**document, "wood": wood_id})
        ).inserted_primary_key
    assert key is not None
    return int(key[0])


def jpeg(*, seed: int = 1, size: tuple[int, int] = (640, 480)) -> bytes:
    """Return a photograph of nothing."""
    noise = np.random.default_rng(seed).integers(0, 255, (*size[::-1], 3), dtype=np.uint8)
    stage = io.BytesIO()
    Image.fromarray(noise).save(stage, format="JPEG")
    return stage.getvalue()


@pytest.fixture(scope="module")
def reads(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Reads]:
    """Return a wood whose card was read, in a book of its own: reading takes seconds, and is done once."""
    book = open_book_at(tmp_path_factory.mktemp("read") / "book")
    wood_id, card_id = lot_with_card(book, "Maple, lot 1")
    ids = keep_photographs(book, card_id, [("Photo of it.JPG", (DEMO / "photo.jpg").read_bytes())], now=NOW)
    came = read_card_in_book(book, card_id, ids, now=NOW)
    assert (came.told, came.refused) == (True, 0)
    with book.reading() as connection:
        document = connection.execute(sa.select(reading.c.document)).scalar_one()
    yield Reads(book=book, wood_id=wood_id, card_id=card_id, reading_id=came.reading_id, document=document)
    book.close()


def lot_with_card(book: Book, called: str) -> tuple[str, int]:
    """Put a lot of hard maple in, with a burnt card."""
    wood_id = str(new_wood(book, NewWood(called=called, begins="same", of="hard-maple"), now=NOW).key)
    return wood_id, burnt_card(book, wood_id)


def hang_reading(book: Book, card_id: int, document: dict[str, Any]) -> int:
    """Give a card a reading that was made elsewhere."""
    with book.writing() as connection:
        key = connection.execute(
            sa.insert(reading).values(card_id=card_id, read_at=NOW, document=document)
        ).inserted_primary_key
    assert key is not None
    return int(key[0])


# ---- a card ------------------------------------------------------------------------------------------------------


def test_a_card_is_made_with_its_program_mat_and_picture(book: Book, taken: TakenIn) -> None:
    told: list[tuple[str, int, int]] = []
    card_id = add_card(
        book, "beech", BookCardWish(machine_id=taken.machine_id), now=NOW, progress=lambda *step: told.append(step)
    )
    found = card_of(book, card_id)
    assert (found.number, found.wood_id, found.kind, len(found.card.patches)) == (1, "beech", "wood", 60)
    assert found.files == ("card.ngc", "mat.pdf", "card.png", "card.json")
    assert found.time_text is not None
    assert "min" in found.time_text
    assert found.stand_off_mm == pytest.approx(9.5 + found.card.focus_offset_mm)
    program, media = card_file(book, card_id, "card.ngc")
    assert (b"G21" in program, media) == (True, "text/plain")
    assert card_file(book, card_id, "mat.pdf")[0].startswith(b"%PDF")
    assert card_file(book, card_id, "card.png")[0].startswith(b"\x89PNG")
    assert told[0][1:] == (0, 3)
    assert told[-1][1:] == (3, 3)
    with pytest.raises(NotFound):
        card_file(book, card_id, "../book.sqlite")


def test_a_strip_may_lie_where_it_is_told(book: Book, taken: TakenIn) -> None:
    wish = BookCardWish(machine_id=taken.machine_id, strip=True, page="Letter", at_mm=(100.0, 50.0))
    found = card_of(book, add_card(book, "club-maple", wish, now=NOW))
    assert (found.kind, found.card.origin_bed_mm, found.card.mat.page) == ("strip", (100.0, 50.0), "Letter")


def test_a_wood_that_is_only_like_another_gets_a_card_too(book: Book, taken: TakenIn) -> None:
    pear = str(new_wood(book, NewWood(called="Pear", begins="like", of="cherry"), now=NOW).key)
    wish = BookCardWish(machine_id=taken.machine_id)
    assert card_of(book, add_card(book, pear, wish, now=NOW)).card.wood_id == pear


def test_what_no_machine_can_burn_is_told_without_words_of_the_command_line(book: Book, taken: TakenIn) -> None:
    for wish, field in (
        (BookCardWish(machine_id=taken.machine_id, at_mm=(590.0, 50.0)), None),
        (BookCardWish(machine_id=taken.machine_id, page="A5"), "page"),
    ):
        with pytest.raises(InvalidInput) as caught:
            add_card(book, "beech", wish, now=NOW)
        assert "--" not in f"{caught.value.hint} {' '.join(caught.value.fields)}"
        assert field is None or field in caught.value.fields
    with pytest.raises(NotFound):
        add_card(book, "beech", BookCardWish(machine_id="no-such"), now=NOW)


def test_no_card_is_made_of_a_doubtful_material_that_nobody_vouches_for(book: Book, taken: TakenIn) -> None:
    wish = NewWood(called="MDF offcuts", begins="same", of="birch-plywood", confirmed_by="A. Swann")
    wood_id = str(new_wood(book, wish, now=NOW).key)
    change_wood(book, wood_id, {"confirmed_by": None}, version=1, now=LATER)
    with pytest.raises(InvalidInput) as caught:
        add_card(book, wood_id, BookCardWish(machine_id=taken.machine_id), now=LATER)
    assert "fibreboard or other glued board is doubtful" in caught.value.fields["wood"]
    change_wood(book, wood_id, {"confirmed_by": "A. Swann"}, version=2, now=LATER)
    assert add_card(book, wood_id, BookCardWish(machine_id=taken.machine_id), now=LATER)


# ---- photographs -------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("taken")
def test_files_that_are_no_photographs_are_told_each_and_none_is_kept(book: Book) -> None:
    card_id = burnt_card(book, "beech")
    whole = jpeg()
    sent = [
        ("notes.txt", b"twelve oars"),
        ("cut.jpg", whole[: len(whole) // 2]),
        ("good.jpg", whole),
        ("none.jpg", b""),
    ]
    with pytest.raises(InvalidInput) as caught:
        keep_photographs(book, card_id, sent, now=NOW)
    text = caught.value.fields["photographs"]
    assert all(name in text for name in ("notes.txt", "cut.jpg", "none.jpg"))
    assert "good.jpg" not in text
    assert card_of(book, card_id).photographs == ()
    for few in ([], [("a.jpg", whole)] * 13):
        with pytest.raises(InvalidInput, match="photographs"):
            keep_photographs(book, card_id, few, now=NOW)


@pytest.mark.usefixtures("taken")
def test_names_never_become_paths_and_each_photograph_has_its_own(book: Book) -> None:
    card_id = burnt_card(book, "beech")
    keep_photographs(
        book, card_id, [("../../card.ngc", jpeg()), ("reading.png", jpeg(seed=2)), ("a.jpg", jpeg(seed=3))], now=NOW
    )
    keep_photographs(book, card_id, [("a.jpg", jpeg(seed=4))], now=LATER)
    names = [p.name for p in card_of(book, card_id).photographs]
    assert names == ["card-ngc.jpg", "reading-2.png", "a.jpg", "a-2.jpg"]
    assert "card.ngc" not in card_of(book, card_id).files


@pytest.mark.usefixtures("taken")
def test_a_refused_photograph_says_why_and_stays_to_be_looked_at(book: Book) -> None:
    card_id = burnt_card(book, "beech")
    ids = keep_photographs(book, card_id, [("desk.jpg", jpeg())], now=NOW)
    assert not card_of(book, card_id).photographs[0].read
    came = read_card_in_book(book, card_id, ids, now=NOW)
    found = card_of(book, card_id)
    refused = found.readings[0].refused[0]
    assert (came.told, found.readings[0].told, found.newest()) == (False, False, None)
    assert (refused.name, refused.photograph_id, refused.shown) == ("desk.jpg", ids[0], True)
    assert refused.text
    assert refused.remedy
    assert found.photographs[0].read
    assert photograph_data(book, card_id, ids[0])[1] == "image/jpeg"
    with pytest.raises(InvalidInput, match="no card of this wood was read yet"):
        curve_of_readings(book, "beech", now=NOW)
    with pytest.raises(NotFound):
        reading_picture(book, card_id, found.readings[0].reading_id, part="mat")


@pytest.mark.usefixtures("taken")
def test_phones_call_all_photographs_alike_and_still_each_is_told_by_itself(book: Book) -> None:
    card_id = burnt_card(book, "beech")
    ids = keep_photographs(book, card_id, [("image.jpg", jpeg()), ("other.jpg", jpeg(seed=2))], now=NOW)
    with book.writing() as connection:  # as the phone's page keeps them
        connection.execute(sa.update(photograph).where(photograph.c.id.in_(ids)).values(name="image.jpg"))
    read_card_in_book(book, card_id, ids, now=NOW)
    refused = card_of(book, card_id).readings[0].refused
    assert len({r.name for r in refused}) == 2
    assert [r.photograph_id for r in refused] == list(ids)


def test_paper_and_toner_that_cannot_be_are_told_with_everything_else() -> None:
    with pytest.raises(InvalidInput) as caught:
        check_reading((), paper_L=40.0, toner_L=60.0)
    assert set(caught.value.fields) == {"photographs", "paper_L", "toner_L"}


@pytest.mark.usefixtures("taken")
def test_photographs_of_another_card_are_not_read(book: Book) -> None:
    mine, other = burnt_card(book, "beech"), burnt_card(book, "club-maple")
    ids = keep_photographs(book, other, [("a.jpg", jpeg())], now=NOW)
    with pytest.raises(NotFound):
        read_card_in_book(book, mine, ids, now=NOW)
    with pytest.raises(NotFound):
        photograph_data(book, mine, ids[0])


# ---- from photograph to curve ------------------------------------------------------------------------------------


def test_a_card_is_read_fitted_and_worked_with_only_when_a_person_says_so(reads: Reads) -> None:
    book = reads.book
    found = card_of(book, reads.card_id)
    newest = found.newest()
    assert newest is not None
    assert (newest.patches, newest.photographs, newest.drawn) == (60, 1, True)
    assert found.photographs[0].name == "photo-of-it.jpg"
    for part in ("window", "mat"):
        picture = Image.open(io.BytesIO(reading_picture(book, reads.card_id, reads.reading_id, part=part)))
        assert min(picture.size) > 600
    before = wood_of(book, reads.wood_id)
    assert (before.kind, before.waits) == ("starting value", None)
    curve_id = curve_of_readings(book, reads.wood_id, now=NOW)
    waiting = wood_of(book, reads.wood_id)
    assert (waiting.kind, waiting.waits is not None, waiting.curve_id) == ("starting value", True, None)
    beside = curve_page(book, reads.wood_id, curve_id)
    assert (beside.kind, beside.detail, beside.works) == ("fitted", "from card 1", False)
    assert beside.drawing.before_d
    assert len(beside.drawing.dots) == 60
    assert curve_of_reading(book, reads.reading_id) == curve_id
    take_curve(book, reads.wood_id, curve_id, version=1, now=LATER)
    after = wood_of(book, reads.wood_id)
    assert (after.kind, after.detail, after.waits) == ("fitted", "from card 1", None)
    assert len(after.patches) == 60
    assert after.inside_L is not None
    assert (before.boards_read, after.boards_read) == (0, 1)
    assert after.tone_sd_L < before.tone_sd_L
    assert after.newest is not None
    assert after.history[0].what in {"Curve fitted", "Card 1 read: 60 patches, none set aside"}


def test_the_belief_of_another_lot_of_the_same_wood_goes_into_a_fit(book: Book, reads: Reads) -> None:
    first, first_card = lot_with_card(book, "Maple, lot 1")
    hang_reading(book, first_card, reads.document)
    take_curve(book, first, curve_of_readings(book, first, now=NOW), version=1, now=NOW)
    second = str(new_wood(book, NewWood(called="Maple, lot 2", begins="lot", of=first), now=NOW).key)
    card_id = burnt_card(book, second)
    hang_reading(book, card_id, {**reads.document, "card": {**reads.document["card"], "wood": second}})
    fitted = curve_page(book, second, curve_of_readings(book, second, now=LATER))
    assert fitted.detail == "from card 1; beside Maple, lot 1"


def test_readings_are_chosen_and_a_card_counts_once(book: Book, reads: Reads) -> None:
    wood_id, card_id = lot_with_card(book, "Maple, lot 1")
    one, two = (hang_reading(book, card_id, reads.document) for _ in range(2))
    with pytest.raises(InvalidInput, match="two are of one card"):
        curve_of_readings(book, wood_id, reading_ids=[one, two], now=NOW)
    with pytest.raises(NotFound):
        curve_of_readings(book, wood_id, reading_ids=[999], now=NOW)
    assert curve_of_readings(book, wood_id, reading_ids=[one], now=NOW)
