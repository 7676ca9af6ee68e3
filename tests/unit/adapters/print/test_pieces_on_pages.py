"""How the pieces of a batch like the demo's share pages, and what each says once, in full, and where."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.print.faces import SANS, width_mm
from evenburn.adapters.print.page import spread_greys
from evenburn.adapters.print.run_sheet import write_run_sheet
from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from unit.adapters.print.demo_like import (
    BANDING,
    DETAIL,
    HOLDS,
    NOTHING,
    SHARPNESS,
    WAYS,
    demo_like_plan,
    held,
    material_caution,
    ordinary,
)
from unit.adapters.print.reading import (
    Written,
    all_words,
    pages,
    path_points_mm,
    picture_sizes_mm,
    rectangles_mm,
    words,
    written,
)
from unit.adapters.print.sample import sample_pictures, sample_plan

RIGHT_EDGE_MM = 210.0 - 12.0  # A4 less the right margin of look/run-sheet.png
SAME_LINE_MM = 0.02  # the file holds points to six digits; kerning is told in thousandths of an em
PROPORTION_TOL = 0.005  # a picture of 600 dots is drawn to the nearest dot


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo-like")
    plan = demo_like_plan()
    target = folder / "run-sheet.pdf"
    write_run_sheet(plan, target, pictures=sample_pictures(plan, folder))
    return target


def batch(*pieces: PiecePlan) -> BatchPlan:
    numbered = tuple(replace(piece, start_order=number) for number, piece in enumerate(pieces, start=1))
    return replace(sample_plan(), pieces=numbered)


def printed(folder: Path, *pieces: PiecePlan) -> Path:
    target = folder / "printed.pdf"
    write_run_sheet(batch(*pieces), target, pictures={})
    return target


def part_of(file: Path, piece: PiecePlan) -> str:
    """Return the words of the page on which a piece has its part."""
    head = f"{piece.piece.name} {piece.wood.name}, {piece.wood.surface}. Blank"
    found = [text for text in map(words, pages(file)) if head in text]
    assert len(found) == 1
    return found[0]


def the_one(file: Path, start: str) -> Written:
    found = [one for page in pages(file) for one in written(page) if one.words.startswith(start)]
    assert len(found) == 1
    return found[0]


# pages


def test_a_batch_like_the_demo_takes_a_page_a_piece_at_most(sheet: Path) -> None:
    """Reasons stand below each piece; the order takes the first page."""
    assert sum(len(piece.marks) for piece in demo_like_plan().pieces) == 15
    assert len(pages(sheet)) <= 9


def test_the_whole_order_of_such_a_batch_stands_on_the_first_page(sheet: Path) -> None:
    text = words(pages(sheet)[0])
    assert "From start to end" in text
    assert all(piece.piece.name in text for piece in demo_like_plan().pieces)
    assert "Bed 600 × 400 mm" not in text


def near_the_least(mark: MarkPlan) -> MarkPlan:
    """Return a mark whose time is within a percent of the least possible."""
    return replace(mark, predicted=replace(mark.predicted, time_lower_bound_s=0.99 * mark.predicted.time_s))


def test_two_ordinary_pieces_stand_on_every_page_after_the_order(tmp_path: Path) -> None:
    plan = sample_plan()
    cup, tray, photo = (
        replace(one, marks=tuple(held(near_the_least(mark), SHARPNESS) for mark in one.marks))
        for one in (ordinary(plan.pieces[index]) for index in (3, 4, 5))
    )
    pieces = tuple(
        replace(one, piece=replace(one.piece, id=f"{one.piece.id}-{number}"))
        for number, one in enumerate((cup, tray, photo) * 4)
    )
    target = tmp_path / "twelve.pdf"
    numbered = batch(*pieces)
    write_run_sheet(numbered, target, pictures=sample_pictures(numbered, tmp_path))
    counts = [words(page).count("Bed 600 × 400 mm") for page in pages(target)]
    assert [count for count in counts if count] == [2] * 6


def test_three_short_pieces_share_a_page(tmp_path: Path) -> None:
    stopped = sample_plan().pieces[1]
    counts = [words(page).count("Bed 600 × 400 mm") for page in pages(printed(tmp_path, *[stopped] * 4))]
    assert counts == [1, 3]


def focus_rows_mm(file: Path) -> list[float]:
    """Return the heights of the focusing rows of the first page: boxes as wide as the text."""
    wide = RIGHT_EDGE_MM - 17.5
    return [high for _, _, width, high in rectangles_mm(pages(file)[0]) if abs(width - wide) < 0.01 and high < 10.0]


def test_a_short_order_has_room_about_its_rows_and_a_full_one_less(sheet: Path, tmp_path: Path) -> None:
    short = focus_rows_mm(printed(tmp_path, sample_plan().pieces[0]))
    assert short == pytest.approx([7.0], abs=SAME_LINE_MM)  # look/run-sheet.png, about 7 mm
    full = focus_rows_mm(sheet)
    assert len(full) > 5
    assert all(5.0 <= high < 7.0 for high in full)


def test_room_below_a_piece_is_ruled_to_write_on(tmp_path: Path) -> None:
    plan = sample_plan()
    target = printed(tmp_path, plan.pieces[1], plan.pieces[0])  # the first is stopped and stands with the order
    seen = the_one(target, "Seen at the machine").y
    foot = the_one(target, "2 Tone wished").y + 4.5  # the footer's rule lies a line above its words
    begins = [y for x, y in path_points_mm(pages(target)[1]) if abs(x - 17.5) < 0.01 and foot < y < seen]
    assert len(begins) == 3
    assert np.diff(sorted(begins)) == pytest.approx([8.2, 8.2], abs=SAME_LINE_MM)  # a line of handwriting


# findings


def test_what_is_found_alike_for_several_marks_is_told_once(sheet: Path) -> None:
    text = part_of(sheet, demo_like_plan().pieces[6])
    assert text.count("A warp of ± 0.8 mm") == 1
    assert f"Marks a, b, c, d: A warp of ± 0.8 mm changes the tone by 0.3 L*. {HOLDS}" in text


def test_what_differs_between_marks_is_told_of_each(tmp_path: Path) -> None:
    slate = ordinary(sample_plan().pieces[6])
    other = replace(slate.checks[-1], text="A warp of ± 0.8 mm changes the tone by 0.9 L*.")
    text = all_words(printed(tmp_path, replace(slate, checks=(*slate.checks[:-1], other))))
    assert "Marks a, b, c: A warp of ± 0.8 mm changes the tone by 0.3 L*." in text
    assert "Mark d: A warp of ± 0.8 mm changes the tone by 0.9 L*." in text


def test_ways_out_that_differ_keep_findings_apart(tmp_path: Path) -> None:
    slate = sample_plan().pieces[6]
    checks = tuple(
        Check(
            level="stop",
            code="run-up",
            text="There is no room.",
            remedy=f"Move {mm} mm (same time).",
            mark_id=mark.mark.id,
            fixes=(Fix(text=f"Move {mm} mm", price="same time", target="piece", change=()),),
        )
        for mm, mark in zip((5, 5, 7, 7), slate.marks, strict=True)
    )
    text = all_words(printed(tmp_path, replace(slate, checks=checks)))
    assert "Marks a, b: There is no room. Move 5 mm same time" in text
    assert "Marks c, d: There is no room. Move 7 mm same time" in text


def test_a_remedy_follows_its_finding_on_the_same_line_in_the_other_face(tmp_path: Path) -> None:
    oak = ordinary(sample_plan().pieces[3])
    target = printed(tmp_path, oak)
    found, remedy = the_one(target, "A warp of"), the_one(target, "The recipe holds")
    assert remedy.words == HOLDS
    assert remedy.y == pytest.approx(found.y, abs=SAME_LINE_MM)
    assert "Serif" in found.face
    assert "Serif" not in remedy.face


@pytest.mark.parametrize("index", [6, 8])
def test_a_caution_of_the_wood_that_a_check_says_is_said_once(sheet: Path, index: int) -> None:
    piece = demo_like_plan().pieces[index]
    caution = next(check.text for check in piece.checks if check.code == "material-caution")
    assert part_of(sheet, piece).count(caution) == 1


def test_a_caution_is_said_whether_or_not_a_check_says_it_and_other_cautions_stay(tmp_path: Path) -> None:
    caution, other = "The glue smokes.", "Edges are sharp."
    cup = sample_plan().pieces[3]
    wood = replace(cup.wood, cautions=(caution, other))
    unchecked = all_words(printed(tmp_path, replace(cup, wood=wood)))
    checked = all_words(printed(tmp_path, replace(cup, wood=wood, checks=(material_caution(caution),))))
    for text in (unchecked, checked):
        assert text.count(caution) == 1
        assert text.count(other) == 1


# ways out


def test_each_way_out_has_its_own_line_a_box_and_its_price_at_the_right_edge(sheet: Path) -> None:
    page = next(page for page in pages(sheet) if "Captain’s oar blade walnut, bare" in words(page))
    boxes = [
        (x, y)
        for x, y, wide, high in rectangles_mm(page)
        if wide == pytest.approx(2.9, abs=0.01) and wide > high - 0.01
    ]
    heights = []
    for way, price in WAYS:
        told = [one for one in written(page) if one.words == way[:1].upper() + way[1:]]
        assert len(told) == 1
        heights.append(told[0].y)
        beside = [one for one in written(page) if one.words == price and abs(one.y - told[0].y) < SAME_LINE_MM]
        assert len(beside) == 1
        end = beside[0].x + width_mm(price, SANS, size_pt=8.8)
        assert end == pytest.approx(RIGHT_EDGE_MM, abs=0.05)  # a twentieth of what the eye sees at an edge
        ticks = [x for x, y in boxes if 0 < told[0].x - x < 6.0 and abs(y - told[0].y) < 1.0]
        assert len(ticks) == 1
    assert heights == sorted(heights, reverse=True)
    assert len(set(heights)) == len(WAYS)


def test_the_remedy_as_one_sentence_is_not_printed_beside_its_ways(sheet: Path) -> None:
    text = all_words(sheet)
    assert "(same time)" not in text
    assert text.count("Move 18.7 mm to the right") == 1


def test_a_remedy_that_says_more_than_its_ways_is_kept(tmp_path: Path) -> None:
    piece = sample_plan().pieces[1]
    remedy = "Lay its corner at x 11.6 mm or further in."
    check = replace(piece.checks[0], remedy=remedy)
    text = all_words(printed(tmp_path, replace(piece, checks=(check,))))
    assert remedy in text
    assert "Scan along y + 1 min 04 s" in text


def test_the_ways_out_of_a_warning_are_told_once(tmp_path: Path) -> None:
    piece = sample_plan().pieces[0]
    way = Fix(text="Move it 2 mm", price="same time", target="piece", change=())
    check = replace(piece.checks[0], remedy="Move it 2 mm (same time).", fixes=(way,))
    text = all_words(printed(tmp_path, replace(piece, checks=(check,))))
    assert text.count("Move it 2 mm") == 1
    assert "Move it 2 mm same time" in text


# what holds a recipe back


def test_what_holds_all_marks_back_alike_is_told_once_the_dearest_first(tmp_path: Path) -> None:
    slate = ordinary(sample_plan().pieces[6])
    assert [len(mark.binding) for mark in slate.marks] == [2, 2, 2, 2]
    text = all_words(printed(tmp_path, slate))
    assert text.count(f"why Marks a, b, c, d: {SHARPNESS} {BANDING}") == 1
    assert text.count(SHARPNESS) == text.count(BANDING) == 1


def test_marks_held_back_by_different_things_each_say_so(tmp_path: Path) -> None:
    slate = ordinary(sample_plan().pieces[6])
    marks = tuple(
        held(mark, text) for mark, text in zip(slate.marks, (DETAIL, SHARPNESS, NOTHING, SHARPNESS), strict=True)
    )
    text = all_words(printed(tmp_path, replace(slate, marks=marks)))
    assert f"why Mark a: {DETAIL}" in text
    assert f"why Marks b, d: {SHARPNESS}" in text
    assert f"why Mark c: {NOTHING}" in text


def test_a_mark_without_reasons_says_nothing(tmp_path: Path) -> None:
    cup = sample_plan().pieces[3]
    unheld = all_words(printed(tmp_path, replace(cup, marks=(replace(cup.marks[0], binding=()),))))
    assert "held" not in unheld
    assert " why " not in unheld


def test_reasons_stand_between_what_is_set_and_what_comes_after_burning(tmp_path: Path) -> None:
    target = printed(tmp_path, ordinary(sample_plan().pieces[3]))
    pointer, said = the_one(target, "Pointer on the mark"), the_one(target, SHARPNESS[:40])
    assert pointer.y > said.y > the_one(target, "wash").y


# labels, as they stand on the sheet


def test_lettering_is_told_by_its_text_and_artwork_by_its_file(sheet: Path) -> None:
    order = words(pages(sheet)[0])
    text = all_words(sheet)
    assert "“Novice Fours”" in order
    assert "“Captain of Boats / 2026”" in order
    assert "great-vibes" not in text
    assert "crew.svg" in order
    assert "art/" not in text


# pictures


def test_a_picture_keeps_its_proportions_and_is_as_large_as_its_place_allows(sheet: Path) -> None:
    sizes = [size for page in pages(sheet) for size in picture_sizes_mm(page)]
    plan = demo_like_plan()
    drawn = [piece for number, piece in enumerate(plan.pieces) if number != 3]  # sample_pictures leaves one out
    assert len(sizes) == len(drawn)
    for (wide, high), piece in zip(sizes, drawn, strict=True):
        blank_wide, blank_high = piece.piece.blank.size_mm
        assert wide / high == pytest.approx(blank_wide / blank_high, rel=PROPORTION_TOL)
        assert wide <= 45.0 + SAME_LINE_MM
        assert high <= 30.0 + SAME_LINE_MM
        assert wide > 40.0 or high > 22.0


def test_a_dark_board_prints_light_its_mark_stays_darker_and_the_paper_white() -> None:
    picture = np.full((40, 60), 255, dtype=np.uint8)
    picture[5:35, 5:55] = 105  # walnut of L* 44, from memory of the demo's prints
    picture[10:30, 10:30] = 55
    spread = np.asarray(spread_greys(Image.fromarray(picture)))
    assert spread[0, 0] == 255
    assert spread[32, 50] > 200
    assert int(spread[32, 50]) - int(spread[20, 20]) >= 2 * (105 - 55)


def test_spreading_greys_keeps_their_order_and_never_makes_board_of_paper() -> None:
    ramp = np.arange(256, dtype=np.uint8)[None, :].repeat(4, axis=0)
    spread = np.asarray(spread_greys(Image.fromarray(ramp))).astype(int)
    assert (np.diff(spread, axis=1) >= 0).all()
    assert (spread[:, 252:] == ramp[:, 252:]).all()
    blank = Image.new("L", (3, 3), 255)
    assert np.asarray(spread_greys(blank)).min() == 255
