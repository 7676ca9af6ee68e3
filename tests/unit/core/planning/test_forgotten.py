"""A stand-off that was not set again, by hand.

The lens: w0 = 0.075057 mm, zR = 1.27097 mm (test_beam, test_lens_table). At +2 mm w = 0.139937 mm, at −6 mm 0.362196 mm,
at +8 mm 0.478372 mm. The curve: L = 80 − 60/(1 + exp(−8 x)), κ = 0.1, L* 50 as planned.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from evenburn.core.planning.forgotten import forgotten_focus, refocus_checks, settings_of, worst_forgotten
from evenburn.core.planning.off_focus import SetMark
from unit.core.examples import plain_curve
from unit.core.planning.set_marks import set_mark

CURVE = plain_curve(kappa=0.1)
POWER_W = 10.0 * (2e3 * 0.139937 / 200.0) ** -0.1  # 1 J/mm² at 1 ms, made up for the dwell of the spot at +2 mm
DIGITS_mm = 2e-5  # the radii above have six digits after the point, the lens's constants as many


def here(**changes: Any) -> SetMark:
    """Return a mark at +2 mm, stand-off 11.5 mm, on 12 mm."""
    return set_mark(power_W=POWER_W, offset_mm=2.0, curve=CURVE, **changes)


def test_a_thicker_blank_lies_nearer_by_what_thickness_and_stand_off_grow() -> None:
    """Before: 6 mm thick at 9.5 mm, 15.5 mm over the bed. Here 12 + 11.5 = 23.5 mm: 8 mm too near, 3.5 mm left."""
    found = forgotten_focus(here(), bed_down_mm=8.0)
    assert found is not None
    assert found.off_mm == -8.0
    assert found.stand_off_mm == 3.5
    assert not found.touches
    assert found.planned_spot_diameter_mm == pytest.approx(2 * 0.139937, abs=DIGITS_mm)
    assert found.spot_diameter_mm == pytest.approx(2 * 0.362196, abs=DIGITS_mm)
    # x = 0.1 · log10(0.362196 / 0.139937) = 0.041301, L* = 80 − 60/(1 + exp(−0.330408)) = 45.088; two digits
    assert found.planned_tone_L == pytest.approx(50.0, abs=0.01)
    assert found.tone_L == pytest.approx(45.088, abs=0.01)
    assert "8.0\u00a0mm too near: spot 0.72\u00a0mm instead of 0.28, tone L*\u00a045 instead of 50" in found.text


def test_a_thinner_blank_lies_further() -> None:
    found = forgotten_focus(here(sharpness_mm=0.5), bed_down_mm=-6.0)
    assert found is not None
    assert found.off_mm == 6.0
    assert found.stand_off_mm == 17.5
    assert found.spot_diameter_mm == pytest.approx(2 * 0.478372, abs=DIGITS_mm)
    assert "6.0\u00a0mm too far" in found.text
    # as in test_lens_table: half the tone difference, now of L* (80 + 43.7)/2, at the middle of a stroke
    x = 0.1 * math.log10(0.478372 / 0.139937)
    half = 0.5 * (80.0 + 80.0 - 60.0 / (1.0 + math.exp(-8.0 * x)))
    share = 10.0 ** (-math.log(60.0 / (80.0 - half) - 1.0) / 8.0 - x)
    width = found.detail_mm - 0.5 * 0.05
    assert math.erf(width / (math.sqrt(2.0) * 0.478372)) == pytest.approx(share, abs=1e-4)
    assert f"strokes under {found.detail_mm:.2f}\u00a0mm lost" in found.text


def test_lines_show_where_the_blank_comes_into_focus() -> None:
    found = forgotten_focus(replaced_spacing(here()), bed_down_mm=2.0)
    assert found is not None
    assert found.ripple_L > 1.0  # lines 0.12 mm apart, in a spot of 0.15 mm
    assert found.text.endswith("lines show")


def replaced_spacing(at: SetMark) -> SetMark:
    """Return the mark with lines 0.12 mm apart and the same dose."""
    return replace(at, recipe=replace(at.recipe, line_spacing_mm=0.12, power_W=at.recipe.power_W * 0.12 / 0.05))


@pytest.mark.parametrize(
    ("down_mm", "words"), [(11.5, "runs into"), (13.0, "1.5\u00a0mm above the tip"), (11.2, "may touch")]
)
def test_the_nozzle_touches(down_mm: float, words: str) -> None:
    found = forgotten_focus(here(uneven_mm=0.4), bed_down_mm=down_mm)
    assert found is not None
    assert found.touches
    assert words in found.text


def test_char_counts_only_where_the_plan_keeps_clear_of_it() -> None:
    # planned x = 0, forgotten 0.0413: between them lies 0.03, below both −0.01
    past = forgotten_focus(here(), bed_down_mm=8.0)
    chars = forgotten_focus(with_char(0.03), bed_down_mm=8.0)
    always = forgotten_focus(with_char(-0.01), bed_down_mm=8.0)
    assert past is not None
    assert chars is not None
    assert always is not None
    assert (past.chars, chars.chars, always.chars) == (False, True, False)
    assert "past the char limit" in chars.text


def with_char(x_char: float) -> SetMark:
    return set_mark(power_W=POWER_W, offset_mm=2.0, curve=replace(CURVE, x_char=x_char))


def test_nothing_changes_where_thickness_and_stand_off_make_up_for_each_other() -> None:
    assert forgotten_focus(here(), bed_down_mm=0.04) is None


def test_a_cut_that_is_off_does_not_go_through() -> None:
    cut = set_mark(
        power_W=40.0,
        speed_mm_per_s=5.0,
        way="cut",
        cut_J_per_mm3=4.0,
        thickness_mm=4.0,
        offset_mm=-2.0,
        curve=plain_curve(x_char=0.7),
    )
    found = forgotten_focus(cut, bed_down_mm=-6.0)
    assert found is not None
    assert found.text.endswith("does not go through")
    near = forgotten_focus(cut, bed_down_mm=-0.1)
    assert near is not None
    assert near.text.endswith("goes through all the same")


# ---- in a batch ------------------------------------------------------------------------------------------------------


def lying(at: SetMark, piece_id: str) -> SetMark:
    return replace(at, piece=replace(at.piece, id=piece_id))


THIN = lying(set_mark(power_W=POWER_W, thickness_mm=6.0, curve=CURVE), "thin")  # 15.5 mm over the bed
THICK = lying(here(), "thick")  # 23.5 mm
LIKE_IT = lying(here(), "like-it")
VERY_THICK = lying(here(thickness_mm=30.0), "very-thick")  # 41.5 mm


def test_it_is_set_where_thickness_or_stand_off_change() -> None:
    found = settings_of([THIN, THICK, LIKE_IT, VERY_THICK])
    assert [(one.first, one.last, one.marks, one.bed_down_mm) for one in found] == [
        (0, 0, (0,), None),
        (1, 2, (1,), 8.0),
        (3, 3, (3,), 18.0),
    ]


def test_a_note_on_each_change_and_a_warning_where_it_touches() -> None:
    found = refocus_checks([THIN, THICK, LIKE_IT, VERY_THICK])
    assert set(found) == {"thick", "very-thick"}
    (note,), (warn,) = found["thick"], found["very-thick"]
    assert (note.level, note.code) == ("note", "refocus")
    assert "this blank is 12\u00a0mm thick, the one before it 6\u00a0mm" in note.text
    assert "the bed left where it was" in note.text
    assert "Bed 8.0\u00a0mm down" in note.remedy
    assert "11.5\u00a0mm gauge block" in note.remedy
    assert warn.level == "warn"
    assert "runs into the blank" in warn.text
    assert "thicker blanks listed first" in warn.remedy


def test_char_is_a_warning_too() -> None:
    (check,) = refocus_checks([THIN, lying(with_char(0.03), "thick")])["thick"]
    assert check.level == "warn"


def test_thicker_first_never_touches() -> None:
    found = refocus_checks([VERY_THICK, THICK, LIKE_IT, THIN])
    assert [check.level for checks in found.values() for check in checks] == ["note", "note"]


def test_of_several_marks_the_one_that_suffers_most_is_told() -> None:
    grey = here(name="grey")
    dark = set_mark(power_W=4.0 * POWER_W, offset_mm=2.0, curve=CURVE, name="dark")  # on the shoulder it moves little
    worst = worst_forgotten([dark, grey], bed_down_mm=8.0)
    assert worst is not None
    assert worst[0].mark.id == "grey"


def test_one_setting_needs_no_check() -> None:
    assert refocus_checks([]) == {}
    assert refocus_checks([THICK, LIKE_IT]) == {}


def test_the_first_is_held_against_what_was_burnt_before() -> None:
    (first, _) = settings_of([THICK, LIKE_IT, VERY_THICK], before_mm=(6.0, 9.5))
    assert first.bed_down_mm == 8.0
    (check,) = refocus_checks([THICK, LIKE_IT], before_mm=(6.0, 9.5))["thick"]
    assert "this blank is 12\u00a0mm thick, the one before it 6\u00a0mm" in check.text
    assert refocus_checks([THICK, LIKE_IT], before_mm=THICK.setting()) == {}
    assert settings_of([], before_mm=(6.0, 9.5)) == ()
