"""What a person at the machine may rely on in a run sheet."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from evenburn.adapters.print.run_sheet import write_run_sheet
from evenburn.core.errors import InvalidInput, StorageError, UnreadableFile
from evenburn.core.nouns.plan import BatchPlan, BenchDay, BurntPiece, MarkPlan
from unit.adapters.print.reading import all_words, pages, path_points_mm, rectangles_mm, words
from unit.adapters.print.sample import many_pieces, sample_pictures, sample_plan

PAGE_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1, 8.5 by 11 in
PAGE_TOL_MM = 0.01  # a hundredth of what a ruler shows
DRAWN_TOL_MM = 0.002  # the file holds points to six digits or fewer; the rest is rounding of coordinates


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sheet")
    plan = sample_plan()
    target = folder / "run-sheet.pdf"
    write_run_sheet(plan, target, pictures=sample_pictures(plan, folder))
    return target


def printed(plan: BatchPlan, folder: Path) -> str:
    target = folder / "run-sheet.pdf"
    write_run_sheet(plan, target, pictures={})
    return all_words(target)


def piece_page(sheet: Path, name: str) -> str:
    """Return the words of the page on which a piece has its own part, the order's pages left out."""
    found = [text for text in map(words, pages(sheet)) if name in text and "Bed 600 × 400 mm" in text]
    assert len(found) == 1
    return found[0]


def test_the_same_plan_gives_the_same_bytes(sheet: Path, tmp_path: Path) -> None:
    plan = sample_plan()
    again = tmp_path / "again.pdf"
    write_run_sheet(plan, again, pictures=sample_pictures(plan, tmp_path))
    assert again.read_bytes() == sheet.read_bytes()


def test_another_process_with_another_hash_seed_gives_the_same_bytes(sheet: Path, tmp_path: Path) -> None:
    tests = Path(__file__).parents[3]
    program = (
        "import sys; from pathlib import Path; from evenburn.adapters.print.run_sheet import write_run_sheet; "
        "from unit.adapters.print.sample import sample_pictures, sample_plan; plan = sample_plan(); "
        "folder = Path(sys.argv[1]); write_run_sheet(plan, folder / 'x.pdf', pictures=sample_pictures(plan, folder))"
    )
    surroundings = {"PYTHONPATH": str(tests), "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"}
    subprocess.run([sys.executable, "-c", program, str(tmp_path)], check=True, env=surroundings)
    assert (tmp_path / "x.pdf").read_bytes() == sheet.read_bytes()


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_pages_have_the_size_asked_for_and_are_counted(size: str, tmp_path: Path) -> None:
    target = tmp_path / "run-sheet.pdf"
    count = write_run_sheet(sample_plan(), target, pictures={}, page_size="A4" if size == "A4" else "Letter")
    found = pages(target)
    assert len(found) == count
    for number, page in enumerate(found, start=1):
        wide, high = (float(value) * 25.4 / 72.0 for value in page.mediabox.upper_right)
        assert (wide, high) == pytest.approx(PAGE_MM[size], abs=PAGE_TOL_MM)
        assert f"page {number} of {count}" in words(page)


def test_nothing_is_printed_outside_the_page(sheet: Path) -> None:
    for page in pages(sheet):
        for x, y, wide, high in rectangles_mm(page):
            assert min(x, y) >= 0
            assert x + wide <= 210.0
            assert y + high <= 297.0


@pytest.mark.parametrize(
    "caution",
    [
        "Never leave it burning alone",
        "Extinguisher in reach",
        "Extraction runs; the outlet is clear",
        "Lid shut, or eye protection for 10.6 µm on everyone here",
        "Lens and window clean, lens 2 inch, 50.8 mm",
        "No PVC, no chlorine in film or coating",
        "Local rules and the machine’s maker have the last word",
        "For food: finish only with what its maker calls fit for food, such as mineral oil of food grade",
    ],
)
def test_every_caution_stands_on_the_first_page(sheet: Path, caution: str) -> None:
    assert caution in words(pages(sheet)[0])


