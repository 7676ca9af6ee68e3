"""The stopwatch and the ladder in the book: made, read, taken over, undone; told what is measured."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound
from evenburn.services.book.learn_machine import (
    Photograph,
    StopwatchTold,
    differences,
    learn_ladder,
    learn_stopwatch,
    take_measured,
)
from evenburn.services.book.machine_cards import (
    cards_of,
    delivered_photographs,
    file_of_card,
    machine_card_of,
    make_machine_card,
    packed_card,
    set_ups_of,
)
from evenburn.services.book.machine_of import machine_of
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW
from virtual_bench import Bench


@pytest.fixture(name="card_id")
def _card_id(book: Book, taken: TakenIn) -> int:
    return make_machine_card(book, taken.machine_id, "motion", wood_id="club-maple", now=NOW)


def timed(book: Book, card_id: int, *, slower: float = 1.0) -> StopwatchTold:
    """Return both takes of each raster, as a bench of the test double moves."""
    bench = Bench(0, "hard-maple")
    rasters = machine_card_of(book, card_id).document["rasters"]
    texts = {r["id"]: file_of_card(book, card_id, r["program"])[0].decode() for r in rasters}
    times = [
        (name, slower * bench.stopwatch_s(text, hand_sd_s=0.1, take=10 * n + take))
        for n, (name, text) in enumerate(texts.items())
        for take in (0, 1)
    ]
    return StopwatchTold(times=tuple(times), lines_up={"slow": 1.5, "quick": 4.0})


def test_a_card_holds_all_that_is_needed_to_burn_it(book: Book, taken: TakenIn, card_id: int) -> None:
    card = machine_card_of(book, card_id)
    assert (card.kind, card.machine_id, card.wood_id) == ("motion", taken.machine_id, "club-maple")
    assert {"stopwatch-1.ngc", "card.ngc", "mat.pdf", "card.json"} <= set(card.files)
    with zipfile.ZipFile(io.BytesIO(packed_card(book, card_id))) as packed:
        assert set(packed.namelist()) == set(card.files)
        assert b"laser stays off" in packed.read("stopwatch-1.ngc")
    assert delivered_photographs(book, card_id) == ()  # the card's own files are no photographs


def test_times_become_numbers_that_the_machine_takes_over_and_gives_back(book: Book, card_id: int) -> None:
    learnt = learn_stopwatch(book, card_id, timed(book, card_id), now=LATER)
    by_key = {d.key: d for d in differences(book, card_id)}
    accel = by_key["accel_x_mm_per_s2"]
    assert accel.before == pytest.approx(5000.0)
    assert accel.sd is not None
    assert accel.sd > 0.0
    assert not accel.taken
    # five percent is the figure for the stopwatch
    assert accel.after == pytest.approx(Bench(0, "hard-maple").machine.accel_x_mm_per_s2, rel=0.05)
    assert learnt.card.told
    before = machine_of(book)
    assert before is not None
    assert before.figure("accel_x_mm_per_s2").kind == "user"
    saved = take_measured(book, card_id, version=before.version, now=LATER)
    after = machine_of(book)
    assert after is not None
    figure = after.figure("accel_x_mm_per_s2")
    assert (figure.kind, figure.value, figure.sd) == ("measured", accel.after, accel.sd)
    assert "stopwatch times" in figure.detail
    assert all(d.taken for d in differences(book, card_id))
    with pytest.raises(ChangedMeanwhile):
        take_measured(book, card_id, version=before.version, now=LATER)
    undo_edit(book, saved.edit_id, now=LATER)
    back = machine_of(book)
    assert back is not None
    assert back.figure("accel_x_mm_per_s2").kind == "user"


def test_what_cannot_be_is_said_at_its_field_and_nothing_is_kept(book: Book, card_id: int) -> None:
    with pytest.raises(InvalidInput) as caught:
        learn_stopwatch(book, card_id, StopwatchTold(times=(("1", 3.0), ("2", 19.0)), lines_up={}), now=NOW)
    assert "time[1]" in caught.value.fields
    with pytest.raises(InvalidInput) as eye:
        learn_stopwatch(book, card_id, StopwatchTold(lines_up={"slow": 99.0}), now=NOW)
    assert "lines_up[slow]" in eye.value.fields
    with pytest.raises(InvalidInput) as none:
        learn_stopwatch(book, card_id, StopwatchTold(), now=NOW)
    assert "time" in none.value.fields
    with pytest.raises(InvalidInput) as picture:
        learn_stopwatch(
            book, card_id, StopwatchTold(photographs=(Photograph(name="x.jpg", data=b"no picture"),)), now=NOW
        )
    assert "no picture" in picture.value.fields["photographs"]
    assert machine_card_of(book, card_id).told == ()
    with pytest.raises(InvalidInput):
        take_measured(book, card_id, version=1, now=NOW)


def test_a_ladder_says_what_to_set_and_wants_a_photograph(book: Book, taken: TakenIn) -> None:
    card_id = make_machine_card(book, taken.machine_id, "beam", wood_id="club-maple", now=NOW)
    set_ups = set_ups_of(book, card_id)
    assert len(set_ups) == 9
    assert [s.stand_off_mm for s in set_ups] == sorted(s.stand_off_mm for s in set_ups)
    first = set_ups[0]
    head = file_of_card(book, card_id, first.file)[0].decode()
    assert f"SET STAND-OFF {first.stand_off_mm:.2f} mm" in head
    with pytest.raises(InvalidInput):
        learn_ladder(book, card_id, (), now=NOW)
    assert [c.card_id for c in cards_of(book, taken.machine_id)] == [card_id]


def test_a_wood_that_is_not_there_and_a_card_that_is_none(book: Book, taken: TakenIn, batch_folder: Path) -> None:
    assert batch_folder.is_dir()
    with pytest.raises(NotFound):
        make_machine_card(book, taken.machine_id, "beam", wood_id="ebony", now=NOW)
    with pytest.raises(NotFound):
        machine_card_of(book, 99)
