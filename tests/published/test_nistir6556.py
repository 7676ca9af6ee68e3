"""[kramer2000] Kramer, Proctor and Messina, The NIST RS274/NGC Interpreter, Version 3, NISTIR 6556, 17 Aug 2000.

What was seen, and where (check-values, sec. 11):
- Table 4, modal groups: SEEN (quoted verbatim in several public parsers).
- Table 8 and sec. 3.8, order of execution: SEEN.
- one word of a modal group per line, axis words re-use the motion mode, word order has no effect: SEEN.
- 256 characters with the line's end, so 255 without: SEEN in reference source headers.
- line number, N and 1 to 5 digits; number grammar without exponent: SEEN (public grammar of the report).
- `g0x +0. 12 34y 7` equals `g0 x+0.1234 y7`; `000009` is no line number: SEEN in a manual that repeats sec. 3.3.
- G1 and G2 with every axis missing are errors: SEEN in the reference source's list of errors.
- at most 4 M words, codes whole within 0.0001, comments not nested: from memory.
Left out: canned cycles, tools, parameters and expressions, which the reader refuses as a whole.
Numbers here are compared exactly: they are printed decimals, read into the same binary number.
"""

from __future__ import annotations

import itertools
from functools import partial
from typing import Any

import pytest

import outside
from evenburn.adapters.formats.ngc_reader import Limits, Report, read_program
from evenburn.adapters.formats.ngc_reader.block import G_GROUPS, M_GROUPS
from evenburn.adapters.formats.ngc_reader.words import line_of
from outside import EXACT

BENCH = Limits(
    bed_x_mm=300.0,
    bed_y_mm=200.0,
    power_word_max=1000.0,
    speed_max_mm_per_s=300.0,
    rapid_mm_per_s=300.0,
    accel_x_mm_per_s2=1000.0,
    accel_y_mm_per_s2=1000.0,
    jerk_mm_per_s3=None,
    line_overhead_s=0.0,
    power_cap_fraction=1.0,
    power_least_fraction=0.0,
)

check = partial(outside.check, field="programs and files", source="nistir6556")
COUNTED: dict[str, Any] = {"trust": "seen", "tolerance": 0.0, "why": EXACT}

# Table 4
G_TABLE = {
    1: "G0 G1 G2 G3 G38.2 G80 G81 G82 G83 G84 G85 G86 G87 G88 G89",
    2: "G17 G18 G19",
    3: "G90 G91",
    5: "G93 G94",
    6: "G20 G21",
    7: "G40 G41 G42",
    8: "G43 G49",
    10: "G98 G99",
    12: "G54 G55 G56 G57 G58 G59 G59.1 G59.2 G59.3",
    13: "G61 G61.1 G64",
    0: "G4 G10 G28 G30 G53 G92 G92.1 G92.2 G92.3",
}
M_TABLE = {4: "M0 M1 M2 M30 M60", 6: "M6", 7: "M3 M4 M5", 8: "M7 M8 M9", 9: "M48 M49"}


def run(body: str) -> Report:
    head = "G21 G90 G94 G17\nM5\nF6000\nG0 X10 Y10\nM3 S0\n"
    return read_program(f"{head}{body}\nM5\nM2\n", BENCH)


def codes(body: str) -> set[str]:
    return {finding.code for finding in run(body).findings} - {"nothing-burnt"}


def words(text: str) -> list[tuple[str, float]]:
    line = line_of(text)
    assert not line.faults, line.faults
    return [(word.letter, word.value) for word in line.words]


def fault(text: str) -> str:
    (only,) = {found.code for found in line_of(text).faults}
    return only


def test_table_4_groups_of_g_codes() -> None:
    printed = {round(float(code[1:]) * 10): group for group, row in G_TABLE.items() for code in row.split()}
    assert printed == G_GROUPS
    alike = sum(G_GROUPS.get(code) == group for code, group in printed.items())
    check("G codes in the group that table 4 has", got=alike, expected=float(len(printed)), **COUNTED)


def test_table_4_groups_of_m_codes() -> None:
    printed = {int(code[1:]): group for group, row in M_TABLE.items() for code in row.split()}
    assert printed == M_GROUPS
    alike = sum(M_GROUPS.get(code) == group for code, group in printed.items())
    check("M codes in the group that table 4 has", got=alike, expected=float(len(printed)), **COUNTED)


