"""Laws that hold for every bench, picture and curve, not only for those that were thought of."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from evenburn.core.errors import OutOfRange
from evenburn.core.layout.place import outline_on_bed, rectangle_outline
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.profile import move_time_s, run_up_mm, speed_within_mm_per_s
from evenburn.core.motion.raster import raster_events, room_needed_mm
from evenburn.core.motion.timing import program_time_s, sweep_time_s, time_lower_bound_s, travel_time_s
from evenburn.core.nouns.events import Event, Sweep, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import ripple_factor
from evenburn.core.planning.batch import changes, least_changes, set_up_order
from evenburn.core.planning.power import delivered_power_W, power_word, power_word_decimals, settable_power_W
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2, total_energy_J
from evenburn.core.response.curve import (
    effective_exposure,
    exposure_for_tone,
    exposures_for_tones,
    fit_sd_L,
    tone_L,
    tone_range_L,
    tone_sd_L,
    tone_slope_L_per_decade,
    usable_range,
)
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.diffusion import diffuse
from strategies import between, curves, machines, moves, pictures, power_machines, sweeps, two_bars
from unit.core.examples import blank, machine, piece

SPACING_mm = 0.1
ORIGIN_mm = (200.0, 120.0)
ROUNDING = 1e-9  # of sums of a few hundred doubles, with room
FLOAT32 = 2e-5  # maps are float32, and an exponential tail is followed for eight of its lengths

PROMPT = machine(rise_time_s=0.0)
SPEEDS = between(20.0, 900.0)
MICROMETRES = st.integers(-400_000, 400_000).map(lambda n: n / 1000.0)
AXES: st.SearchStrategy[Axis] = st.sampled_from(["x", "y"])


def raster(
    bench: Machine, picture_W: NDArray[np.float32], *, axis: Axis, speed_mm_per_s: float, passes: int = 1
) -> list[Event]:
    return list(
        raster_events(
            bench,
            picture_W,
            axis=axis,
            along_origin_mm=ORIGIN_mm[0],
            cross_origin_mm=ORIGIN_mm[1],
            line_spacing_mm=SPACING_mm,
            speed_mm_per_s=speed_mm_per_s,
            passes=passes,
        )
    )


# ---- energy -------------------------------------------------------------------------------------------------------


@given(bench=machines(), picture=pictures(), axis=AXES, speed=SPEEDS, passes=st.integers(1, 3))
def test_a_raster_puts_down_the_energy_of_its_picture(
    bench: Machine, picture: NDArray[np.float32], axis: Axis, speed: float, passes: int
) -> None:
    expected = passes * float(picture.astype(np.float64).sum()) * SPACING_mm / speed
    events = raster(bench, picture, axis=axis, speed_mm_per_s=speed, passes=passes)
    # a pixel's edges are differences of some 200 mm: 1e-13 mm of 0.1
    assert total_energy_J(events) == pytest.approx(expected, rel=ROUNDING, abs=1e-15)


@given(
    bench=machines(),
    picture=pictures(burnt=True),
    axis=AXES,
    speed=between(20.0, 400.0),
    beam_and_pixel=st.tuples(between(0.05, 0.3), between(0.02, 0.06)),
)
def test_a_dose_map_keeps_the_energy(
    bench: Machine, picture: NDArray[np.float32], axis: Axis, speed: float, beam_and_pixel: tuple[float, float]
) -> None:
    radius, pixel = beam_and_pixel
    events = raster(bench, picture, axis=axis, speed_mm_per_s=speed)
    lead = speed * bench.rise_time_s
    around = 2.0 * radius + 0.1 + pixel  # the beam's kernel ends at 4 σ = 2 w
    along = around + lead + 0.1 + 8.0 * lead  # commanded early by the lead and half the offset; ends late by e⁻⁸
    rows, columns = picture.shape
    size_along, size_cross = columns * SPACING_mm + 2.0 * along, rows * SPACING_mm + 2.0 * around
    low = (ORIGIN_mm[0] - along, ORIGIN_mm[1] - around)
    counts = (math.ceil(size_along / pixel), math.ceil(size_cross / pixel))
    assume(counts[0] < 3000)
    x = axis == "x"
    window = DoseGrid(
        x0_mm=low[0] if x else low[1],
        y0_mm=low[1] if x else low[0],
        pixel_x_mm=pixel,
        pixel_y_mm=pixel,
        rows=counts[1] if x else counts[0],
        columns=counts[0] if x else counts[1],
    )
    dose = dose_map_J_per_mm2(collect(events, window), beam_radius_mm=radius, rise_time_s=bench.rise_time_s)
    assert (dose >= 0.0).all()
    assert float(dose.astype(np.float64).sum()) * pixel**2 == pytest.approx(total_energy_J(events), rel=FLOAT32)


@given(picture=pictures(burnt=True), speed=SPEEDS, factor=st.sampled_from([0.25, 0.5, 2.0, 4.0]))
def test_the_dose_is_linear_in_the_power(picture: NDArray[np.float32], speed: float, factor: float) -> None:
    window = DoseGrid(
        x0_mm=ORIGIN_mm[0] - 0.4,
        y0_mm=ORIGIN_mm[1] - 0.4,
        pixel_x_mm=0.05,
        pixel_y_mm=0.05,
        rows=32,
        columns=40,
    )

    def dose(powers: NDArray[np.float32]) -> NDArray[np.float32]:
        events = raster(PROMPT, powers, axis="x", speed_mm_per_s=speed)
        return dose_map_J_per_mm2(collect(events, window), beam_radius_mm=0.1, rise_time_s=0.0)

    once = dose(picture)
    # powers of two scale floats without rounding, except where the smallest become denormal
    assert dose(picture * np.float32(factor)) == pytest.approx(factor * once, rel=1e-5, abs=1e-12)


# ---- time ---------------------------------------------------------------------------------------------------------


@given(bench=machines(), events=st.lists(moves(), max_size=8), cut=st.integers(0, 8))
def test_time_is_additive(bench: Machine, events: list[Event], cut: int) -> None:
    """The whole takes its two parts and the way of a rapid that begins the second."""
    cut = min(cut, len(events))
    first, second = events[:cut], events[cut:]
    between_s = 0.0
    if first and second and isinstance(second[0], Travel):
        x, y = end_of(first[-1])
        dx, dy = (round(to - at, 9) for to, at in zip(second[0].to_mm, (x, y), strict=True))  # as the clock has it
        between_s = travel_time_s(bench, dx_mm=dx, dy_mm=dy)
    parts_s = program_time_s(bench, first) + between_s + program_time_s(bench, second)
    assert program_time_s(bench, events) == pytest.approx(parts_s, rel=ROUNDING, abs=1e-12)


def end_of(event: Event) -> tuple[float, float]:
    if isinstance(event, Sweep):
        return (event.end_mm, event.cross_mm) if event.axis == "x" else (event.cross_mm, event.end_mm)
    assert isinstance(event, Travel)
    return event.to_mm


@given(bench=machines(), sweep=sweeps())
def test_no_sweep_is_quicker_than_its_length_at_full_speed(bench: Machine, sweep: Sweep) -> None:
    length = abs(sweep.end_mm - sweep.start_mm)
    assert sweep_time_s(bench, sweep) >= length / sweep.speed_mm_per_s + bench.line_overhead_s - 1e-12


@given(bench=machines(), dx=MICROMETRES, dy=MICROMETRES)
def test_no_rapid_is_quicker_than_its_distance_at_top_speed(bench: Machine, dx: float, dy: float) -> None:
    time = travel_time_s(bench, dx_mm=dx, dy_mm=dy)
    assert time >= math.hypot(dx, dy) / bench.rapid_mm_per_s * (1.0 - 1e-12)
    assert time == travel_time_s(bench, dx_mm=-dx, dy_mm=-dy)


@given(
    accel=between(100.0, 20000.0),
    jerk=st.one_of(st.none(), between(1e4, 1e7)),
    speed=between(1.0, 1500.0),
    lengths=st.lists(between(0.0, 800.0), min_size=2, max_size=6),
)
def test_a_longer_way_takes_longer_and_jerk_never_helps(
    accel: float, jerk: float | None, speed: float, lengths: list[float]
) -> None:
    ways = np.sort(lengths)
    times = move_time_s(ways, speed_mm_per_s=speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)
    assert (np.diff(times) >= -1e-12).all()
    free = move_time_s(ways, speed_mm_per_s=speed, accel_mm_per_s2=accel, jerk_mm_per_s3=None)
    assert (times >= free * (1.0 - 1e-9) - 1e-12).all()


@given(accel=between(100.0, 20000.0), jerk=st.one_of(st.none(), between(1e4, 1e7)), speed=between(1.0, 1500.0))
def test_run_up_and_the_speed_it_allows_are_inverse(accel: float, jerk: float | None, speed: float) -> None:
    room = float(run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))
    # near the change between the two forms the quadratic loses half its digits
    assert speed_within_mm_per_s(room, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk) == pytest.approx(speed, rel=1e-6)


@given(bench=machines(), picture=pictures(burnt=True), axis=AXES, speed=SPEEDS, passes=st.integers(1, 3))
def test_no_program_beats_its_lower_bound(
    bench: Machine, picture: NDArray[np.float32], axis: Axis, speed: float, passes: int
) -> None:
    events = raster(bench, picture, axis=axis, speed_mm_per_s=speed, passes=passes)
    assert 0.0 < time_lower_bound_s(bench, events) <= program_time_s(bench, events) * (1.0 + ROUNDING)


def stretch_by_stretch(bench: Machine, events: list[Event]) -> list[Event]:
    """Return the same burning, each stretch in a go of its own: the first of all lines, then the second ones, …"""
    goes: list[tuple[int, int, Sweep, NDArray[np.float64], NDArray[np.float64]]] = []
    for row, line in enumerate(e for e in events if isinstance(e, Sweep)):
        upward = line.end_mm > line.start_mm
        edges, power = (line.edges_mm, line.power_W) if upward else (line.edges_mm[::-1], line.power_W[::-1])
        bounds = np.flatnonzero(np.diff(np.concatenate(([False], power > 0.0, [False])).astype(np.int8)))
        for nth, (first, last) in enumerate(zip(bounds[::2], bounds[1::2], strict=True)):
            goes.append((nth, row, line, edges[first : last + 1], power[first:last]))
    program: list[Event] = []
    for turn, (_, _, line, rising, powers) in enumerate(sorted(goes, key=lambda go: go[:2])):
        accel = bench.accel_x_mm_per_s2 if line.axis == "x" else bench.accel_y_mm_per_s2
        room = float(run_up_mm(line.speed_mm_per_s, accel_mm_per_s2=accel, jerk_mm_per_s3=bench.jerk_mm_per_s3))
        sign = 1.0 if turn % 2 == 0 else -1.0
        edges, power = (rising, powers) if sign > 0.0 else (rising[::-1], powers[::-1])
        start, end = float(edges[0]) - sign * room, float(edges[-1]) + sign * room
        program.append(Travel(to_mm=(start, line.cross_mm) if line.axis == "x" else (line.cross_mm, start)))
        program.append(replace(line, start_mm=start, end_mm=end, edges_mm=edges, power_W=power))
    return program


@given(
    bench=machines(),
    picture=st.one_of(pictures(burnt=True), two_bars()),
    axis=AXES,
    speed=SPEEDS,
    spacing=between(0.05, 10.0),
)
def test_no_program_that_burns_stretch_by_stretch_beats_the_bound_either(
    bench: Machine, picture: NDArray[np.float32], axis: Axis, speed: float, spacing: float
) -> None:
    """Wide pixels, so that gaps are met that a turn is quicker than, and others."""
    events = list(
        raster_events(
            bench,
            picture,
            axis=axis,
            along_origin_mm=ORIGIN_mm[0],
            cross_origin_mm=ORIGIN_mm[1],
            line_spacing_mm=spacing,
            speed_mm_per_s=speed,
            passes=1,
        )
    )
    other = stretch_by_stretch(bench, events)
    assert total_energy_J(other) == pytest.approx(total_energy_J(events), rel=ROUNDING)  # it does the same work
    assert time_lower_bound_s(bench, events) <= program_time_s(bench, other) * (1.0 + ROUNDING)


@given(bench=machines(), picture=pictures(burnt=True), axis=AXES, speed=SPEEDS)
def test_joining_turns_never_makes_a_program_slower(
    bench: Machine, picture: NDArray[np.float32], axis: Axis, speed: float
) -> None:
    events = raster(bench, picture, axis=axis, speed_mm_per_s=speed)
    apart: list[Event] = []
    room = room_needed_mm(bench, axis=axis, speed_mm_per_s=speed) - abs(
        speed * bench.rise_time_s + 0.5 * bench.reversal_offset_mm
    )
    for s in (e for e in events if isinstance(e, Sweep)):
        sign = 1.0 if s.end_mm > s.start_mm else -1.0
        start, end = float(s.edges_mm[0]) - sign * room, float(s.edges_mm[-1]) + sign * room
        apart.append(Travel(to_mm=(start, s.cross_mm) if axis == "x" else (s.cross_mm, start)))
        apart.append(
            Sweep(
                axis=axis,
                cross_mm=s.cross_mm,
                start_mm=start,
                end_mm=end,
                speed_mm_per_s=speed,
                edges_mm=s.edges_mm,
                power_W=s.power_W,
            )
        )
    assert program_time_s(bench, events) <= program_time_s(bench, apart) * (1.0 + ROUNDING)


# ---- where the head goes --------------------------------------------------------------------------------------------


@given(bench=machines(), picture=pictures(burnt=True), axis=AXES, speed=SPEEDS, passes=st.integers(1, 2))
def test_a_raster_stays_within_its_picture_and_the_room_it_asked_for(
    bench: Machine, picture: NDArray[np.float32], axis: Axis, speed: float, passes: int
) -> None:
    events = raster(bench, picture, axis=axis, speed_mm_per_s=speed, passes=passes)
    moved, burnt = boxes_mm(events)
    assert moved is not None
    assert burnt is not None
    lines, pixels = np.flatnonzero((picture > 0).any(axis=1)), np.flatnonzero((picture > 0).any(axis=0))
    along = (ORIGIN_mm[0] + pixels[0] * SPACING_mm, ORIGIN_mm[0] + (pixels[-1] + 1) * SPACING_mm)
    cross = (ORIGIN_mm[1] + (lines[0] + 0.5) * SPACING_mm, ORIGIN_mm[1] + (lines[-1] + 0.5) * SPACING_mm)
    room = room_needed_mm(bench, axis=axis, speed_mm_per_s=speed)
    lead = abs(speed * bench.rise_time_s + 0.5 * bench.reversal_offset_mm)
    first, second = (0, 1) if axis == "x" else (1, 0)
    assert moved[first] >= along[0] - room - ROUNDING
    assert moved[first + 2] <= along[1] + room + ROUNDING
    assert burnt[first] >= along[0] - lead - ROUNDING
    assert burnt[first + 2] <= along[1] + lead + ROUNDING
    for box in (moved, burnt):
        assert (box[second], box[second + 2]) == pytest.approx(cross, abs=ROUNDING)


@given(bench=machines(), picture=pictures(burnt=True), axis=AXES, speed=SPEEDS, passes=st.integers(1, 3))
def test_every_line_has_its_run_up_and_turns_round(
    bench: Machine, picture: NDArray[np.float32], axis: Axis, speed: float, passes: int
) -> None:
    lines = [e for e in raster(bench, picture, axis=axis, speed_mm_per_s=speed, passes=passes) if isinstance(e, Sweep)]
    assert len(lines) == passes * int((picture > 0).any(axis=1).sum())
    accel = bench.accel_x_mm_per_s2 if axis == "x" else bench.accel_y_mm_per_s2
    need = float(run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=bench.jerk_mm_per_s3))
    for line in lines:
        sign = math.copysign(1.0, line.end_mm - line.start_mm)
        assert sign * (line.edges_mm[0] - line.start_mm) >= need - ROUNDING
        assert sign * (line.end_mm - line.edges_mm[-1]) >= need - ROUNDING
        assert line.power_W[0] > 0.0
        assert line.power_W[-1] > 0.0
    for here, there in pairwise(lines):
        assert (here.end_mm > here.start_mm) != (there.end_mm > there.start_mm)


@given(
    size=st.tuples(between(1.0, 300.0), between(1.0, 300.0)),
    place=st.tuples(between(-50.0, 500.0), between(-50.0, 300.0)),
    turn=between(-720.0, 720.0),
)
def test_a_blank_lies_where_it_was_laid(size: tuple[float, float], place: tuple[float, float], turn: float) -> None:
    lying = piece(blank=blank(size_mm=size, outline=rectangle_outline(size)), place_bed_mm=place, turn_deg=turn)
    on = outline_on_bed(lying)
    assert on.bounds[:2] == pytest.approx(place, abs=1e-9)
    assert on.area == pytest.approx(size[0] * size[1], rel=1e-9)


# ---- the curve --------------------------------------------------------------------------------------------------------


@given(c=curves())
def test_tone_runs_one_way_along_the_usable_range(c: CharacteristicCurve) -> None:
    low, high = usable_range(c)
    assume(high > low)
    way = math.copysign(1.0, c.full_L - c.bare_L)
    assert high <= min(c.x_high, c.x_char)
    # two logistics may leave a dent of thousandths of L* before their turn; nobody sees it
    assert (way * np.diff(tone_L(c, np.linspace(low, high, 300))) > -1e-2).all()


@given(c=curves(), share=between(0.02, 0.98))
def test_a_tone_and_its_exposure_are_inverse(c: CharacteristicCurve, share: float) -> None:
    faint, full = tone_range_L(c)
    assume(abs(full - faint) > 1.0)
    tone = faint + share * (full - faint)
    exposure = exposure_for_tone(c, tone)
    assert float(tone_L(c, exposure)) == pytest.approx(tone, abs=1e-2)


@given(c=curves(), beyond=between(0.01, 60.0))
def test_tones_outside_are_refused_one_by_one_and_held_to_the_end_in_an_array(
    c: CharacteristicCurve, beyond: float
) -> None:
    low, high = sorted(tone_range_L(c))
    ends = usable_range(c)
    for tone in (low - beyond, high + beyond):
        with pytest.raises(OutOfRange):
            exposure_for_tone(c, tone)
        assert float(exposures_for_tones(c, tone)) == pytest.approx(
            min(ends, key=lambda x: abs(float(tone_L(c, x)) - tone)), abs=1e-9
        )


@given(c=curves(), dose=between(0.01, 20.0), dwell=between(0.05, 20.0), times=between(1.01, 10.0))
def test_more_energy_exposes_more_by_its_logarithm(
    c: CharacteristicCurve, dose: float, dwell: float, times: float
) -> None:
    x = effective_exposure(c, dose_J_per_mm2=[dose, times * dose], dwell_ms=dwell)
    assert float(x[1] - x[0]) == pytest.approx(math.log10(times), abs=1e-9)


@given(c=curves(), log10_dose=between(-1.5, 1.0), dwell=between(0.05, 20.0), passes=st.integers(1, 3))
def test_what_the_person_meets_is_never_surer_than_the_fit(
    c: CharacteristicCurve, log10_dose: float, dwell: float, passes: int
) -> None:
    fit = fit_sd_L(c, log10_dose=log10_dose, dwell_ms=dwell, passes=passes)
    met = tone_sd_L(c, log10_dose=log10_dose, dwell_ms=dwell, passes=passes)
    assert met >= max(fit, c.evenness_L, c.board_L, c.reading_L)
    assert met <= fit + c.evenness_L + c.board_L + c.reading_L


@given(c=curves(), x=between(-2.0, 2.0))
def test_the_slope_is_what_a_small_step_does(c: CharacteristicCurve, x: float) -> None:
    step = 1e-3
    rise = float(tone_L(c, x + step) - tone_L(c, x - step)) / (2.0 * step)
    # third derivative: some 80 L* · k³ = 1.4e5, times h²/6
    assert float(tone_slope_L_per_decade(c, x)) == pytest.approx(rise, abs=0.1)


# ---- light, power, order ----------------------------------------------------------------------------------------------


@given(tones=st.lists(between(0.0, 100.0), min_size=1, max_size=20))
def test_lightness_and_luminance_are_inverse_and_rise_together(tones: list[float]) -> None:
    levels = luminance(np.sort(tones))
    assert (np.diff(levels) >= 0.0).all()
    assert lightness_L(levels) == pytest.approx(np.sort(tones), abs=1e-9)


@given(
    coverage=hnp.arrays(
        np.float32,
        st.tuples(st.integers(1, 40), st.integers(1, 40)),
        elements=st.integers(0, 255).map(lambda n: np.float32(n / 255.0)),
    )
)
def test_a_halftone_sets_as_many_dots_as_the_picture_is_dark(coverage: NDArray[np.float32]) -> None:
    """What error diffusion cannot hand on, it loses at the left, right and lower edge: half a dot for each pixel there."""
    dots = diffuse(coverage, kernel="floyd-steinberg")
    assert dots.shape == coverage.shape
    rows, columns = coverage.shape
    rounding = dots.size / 255.0  # whole greys, rounded once more on the way
    edges = 0.5 * (2 * rows + columns)
    assert abs(float(dots.sum()) - float(coverage.sum(dtype=np.float64))) <= edges + rounding


@given(radius=between(0.03, 0.6), spacing=between(0.02, 1.0))
def test_lines_leave_their_mean_dose_in_the_mean(radius: float, spacing: float) -> None:
    assume(spacing <= 8.0 * radius)
    phases = (np.arange(400) + 0.5) / 400
    factors = ripple_factor(beam_radius_mm=radius, line_spacing_mm=spacing, phase=phases)
    assert (factors >= 0.0).all()
    assert float(factors.mean()) == pytest.approx(1.0, abs=1e-9)


@given(bench=power_machines(), share=between(0.001, 1.0))
def test_an_s_word_written_and_read_is_the_power_meant(bench: Machine, share: float) -> None:
    power = share * bench.power_max_W
    settable = float(settable_power_W(bench, power_W=power))
    text = f"{float(power_word(bench, power_W=settable)):.{power_word_decimals(bench)}f}"
    assert float(delivered_power_W(bench, power_fraction=float(text) / bench.power_word_max)) == pytest.approx(
        settable, rel=1e-12, abs=1e-12
    )
    assert float(settable_power_W(bench, power_W=settable)) == pytest.approx(settable, rel=1e-12, abs=1e-12)


@given(pieces=st.lists(st.tuples(st.sampled_from([6.0, 12.1]), st.sampled_from([9.5, 11.0, 12.5])), max_size=20))
def test_the_order_of_the_batch_burns_each_piece_once_and_sets_up_once_for_each_set_up(
    pieces: list[tuple[float, float]],
) -> None:
    runs = [[piece] for piece in pieces]
    order = set_up_order(runs)
    assert sorted(order) == list(range(len(runs)))
    assert changes([runs[i] for i in order]) == len(set(pieces)) == least_changes(runs)


@given(
    pieces=st.lists(
        st.tuples(st.sampled_from([6.0, 12.1]), st.lists(st.sampled_from([9.5, 11.0, 12.5, 14.0]), max_size=3)),
        max_size=20,
    )
)
def test_pieces_with_several_stand_offs_are_strung_together_and_those_without_any_come_last(
    pieces: list[tuple[float, list[float]]],
) -> None:
    runs = [[(thickness, stand_off) for stand_off in marks] for thickness, marks in pieces]
    order = set_up_order(runs)
    assert sorted(order) == list(range(len(runs)))
    burnt = [bool(runs[i]) for i in order]
    assert burnt == sorted(burnt, reverse=True)
    assert changes([runs[i] for i in order]) == least_changes(runs) <= changes(runs)
