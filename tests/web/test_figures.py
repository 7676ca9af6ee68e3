"""Figures on a page: digits by meaning, the unit that is preferred, and back again from what was typed."""

from __future__ import annotations

from contextvars import copy_context

import pytest

from evenburn.core.errors import InvalidInput
from evenburn.web import figures
from evenburn.web.dayline import Burn, LABEL_px, WIDTH_px, day_line
from evenburn.web.forms import Sent
from evenburn.web.machine_drawing import run_up_text

NB = "\u00a0"


def _in_inches(shown: object, *values: object) -> object:
    def ask() -> object:
        figures.obey(lambda: "inch")
        assert callable(shown)
        return shown(*values)

    return copy_context().run(ask)


def test_lengths_and_speeds_in_either_unit() -> None:
    # 1 in is 25.4 mm exactly (international yard and pound agreement, 1959)
    assert figures.mm(25.4) == f"25.4{NB}mm"
    assert _in_inches(figures.mm, 25.4) == f"1.000{NB}in"
    assert figures.speed(310.0) == f"310{NB}mm/s"
    assert _in_inches(figures.speed, 254.0) == f"10{NB}in/s"
    assert _in_inches(figures.spacing, 0.254) == f"0.01000{NB}in"
    assert figures.offset(1.5) == f"+1.5{NB}mm"
    assert figures.offset(-2.0) == f"−2.0{NB}mm"
    assert figures.offset(0.01) == f"0.0{NB}mm"
    assert _in_inches(figures.offset, 2.54) == f"+0.100{NB}in"
    assert figures.size((200.0, 150.0, 12.1)) == f"200{NB}×{NB}150{NB}×{NB}12.1{NB}mm"
    assert figures.size((None, None, 12.0)) == f"12{NB}mm thick"
    assert _in_inches(figures.size, (254.0, 127.0, 12.7)) == f"10{NB}×{NB}5{NB}×{NB}0.5{NB}in"
    assert figures.mm(25.4) == f"25.4{NB}mm"  # the preference ended with its request


@pytest.mark.parametrize("value_mm", [0.05, 9.6, 12.1, 310.0, 520.0])
def test_what_a_field_shows_is_read_back(value_mm: float) -> None:
    def there_and_back() -> float:
        return Sent(values={"x": figures.entry(value_mm)}).length_mm("x")

    assert there_and_back() == pytest.approx(value_mm, abs=0.0005)  # three digits in mm
    assert _in_inches(there_and_back) == pytest.approx(value_mm, abs=0.00127)  # half of the fourth digit in inches


def test_a_unit_that_is_typed_counts_whatever_is_preferred() -> None:
    sent = Sent(values={"a": "0.5 in", "b": "12,5mm", "c": "10 in/s", "d": "wide", "e": "", "f": "nan", "g": "−3"})
    assert sent.length_mm("a") == pytest.approx(12.7)
    assert _in_inches(sent.length_mm, "b") == 12.5
    assert sent.speed_mm_per_s("c") == pytest.approx(254.0)
    assert sent.optional_length_mm("e") is None
    assert sent.number("g") == -3.0
    for name in ("d", "e", "f"):
        with pytest.raises(InvalidInput) as told:
            sent.length_mm(name)
        assert set(told.value.fields) == {name}


@pytest.mark.parametrize(
    ("typed", "thousands", "small"),
    [("5.000", "5000", "5"), ("1,200", "1200", "1.2"), ("12,125 mm", "12125", "12.125"), ("−1.250", "−1250", "-1.25")],
)
def test_a_number_that_some_read_in_thousands_is_asked_back(typed: str, thousands: str, small: str) -> None:
    with pytest.raises(InvalidInput) as told:
        Sent(values={"x": typed}).length_mm("x")
    assert told.value.fields == {"x": f"“{typed}” can be read in two ways; write {thousands} or {small}"}


@pytest.mark.parametrize(
    ("typed", "value"), [("0.125", 0.125), ("0,250", 0.25), ("1.125", 1.125), ("12,5", 12.5), ("5000", 5000.0)]
)
def test_a_number_that_all_read_alike_is_taken(typed: str, value: float) -> None:
    assert Sent(values={"x": typed}).length_mm("x") == value


def test_figures_wear_their_digits() -> None:
    assert figures.power(31.04) == f"31.0{NB}W"
    assert figures.power(45.1, 16.1) == f"16–45{NB}W"
    assert figures.spacing(0.1) == f"0.10{NB}mm"
    assert figures.spacing(0.125) == f"0.125{NB}mm"
    assert figures.short_duration(240.0) == f"4{NB}min"
    assert figures.short_duration(90.0) == f"90{NB}s"
    assert figures.many(1, "piece") == "one piece"
    assert figures.many(13, "piece") == "13 pieces"