# words that may stand beside an X, with their groups as printed above
READ = {"G0": "G1", "G1": "G1", "G17": "G2", "G90": "G3", "G94": "G5", "G21": "G6", "G40": "G7", "G49": "G8"}
READ |= {"M3": "M7", "M5": "M7", "M7": "M8", "M8": "M8", "M9": "M8", "M0": "M4", "M2": "M4"}


@pytest.mark.parametrize(("first", "second"), list(itertools.combinations(READ, 2)))
def test_two_words_of_one_group_on_a_line_are_refused_and_of_two_are_not(first: str, second: str) -> None:
    assert ("modal-group" in codes(f"{first} {second} X1")) is (READ[first] == READ[second])


def test_order_of_words_on_a_line_has_no_effect() -> None:
    parts = ["G1", "X20", "Y30", "S500", "F3000"]
    reports = {run(" ".join(order)) for order in itertools.permutations(parts)}
    assert len(reports) == 1
    assert reports.pop().full_power_s > 0


def test_axis_words_use_the_motion_mode_in_force() -> None:
    assert run("G1 X20 S500\nX30\nY20").moves == 4
    assert run("G1 X20 S500\nX30\nY20").burn_length_mm == 10 + 10 + 10
    assert "lit-in-rapid" in codes("G0 X20\nX30 S500\nS0")


class TestTable8:
    """The order of execution on one line."""

    def test_power_acts_before_motion(self) -> None:
        assert run("X20 S500 G1").burn_length_mm == 10

    def test_the_on_word_acts_before_motion(self) -> None:
        assert run("M5\nG1 X20 S500\nG1 X30 M3\nS0").burn_length_mm == 10

    def test_power_acts_before_the_on_word(self) -> None:
        head = "G21 G90 G94 G17\nM5\nF6000\nG0 X10 Y10\n"
        report = read_program(f"{head}M3 S500 G1 X20\nM5\nM2\n", BENCH)
        assert report.findings == ()
        assert report.burn_length_mm == 10

    def test_the_off_word_acts_before_motion(self) -> None:
        assert run("G1 X20 S500\nX30 M5").burn_length_mm == 10

    def test_feed_acts_before_motion(self) -> None:
        slow, fast = run("G1 X20 S1000 F600"), run("G1 X20 S1000 F6000")
        accel = BENCH.accel_x_mm_per_s2  # from rest to rest: length over speed, and speed over acceleration
        why = "rounding; the feed is read before the motion of its line"
        for name, report, speed in (("F600", slow, 10.0), ("F6000", fast, 100.0)):
            expected = 10.0 / speed + speed / accel
            told = f"seconds of 10 mm behind {name} on one line, 1000 mm/s²"
            check(told, got=report.full_power_s, expected=expected, tolerance=1e-6, trust="seen", why=why, unit="s")

    def test_feed_is_read_before_units_change(self) -> None:
        # F60 is 60 mm/min still, X1 is an inch already
        report = run("G1 X1 S1000 F60 G20")
        why = "rounding; X counts in inches, F60 on its line still in mm"
        name = "way of X1 F60 G20 from X 10 mm"
        check(name, got=report.burn_length_mm, expected=25.4 - 10, tolerance=1e-6, trust="seen", why=why, unit="mm")
        assert report.full_power_s == pytest.approx(15.4 / 1 + 1 / BENCH.accel_x_mm_per_s2)

    def test_a_dwell_comes_after_the_laser_and_before_the_motion(self) -> None:
        assert "lit-in-dwell" not in codes("M5\nS500\nG4 P1 G0 X20")
        assert "lit-in-dwell" in codes("M5\nS500\nG4 P1 M3 G1 X20\nS0")

    def test_distance_mode_acts_before_motion(self) -> None:
        assert run("G1 X20 G91 S500").burn_length_mm == 20

    def test_the_end_comes_after_the_motion(self) -> None:
        head = "G21 G90 G94 G17\nM5\nF6000\nG0 X10 Y10\nM3 S0\nG1 X20 S500\n"
        report = read_program(f"{head}M2 M5 G0 X50\n", BENCH)
        assert report.travel_box_mm == (10.0, 10.0, 50.0, 10.0)
        assert {f.code for f in report.findings} == {"off-not-last"}


