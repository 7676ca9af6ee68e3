"""The set-up step of the run sheet: the thickness is measured, the stand-off set for it, and how exactly."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from evenburn.adapters.print.run_sheet import write_run_sheet
from evenburn.core.nouns.plan import BatchPlan
from evenburn.core.planning.set_ups import with_set_ups
from unit.adapters.print.reading import pages, words
from unit.adapters.print.sample import sample_pictures, sample_plan


@pytest.fixture(scope="module")
def plan() -> BatchPlan:
    plain = sample_plan()
    return replace(plain, pieces=with_set_ups(plain.pieces, machine=plain.machine, lens=plain.lens))


@pytest.fixture(scope="module")
def texts(plan: BatchPlan, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    folder = tmp_path_factory.mktemp("set-up")
    target = folder / "run-sheet.pdf"
    write_run_sheet(plan, target, pictures=sample_pictures(plan, folder))
    return [words(page) for page in pages(target)]


def page_of(texts: list[str], plan: BatchPlan, index: int) -> str:
    """Return what stands between the head of a piece and the end of its page, or the next head."""
    heads = [f"{p.start_order} {p.piece.name} {p.wood.name}, {p.wood.surface}. Blank" for p in plan.pieces]
    (text,) = [text for text in texts if heads[index] in text]
    own = text[text.index(heads[index]) :]
    return own[: min((own.index(head) for head in heads if head in own[1:]), default=len(own))]


def test_every_piece_that_burns_has_its_thickness_measured(texts: list[str], plan: BatchPlan) -> None:
    for index, piece in enumerate(plan.pieces):
        if any(mark.program_file for mark in piece.marks):
            assert f"Thickness as measured {piece.piece.blank.thickness_mm:.1f} mm thick" in page_of(texts, plan, index)


def test_the_stand_off_is_set_for_this_thickness_with_the_bed_moved(texts: list[str], plan: BatchPlan) -> None:
    # by hand, as in test_run_sheet: 12.1 + 11.0 = 23.1 mm before, 25 + 11 = 36.0 mm here
    first, oak = page_of(texts, plan, 0), page_of(texts, plan, 3)
    assert "Gauge block set for this thickness Holds" in first
    assert "stand-off 11.0 mm" in first
    assert "Gauge block set for this thickness, bed 12.9 mm down Holds" in oak
    assert "stand-off 11.0 mm" in oak


def test_it_says_how_far_it_may_be_off_and_what_it_is_to_forget_it(texts: list[str], plan: BatchPlan) -> None:
    for index, piece in enumerate(plan.pieces):
        for one in piece.set_ups:
            assert one.tolerance is not None
            text = page_of(texts, plan, index)
            assert f"Holds for {one.tolerance.text}".replace("\u00a0", " ") in text
            if one.forgotten is not None and not one.forgotten.touches and not one.forgotten.chars:
                assert f"Forgotten, it lies {one.forgotten.text}.".replace("\u00a0", " ") in text


def test_a_change_between_marks_has_a_row_of_its_own(texts: list[str], plan: BatchPlan) -> None:
    several = [i for i, piece in enumerate(plan.pieces) if len(piece.set_ups) > 1]
    assert several
    for index in several:
        again = plan.pieces[index].set_ups[1]
        text = page_of(texts, plan, index)
        assert f"Gauge block set for the next mark, bed {abs(again.bed_down_mm or 0.0):.1f} mm" in text


def test_where_the_setting_still_holds_it_is_tried(texts: list[str], plan: BatchPlan) -> None:
    holding = [i for i, p in enumerate(plan.pieces) if not p.set_ups and any(mark.program_file for mark in p.marks)]
    assert holding
    for index in holding:
        assert "Stand-off as it stands: try the gauge block" in page_of(texts, plan, index)


def test_a_note_that_its_row_tells_is_not_told_twice_and_a_warning_is(texts: list[str], plan: BatchPlan) -> None:
    told = [(i, c) for i, piece in enumerate(plan.pieces) for c in piece.checks if c.code == "refocus"]
    assert {check.level for _, check in told} == {"note", "warn"}
    for index, check in told:
        text = check.text.replace("\u00a0", " ")
        assert (text in page_of(texts, plan, index)) == (check.level == "warn")


def test_set_ups_count_what_the_first_page_counts(plan: BatchPlan) -> None:
    assert plan.focusings() == 7  # as in test_run_sheet, by hand


def test_marks_without_a_program_have_neither(plan: BatchPlan) -> None:
    for piece in plan.pieces:
        for mark in piece.marks:
            assert (mark.tolerance is None) == (mark.program_file is None)
    assert all(not piece.set_ups for piece in plan.pieces if all(m.program_file is None for m in piece.marks))


def test_the_rows_stay_on_the_page(tmp_path: Path, plan: BatchPlan) -> None:
    """No piece of the sample needs a second page for the rows."""
    target = tmp_path / "run-sheet.pdf"
    write_run_sheet(plan, target, pictures=sample_pictures(plan, tmp_path))
    assert not any("continued" in words(page) for page in pages(target))
