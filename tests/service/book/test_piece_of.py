"""What the sheet of a piece shows: its neighbours, its plan, how far the head reaches, what binds, what happened."""

from __future__ import annotations

import pytest

from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.wood import FinishingStep
from evenburn.services.book.edit_piece import change_piece
from evenburn.services.book.finishing import afterwards, seconds_in
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.piece_of import artwork_of, piece_of
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.programs_of import file_of, files_of, set_up_of
from evenburn.services.book.reach_of import bed_of
from evenburn.services.book.recipes_of import recipes_of, ways_of
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW


def test_a_piece_that_was_never_planned(book: Book, taken: TakenIn) -> None:
    sheet = piece_of(book, taken.piece_ids[0])
    assert (sheet.order, sheet.count, sheet.before_id, sheet.after_id) == (1, 2, None, taken.piece_ids[1])
    assert (sheet.planned, sheet.plan, sheet.ready) == (None, None, False)
    assert (sheet.curve.kind, sheet.curve.detail) == ("fitted", "2026-05-02, from card 1")
    assert [one.what for one in sheet.edits] == ["“Two for the regatta” taken in"]
    assert sheet.artworks == ("crew-cox.svg",)
    with pytest.raises(NotFound):
        piece_of(book, 99)


def test_a_planned_piece_its_files_and_what_is_set(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    plan_piece(book, id_, now=NOW)
    sheet = piece_of(book, id_)
    assert sheet.planned is not None
    assert sheet.plan is not None
    files = {one.name: one.kind for one in files_of(sheet.planned, sheet.plan)}
    assert files["plaque-front.ngc"] == "program"
    assert files["run-sheet.pdf"] == "run sheet"
    assert file_of(book, id_, "plaque-front.ngc").data.startswith(b"(")
    for name in ("../batch/machine.toml", "batch", "plan.json", "other.ngc"):
        with pytest.raises(NotFound):
            file_of(book, id_, name)
    rows = set_up_of(sheet.plan)
    assert any(row.kind == "length" and row.value == (12.0,) for row in rows)  # the thickness
    assert any(row.kind == "place" and row.value == (210.0, 158.0) for row in rows)  # 200 + 10, 150 + 8: the pointer
    # changed and undone: planned before as it stands, so that planning again takes no time
    saved = change_piece(book, id_, {"mark[1].tone_L": 44.0}, version=1, now=LATER)
    assert not piece_of(book, id_).ready
    plan_piece(book, id_, now=LATER)
    undo_edit(book, saved.edit_id, now=LATER)
    assert piece_of(book, id_).ready


def test_ticks_and_edits_stand_in_the_log(book: Book, taken: TakenIn) -> None:
    id_, other = taken.piece_ids
    change_piece(book, id_, {"turn_deg": 5.0}, version=1, now=NOW)
    change_piece(book, other, {"turn_deg": 5.0}, version=1, now=NOW)
    mark_step(book, id_, "proof agreed", done=True, now=LATER)
    told = [one.what for one in piece_of(book, id_).edits]
    assert told == ["Novice plaque: proof agreed", "Novice plaque: turn", "“Two for the regatta” taken in"]


@pytest.mark.usefixtures("taken")
def test_artwork_is_found_by_its_name_alone(book: Book) -> None:
    found = artwork_of(book, "crew-cox.svg")
    assert found.media_type == "image/svg+xml"
    assert b"<svg" in found.data
    for name in ("../book.sqlite", "", "crew.svg"):
        with pytest.raises(NotFound):
            artwork_of(book, name)


def test_reach_shrinks_as_speed_rises(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    slow, fast = (bed_of(book, id_, speed_mm_per_s=speed).shown for speed in (150.0, 300.0))
    assert slow is not None
    assert fast is not None
    # v²/2a for an acceleration a of 5000 mm/s² and no jerk limit, by hand: 9 mm at 300 mm/s, a quarter of it at half
    assert fast.run_up_mm == pytest.approx(9.0, abs=0.3)  # and the lead of the laser's rise
    assert slow.run_up_mm == pytest.approx(2.25, abs=0.15)
    assert fast.low_mm is not None
    assert slow.low_mm is not None
    assert fast.low_mm > slow.low_mm
    with pytest.raises(InvalidInput):
        bed_of(book, id_, speed_mm_per_s=1e6)
    with pytest.raises(InvalidInput):
        bed_of(book, id_, turn_deg=float("nan"))


def test_a_blank_at_the_edge_is_told_with_room_and_need(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]  # its mark begins 10 mm from the blank's left
    edge = bed_of(book, id_, place_bed_mm=(-4.0, 150.0), speed_mm_per_s=300.0).edge
    assert edge is not None
    assert (edge.side, edge.fits) == ("left", False)
    assert edge.room_mm == pytest.approx(6.0)
    assert not bed_of(book, id_, place_bed_mm=(-4.0, 150.0)).off_bed
    assert bed_of(book, id_, place_bed_mm=(-11.0, 150.0)).off_bed


def test_a_quarter_turn_turns_the_marks_box(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    flat, turned = (bed_of(book, id_, turn_deg=turn).marks[0].box_mm for turn in (0.0, 90.0))
    assert (flat[2] - flat[0], flat[3] - flat[1]) == pytest.approx((40.0, 20.0))
    assert (turned[2] - turned[0], turned[3] - turned[1]) == pytest.approx((20.0, 40.0))


def test_recipes_tell_what_binds_and_can_be_taken(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    plan_piece(book, id_, now=NOW)
    sheet = piece_of(book, id_)
    assert sheet.plan is not None
    (recipe,) = recipes_of(sheet.plan, sheet.document)
    assert recipe.letters == "a"
    assert recipe.burnt
    assert all(said.text for said in recipe.binds)
    chosen = [other for other in recipe.alternatives if other.chosen]
    assert [other.shows for other in chosen] == [False]  # it keeps what was asked
    assert {other.name: other.shows for other in recipe.alternatives if other.shows} == {
        other.name: True for other in recipe.alternatives if "which shows" in other.text
    }
    assert len(chosen) == 1
    assert recipe.power_low_percent is None
    (mark,) = sheet.plan["pieces"][0]["marks"]
    graded = {**mark, "recipe": {**mark["recipe"], "power_low_fraction": 0.213}}
    (photo,) = recipes_of({**sheet.plan, "pieces": [{**sheet.plan["pieces"][0], "marks": [graded]}]}, sheet.document)
    assert photo.power_low_percent == pytest.approx(21.3)
    assert all(0.0 <= dot <= 100.0 for other in recipe.alternatives for dot in other.dots)
    other = next(one for one in recipe.alternatives if not one.chosen)
    change_piece(book, id_, other.changes, version=1, now=LATER)
    held = piece_of(book, id_).document["mark"][0]["hold"]
    assert held["speed_mm_per_s"] == other.recipe["speed_mm_per_s"]
    assert "power_W" not in held  # the power stays free, to meet the wished tone
    plan_piece(book, id_, now=LATER)
    sheet = piece_of(book, id_)
    assert sheet.plan is not None
    (again,) = recipes_of(sheet.plan, sheet.document)
    assert again.kinds["speed"] == ("user", "held by hand")
    change_piece(book, id_, again.release, version=2, now=LATER)
    assert "hold" not in piece_of(book, id_).document["mark"][0]


@pytest.mark.parametrize(
    ("constraint", "text", "changes"),
    [
        (
            "room",
            "by the 9.6\u00a0mm of room on the left; 14.0\u00a0mm to the right would save 1\u00a0min.",
            {"place_bed_mm": [114.0, 60.0]},
        ),
        ("room", "along x there are only 1.0\u00a0mm of room; 9.0\u00a0mm would save 2\u00a0s.", None),
        (
            "sharpness",
            "held by the wished sharpness of 0.25\u00a0mm; 0.33\u00a0mm would save 9\u00a0s.",
            {"mark[1].sharpness_mm": 0.33},
        ),
        (
            "warp",
            "allow for ±0.4\u00a0mm; pinned flat to ±0.2\u00a0mm it would save 25\u00a0s.",
            {"blank.unevenness_mm": 0.2},
        ),
        ("tone", "takes its dose; 5\u00a0L* lighter would save 24\u00a0s.", {"mark[1].tone_L": 43.0}),
        ("banding", "Line spacing is held to 0.11\u00a0mm; twice as much would save 14\u00a0s.", None),
    ],
)
def test_what_binds_can_be_loosened_by_one_press(constraint: str, text: str, changes: dict[str, object] | None) -> None:
    piece = {"place_bed_mm": [100.0, 60.0], "mark": [{"id": "front", "tone_L": 38.0}]}
    ways = ways_of({"constraint": constraint, "text": text, "saves_s": 14.0}, piece, places=[1])
    if changes is None:
        assert ways == ()
    else:
        assert dict(ways[0].changes) == changes
        assert ways[0].price == "−\u00a014\u00a0s"


def test_finishing_begins_when_the_step_before_is_ticked() -> None:
    steps = [
        FinishingStep(name="wash", how="soft brush", time_text="5 min"),
        FinishingStep(name="dry", how="on edge", time_text="2 h"),
        FinishingStep(name="oil", how="thin", time_text="overnight, 16 h"),
        FinishingStep(name="wipe", how="lay the cloths out flat", time_text="5 min"),
    ]
    washed, dry, sealed, handed = afterwards(steps, ticks={"burnt": "2026-06-09T10:14:00+00:00"})
    assert washed.until == "2026-06-09T10:19:00+00:00"
    assert dry.until is None
    assert sealed.how == "thin; wipe: lay the cloths out flat"
    assert sealed.takes_s == seconds_in("16 h") + 300.0
    assert (handed.takes_s, handed.until) == (0.0, None)
    stone = afterwards(steps[:2], ticks={"burnt": "2026-06-09T10:14:00+00:00", "washed": "2026-06-09T10:20:00+00:00"})
    assert [one.step for one in stone] == ["washed", "dry", "handed over"]
    assert stone[1].until == "2026-06-09T12:20:00+00:00"
