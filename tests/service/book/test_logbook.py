"""The logbook: searched, graded, taken along, quick with many burns; a recipe used again."""

from __future__ import annotations

import csv
import io
import time
from typing import Any

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import burn, piece
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound
from evenburn.services.book.do_again import do_it_again, make_alike, targets_of
from evenburn.services.book.logbook import COLUMNS, LogLine, burn_of, grade_burn, log_csv, search_log
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW

RECIPE: dict[str, Any] = {
    "power_W": 31.2,
    "power_fraction": 0.503,
    "speed_mm_per_s": 310.0,
    "line_spacing_mm": 0.1,
    "lines_per_inch": 254.0,
    "focus_offset_mm": 1.5,
    "stand_off_mm": 11.0,
    "passes": 1,
    "scan_axis": "y",
    "direction": "one way",
    "air_kPa": 34.0,
    "power_low_W": None,
    "provenance": {"kind": "fitted", "detail": "from card 1"},
}
PREDICTED: dict[str, Any] = {
    "tone_L": 38.2,
    "tone_L_sd": 2.0,
    "ripple_L": 0.2,
    "detail_mm": 0.28,
    "dose_J_per_mm2": 1.0,
    "time_s": 608.0,
    "wished_tone_L": 38.0,
    "treatment": "solid",
}
QUICK_s = 0.15  # the figure for any page, here of the search alone and in time of the processor, which other work does not lengthen


def burnt(
    book: Book, piece_id: int, mark_id: str, *, at: str = NOW, wood_id: str = "club-maple", note: str = ""
) -> int:
    with book.writing() as connection:
        values = {
            "piece_id": piece_id,
            "mark_id": mark_id,
            "wood_id": wood_id,
            "burnt_at": at,
            "recipe": RECIPE,
            "predicted": PREDICTED,
            "note": note,
            "version": 1,
            "changed_at": at,
        }
        key = connection.execute(sa.insert(burn).values(**values)).inserted_primary_key
        assert key is not None
        return int(key[0])


def document_of(book: Book, piece_id: int) -> dict[str, Any]:
    with book.reading() as connection:
        found = connection.execute(sa.select(piece.c.document).where(piece.c.id == piece_id)).scalar_one()
    assert isinstance(found, dict)
    return found


def test_a_burn_is_found_by_its_piece_wood_and_note(book: Book, taken: TakenIn) -> None:
    plaque, tag = taken.piece_ids
    burnt(book, plaque, "front", note="even, air 100 % open")
    burnt(book, tag, "name", at=LATER, wood_id="beech", note="soft")
    assert [line.piece_name for line in search_log(book).lines] == ["tag", "Novice plaque"]  # the newest first
    for text, count in [("novice", 1), ("MAPLE even", 1), ("100 %", 1), ("100_%", 0), ("beech", 1), ("gull", 0)]:
        assert search_log(book, text=text).count == count, text
    assert search_log(book, wood_id="beech").count == 1
    page = search_log(book, text="soft")
    assert (page.count, page.burns, page.woods) == (1, 2, (("beech", "beech"), ("club-maple", "hard maple")))


def test_grades_are_kept_found_undone_and_told_to_the_later_window(book: Book, taken: TakenIn) -> None:
    burn_id = burnt(book, taken.piece_ids[0], "front")
    assert search_log(book, grade="none").count == 1
    saved = grade_burn(book, burn_id, grade=4, note=" a little soft ", version=1, now=LATER)
    line = burn_of(book, burn_id)
    assert (line.grade, line.note, line.version) == (4, "a little soft", 2)
    assert (search_log(book, grade="4").count, search_log(book, grade="5").count) == (1, 0)
    with pytest.raises(ChangedMeanwhile):
        grade_burn(book, burn_id, grade=1, note="", version=1, now=LATER)
    with pytest.raises(InvalidInput) as caught:
        grade_burn(book, burn_id, grade=6, note="x" * 3000, version=2, now=LATER)
    assert set(caught.value.fields) == {"grade", "note"}
    undo_edit(book, saved.edit_id, now=LATER)
    assert burn_of(book, burn_id).grade is None
    with pytest.raises(NotFound):
        burn_of(book, 99)