def settings(mark: MarkPlan) -> list[str]:
    """Return what must be readable of a mark to burn, each number with its unit, written out independently."""
    recipe, seen = mark.recipe, mark.predicted
    minutes, seconds = divmod(round(seen.time_s), 60)
    low = "" if recipe.power_low_W is None else f"{recipe.power_low_W:.1f}–"
    sign = "+" if recipe.focus_offset_mm > 0 else "−" if recipe.focus_offset_mm < 0 else ""
    return [
        f"{low}{recipe.power_W:.1f} W",
        f"{recipe.power_W / 60.0 * 100.0:.1f} %",  # the sample's bench gives 60 W at fraction 1, in proportion
        f"{recipe.speed_mm_per_s:.0f} mm/s",
        f"{recipe.line_spacing_mm:.2f} mm",
        f"{25.4 / recipe.line_spacing_mm:.0f} LPI",
        f"offset {sign}{abs(recipe.focus_offset_mm):.1f} mm",
        f"{recipe.stand_off_mm:.1f} mm",
        f"{recipe.passes} pass",
        f"along {recipe.scan_axis}",
        f"{recipe.air_kPa:.0f} kPa",
        f"x {mark.box_bed_mm[0]:.1f}, y {mark.box_bed_mm[1]:.1f} mm",
        f"run-up {seen.run_up_mm:.1f} mm" if mark.mark.id != "crest" else f"{seen.run_up_mm:.1f} mm at",
        f"{minutes} min {seconds:02d} s",
        f"L* {seen.tone_L:.1f} ± {seen.tone_L_sd:.1f}",
        f"banding {seen.ripple_L:.1f} L*",
        f"detail {seen.detail_mm:.2f} mm",
        f"dose {seen.dose_J_per_mm2:.2f} J/mm²",
        f"dwell {seen.dwell_ms:.2f} ms",
    ]


@pytest.mark.parametrize("index", range(8))
def test_every_number_of_a_piece_stands_on_its_page_with_its_unit(sheet: Path, index: int) -> None:
    piece = sample_plan().pieces[index]
    text = piece_page(sheet, piece.piece.name)
    blank = piece.piece.blank
    assert f"× {blank.thickness_mm:g} mm" in text
    assert "x {:.1f}, y {:.1f} mm".format(*piece.piece.place_bed_mm) in text
    for mark in piece.marks:
        assert f"L* {mark.mark.tone_L:.1f}" in text or f"and {mark.mark.tone_L:.1f}" in text
        for told in settings(mark):
            assert told in text
        if mark.program_file is not None:
            assert mark.program_file in text
            assert f"{blank.thickness_mm:.1f} mm thick" in text
            assert f"±{blank.unevenness_mm:.1f} mm" in text
    for check in piece.checks:
        assert check.text in text
        for way in check.fixes:
            assert f"{way.text} {way.price}" in text
        assert check.remedy in text or check.fixes
    if not piece.stopped():
        for step in piece.wood.finishing:
            assert f"{step.name}, {step.time_text}" in text
            assert step.how in text
        assert "Seen at the machine" in text
    assert piece.wood.curve.provenance.kind in text
    assert piece.wood.curve.provenance.detail in text


@pytest.mark.parametrize("index", range(8))
def test_the_order_holds_each_mark_in_full(sheet: Path, index: int) -> None:
    piece = sample_plan().pieces[index]
    text = words(pages(sheet)[0])
    assert piece.piece.name in text
    for mark in piece.marks:
        if mark.program_file is None:
            continue
        power, percent, speed, spacing, lines, offset, *_ = settings(mark)
        low = "8.3–" if mark.recipe.power_low_W is not None else ""  # 5 W of 60 W
        time = next(told for told in settings(mark) if re.match(r"\d+ min", told))
        row = f"{power} {low}{percent} {speed} {spacing} {lines} {offset.removeprefix('offset ')} {time}"
        assert row in text


def test_a_stopped_mark_has_its_reason_and_no_program(sheet: Path) -> None:
    order, text = words(pages(sheet)[0]), piece_page(sheet, "Mixed eights plaque")
    reason = "At 420 mm/s the head needs 17.6 mm to reach its speed; left of the mark there are 8.0 mm."
    assert re.search(r"stop " + re.escape(reason), order)
    assert reason in text
    assert "Not to be burnt as planned" in text
    assert "No program was written" in text
    assert "Slow it to 280 mm/s at 28.0 W + 2 min 27 s" in text
    assert "mixed-eights-front" not in all_words(sheet)
    assert "8 min 41 s" not in order


def test_a_fix_that_the_remedy_already_tells_is_not_told_twice(sheet: Path) -> None:
    assert piece_page(sheet, "Mixed eights plaque").count("Move the blank 9.6 mm to the right") == 1


