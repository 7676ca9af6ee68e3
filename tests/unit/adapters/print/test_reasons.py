"""Why a recipe is as it is, what gave way and what else may be chosen, as they stand on the run sheet."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PageObject

from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, Face, width_mm
from evenburn.adapters.print.page import PAGE_MM, PageSize
from evenburn.adapters.print.run_sheet import write_run_sheet
from evenburn.core.nouns.plan import BatchPlan, LensFacts, LensOffer, MarkPlan, PiecePlan, SharedRun
from evenburn.core.nouns.recipe import Alternative, Binding, Concession
from unit.adapters.print.reading import MM_PER_PT, all_words, pages, words, written
from unit.adapters.print.sample import sample_plan

LEFT_MM, RIGHT_MM = 17.5, 12.0  # margins of look/run-sheet.png
EDGE_TOL_MM = 0.1  # a third of the finest line a printer lays; kerning is told in thousandths of an em
FACES: tuple[tuple[str, Face], ...] = (  # a longer name before the one it begins with
    ("SerifBold", SERIF_BOLD),
    ("SansBold", SANS_BOLD),
    ("Serif", SERIF),
    ("Sans", SANS),
)
NAMES = ("quicker", "a little quicker", "recommended", "smoother", "sharper")
LONG = "finest stroke 0.33 instead of 0.25 mm; banding at most 1.2 instead of 0.4 L*, which shows; " * 3


def alternative(mark: MarkPlan, name: str, *, text: str, minutes: int = 5) -> Alternative:
    return Alternative(
        name=name,
        recipe=replace(mark.recipe, speed_mm_per_s=200.0 + minutes),
        time_s=60.0 * minutes + 7.0,
        ripple_L=0.4,
        detail_mm=0.31,
        text=text,
        recommended=name == "recommended",
    )


def with_choice(mark: MarkPlan, *, text: str = "1 min quicker; burnt one way.", more: str = "") -> MarkPlan:
    """Return a mark that has five recipes to choose from."""
    offered = tuple(
        alternative(mark, f"{name}{more}", text=f"{number}: {text}", minutes=5 + number)
        if name != "recommended"
        else replace(alternative(mark, name, text=f"Keeps all. {text}", minutes=5 + number), recipe=mark.recipe)
        for number, name in enumerate(NAMES)
    )
    return replace(mark, choice=offered)


def gave(text: str) -> Concession:
    return Concession(constraint="sharpness", asked=0.25, got=0.31, unit="mm", text=text)


def printed(folder: Path, *pieces: PiecePlan, size: PageSize = "A4", runs: tuple[SharedRun, ...] = ()) -> Path:
    target = folder / "printed.pdf"
    numbered = tuple(replace(piece, start_order=number) for number, piece in enumerate(pieces, start=1))
    write_run_sheet(replace(sample_plan(), pieces=numbered, runs=runs), target, pictures={}, page_size=size)
    return target


def cup() -> PiecePlan:
    """Return a piece with one mark."""
    return sample_plan().pieces[3]


# what is said


def test_every_recipe_to_choose_stands_with_its_figures_in_one_row(tmp_path: Path) -> None:
    mark = with_choice(cup().marks[0])
    text = all_words(printed(tmp_path, replace(cup(), marks=(mark,))))
    assert "You may also choose, holding its figures: time power speed lines offset" in text
    for number, name in enumerate(NAMES):
        told = "Keeps all. 1 min" if name == "recommended" else f"{number}: 1 min"
        assert f"{name} {told} quicker; burnt one way. {5 + number} min 07 s" in text
    assert "6 min 07 s 34.0 W 206 mm/s 0.10 mm +1.5 mm" in text


def test_the_recommended_one_alone_is_bold(tmp_path: Path) -> None:
    target = printed(tmp_path, replace(cup(), marks=(with_choice(cup().marks[0]),)))
    rows = [one for page in pages(target) for one in written(page) if one.words in NAMES]
    assert [one.words for one in rows] == list(NAMES)
    assert [one.words for one in rows if "Bold" in one.face] == ["recommended"]


def test_figures_of_a_column_end_at_one_edge(tmp_path: Path) -> None:
    mark = with_choice(cup().marks[0])
    short = replace(mark.choice[0], time_s=7.5, recipe=replace(mark.choice[0].recipe, speed_mm_per_s=95.0))
    target = printed(tmp_path, replace(cup(), marks=(replace(mark, choice=(short, *mark.choice[1:])),)))
    (page,) = [page for page in pages(target) if "You may also choose" in words(page)]
    ends = [end for text, _, end, y in placed(page) if text in ("7.5 s", "6 min 07 s", "8 min 07 s", "9 min 07 s")]
    assert len(ends) == 4
    assert max(ends) - min(ends) < EDGE_TOL_MM


def test_a_mark_with_nothing_to_choose_has_no_table(tmp_path: Path) -> None:
    mark = cup().marks[0]
    alone = replace(mark, choice=(replace(alternative(mark, "recommended", text="Keeps all."), recipe=mark.recipe),))
    for one in (mark, alone):
        assert "You may also choose" not in all_words(printed(tmp_path, replace(cup(), marks=(one,))))


def test_passes_and_axis_are_told_where_they_differ(tmp_path: Path) -> None:
    mark = with_choice(cup().marks[0])
    other = replace(mark.choice[0].recipe, passes=2, scan_axis="x")
    changed = replace(mark, choice=(replace(mark.choice[0], recipe=other), *mark.choice[1:]))
    text = all_words(printed(tmp_path, replace(cup(), marks=(changed,))))
    assert text.count("2 passes, scanned along x.") == 1


def test_what_gave_way_comes_before_the_reasons_and_is_bold(tmp_path: Path) -> None:
    words_of = "The wished sharpness of 0.25 mm gives way: 0.31 mm is kept."
    mark = replace(cup().marks[0], gave_way=(gave(words_of),))
    target = printed(tmp_path, replace(cup(), marks=(mark,)))
    assert f"why {words_of} {mark.binding[0].text}" in all_words(target)
    (told,) = [one for page in pages(target) for one in written(page) if one.words.startswith("The wished sharpness")]
    assert "SerifBold" in told.face


def test_marks_alike_in_all_of_it_share_one_table(tmp_path: Path) -> None:
    slate = sample_plan().pieces[6]
    alike = tuple(replace(mark, choice=with_choice(slate.marks[0]).choice) for mark in slate.marks)
    text = all_words(printed(tmp_path, replace(slate, marks=alike)))
    assert text.count("You may also choose") == 1
    assert "why Marks a, b, c, d: " in text
    differs = (*alike[:3], with_choice(slate.marks[3], text="Other words."))
    text = all_words(printed(tmp_path, replace(slate, marks=differs)))
    assert text.count("You may also choose") == 2
    assert "why Mark d: " in text


def test_a_stopped_mark_has_no_choice(tmp_path: Path) -> None:
    stopped = sample_plan().pieces[1]
    marks = tuple(with_choice(mark) for mark in stopped.marks)
    assert "You may also choose" not in all_words(printed(tmp_path, replace(stopped, marks=marks)))


def test_the_time_is_held_against_the_least_where_it_counts(tmp_path: Path) -> None:
    mark = cup().marks[0]
    near = replace(mark, predicted=replace(mark.predicted, time_lower_bound_s=mark.predicted.time_s / 1.01))
    far = replace(mark, predicted=replace(mark.predicted, time_lower_bound_s=mark.predicted.time_s / 1.12))
    assert "least possible" not in all_words(printed(tmp_path, replace(cup(), marks=(near,))))
    assert "The time is 12 % above the least possible." in all_words(printed(tmp_path, replace(cup(), marks=(far,))))


def test_another_lens_is_told_where_it_saves(tmp_path: Path) -> None:
    mark = cup().marks[0]
    offer = LensOffer(
        lens="4 inch",
        stand_off_mm=60.0,
        focus_offset_mm=0.0,
        time_s=400.0,
        saves_s=78.0,
        ripple_L=0.1,
        detail_mm=0.3,
        text="The 4 inch lens would save 1 min 18 s.",
    )
    slower = replace(offer, saves_s=-50.0, text="The 8 inch lens would take 50 s more.")
    text = all_words(printed(tmp_path, replace(cup(), marks=(replace(mark, other_lenses=(offer, slower)),))))
    assert offer.text in text
    assert slower.text not in text


def test_the_dry_trace_is_named_where_the_mark_is_placed(tmp_path: Path) -> None:
    mark = replace(cup().marks[0], trace_file="ferry-cup-front-trace.ngc")
    text = all_words(printed(tmp_path, replace(cup(), marks=(mark,))))
    walk, run = text.index("Walk it first, laser off: ferry-cup-front-trace.ngc."), text.index("Then run ")
    assert text.index("Pointer on the mark") < walk < run
    slate = sample_plan().pieces[6]
    marks = tuple(replace(one, trace_file=f"slate-{one.mark.id}-trace.ngc") for one in slate.marks)
    text = all_words(printed(tmp_path, replace(slate, marks=marks)))
    for one in marks:
        assert text.count(one.trace_file or "none") == 1


# the first page


def runs_of(plan: BatchPlan) -> tuple[SharedRun, ...]:
    slate, oval = plan.pieces[6], plan.pieces[7]
    return (
        SharedRun(
            marks=(*((slate.piece.id, mark.mark.id) for mark in slate.marks), (oval.piece.id, oval.marks[0].mark.id)),
            file="together_1.ngc",
            time_s=702.0,
            saved_s=50.0,
            time_lower_bound_s=690.0,
        ),
    )


def test_runs_stand_below_the_order_with_what_they_save(tmp_path: Path) -> None:
    plan = sample_plan()
    target = tmp_path / "runs.pdf"
    write_run_sheet(replace(plan, runs=runs_of(plan)), target, pictures={})
    text = words(pages(target)[0])
    run = text.index(
        "together_1.ngc 7 Slate coasters, four, marks a, b, c, d; 8 Cheese board, oval, mark a 11 min 42 s"
    )
    assert "In one run" in text[:run]
    assert text.index("50 s less than one after another") > run
    assert text.index("Focus: stand-off") < run < text.index("From start to end")
    assert "In one run" not in all_words(printed(tmp_path, *plan.pieces))


def test_spot_and_depth_of_every_lens_stand_on_the_first_page(tmp_path: Path) -> None:
    facts = LensFacts(
        name="2 inch",
        focus_stand_off_mm=9.5,
        waist_radius_mm=0.075,
        spot_diameter_mm=0.15,
        rayleigh_length_mm=1.27,
        depth_mm=0.41,
        growth=0.05,
        in_use=True,
    )
    other = replace(facts, name="4 inch", spot_diameter_mm=0.3, depth_mm=1.61, in_use=False)
    target = tmp_path / "lenses.pdf"
    write_run_sheet(replace(sample_plan(), lens_facts=(facts, other)), target, pictures={})
    assert (
        "Lenses: 2 inch, in use, spot 0.15 mm, 5 % wider ±0.4 mm off its focus; "
        "4 inch, spot 0.30 mm, 5 % wider ±1.6 mm off its focus."
    ) in words(pages(target)[0])


# nothing overflows


def placed(page: PageObject) -> Iterator[tuple[str, float, float, float]]:
    """Yield each text of a page with where it begins and ends from the left, and its height from below. [mm]"""
    found: list[tuple[str, float, float, float]] = []

    def visit(text: str, user: list[float], matrix: list[float], font: dict[str, str] | None, size: float) -> None:
        plain = text.strip("\n")
        if plain.strip() and font is not None:
            face = next(face for name, face in FACES if name in font["/BaseFont"].replace("-", ""))
            x, y = ((matrix[4 + n] + user[4 + n]) * MM_PER_PT for n in (0, 1))
            found.append((" ".join(plain.split()), x, x + width_mm(plain, face, size_pt=size), y))

    page.extract_text(visitor_text=visit)
    yield from found


def overlong(piece: PiecePlan) -> PiecePlan:
    """Return a piece whose marks say far more than any plan does, each something of its own."""
    marks = []
    for number, mark in enumerate(piece.marks):
        said = tuple(Binding(constraint="room", text=f"{number} Speed is held; {LONG}.") for _ in range(5))
        full = with_choice(
            replace(mark, recipe=replace(mark.recipe, power_low_W=12.3)), text=LONG, more=" and a good deal steadier"
        )
        late = tuple(replace(one, time_s=36000.0 + number) for one in full.choice)
        marks.append(replace(full, choice=late, binding=said, gave_way=(gave(f"It gives way: {LONG}."),) * 3))
    return replace(piece, marks=tuple(marks))


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("index", [3, 6])  # one mark, and four
def test_nothing_runs_over_the_margins_or_the_foot(index: int, size: PageSize, tmp_path: Path) -> None:
    plan = sample_plan()
    target = printed(tmp_path, overlong(plan.pieces[index]), size=size, runs=runs_of(plan) * 15)
    wide, _ = PAGE_MM[size]
    for page in pages(target):
        texts = list(placed(page))
        assert texts
        for text, begin, end, _ in texts:
            assert begin >= LEFT_MM - EDGE_TOL_MM, text
            assert end <= wide - RIGHT_MM + EDGE_TOL_MM, text
        foot = max(y for text, _, _, y in texts if text.startswith("planned "))
        assert all(y > foot + 3.0 for text, _, _, y in texts if text.startswith((*NAMES, "why", "0 Speed", "together")))
        body = [
            y for text, begin, _, y in texts if y <= foot + 0.01 and not text.startswith(("planned", "page", "1 Tone"))
        ]
        assert body == []
    assert sum("continued" in words(page) for page in pages(target)) >= 1


def test_lines_of_the_table_do_not_run_into_one_another(tmp_path: Path) -> None:
    target = printed(tmp_path, overlong(cup()))
    for page in pages(target):
        rows: dict[int, list[tuple[float, float]]] = {}
        for _, begin, end, y in placed(page):
            rows.setdefault(round(y * 100), []).append((begin, end))
        for spans in rows.values():
            spans.sort()
            for (_, end), (begin, _) in itertools.pairwise(spans):
                assert begin > end - EDGE_TOL_MM
