"""Programs proven: whatever the bench, the wood, the blank and the artwork, a second interpreter finds what was planned.

Solid, photo, line, cut and lettering on random benches. Each program is written as text, passes `verify`, and is then
interpreted once more by `tests/interpreter`, which shares no code with writer, reader or planner. What has to hold:

- the laser is off before, between and after what burns: in every rapid, at rest, in run-up and run-out;
- the head stays inside the travel, S between the least that fires and the cap, F at most the machine's speed;
- dose integrated from the file is the plan's within 1 %: in all, on every place of the burn image, of a wide even area;
- time is the plan's within 0.5 %.

Every day a few jobs are tried, in a lap of `make soak` others, in `make campaign` a thousand with large marks.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenburn.adapters.formats.ngc_reader import read_program
from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.core.nouns.events import Trace
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Hold, Treatment
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.proof.dose import total_energy_J
from evenburn.services.verify_program import limits_of
from interpreter.clock import Pace, Times, times_left_open, times_of
from interpreter.dose import Light, Raster, energies_J, rastered_J
from interpreter.language import Move, Refused, Tape, interpret
from property.drawn import Drawing, Shape
from property.jobs import Job, jobs
from soaking import size
from unit.core.examples import CURVE, LENS, machine, mark, piece

FloatArray = NDArray[np.float64]

EXAMPLES = size(
    daily=16, lap=40, campaign=1000
)  # some ten seconds, half a minute, and with large marks a quarter of an hour

SAME_DOSE = 0.01  # what the contract allows between plan and file
SAME_TIME = 0.005  # … and of time
SHORT_s, SAME_s = 4.0, 0.02  # of very short programs a fiftieth of a second: places are written to 1 µm
WRITTEN_mm = 0.001  # places are written to 1 µm, so a length, and an edge, is right within that
FEED_WRITTEN_mm_per_s = 0.1 / 60.0  # F is written to 0.1 mm/min
ROUNDING = 1e-9


def pace_of(machine: Machine) -> Pace:
    return Pace(
        rapid_mm_per_s=machine.rapid_mm_per_s,
        accel_x_mm_per_s2=machine.accel_x_mm_per_s2,
        accel_y_mm_per_s2=machine.accel_y_mm_per_s2,
        jerk_mm_per_s3=machine.jerk_mm_per_s3,
        overhead_s=machine.line_overhead_s,
        tolerance_mm=machine.corner_tolerance_mm,
    )


def check_laser(machine: Machine, tape: Tape) -> None:
    """The laser is off whenever nothing is to be burnt."""
    assert tape.lit_at_rest == []
    assert tape.switched[0] == (0, False), "not switched off before the first move"
    assert tape.switched[-1] == (len(tape.moves), False), "not switched off after the last move"
    assert tape.ended_off
    lit = [move for move in tape.moves if move.word > 0.0]
    assert lit, "nothing burns"
    assert not [move.line for move in lit if move.is_rapid]
    assert not tape.moves[0].word
    assert not tape.moves[-1].word or not tape.moves[-1].is_rapid
    least = machine.power_least_fraction * machine.power_word_max
    most = machine.power_cap_fraction * machine.power_word_max
    assert min(move.word for move in lit) >= least - ROUNDING
    assert max(move.word for move in lit) <= most + ROUNDING


def check_travel(machine: Machine, tape: Tape) -> None:
    """The head stays inside the travel and below the machine's speed."""
    for move in tape.moves:
        assert 0.0 <= move.x1_mm <= machine.bed_x_mm, move
        assert 0.0 <= move.y1_mm <= machine.bed_y_mm, move
        assert move.is_rapid or move.feed_mm_per_s <= machine.speed_max_mm_per_s + FEED_WRITTEN_mm_per_s, move
        assert not (move.word and math.isnan(move.x0_mm + move.y0_mm)), move


def check_ramps(tape: Tape, times: Times) -> None:
    """Every lit move of a scan line goes at its feed from end to end: all starting and stopping is dark."""
    for move, taken in zip(tape.moves, times.moves_s, strict=True):
        if move.word > 0.0:
            length = math.hypot(move.x1_mm - move.x0_mm, move.y1_mm - move.y0_mm)
            # run-up is written to 1 µm, and so may be that much too short for the last of the speed
            assert taken <= length / move.feed_mm_per_s * (1.0 + 0.001) + 2.0 * WRITTEN_mm / move.feed_mm_per_s, move


