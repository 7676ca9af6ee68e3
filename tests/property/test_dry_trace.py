"""Laws of the dry trace, for every bench and box: it never lights the laser, stays on the bed, takes as long as told."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenburn.adapters.formats.ngc_reader import read_program
from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.core.motion.dry_trace import dry_trace_events, dry_trace_time_s
from evenburn.core.nouns.machine import Machine
from evenburn.services.verify_program import limits_of
from service.second_reader import interpret
from strategies import between, machines
from unit.core.examples import MACHINE

SAME_TIME = 0.005  # what the contract allows between plan and file
WRITTEN_mm = 0.0006  # places are written to 1 µm


@st.composite
def boxes(draw: st.DrawFn) -> NDArray[np.float64]:
    """Draw a box on the bed, perhaps flat or a point."""
    x = sorted((draw(between(0.0, MACHINE.bed_x_mm)), draw(between(0.0, MACHINE.bed_x_mm))))
    y = sorted((draw(between(0.0, MACHINE.bed_y_mm)), draw(between(0.0, MACHINE.bed_y_mm))))
    if draw(st.booleans()):
        y[1] = y[0]
    return np.array([[x[1], y[0]], [x[1], y[1]], [x[0], y[1]], [x[0], y[0]]])


@st.composite
def hulls(draw: st.DrawFn) -> NDArray[np.float64]:
    """Draw points round a place, turning one way."""
    middle = np.array([draw(between(60.0, 540.0)), draw(between(60.0, 340.0))])
    angles = np.sort(draw(st.lists(between(0.0, 6.2), min_size=1, max_size=40)))
    return middle + draw(between(0.01, 60.0)) * np.stack([np.cos(angles), np.sin(angles)], axis=1)


@given(bench=machines(), box=boxes(), hull=hulls(), swept=boxes())
def test_a_dry_trace_is_dark_on_the_bed_and_on_time(
    bench: Machine, box: NDArray[np.float64], hull: NDArray[np.float64], swept: NDArray[np.float64]
) -> None:
    events = dry_trace_events(bench, box_mm=box, hull_mm=hull, swept_mm=swept)

    text = "\n".join(program_lines(bench, events, head=Head(lines=("a test",)))) + "\n"

    assert "M3" not in text
    assert "M4" not in text
    assert {line.split("S")[1].split()[0] for line in text.splitlines() if line.startswith("G") and "S" in line} <= {
        "0"
    }
    strokes = interpret(text, rapid_mm_per_s=bench.rapid_mm_per_s)
    assert not any(stroke.power_word for stroke in strokes)
    for stroke in strokes:
        assert -WRITTEN_mm <= stroke.end[0] <= bench.bed_x_mm + WRITTEN_mm
        assert -WRITTEN_mm <= stroke.end[1] <= bench.bed_y_mm + WRITTEN_mm
        assert stroke.rapid or stroke.speed_mm_per_s <= bench.rapid_mm_per_s + 1e-3
    report = read_program(text, limits_of(bench))
    if events:
        assert report.passed, report.findings
        assert report.full_power_s == 0.0
        assert report.burn_box_mm is None
        assert report.time_s == pytest.approx(dry_trace_time_s(bench, events), rel=SAME_TIME, abs=0.01)