def test_a_photo_shows_its_power_as_a_range(sheet: Path) -> None:
    # 5 W and 30 W of a bench that gives 60 W at fraction 1, in proportion: 8.3 % and 50 %
    for text in (words(pages(sheet)[0]), piece_page(sheet, "The boathouse in 1911")):
        assert "5.0–30.0 W" in text
        assert "8.3–50.0 %" in text


def test_focus_is_set_where_thickness_or_stand_off_changes_and_the_bed_moves_by_the_difference(sheet: Path) -> None:
    text = words(pages(sheet)[0])
    # By hand from the sample: surface height is thickness + stand-off, 23.1, 36.0, 26.5, 22.6, 14.5, 29.0, 27.0 mm.
    wanted = [
        ("0 min", "11.0", "12.1 mm hard maple, gauge block 11.0 mm"),
        ("28 min", "11.0", "25.0 mm oak, bed 12.9 mm down, gauge block 11.0 mm"),
        ("40 min", "11.5", "15.0 mm bamboo, bed 9.5 mm up, gauge block 11.5 mm"),
        ("55 min", "10.5", "12.1 mm cherry, bed 3.9 mm up, gauge block 10.5 mm"),
        ("1 h 14 min", "9.5", "5.0 mm slate, bed 8.1 mm up, gauge block 9.5 mm"),
        ("1 h 34 min", "11.0", "18.0 mm beech, bed 14.5 mm down, gauge block 11.0 mm"),
        ("1 h 41 min", "9.0", "18.0 mm beech, bed 2.0 mm up, gauge block 9.0 mm"),
    ]
    for after, stand_off, told in wanted:
        assert f"{after} Focus: stand-off {stand_off} mm {told} 4 min" in text
    assert text.count("Focus: stand-off") == len(wanted)
    assert "7 times focus to set" in text


def test_the_batch_total_is_the_sum_of_what_is_burnt(sheet: Path) -> None:
    text = words(pages(sheet)[0])
    # 608 + 618 + 478 + 610 + 918 + 938 + 204 + 331 = 4705 s; 4 min for each of seven pieces and a setting within one: 6625 s
    assert "1 h 18 min 25 s burning" in text
    assert "From start to end 1 h 50 min" in text
    assert "These 4 min are a starting value" in text
    assert "8 pieces 12 marks, 1 stopped" in text


def test_a_change_over_of_ones_own_is_reckoned_with_everywhere(tmp_path: Path) -> None:
    plan = replace(sample_plan(), day=BenchDay(change_over_s=450.0, of_settings=True))
    text = printed(plan, tmp_path)
    assert "From start to end 2 h 18 min: 1 h 18 min 25 s of burning and 8 times 7.5 min" in text  # 4705 + 8 · 450 s
    assert "These 7.5 min are those of your settings when this was planned." in text
    assert "25.0 mm oak, bed 12.9 mm down, gauge block 11.0 mm 7.5 min" in text
    assert "starting value; write" not in text


def test_what_is_burnt_already_is_ticked_and_takes_neither_time_nor_focusing(tmp_path: Path) -> None:
    plan = sample_plan()
    novice, mixed, oar, cup, tray = plan.pieces[:5]
    burnt = (
        BurntPiece(piece=novice.piece, wood=novice.wood, start_order=1, burnt_at="2026-06-09T10:12"),
        BurntPiece(piece=cup.piece, wood=cup.wood, start_order=4, burnt_at="2026-06-08T16:40"),
    )
    left = (mixed, oar, tray)  # the first of them is stopped
    day = BenchDay(before_mm=(12.1, 11.0), burnt=((1, "2026-06-09T10:12"), (4, "2026-06-08T16:40")))
    text = printed(replace(plan, pieces=left, burnt=burnt, day=day), tmp_path)
    order = text[: text.index("From start to end")]
    assert f"burnt 1 {novice.piece.name}" in order
    assert "10:12" in order
    assert "8 June" in order
    assert "8 June 2026" not in order.replace("Tuesday", "")
    assert order.index(novice.piece.name) < order.index(mixed.piece.name) < order.index(cup.piece.name)
    assert order.count("Focus: stand-off") == 1  # the first finds it set
    assert "15.0 mm bamboo, bed 3.4 mm down, gauge block 11.5 mm" in order  # from 12.1 + 11.0 to 15.0 + 11.5 mm
    assert "oak, bed" not in text
    # 618 + 610 s and two change-overs of four minutes: 1708 s
    assert "From start to end 28 min: 20 min 28 s of burning and 2 times 4 min" in text
    assert "What is burnt already is ticked" in text
    assert "3 pieces of 5" in text
    assert text.count(f" {cup.piece.name} ") == 1  # it has no part of its own