def test_tones_take_the_colours_of_the_exposure_scale() -> None:
    # look.md, section 3: the ends and a step of the scale
    assert (figures.tone_colour(86.0), figures.tone_colour(34.0), figures.tone_colour(0.0)) == (
        "#ead3a9",
        "#704827",
        "#2a190f",
    )
    # greys of CIE L* 50 and 60 in sRGB: 119 and 145 (IEC 61966-2-1; from memory)
    assert [figures.tone_colour(tone_L, stone=True) for tone_L in (50.0, 60.0, 0.0, 100.0)] == [
        "#777777",
        "#919191",
        "#000000",
        "#ffffff",
    ]


def burn(order: int, start: str, end: str, stand_off_mm: float | None) -> Burn:
    return Burn(order=order, name=f"p{order}", starts_at=f"2026-06-09T{start}", ends_at=f"2026-06-09T{end}", kind="planned", stand_off_mm=stand_off_mm)  # fmt: skip


def test_no_label_of_a_stand_off_reaches_over_the_end_of_the_line() -> None:
    """1190 px are an hour here, and a label 66 px."""
    now = "2026-06-09T10:30"
    line = day_line([burn(1, "10:00", "10:50", 11.0), burn(2, "10:58", "11:00", 7.5)], now=now)
    assert line is not None
    assert [(f.text, f.before) for f in line.focusings] == [(f"11.0{NB}mm", False), (f"7.5{NB}mm", True)]
    crowded = day_line([burn(1, "10:00", "10:30", None), burn(2, "10:54", "10:57", 11.0), burn(3, "10:58", "11:00", 7.5)], now=now)  # fmt: skip
    assert crowded is not None
    assert [f.text for f in crowded.focusings] == [f"11.0{NB}mm", ""]
    for seen in (line, crowded):
        for one in seen.focusings:
            assert not one.text or 0.0 <= (one.x - LABEL_px if one.before else one.x) <= WIDTH_px - LABEL_px


def test_marks_with_a_hyphen_stay_on_one_line() -> None:
    assert figures.unbroken("Hard maple, lot HM-8") == 'Hard maple, lot <span class="nb">HM-8</span>'
    assert (
        figures.unbroken("A <b>, part B-12-3 & more") == 'A &lt;b&gt;, part <span class="nb">B-12-3</span> &amp; more'
    )
    for plain in ("Well-seasoned oak", "Slate, 4 mm", f"lot {'x' * 30}-8", ""):
        assert figures.unbroken(plain) == plain


def test_longrun_up_texts_leave_room_for_the_next_column() -> None:
    assert [run_up_text(value) for value in (40.0, 999.94, 1000.0, 16000.0)] == [f"40.0{NB}mm", f"999.9{NB}mm", f"1000{NB}mm", f"16000{NB}mm"]  # fmt: skip


def test_the_line_of_the_day_is_to_scale() -> None:
    line = day_line([burn(1, "10:00", "10:30", 11.0), burn(2, "10:32", "10:33", 12.0), burn(3, "10:34", "11:00", None)], now="2026-06-09T10:30")  # fmt: skip
    assert line is not None
    one, two, three = line.bars
    assert one.x == 0.0
    assert one.width == pytest.approx(30 / 26 * three.width, abs=0.2)  # 30 min and 26 min; a tenth of a pixel each way
    assert line.now == pytest.approx(one.width, abs=0.1)
    assert (one.numbered, two.numbered) == (True, True)
    assert [f.text for f in line.focusings] == [f"11.0{NB}mm", f"12.0{NB}mm"]
    assert [t.text for t in line.ticks if t.bold] == ["10:00", "10:30", "11:00"]
    assert day_line([], now="2026-06-09T10:30") is None
    assert day_line([burn(1, "10:00", "10:30", None)], now="2026-06-09T23:00").now is None  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("is missing", "Is missing"),
        ("names.csv: is missing", "names.csv: is missing"),
        ("power_curve needs two pairs", "power_curve needs two pairs"),
        ("rowing/crest.svg is no SVG", "rowing/crest.svg is no SVG"),
        ("“name” is taken", "“name” is taken"),
        ("élan vital", "Élan vital"),
        ("wrong.", "Wrong."),
        ("", ""),
    ],
)
def test_a_sentence_begins_with_a_capital_and_a_files_name_stays_as_it_is(text: str, shown: str) -> None:
    assert figures.sentence(text) == shown