def check_raster_dose(job: Job, work: MarkWork, moves: list[Move], energies: FloatArray) -> None:
    """Each place of the burn image gets its dose, no other gets any, and a wide even area gets the predicted one."""
    m, recipe, grid = job.machine, work.recipe, work.grid
    places = Raster(x0_mm=grid.x0_mm, y0_mm=grid.y0_mm, side_mm=grid.pixel_mm, rows=grid.rows, columns=grid.columns)
    early_mm = recipe.speed_mm_per_s * m.rise_time_s + 0.5 * m.reversal_offset_mm
    got, lost = rastered_J(moves, energies, places, axis=recipe.scan_axis, early_mm=early_mm)
    planned = work.picture_W.astype(np.float64) * (recipe.passes * grid.pixel_mm / recipe.speed_mm_per_s)
    full = float(planned.max())
    assert got.sum() + lost == pytest.approx(planned.sum(), rel=SAME_DOSE)
    edge = 2.0 * WRITTEN_mm / grid.pixel_mm  # of a place: where its two edges may come to lie as they are written
    assert lost <= edge * planned.sum()
    off = np.abs(got - planned) - SAME_DOSE * planned - edge * full
    assert off.max() <= 0.0, (np.unravel_index(off.argmax(), off.shape), float(off.max() / full))
    if work.reproduction != "continuous":
        inner = got[planned >= full * (1.0 - ROUNDING)]
        assert float(np.median(inner)) / grid.pixel_mm**2 == pytest.approx(
            work.predicted.dose_J_per_mm2, rel=SAME_DOSE + edge
        )


def check_followed_dose(job: Job, work: MarkWork, moves: list[Move], times: Times, energies: FloatArray) -> None:
    """All energy is the plan's, on its way; at its feed, each millimetre of way gets the predicted dose."""
    traces = [event for event in work.events if isinstance(event, Trace)]
    way = [(*place, lit) for e in traces for place, lit in zip(e.points_mm[1:].tolist(), e.power_W > 0.0, strict=True)]
    went = [(move.x1_mm, move.y1_mm, move.word > 0.0) for move in moves if not move.is_rapid]
    np.testing.assert_allclose(np.array(went, np.float64), np.array(way, np.float64), rtol=0.0, atol=ROUNDING)
    assert energies.sum() == pytest.approx(total_energy_J(work.events, machine=job.machine), rel=SAME_DOSE)
    predicted = work.predicted.dose_J_per_mm2 * work.recipe.line_spacing_mm / work.recipe.passes
    least = job.machine.power_least_fraction * job.machine.power_word_max
    for move, taken, energy in zip(moves, times.moves_s, energies.tolist(), strict=True):
        length = math.hypot(move.x1_mm - move.x0_mm, move.y1_mm - move.y0_mm)
        even = length > 100.0 * WRITTEN_mm and taken <= 1.001 * length / move.feed_mm_per_s
        if energy and even and move.word > 1.01 * least:
            assert energy / length == pytest.approx(predicted, rel=SAME_DOSE), move


def written(job: Job, work: MarkWork) -> str:
    return "\n".join(program_lines(job.machine, work.events, head=Head(lines=("a test",)))) + "\n"


def prove(job: Job, work: MarkWork) -> None:
    """Hold a program against its plan by both readers."""
    text = written(job, work)
    report = read_program(text, limits_of(job.machine))
    assert report.passed, report.findings
    total_s = prove_text(job, work, text)
    assert total_s == pytest.approx(report.time_s, abs=slack_of(work.predicted.time_s))


def slack_of(time_s: float) -> float:
    return SAME_s if time_s < SHORT_s else SAME_TIME * time_s


def prove_text(job: Job, work: MarkWork, text: str) -> float:
    """Hold a program against its plan by the second interpreter alone, and return its time."""
    m, plan = job.machine, work.predicted
    tape = interpret(text)
    check_laser(m, tape)
    check_travel(m, tape)
    times = times_of(tape.moves, pace_of(m))
    if work.followed is not None and abs(times.total_s() + tape.dwell_s - plan.time_s) > slack_of(plan.time_s):
        times = min(
            times_left_open(tape.moves, pace_of(m)), key=lambda open_: abs(open_.total_s() + tape.dwell_s - plan.time_s)
        )
    total_s = times.total_s() + tape.dwell_s
    assert total_s == pytest.approx(plan.time_s, abs=slack_of(plan.time_s))
    light = Light(curve=m.power_curve, word_of_all=m.power_word_max)
    energies = energies_J(tape.moves, times.moves_s, light)
    if work.followed is None:
        check_ramps(tape, times)
        check_raster_dose(job, work, tape.moves, energies)
    else:
        check_followed_dose(job, work, tape.moves, times, energies)
    return total_s


