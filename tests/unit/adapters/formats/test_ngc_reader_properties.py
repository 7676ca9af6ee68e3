"""Laws of the reader: it answers anything, and its short way answers as the long way does."""

from __future__ import annotations

from hypothesis import example, given
from hypothesis import strategies as st

from evenburn.adapters.formats.ngc_reader import Limits, read_program

BENCH = Limits(
    bed_x_mm=300.0,
    bed_y_mm=200.0,
    power_word_max=1000.0,
    speed_max_mm_per_s=400.0,
    rapid_mm_per_s=500.0,
    accel_x_mm_per_s2=5000.0,
    accel_y_mm_per_s2=3000.0,
    jerk_mm_per_s3=2e5,
    line_overhead_s=0.01,
    power_cap_fraction=0.8,
    power_least_fraction=0.1,
)
HEAD = "G21 G90 G94 G17\nM5\nF6000\nG0 X10 Y10\nM3 S0\n"

position = st.one_of(
    st.integers(-1, 310).map(str),
    st.floats(-1, 310).map(lambda v: f"{v:.3f}"),
    st.sampled_from(["10", "10.", "-0", "+5", ".5", "1e3", "1234567", "0.1234567", "", "\u0663"]),
)
power = st.sampled_from(["0", "50", "100", "500", "500.5", "800", "801", "1000", "1001", "-1", "0500"])
feed = st.sampled_from(["6000", "18000", "24000", "24001", "0", "0.0001", "5999.9"])


def _word(letter: str, values: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.one_of(st.just(""), values.map(lambda v: letter + v))


common = st.tuples(
    st.sampled_from(["", "", "N5", "N123456", "/"]),
    st.sampled_from(["", "", "G0", "G1", "G00", "G01", "g1", "G10", "G2"]),
    _word("X", position),
    _word("Y", position),
    st.one_of(st.just(""), st.just(""), _word("F", feed)),
    _word("S", power),
    _word("F", feed),
    st.sampled_from(["", "", "", " ", "(turn)", "I5", "X1"]),
)
common_line = st.tuples(common, st.sampled_from(["", " ", " ", "  ", "\t"])).map(
    lambda parts: parts[1].join(word for word in parts[0] if word)
)
odd_line = st.one_of(
    st.sampled_from(["", "(words)", "M3", "M5", "M3 S0", "S300", "S0", "F12000", "G4 P0.1", "M0", "M2", "%", "\r"]),
    st.sampled_from(["G91", "G90", "G20", "G21", "G80", "G2 X20 Y10 I5 J0", "G3 X15 Y15 R5"]),
    st.sampled_from(["G1 X20 Y20 S300 F12000", "G1 X20 S300", "X21", "Y20 S0", "G90 G94 G17"]),
)
body = st.lists(st.one_of(common_line, common_line, odd_line), max_size=30).map("\n".join)


@given(body=body, is_started=st.booleans())
@example(body="G1 X20 S500\nG0 X30\nS0\nX1", is_started=True)
@example(body="G1 X\u0663", is_started=True)
@example(body="Y-0.000S50", is_started=True)
@example(body="G0 X1 Y1\nM3 S500\nX2\n%\nM2", is_started=False)
def test_the_short_way_answers_as_the_long_way(*, body: str, is_started: bool) -> None:
    text = (HEAD if is_started else "") + body + "\nM5\nM2\n"
    assert read_program(text, BENCH) == read_program(text, BENCH, is_exact=True)


@given(text=st.text())
def test_any_text_gets_a_report(text: str) -> None:
    report = read_program(text, BENCH)
    assert not report.passed  # nothing of the kind is a program
    assert all(finding.text and finding.remedy for finding in report.findings)


@given(text=st.text(alphabet="GXYSFMPIJRNZ0123456789.-+ ()/%;\n\t,eE#", max_size=200))
def test_any_text_of_program_letters_gets_a_report(text: str) -> None:
    report = read_program(HEAD + text, BENCH)
    assert report == read_program(HEAD + text, BENCH, is_exact=True)
    assert report.time_s >= 0


@given(body=body)
def test_a_program_that_passed_burns_inside_its_travel_and_the_bed(body: str) -> None:
    report = read_program(HEAD + body + "\nM5\nM2\n", BENCH)
    if not report.passed or report.burn_box_mm is None:
        return
    slack = 1e-6  # what the reader takes for rounding
    assert report.travel_box_mm is not None
    bx0, by0, bx1, by1 = report.burn_box_mm
    tx0, ty0, tx1, ty1 = report.travel_box_mm
    assert -slack <= tx0 <= bx0 <= bx1 <= tx1 <= BENCH.bed_x_mm + slack
    assert -slack <= ty0 <= by0 <= by1 <= ty1 <= BENCH.bed_y_mm + slack
    assert report.time_s >= report.full_power_s  # no second of light without a second of time


@given(cut=st.integers(0, 200), junk=st.text(max_size=3))
def test_a_spoiled_good_program_still_gets_a_report(cut: int, junk: str) -> None:
    good = HEAD + "G1 X20 S500\nG1 X30 S0\nG0 X10 Y10.1\nG1 X20\nX25 S300\nX30 S0\nM5\nM2\n"
    text = good[:cut] + junk + good[cut:]
    assert read_program(text, BENCH) == read_program(text, BENCH, is_exact=True)
