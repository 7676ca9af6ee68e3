"""Numbers as they stand on paper; expected texts are those of look/run-sheet.png and look.md section 5 where it can."""

from __future__ import annotations

from dataclasses import replace

import pytest
from fontTools.ttLib import TTFont

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SERIF, _font_path, printable, shorten, width_mm, wrap
from evenburn.core.errors import InvalidInput
from unit.adapters.print.sample import MACHINE, ellipse, rectangle, sample_plan

NOVICE = sample_plan().pieces[0].marks[0].recipe


def plain(text: str) -> str:
    return text.replace(fig.NB, " ")


def test_a_recipe_reads_as_on_the_model_sheet() -> None:
    assert plain(fig.power_W(NOVICE)) == "31.0 W"
    assert plain(fig.power_percent(NOVICE, MACHINE)) == "51.7 %"
    assert plain(fig.speed_mm_per_s(NOVICE)) == "310 mm/s"
    assert plain(fig.spacing_mm(NOVICE)) == "0.10 mm"
    assert plain(fig.spacing_lpi(NOVICE)) == "254 LPI"
    assert plain(fig.offset_mm(NOVICE.focus_offset_mm)) == "+1.5 mm"
    assert plain(fig.passes_along(NOVICE)) == "1 pass along x"
    assert plain(fig.air_words(34.0)) == "34 kPa, 5 psi"


def test_a_figure_and_its_unit_are_never_parted() -> None:
    for text in (
        fig.power_W(NOVICE),
        fig.spacing_lpi(NOVICE),
        fig.mm(9.6),
        fig.offset_mm(-0.5),
        fig.minutes_text(4700),
    ):
        assert " " not in text


@pytest.mark.parametrize(
    ("value", "text"), [(1.5, "+1.5 mm"), (0.0, "0.0 mm"), (-0.5, "−0.5 mm"), (-0.04, "0.0 mm"), (0.04, "0.0 mm")]
)
def test_offset_shows_its_sign_and_nought_has_none(value: float, text: str) -> None:
    assert plain(fig.offset_mm(value)) == text


def test_a_spacing_between_two_hundredths_is_not_rounded_away() -> None:
    assert plain(fig.spacing_mm(replace(NOVICE, line_spacing_mm=0.085))) == "0.085 mm"


def test_the_low_end_of_a_photo_is_read_off_the_power_curve() -> None:
    # straight from 4 W at 0.1 to 31 W at 0.5, as in design.md's machine.toml: 17.5 W lies half way, at 0.3
    bent = replace(MACHINE, power_curve=((0.1, 4.0), (0.5, 31.0), (1.0, 60.0)))
    photo = replace(NOVICE, power_W=31.0, power_fraction=0.5, power_low_W=17.5)
    assert plain(fig.power_percent(photo, bent)) == "30.0–50.0 %"


def test_a_round_blank_is_told_by_its_diameter_an_oval_by_both() -> None:
    assert plain(fig.blank_size(ellipse(150.0, 150.0, 25.0))) == "⌀ 150 × 25 mm"
    assert plain(fig.blank_size(ellipse(240.0, 140.0, 18.0))) == "240 × 140 × 18 mm"
    assert plain(fig.blank_size(rectangle(200.0, 150.0, 12.1))) == "200 × 150 × 12.1 mm"


@pytest.mark.parametrize(
    ("time_s", "text"),
    [(0.0, "0 min"), (29.0, "0 min"), (240.0, "4 min"), (3840.0, "1 h 04 min"), (4705.0, "1 h 18 min")],
)
def test_minutes(time_s: float, text: str) -> None:
    assert plain(fig.minutes_text(time_s)) == text


def test_marks_are_lettered_on_past_z() -> None:
    assert [fig.letter(index) for index in (0, 25, 26, 27, 51, 52)] == ["a", "z", "aa", "ab", "az", "ba"]


def test_a_day_in_words() -> None:
    assert plain(fig.day("2026-06-09", weekday=True)) == "Tuesday 9 June 2026"  # look/run-sheet.png
    assert plain(fig.day("2024-02-29", weekday=True)) == "Thursday 29 February 2024"  # a calendar, from memory
    with pytest.raises(InvalidInput, match="2026-02-30"):
        fig.day("2026-02-30", weekday=False)


def test_lines_are_no_wider_than_asked_and_lose_nothing() -> None:
    text = "At 420\u00a0mm/s the head needs 17.6\u00a0mm to reach its speed; left of the mark there are 8.0\u00a0mm."
    for width in (22.0, 40.0, 90.0):
        lines = wrap(text, SERIF, size_pt=9.0, width=width)
        assert " ".join(lines) == text
        assert all(width_mm(line, SERIF, size_pt=9.0) <= width for line in lines)


def test_a_word_too_wide_is_cut_at_a_hyphen_where_there_is_one() -> None:
    lines = wrap("slate-coasters-and-more-of-them-stroke.ngc", SANS, size_pt=9.0, width=30.0)
    assert "".join(lines) == "slate-coasters-and-more-of-them-stroke.ngc"
    assert len(lines) > 1
    assert all(line.endswith("-") for line in lines[:-1])


def test_a_shortened_text_says_so_and_fits() -> None:
    short = shorten("Captain’s oar blade for the regatta", SANS, size_pt=11.0, width=30.0)
    assert short.endswith("…")
    assert width_mm(short, SANS, size_pt=11.0) <= 30.0
    assert shorten("bow", SANS, size_pt=11.0, width=30.0) == "bow"


def test_what_the_faces_do_not_have_is_said_otherwise() -> None:
    assert printable("≤ 12\u202fmm", SANS) == "at most 12\u00a0mm"
    assert printable("Zo\u0308e", SANS) == "Zöe"
    assert printable("桜", SERIF) == "?"
    assert printable("⌀ 150", SANS) == "⌀ 150"
    assert printable("a\x07b", SANS) == "ab"


def test_capital_width_is_that_of_the_face_itself() -> None:
    face = TTFont(_font_path(SANS))
    advance = face["hmtx"][face.getBestCmap()[ord("H")]][0] / face["head"].unitsPerEm
    assert width_mm("H", SANS, size_pt=72.0) == pytest.approx(25.4 * advance, rel=1e-6)  # 72 pt are an inch