def test_dates_are_those_of_the_plan(sheet: Path) -> None:
    text = all_words(sheet)
    assert "Tuesday 9 June 2026" in text  # look/run-sheet.png
    assert text.count("planned 9 June 2026") == len(pages(sheet))
    assert not re.search(rb"/CreationDate \(D:20(?!000101)", sheet.read_bytes())


def test_title_and_author_are_set(sheet: Path) -> None:
    about = PdfReader(sheet).metadata
    assert about is not None
    assert about.title == "Regatta prizes, run sheet"
    assert about.author == "evenburn"


def bed_corner(page: int, sheet: Path) -> list[tuple[float, float]]:
    """Return the lower left corners of the rectangles of 60 by 40 mm on a page, upper first."""
    found = [
        (x, y)
        for x, y, wide, high in rectangles_mm(pages(sheet)[page])
        if wide == pytest.approx(60.0, abs=DRAWN_TOL_MM) and high == pytest.approx(40.0, abs=DRAWN_TOL_MM)
    ]
    return sorted(set(found), key=lambda corner: -corner[1])


def has_rectangle(page: int, sheet: Path, wanted: tuple[float, float, float, float]) -> bool:
    return any(one == pytest.approx(wanted, abs=DRAWN_TOL_MM) for one in rectangles_mm(pages(sheet)[page]))


def test_bed_and_mark_are_drawn_at_one_to_ten(sheet: Path) -> None:
    beds = bed_corner(1, sheet)  # two pieces on the second page
    assert len(beds) == 2
    x, y = beds[0]
    # the mark of 160 by 95 mm at x 60, y 90 mm of the bed
    assert has_rectangle(1, sheet, (x + 6.0, y + 9.0, 16.0, 9.5))


def test_run_up_strips_are_as_wide_as_the_run_up_on_the_sides_it_is_needed(sheet: Path) -> None:
    # v²/2a: 310 mm/s at 5000 mm/s² needs 9.61 mm, left and right; 400 mm/s at 3000 mm/s² 26.667 mm, below and above
    x, y = bed_corner(1, sheet)[0]
    assert has_rectangle(1, sheet, (x, y, 0.961, 40.0))
    assert has_rectangle(1, sheet, (x + 60.0 - 0.961, y, 0.961, 40.0))
    x, y = bed_corner(2, sheet)[1]
    assert has_rectangle(2, sheet, (x, y, 60.0, 2.6667))
    assert has_rectangle(2, sheet, (x, y + 40.0 - 2.6667, 60.0, 2.6667))


def test_a_turned_blank_lies_with_its_box_at_the_place_given(tmp_path: Path) -> None:
    plan = sample_plan()
    one = plan.pieces[0]
    turned = replace(one, piece=replace(one.piece, turn_deg=90.0, place_bed_mm=(300.0, 100.0)))
    target = tmp_path / "turned.pdf"
    write_run_sheet(replace(plan, pieces=(turned,)), target, pictures={})
    (x, y) = bed_corner(0, target)[0]
    drawn = list(path_points_mm(pages(target)[0]))
    # 200 by 150 mm turned by 90° is 150 wide and 200 high: at 1 : 10 from 30, 10 to 45, 30 mm
    for corner in ((30.0, 10.0), (45.0, 10.0), (45.0, 30.0), (30.0, 30.0)):
        assert any((x + corner[0], y + corner[1]) == pytest.approx(point, abs=DRAWN_TOL_MM) for point in drawn)
    assert "turned 90°" in all_words(target)


def test_a_bed_too_large_for_the_page_is_drawn_smaller_and_says_so(tmp_path: Path) -> None:
    plan = sample_plan()
    large = replace(plan, machine=replace(plan.machine, bed_x_mm=1300.0, bed_y_mm=900.0), pieces=plan.pieces[:1])
    target = tmp_path / "large.pdf"
    write_run_sheet(large, target, pictures={})
    assert "Bed 1300 × 900 mm from above, 1 : 20" in all_words(target)
    found = list(rectangles_mm(pages(target)[0]))
    assert any((wide, high) == pytest.approx((65.0, 45.0), abs=DRAWN_TOL_MM) for _, _, wide, high in found)