def test_the_csv_holds_every_burn_once_and_no_formula(book: Book, taken: TakenIn) -> None:
    many = 1203  # more than two parts of the file, most of them of one moment
    with book.writing() as connection:
        row = {
            "piece_id": taken.piece_ids[0],
            "mark_id": "front",
            "wood_id": "club-maple",
            "burnt_at": NOW,
            "recipe": RECIPE,
            "predicted": PREDICTED,
            "note": "=1+1",
            "version": 1,
            "changed_at": NOW,
        }
        connection.execute(sa.insert(burn), [row] * many)
    rows = list(csv.DictReader(io.StringIO("".join(log_csv(book)), newline="")))
    assert len(rows) == many
    assert tuple(rows[0]) == COLUMNS
    assert (rows[0]["power_W"], rows[0]["promised_L"], rows[0]["note"]) == ("31.2", "38.2", "'=1+1")
    assert list(log_csv(book, text="nothing like it")) == ["".join(log_csv(book, wood_id="beech"))]


def test_twenty_thousand_burns_are_searched_quickly(book: Book, taken: TakenIn) -> None:
    with book.writing() as connection:
        connection.execute(
            sa.insert(burn),
            [
                {
                    "piece_id": taken.piece_ids[n % 2],
                    "mark_id": "front",
                    "wood_id": ("club-maple", "beech")[n % 2],
                    "burnt_at": f"20{n % 26:02d}-06-{1 + n % 28:02d}T08:00:00+00:00",
                    "recipe": RECIPE,
                    "predicted": PREDICTED,
                    "note": f"board {n}",
                    "version": 1,
                    "changed_at": NOW,
                }
                for n in range(20_000)
            ],
        )
    for asked in ({}, {"text": "novice board 1999"}, {"grade": "none"}, {"wood_id": "beech"}, {"page": 400}):
        took = []
        for _ in range(3):
            began = time.process_time()
            page = search_log(book, **asked)
            took.append(time.process_time() - began)
        assert page.lines, asked
        assert min(took) < QUICK_s, asked


# ---- do it like that one again -----------------------------------------------------------------------------------


def test_the_recipe_is_held_by_the_mark_it_is_put_into(book: Book, taken: TakenIn) -> None:
    plaque, tag = taken.piece_ids
    burn_id = burnt(book, plaque, "front")
    targets = targets_of(book, burn_id)
    assert [(t.piece_id, t.mark_id, t.same_wood) for t in targets] == [(plaque, "front", True), (tag, "name", False)]
    saved = do_it_again(book, burn_id, tag, "name", version=1, now=LATER)
    mark = document_of(book, tag)["mark"][0]
    assert mark["hold"] == {
        "speed_mm_per_s": 310.0,
        "power_W": 31.2,
        "line_spacing_mm": 0.1,
        "focus_offset_mm": 1.5,
        "passes": 1,
        "scan_axis": "y",
        "direction": "one way",
    }
    assert mark["air_kPa"] == pytest.approx(34.0)
    assert "another wood" in saved.notes[0]
    with pytest.raises(ChangedMeanwhile):
        do_it_again(book, burn_id, tag, "name", version=1, now=LATER)
    with pytest.raises(InvalidInput):
        do_it_again(book, burn_id, tag, "back", version=2, now=LATER)
    undo_edit(book, saved.edit_id, now=LATER)
    assert document_of(book, tag)["mark"][0]["hold"] == {"passes": 1}


def test_a_piece_alike_has_its_blank_artwork_and_recipe(book: Book, taken: TakenIn) -> None:
    plaque = taken.piece_ids[0]
    burn_id = burnt(book, plaque, "front")
    saved = make_alike(book, burn_id, now=LATER)
    made, like = document_of(book, int(saved.key)), document_of(book, plaque)
    assert (made["id"], made["name"]) == ("plaque-2", "Novice plaque, again")
    assert made["blank"] == like["blank"]
    assert made["mark"][0]["art"] == like["mark"][0]["art"]
    assert made["mark"][0]["hold"]["speed_mm_per_s"] == pytest.approx(310.0)
    assert "hold" not in like["mark"][0]
    again = make_alike(book, burn_id, now=LATER)
    assert document_of(book, int(again.key))["id"] == "plaque-3"


def test_a_line_tells_what_is_known(book: Book, taken: TakenIn) -> None:
    line = burn_of(book, burnt(book, taken.piece_ids[0], "front"))
    assert isinstance(line, LogLine)
    assert (line.piece_name, line.wood_name, line.piece_there) == ("Novice plaque", "hard maple", True)
    assert (line.got_L, line.verdict, line.photographs) == (None, "", ())