@given(job=st.one_of(jobs(likely=True), jobs(likely=True), jobs()))
@settings(max_examples=EXAMPLES)
def test_a_second_interpreter_finds_in_every_program_what_was_planned(job: Job) -> None:
    planned = job.work()
    for work in planned.marks:
        burns = planned.may_burn(work.mark.id)
        lettering = " lettering" if type(job.artworks[work.mark.id]).__name__ == "PlacedText" else ""
        event(f"{work.mark.treatment}{lettering}: {'burnt' if burns else 'stopped'}")
        if burns:
            prove(job, work)


def plain_job(treatment: Treatment) -> tuple[Job, MarkWork]:
    """A bar and a ring on the tests' bench."""
    bar = Shape(points=((0.05, 0.1), (0.4, 0.1), (0.4, 0.9), (0.05, 0.9)), closed=True, filled=True)
    slow = 62.0 if treatment == "line" else None  # quicker, a bar this small never comes up to its feed
    own = mark(treatment=treatment, size_mm=(20.0, 10.0), hold=Hold(scan_axis="x", speed_mm_per_s=slow))
    wood = Wood(
        id="w",
        name="w",
        surface="bare",
        curve=CURVE,
        bare_ab=(0.0, 0.0),
        full_ab=(0.0, 0.0),
        grain=False,
        burns_unevenly=False,
        finishing=(),
    )
    job = Job(
        machine=machine(), lens=LENS, wood=wood, piece=piece(marks=(own,)), artworks={"front": Drawing(shapes=(bar,))}
    )
    planned = job.work()
    assert planned.may_burn("front")
    return job, planned.marks[0]


def first(text: str, pattern: str, by: str | Callable[[re.Match[str]], str], *, count: int = 1) -> str:
    changed, times = re.subn(pattern, by, text, count=count, flags=re.MULTILINE)
    assert times, pattern
    return changed


FAULTS: dict[str, Callable[[str], str]] = {
    "a feed of 2 % less": lambda t: first(t, r"F([0-9.]+)", scaled_feed(0.98)),
    "a power of 3 % more": lambda t: first(t, r" S([1-9][0-9.]*)$", scaled_power(1.03), count=0),
    "one move lit that is dark": lambda t: first(t, r"^(G1 X\S+) S0$", r"\1 S300"),
    "one move dark that is lit": lambda t: first(t, r"^(G1 X\S+(?: Y\S+)?) S[1-9][0-9.]*", r"\1 S0"),
    "a lit rapid": lambda t: first(t, r"^(G0 X.*) S0$", r"\1 S300", count=0),
    "lit at the end": lambda t: first(t, r"^M5\nM2$", "M2"),
    "lit at rest": lambda t: first(t, r"^M([34]) S0$", r"M\1 S300"),
    "lit before the first move": lambda t: first(t, r"^M5$", "M3 S0"),
    "a program burnt twice": lambda t: t.replace("\nM2\n", "\n") + t[t.index("G0 ") :],
    "all of it a millimetre aside": lambda t: first(t, r" Y([0-9.]+)", shifted(1.0), count=0),
    "off the bed": lambda t: first(t, r" X([0-9.]+)", shifted(500.0), count=0),
    "run-up cut short": lambda t: first(t, r"^G0 X([0-9.]+)", shifted(6.0), count=0),
}


# a followed path has no dark moves and no run-up, and before its one rapid the laser is not switched on yet
NONE_ON_A_LINE = ("one move lit that is dark", "run-up cut short", "a lit rapid")


def scaled_feed(factor: float) -> Callable[[re.Match[str]], str]:
    return lambda m: f"F{float(m[1]) * factor:.1f}"


def scaled_power(factor: float) -> Callable[[re.Match[str]], str]:
    return lambda m: f" S{float(m[1]) * factor:.1f}"


def shifted(by_mm: float) -> Callable[[re.Match[str]], str]:
    return lambda m: m[0].replace(m[1], f"{float(m[1]) + by_mm:.3f}")


@pytest.mark.parametrize("treatment", ["solid", "line"])
@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_found(fault: str, treatment: Treatment) -> None:
    """The interpreter and its invariants catch what they are there for, with `verify` left out."""
    job, work = plain_job(treatment)
    text = written(job, work)
    prove_text(job, work, text)
    if treatment == "line" and fault in NONE_ON_A_LINE:
        return
    with pytest.raises((AssertionError, Refused)):
        prove_text(job, work, FAULTS[fault](text))