def test_a_starting_value_is_said_once_on_each_piece_that_rests_on_one(sheet: Path) -> None:
    assert "The curve of oak is a starting value, not a measurement." in piece_page(sheet, "Ferry Cup base")
    assert "not a measurement" not in piece_page(sheet, "Tea tray with heron")  # its check says so
    assert "starting value" not in piece_page(sheet, "Novice fours plaque")


def test_no_piece_is_split_and_no_page_holds_more_than_three(tmp_path: Path) -> None:
    plan = many_pieces(40)
    target = tmp_path / "forty.pdf"
    write_run_sheet(plan, target, pictures={})
    texts = [words(page) for page in pages(target)]
    assert all(text.count("Bed 600 × 400 mm") <= 3 for text in texts)
    assert not any("continued" in text for text in texts)
    for piece in plan.pieces:
        if piece.stopped():
            continue
        head = f"{piece.start_order} {piece.piece.name} {piece.wood.name}, {piece.wood.surface}. Blank"
        own = [text for text in texts if f" {head}" in text]
        assert len(own) == 1
        assert f"{piece.marks[-1].program_file}" in own[0]


def test_one_piece_fits_on_one_page(tmp_path: Path) -> None:
    plan = sample_plan()
    target = tmp_path / "one.pdf"
    pictures = sample_pictures(plan, tmp_path)
    assert write_run_sheet(replace(plan, pieces=plan.pieces[:1]), target, pictures=pictures) == 1
    text = all_words(target)
    assert "1 piece 1 mark" in text
    assert "Seen at the machine" in text


def test_a_piece_taller_than_a_page_goes_on_with_its_name_on_the_next(tmp_path: Path) -> None:
    plan = sample_plan()
    oval = plan.pieces[7]
    crest = oval.marks[1]
    marks = tuple(
        replace(
            crest,
            mark=replace(crest.mark, id=f"crest-{number}"),
            program_file=f"cheese-board-crest-{number}.ngc",
            recipe=replace(crest.recipe, power_W=20.0 + number),
        )
        for number in range(30)
    )
    target = tmp_path / "tall.pdf"
    write_run_sheet(replace(plan, pieces=(replace(oval, marks=marks),)), target, pictures={})
    texts = [words(page) for page in pages(target)]
    assert any("Cheese board, oval, continued" in text for text in texts)
    for mark in marks:
        assert sum(f"Run {mark.program_file}" in text for text in texts) == 1
    assert sum("aa crest-26" in text for text in texts) == 2  # in the order, and in its piece: after z comes aa


def test_a_long_name_is_cut_in_the_order_but_whole_on_its_page(tmp_path: Path) -> None:
    plan = sample_plan()
    name = "For the longest row upstream by a crew of five in a borrowed boat"
    named = replace(plan.pieces[0], piece=replace(plan.pieces[0].piece, name=name))
    text = printed(replace(plan, pieces=(named,)), tmp_path)
    assert text.count(name) == 1
    assert re.search(r"1 For the longest row [a-z ]*…", text)


def test_a_long_program_name_is_never_lost(tmp_path: Path) -> None:
    plan = sample_plan()
    program = f"{'n' * 64}-{'m' * 64}.ngc"
    one = plan.pieces[0]
    marks = (replace(one.marks[0], program_file=program),)
    text = printed(replace(plan, pieces=(replace(one, marks=marks),)), tmp_path)
    assert program in text.replace(" ", "")


def test_an_empty_batch_still_gives_the_cautions(tmp_path: Path) -> None:
    text = printed(replace(sample_plan(), pieces=()), tmp_path)
    assert "0 pieces" in text
    assert "Extinguisher in reach" in text


def test_a_date_that_is_none_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(InvalidInput, match=r"date: 'today' is no date"):
        write_run_sheet(replace(sample_plan(), date="today"), tmp_path / "x.pdf", pictures={})
    assert list(tmp_path.iterdir()) == []


def test_a_picture_that_is_none_is_named(tmp_path: Path) -> None:
    broken = tmp_path / "novice-fours-proof.png"
    broken.write_bytes(b"not a picture")
    with pytest.raises(UnreadableFile, match=r"novice-fours-proof\.png"):
        write_run_sheet(sample_plan(), tmp_path / "x.pdf", pictures={"novice-fours": broken})


def test_a_folder_that_is_missing_is_a_storage_error(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match=r"x\.pdf could not be written"):
        write_run_sheet(sample_plan(), tmp_path / "none" / "x.pdf", pictures={})


def test_no_part_file_is_left(sheet: Path) -> None:
    assert [file.name for file in sheet.parent.glob("*.part")] == []
