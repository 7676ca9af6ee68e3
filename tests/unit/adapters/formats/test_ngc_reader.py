"""Every rule of the reader, each by a program a person could have written wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from evenburn.adapters.formats.ngc_reader import Finding, Limits, Report, findings, read_program, verify_file
from evenburn.core.errors import InvalidInput, NotFound, UnreadableFile

BENCH = Limits(
    bed_x_mm=600.0,
    bed_y_mm=400.0,
    power_word_max=1000.0,
    speed_max_mm_per_s=600.0,
    rapid_mm_per_s=600.0,
    accel_x_mm_per_s2=5000.0,
    accel_y_mm_per_s2=3000.0,
    jerk_mm_per_s3=None,
    line_overhead_s=0.0,
    power_cap_fraction=0.8,
    power_least_fraction=0.1,
)

GOOD = """\
(Sedgeholm Rowing Club, novice fours, front)
G21 G90 G94 G17
M5
F18000
G0 X10 Y20
M3 S0
G1 X20 S0
G1 X30 S500
G1 X40 S0
G0 X10 Y20.1
G1 X20
G1 X30 S500
G1 X40 S0
M5
M2
"""


def codes(report: Report, level: str = "stop") -> set[str]:
    return {finding.code for finding in report.findings if finding.level == level}


def program(body: str, *, head: str = "G21 G90 G94 G17\nM5\nF6000\nG0 X10 Y10\n", tail: str = "M5\nM2\n") -> str:
    return f"{head}{body}\n{tail}"


def only(body: str, limits: Limits = BENCH, **parts: str) -> Finding:
    """Return the only finding of level stop."""
    stops = [f for f in read_program(program(body, **parts), limits).findings if f.level == "stop"]
    assert len(stops) == 1, stops
    return stops[0]


def test_a_good_program_has_no_finding() -> None:
    report = read_program(GOOD, BENCH)
    assert report.findings == ()
    assert report.passed
    assert report.lines == 15
    assert report.moves == 8
    assert report.burn_length_mm == pytest.approx(20.0)
    assert report.burn_box_mm == pytest.approx((20.0, 20.0, 30.0, 20.1))
    assert report.travel_box_mm == pytest.approx((10.0, 20.0, 40.0, 20.1))
    assert report.full_power_s == pytest.approx(0.5 * 20.0 / 300.0)  # 20 mm at 300 mm/s and half power


BURN = "M3 S0\nG1 X20 S500\nS0"
ONE_STOP = {  # body: code and line of the one stop it must bring
    # where the head goes
    "G0 X600.001\n" + BURN: ("outside-travel", 5),
    "G0 Y-0.001\nY10\n" + BURN: ("outside-travel", 5),
    BURN + "\nG1 Y400.5": ("outside-travel", 8),
    "G0 X2 Y0.5\n" + "M3 S0\nG3 X6 Y0.5 I2 J0 S500\nS0": ("outside-travel", 7),  # bulges below the bed
    # light where there should be none
    "M3 S0\nG1 X20 S500\nG0 X30\nS0": ("lit-in-rapid", 7),
    "M3 S0\nG0 X30 S500\nG1 X20\nS0": ("lit-in-rapid", 6),
    "S500\nM3\nS0\nG1 X20": ("lit-at-rest", 6),
    "M3 S500\nG1 X20\nS0": ("lit-at-rest", 5),
    "M3 S0\nG1 X20 S500\nS400\nG1 X30\nS0": ("lit-at-rest", 7),
    "M3 S0\nG1 X20 S500\nG4 P0.5\nS0": ("lit-in-dwell", 7),
    "M3 S0\nG1 X20 S500\nM0\nS0": ("lit-in-dwell", 7),
    "M3 S0\nG1 X20 S500\nG1 X20\nS0": ("lit-without-length", 7),
    # words
    BURN + "\nS-1": ("power-out-of-range", 8),
    BURN + "\nM5 S1000.5": ("power-out-of-range", 8),
    BURN + "\nF0": ("feed-out-of-range", 8),
    BURN + "\nF-5": ("feed-out-of-range", 8),
    BURN + "\nF36001": ("feed-out-of-range", 8),
    BURN + "\nG20": ("units-inch", 8),
    BURN + "\nG91": ("distance-incremental", 8),
    BURN + "\nG93": ("feed-inverse", 8),
    BURN + "\nG18": ("plane-other", 8),
    BURN + "\nG0 X1 Z5": ("z-word", 8),
    BURN + "\nT1": ("unsupported-word", 8),
    BURN + "\nG28": ("unsupported-code", 8),
    BURN + "\nM4": ("unsupported-code", 8),
    BURN + "\nG5": ("unknown-code", 8),
    BURN + "\nG1.5 X3": ("unknown-code", 8),
    BURN + "\nM999": ("unknown-code", 8),
    BURN + "\nU5": ("unknown-word", 8),
    BURN + "\nP5": ("unrelated-word", 8),
    BURN + "\nG1 X5 I3": ("unrelated-word", 8),
    BURN + "\nG4": ("dwell", 8),
    BURN + "\nG4 P-1": ("dwell", 8),
    BURN + "\nG1": ("axis-words-missing", 8),
    BURN + "\nG80\nX5": ("motion-not-set", 9),
    BURN + "\nG2 X30": ("arc", 8),
    BURN + "\nG2 X30 Y10 I4 J0": ("arc", 8),  # 4 mm at the start, 6 at the end
    BURN + "\nG2 X30 Y10 R4.9": ("arc", 8),
    BURN + "\nG2 X20 Y10 R5": ("arc", 8),
    BURN + "\nG2 X30 Y10 R5 I5": ("arc", 8),
    # text
    BURN + "\n" + "(" + "x" * 78 + ")": ("line-not-short", 8),
    BURN + "\n" + "(" + "x" * 254 + ")": ("line-too-long", 8),
    BURN + "\n(Ärmelkanal)": ("character", 8),
    BURN + "\nG1 X30 !": ("character", 8),
    BURN + "\nG1 X30 \x0b": ("character", 8),
    BURN + "\nG0 X2 ; on": ("comment-form", 8),
    BURN + "\nX1e1": ("number-format", 8),
    BURN + "\nX1 Ynan": ("number-format", 8),
    BURN + "\nX1 Y-inf": ("number-format", 8),
    BURN + "\nX1 Y": ("number-format", 8),
    BURN + "\nX1,5": ("number-format", 8),
    BURN + "\nX1.5.2": ("number-format", 8),
    BURN + "\nX10 N5": ("line-number", 8),
    BURN + "\nX5 /Y6": ("character", 8),
    BURN + "\nX5 % Y6": ("character", 8),
}


@pytest.mark.parametrize(("body", "stop"), ONE_STOP.items())
def test_each_fault_is_one_stop_at_its_line(body: str, stop: tuple[str, int]) -> None:
    finding = only(body)
    assert (finding.code, finding.line) == stop
    assert finding.text
    assert finding.remedy


@pytest.mark.parametrize(
    ("line", "seen"),
    [
        ("X1 Y--5", {"number-format"}),
        ("X#5", {"number-format", "unsupported-word"}),
        ("X[1+2]", {"number-format", "unsupported-word"}),
        ("G1 X(to) 5", {"comment-in-word", "number-format"}),
        ("hello", {"number-format"}),
        ("H1 E1 O1", {"number-format", "unsupported-word", "unknown-word"}),
        ("X99999999999", {"number-format"}),
        ("(a (b) c)", {"comment-nested", "comment-unopened", "number-format"}),
        ("G0 X1 (a", {"comment-unclosed"}),
        ("N123456 G0 X1", {"line-number"}),
        ("N1.5 G0 X1", {"line-number"}),
        ("//G0 X1", {"character"}),
        ("M7 M8 M0 M48 M2 M9", {"m-words", "modal-group", "unsupported-code"}),
    ],
)
def test_what_is_not_in_the_language_is_named(line: str, seen: set[str]) -> None:
    assert seen <= codes(read_program(program(line), BENCH))


def test_an_arc_outside_the_travel_tells_how_far_it_reaches() -> None:
    finding = only("G0 X2 Y0.5\nM3 S0\nG3 X6 Y0.5 I2 J0 S500\nS0")
    assert "Y -1.5 to 0.5" in finding.text  # a half circle of radius 2 below its ends


@pytest.mark.parametrize(
    ("missing", "code"),
    [
        ("G21 ", "units-not-set"),
        ("G90 ", "distance-not-set"),
        ("G94 ", "feed-mode-not-set"),
        ("G17 ", "plane-not-set"),
        ("M5 ", "laser-not-off-first"),
        ("F6000 ", "feed-not-set"),
        ("G0 ", "motion-not-set"),
    ],
)
def test_what_the_first_move_needs_is_missed(missing: str, code: str) -> None:
    head = "G21 G90 G94 G17 \nM5 \nF6000 \nG0 X10 Y10\n".replace(missing, "")
    report = read_program(program("M3 S0\nG1 X20 S500\nS0", head=head), BENCH)
    assert code in codes(report)


def test_a_first_move_that_burns_is_a_stop() -> None:
    report = read_program("G21 G90 G94 G17\nF6000\nM3 S0\nG1 X10 Y10 S500\nG1 X20 S0\nM5\nM2\n", BENCH)
    assert codes(report) == {"laser-not-off-first"}


def test_switching_on_before_any_power_word_is_a_stop() -> None:
    finding = only("M3\nS0\nG1 X20 S500\nS0")
    assert (finding.code, finding.line) == ("power-not-set", 5)


def test_off_may_be_zero_power_under_the_on_word() -> None:
    report = read_program("G21 G90 G94 G17\nF6000\nM3 S0\nG0 X10 Y10\nG1 X20 S500\nM5\nM2\n", BENCH)
    assert report.findings == ()


def test_burning_before_both_axes_are_known_is_a_stop() -> None:
    report = read_program(program("M3 S0\nG1 X20 S500\nS0", head="G21 G90 G94 G17\nM5\nF6000\nG0 X10\nM3 S0\n"), BENCH)
    assert codes(report) == {"start-unknown"}


@pytest.mark.parametrize(
    ("tail", "code"),
    [
        ("M2\n", "not-off-at-end"),
        ("M5\n", "end-missing"),
        ("M5\nM2\nG0 X0\n", "text-after-end"),
        ("M5\nM2\n(done)\n", "text-after-end"),
        ("M5\nM2\n%\n", "percent"),
        ("M5\nM0\n", "end-missing"),
    ],
)
def test_a_wrong_end_is_a_stop(tail: str, code: str) -> None:
    assert codes(read_program(program("M3 S0\nG1 X20 S500\nG1 X30 S0", tail=tail), BENCH)) == {code}


def test_moves_behind_the_last_off_word_are_a_warning() -> None:
    report = read_program(program("M3 S0\nG1 X20 S500\nM5\nG0 X0", tail="M2\n"), BENCH)
    assert report.passed
    assert codes(report, "warn") == {"off-not-last"}


def test_blank_lines_behind_the_end_are_fine() -> None:
    assert read_program(GOOD + "\n \n\t\n", BENCH).findings == ()


@pytest.mark.parametrize("ends", ["\r\n", "\n"])
def test_both_line_ends_read_the_same(ends: str) -> None:
    assert read_program(GOOD.replace("\n", ends), BENCH) == read_program(GOOD, BENCH)


@pytest.mark.parametrize(
    ("text", "passes"),
    [
        (f"%\n{GOOD}%\n", True),
        (f"\n % \n{GOOD}\t%\n\n", True),
        (f"%\n{GOOD}", False),
        (f"{GOOD}%\n", False),
        (f"%\n{GOOD}%\nG0 X0\n", False),
        (f"(first)\n%\n{GOOD}%\n", False),
    ],
)
def test_percent_signs_frame_the_file_or_are_absent(text: str, passes: bool) -> None:  # noqa: FBT001
    assert read_program(text, BENCH).passed is passes


def test_power_between_fraction_limits_warns_only_outside_them() -> None:
    body = "M3 S0\nG1 X20 S{}\nS0"
    for power, code in [(99, "power-below-least"), (100, None), (800, None), (801, "power-above-cap")]:
        report = read_program(program(body.format(power)), BENCH)
        assert report.passed
        assert codes(report, "warn") == ({code} if code else set())


def test_rounding_to_a_whole_power_word_is_no_warning() -> None:
    # 0.333 of 255 is 84.915, written S85
    limits = replace(BENCH, power_word_max=255.0, power_cap_fraction=0.333, power_least_fraction=0.3331)
    assert read_program(program("M3 S0\nG1 X20 S85\nS0"), limits).findings == ()
    # but with S from 0 to 1 a step of 0.01 counts
    limits = replace(BENCH, power_word_max=1.0)
    report = read_program(program("M3 S0\nG1 X20 S0.81\nS0"), limits)
    assert codes(report, "warn") == {"power-above-cap"}


def test_a_slash_is_a_warning_and_the_line_is_read() -> None:
    report = read_program(program("M3 S0\n/G1 X700 S500\nS0"), BENCH)
    assert codes(report, "warn") == {"block-delete"}
    assert codes(report) == {"outside-travel"}


def test_a_feed_read_before_the_units_is_a_warning() -> None:
    report = read_program("G21 G90 G94 G17 F6000\nM5\nG0 X1 Y1\nM3 S0\nG1 X20 S500\nM5\nM2\n", BENCH)
    assert codes(report, "warn") == {"feed-before-units"}


def test_m30_and_pauses_are_notes() -> None:
    report = read_program(program("M0\nM3 S0\nG1 X20 S500\nS0", tail="M5\nM30\n"), BENCH)
    assert report.passed
    assert codes(report, "note") == {"ends-with-m30", "pauses"}


def test_a_machine_with_other_words_reads_its_own() -> None:
    limits = replace(BENCH, on_words=("M4", "M106"), off_words=("M107",))
    text = "G21 G90 G94 G17\nM107\nF6000\nG0 X10 Y10\nM{on} S0\nG1 X20 S500\nM107\nM2\n"
    assert read_program(text.format(on=4), limits).findings == ()
    assert read_program(text.format(on=106), limits).findings == ()
    assert codes(read_program(text.format(on=3), limits)) == {"unsupported-code"}


def test_air_words_are_let_through() -> None:
    assert read_program(program("M8\nM3 S0\nG1 X20 S500\nS0\nM9"), BENCH).findings == ()


@pytest.mark.parametrize("text", ["", "\n\n", "(nothing)\n", "%\n%\n", "   "])
def test_a_program_without_words_is_empty(text: str) -> None:
    report = read_program(text, BENCH)
    assert codes(report) == {"empty-program"}
    assert report.burn_box_mm is None
    assert report.travel_box_mm is None
    assert report.time_s == 0


def test_a_program_that_burns_nothing_is_a_warning() -> None:
    report = read_program(program("G1 X20"), BENCH)
    assert report.passed
    assert codes(report, "warn") == {"nothing-burnt"}
    assert report.burn_box_mm is None


@pytest.mark.parametrize("tail", ["I5 J0", "R5", "I5.0005"], ids=["centre", "radius", "half a thousandth off centre"])
def test_a_half_circle_bulges_by_its_radius(tail: str) -> None:
    report = read_program(program(f"M3 S0\nG2 X20 Y10 {tail} S500\nS0"), BENCH)
    assert report.passed
    tolerance = 2e-3  # what the standard lets the radius differ
    assert report.burn_box_mm == pytest.approx((10, 10, 20, 15), abs=tolerance)  # clockwise from the left: over the top
    assert report.burn_length_mm == pytest.approx(3.141592653589793 * 5, abs=tolerance)


@pytest.mark.parametrize(
    ("words", "box"),
    [
        ("G3 X20 Y20 I0 J10", (10, 10, 20, 20)),  # quarter, ends where it is right of its centre
        ("G2 X20 Y20 I0 J10", (0, 10, 20, 30)),  # the other three quarters
        ("G3 X20 Y20 R10", (10, 10, 20, 20)),  # the shorter way
        ("G3 X20 Y20 R-10", (10, 0, 30, 20)),  # the longer way, its centre on the other side
        ("G2 X10 Y10 I10 J0", (10, 0, 30, 20)),  # full circle
    ],
)
def test_arcs_reach_as_far_as_a_compass_would(words: str, box: tuple[float, ...]) -> None:
    report = read_program(program(f"M3 S0\n{words} S500\nS0"), BENCH)
    assert report.passed, report.findings
    assert report.burn_box_mm == pytest.approx(box, abs=1e-9)  # rounding in binary only


def test_many_findings_of_a_code_are_counted() -> None:
    body = "\n".join(f"G0 X{700 + i}" for i in range(40))
    report = read_program(program(body), BENCH)
    outside = [f for f in report.findings if f.code == "outside-travel"]
    assert len(outside) == findings.SHOWN_PER_CODE + 1
    assert outside[0].line == 5
    assert outside[-1].line is None
    assert outside[-1].text.startswith("35 more")


def test_inches_and_steps_are_refused_but_followed() -> None:
    report = read_program(program("G20\nG91\nM3 S0\nG1 X1 S500\nS0"), BENCH)
    assert codes(report) == {"units-inch", "distance-incremental"}
    assert report.burn_box_mm == pytest.approx((10, 10, 35.4, 10))  # an inch further


FAULTS = [  # what is written instead of what: a slip of the writer's, one at a time
    ("G21", "G20"),
    ("G21 ", ""),
    ("G90", "G91"),
    ("G90 ", ""),
    ("G94", "G93"),
    ("G17", "G19"),
    ("M5\nF", "F"),
    ("F18000\n", ""),
    ("F18000", "F48000"),
    ("F18000", "F1.8e4"),
    ("G0 X10 Y20\n", "G0 X10 Y-20\n"),
    ("G0 X10 Y20\n", "G1 X10\n"),
    ("M3 S0", "M3 S100"),
    ("M3 S0", "M3"),
    ("X30 S500", "X30 S5000"),
    ("X30 S500", "X630 S500"),
    ("X30 S500", "X3o S500"),
    ("X40 S0\nG0", "X40\nG0"),
    ("X30 S500\n", "X30\nS500\n"),
    ("X20 S0", "X20 S-1"),
    ("G1 X20\n", "G1 G0 X20\n"),
    ("G1 X20\n", "G1 X20 X21\n"),
    ("G1 X20\n", "G1 X20 Z1\n"),
    ("G1 X20\n", "G1\n"),
    ("M5\nM2", "M2"),
    ("M2\n", ""),
    ("M2\n", "M2\nG0 X0\n"),
    ("front)", "front"),
    ("front)", "front (left))"),
    ("Sedgeholm", "S" * 70),
    ("Sedgeholm", "Sedgehölm"),
]


@pytest.mark.parametrize(("right", "wrong"), FAULTS)
def test_every_single_slip_is_a_stop(right: str, wrong: str) -> None:
    slipped = GOOD.replace(right, wrong, 1)
    assert slipped != GOOD
    assert not read_program(slipped, BENCH).passed


def test_a_file_is_read_from_disk(tmp_path: Path) -> None:
    file = tmp_path / "front.ngc"
    file.write_bytes(GOOD.encode())
    assert verify_file(file, BENCH) == read_program(GOOD, BENCH)


def test_what_is_no_program_file_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(NotFound, match=r"none\.ngc"):
        verify_file(tmp_path / "none.ngc", BENCH)
    with pytest.raises(UnreadableFile, match="folder"):
        verify_file(tmp_path, BENCH)
    file = tmp_path / "a.ngc"
    file.write_bytes(b"G21\nM5\0\n")
    with pytest.raises(UnreadableFile, match="bytes"):
        verify_file(file, BENCH)
    file.write_bytes(b"G21\n(\xff)\n")
    with pytest.raises(UnreadableFile, match="line 2: byte 0xff"):
        verify_file(file, BENCH)
    monkeypatch.setattr("evenburn.adapters.formats.ngc_reader.check.LARGEST_FILE_BYTES", 3)
    with pytest.raises(UnreadableFile, match="MiB"):
        verify_file(file, BENCH)


def test_limits_that_cannot_be_are_told_together() -> None:
    with pytest.raises(InvalidInput) as refused:
        replace(BENCH, bed_x_mm=0.0, rapid_mm_per_s=float("nan"), line_overhead_s=-1.0, on_words=("S0",), off_words=())
    assert set(refused.value.fields) == {"bed_x_mm", "rapid_mm_per_s", "line_overhead_s", "on_words", "off_words"}
    with pytest.raises(InvalidInput, match="M5"):
        replace(BENCH, on_words=("M3", "M5"))