def test_sec_3_3_blanks_and_case_mean_nothing() -> None:
    assert words("g0x +0. 12 34y 7") == words("G0 X+0.1234 Y7") == [("G", 0), ("X", 0.1234), ("Y", 7)]
    check("X of “g0x +0. 12 34y 7”", got=words("g0x +0. 12 34y 7")[1][1], expected=0.1234, **COUNTED)
    assert words("\tg 0 1 x\t- 1 . 5") == [("G", 1), ("X", -1.5)]


@pytest.mark.parametrize(
    ("text", "value"),
    [("5", 5), ("+5", 5), ("-5", -5), ("5.", 5), (".5", 0.5), ("-.5", -0.5), ("007", 7), ("0.10", 0.1)],
)
def test_numbers_have_a_sign_digits_and_a_point(text: str, value: float) -> None:
    assert words(f"X{text}") == [("X", value)]


@pytest.mark.parametrize("text", ["", ".", "-", "+.", "1e5", "1E-05", "nan", "inf", "1.2.3", "--1", "1,5", "1-2"])
def test_nothing_else_is_a_number(text: str) -> None:
    assert fault(f"X{text}") == "number-format"


@pytest.mark.parametrize("text", ["N0 X1", "N99999 X1", "/N5 X1", "n12X1", "N1(first)X1"])
def test_line_numbers_have_one_to_five_digits(text: str) -> None:
    assert words(text) == [("X", 1)]


@pytest.mark.parametrize("text", ["N100000 X1", "N000009 X1", "N-5 X1", "N1.0 X1", "X1 N5", "(late) N5 X1"])
def test_anything_else_is_no_line_number(text: str) -> None:
    assert fault(text) == "line-number"


def test_comments_stand_in_parentheses_between_words() -> None:
    assert words("G1 (to the right) X20 (mm)") == [("G", 1), ("X", 20)]
    assert words("(a G1 X5)") == []
    assert fault("X(mm)") == "comment-in-word"
    assert fault("G1 (a (b) X1") == "comment-nested"
    assert fault("G1 X1 (a") == "comment-unclosed"


def test_a_line_holds_255_characters() -> None:
    assert fault("(" + "x" * 253 + ")") == "line-not-short"  # ours, tighter
    assert fault("(" + "x" * 254 + ")") == "line-too-long"
    assert not line_of("(" + "x" * 77 + ")").faults
    longest = max(n for n in range(200, 300) if fault("(" + "x" * (n - 2) + ")") != "line-too-long")
    check("characters of the longest line that the standard holds", got=longest, expected=255.0, **COUNTED)


def test_four_m_words_fit_on_a_line_and_five_do_not() -> None:
    assert "m-words" not in codes("M0 M5 M8 M48")
    most = max(n for n in range(1, 6) if "m-words" not in codes(" ".join(["M0", "M5", "M8", "M48", "M6"][:n])))
    check("M words on one line", got=most, expected=4.0, **{**COUNTED, "trust": "from memory"})
    assert "m-words" in codes("M0 M5 M8 M48 M6")


@pytest.mark.parametrize(("text", "right"), [("G1.00009 X20", True), ("G0.99991 X20", True), ("G1.0002 X20", False)])
def test_codes_are_whole_within_a_ten_thousandth(text: str, right: bool) -> None:  # noqa: FBT001
    assert ("unknown-code" not in codes(text)) is right


@pytest.mark.parametrize("code", ["G0", "G1", "G2", "G3"])
def test_a_motion_code_without_axis_words_is_an_error(code: str) -> None:
    assert "axis-words-missing" in codes(code)


def test_two_words_of_one_letter_are_an_error() -> None:
    assert "repeated-word" in codes("G1 X20 X30")


def test_percent_signs_frame_a_file() -> None:
    inside = "G21 G90 G94 G17\nM5\nF6000\nG0 X10 Y10\nM3 S0\nG1 X20 S500\nM5\nM2\n"
    assert read_program(f"%\n{inside}%\n", BENCH).findings == ()
    assert {f.code for f in read_program(f"%\n{inside}", BENCH).findings} == {"percent"}
