"""Verniers: where their strokes stand, how late a stroke is against plain integration, and what shifts are taken for."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.card.mat_geometry import mat_for_card
from evenburn.core.card.reversal import strokes_of
from evenburn.core.card.reversal_fit import Shift, fit_reversal, late_mm, shifts_by_eye, shifts_of
from evenburn.core.card.wood_card import corner_marks
from evenburn.core.errors import InvalidInput
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.nouns.card import Card, LineReading, Reading
from evenburn.core.nouns.events import Sweep
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.reversal_card import (
    Setting,
    SIZE_mm,
    settings,
    vernier_events,
    verniers,
)
from unit.core.examples import CURVE, machine

SETTINGS = (
    Setting(speed_mm_per_s=25.0, line_spacing_mm=0.2, power_W=5.0, power_fraction=0.11),
    Setting(speed_mm_per_s=100.0, line_spacing_mm=0.1, power_W=10.0, power_fraction=0.2),
    Setting(speed_mm_per_s=400.0, line_spacing_mm=0.1, power_W=40.0, power_fraction=0.7),
)
BENCH = machine(rise_time_s=0.0003, reversal_offset_mm=0.2)


def card() -> Card:
    scales, strokes = verniers(SETTINGS)
    return Card(
        kind="motion",
        wood_id="hard-maple",
        machine_name="boathouse bench",
        lens_name="2 inch",
        size_mm=SIZE_mm,
        origin_bed_mm=(200.0, 150.0),
        focus_offset_mm=0.0,
        beam_radius_mm=0.08,
        patches=(),
        lines=strokes,
        corner_marks=corner_marks(SIZE_mm),
        mat=mat_for_card(SIZE_mm, kind="motion"),
        verniers=scales,
    )


def reading(shift_mm: dict[str, float], *, scatter_mm: float = 0.0) -> Reading:
    """A reading in which strokes towards + lie half a shift further, those towards − half a shift back."""
    made = card()
    generator = np.random.default_rng(3)
    lines = []
    for line in made.lines:
        vernier = line.id.split(">")[0].split("<")[0]
        half = 0.5 * shift_mm[vernier] * (1.0 if ">" in line.id else -1.0)
        lines.append(
            LineReading(
                line=line,
                width_mm=1.5,
                width_sd_mm=0.02,
                shift_mm=half + scatter_mm * generator.normal(),
                shift_sd_mm=0.01,
            )
        )
    return Reading(
        card=made,
        patches=(),
        lines=tuple(lines),
        bare_wood_L=80.0,
        bare_wood_L_sd=1.0,
        paper_L=93.0,
        print_scale_error=0.0,
        offset_L_sd=0.0,
        gain_sd=0.0,
        photographs=1,
    )


def test_strokes_of_number_n_line_up_where_the_shift_is_n_steps() -> None:
    """A vernier, by definition: 0.04 mm a step, so that lines 0.12 mm apart line up at 3."""
    made = card()
    plus, minus = (strokes_of(made, made.verniers[0], forward=f) for f in (True, False))
    assert len(plus) == len(minus) == 21
    apart = {
        int(a.id.split(">")[1]): (a.from_mm[0] + a.to_mm[0] - b.from_mm[0] - b.to_mm[0]) / 2.0 + 0.12
        for a, b in zip(plus, minus, strict=True)
    }
    assert min(apart, key=lambda n: abs(apart[n])) == 3
    assert apart[3] == pytest.approx(0.0, abs=1e-9)
    assert apart[0] == pytest.approx(0.12, abs=1e-9)


def test_the_strokes_are_burnt_where_drawn_each_row_its_own_way_corrections_left_out() -> None:
    events = vernier_events(BENCH, SETTINGS, origin_bed_mm=(200.0, 150.0))
    drawn = {round(x, 4) for k in card().lines for x in (200.0 + k.from_mm[0], 200.0 + k.to_mm[0])}
    sweeps = [e for e in events if isinstance(e, Sweep)]
    assert {round(float(x), 4) for s in sweeps for x in s.edges_mm} == drawn
    ways = [s.end_mm > s.start_mm for s in sweeps]
    assert ways == [n % 2 == 0 for n in range(len(sweeps))]
    for sweep, forward in zip(sweeps, ways, strict=True):
        seam = min((abs(sweep.cross_mm - 150.0 - y), y) for y in (23.4, 15.0, 6.6))[1] + 150.0
        assert (sweep.cross_mm > seam) == forward  # above the seam towards +, below it towards −
    moved, burnt = boxes_mm(events)
    assert moved is not None
    assert burnt is not None
    assert 200.0 < burnt[0] < burnt[2] < 200.0 + SIZE_mm[0]
    assert 150.0 < burnt[1] < burnt[3] < 150.0 + SIZE_mm[1]


def test_settings_are_equally_dark_within_what_the_machine_fires() -> None:
    least, most = power_window_W(BENCH)
    found = settings(BENCH, CURVE, beam_radius_mm=0.085, room_mm=150.0)
    assert len(found) == 3
    doses = [s.power_W / (s.speed_mm_per_s * s.line_spacing_mm) for s in found]
    assert max(doses) / min(doses) < 1.5  # what κ of 0.1 and the least power leave
    assert all(least < s.power_W <= most for s in found)
    assert found[-1].speed_mm_per_s > 8.0 * found[0].speed_mm_per_s


def test_a_machine_that_cannot_burn_at_two_speeds_is_refused() -> None:
    with pytest.raises(InvalidInput, match="dark enough"):
        settings(machine(power_least_fraction=0.75), CURVE, beam_radius_mm=0.085, room_mm=150.0)


@pytest.mark.parametrize(("speed", "seen_at", "unlike"), [(25.0, 0.4, 0.0), (100.0, 0.3, 0.4), (400.0, 0.45, -0.5)])
def test_lateness_against_plain_integration(speed: float, seen_at: float, unlike: float) -> None:
    """A Gaussian beam run over a stroke of 3 mm with a first-order laser, step by step; 1 µm, a step being 0.5 µm."""
    step, tau, radius = 0.0005, 0.0003, 0.09
    x = np.arange(-1.0, 5.0, step)
    power = np.zeros_like(x)
    now = 0.0
    for n, place in enumerate(x):
        on = 0.0 <= place < 3.0
        constant = tau * ((1.0 + unlike) if on else (1.0 - unlike))
        now = float(on) + (now - float(on)) * np.exp(-step / (speed * constant))
        power[n] = now
    kernel = np.exp(-2.0 * np.square(np.arange(-0.4, 0.4 + step / 2, step) / radius))
    dose = np.convolve(power, kernel / kernel.sum(), mode="same")
    there = np.flatnonzero(dose >= seen_at)
    sharp = np.convolve((x >= 0.0) & (x < 3.0), kernel / kernel.sum(), mode="same")
    before = np.flatnonzero(sharp >= seen_at)
    late = 0.5 * (x[there[0]] + x[there[-1]] - x[before[0]] - x[before[-1]])
    told = late_mm(speed, rise_time_s=tau, seen_at=seen_at, beam_radius_mm=radius, unlike=unlike)
    assert told == pytest.approx(late, abs=0.001)


def test_a_slow_stroke_is_late_by_speed_times_rise_time() -> None:
    """First-order lag far shorter than the beam shifts an edge by its mean, v τ, wherever it is seen."""
    for seen_at in (0.2, 0.5, 0.7):
        late = late_mm(5.0, rise_time_s=0.0002, seen_at=seen_at, beam_radius_mm=0.1)
        assert late == pytest.approx(0.001, rel=0.02)


def test_offset_and_rise_time_are_told_apart() -> None:
    true = {
        s.id: 0.05 + 2.0 * late_mm(s.speed_mm_per_s, rise_time_s=0.0003, seen_at=0.4, beam_radius_mm=0.08)
        for s in card().verniers
    }
    found = fit_reversal(shifts_of(reading(true, scatter_mm=0.01)), beam_radius_mm=0.08)
    assert found.reversal_offset_mm == pytest.approx(0.05, abs=0.01)
    assert 0.002 < found.reversal_offset_sd_mm < 0.01
    assert found.rise_time_s == pytest.approx(0.0003, rel=0.15)
    assert not found.doubtful


def test_one_stray_stroke_does_not_move_the_shift() -> None:
    seen = reading({"slow": 0.1, "middling": 0.1, "quick": 0.1}, scatter_mm=0.005)
    lines = list(seen.lines)
    strayed = LineReading(line=lines[4].line, width_mm=1.5, width_sd_mm=0.02, shift_mm=0.9, shift_sd_mm=0.01)
    lines[4] = strayed
    shifts = shifts_of(Reading(**{**{f: getattr(seen, f) for f in seen.__slots__}, "lines": tuple(lines)}))
    assert shifts[0].shift_mm == pytest.approx(0.1, abs=0.006)


def test_a_vernier_that_fits_no_machine_is_doubted() -> None:
    """Quick strokes cannot lie further back than slow ones: a laser is never early."""
    found = fit_reversal(shifts_of(reading({"slow": 0.1, "middling": 0.1, "quick": -0.2})), beam_radius_mm=0.08)
    assert found.doubtful


def test_by_eye_so_many_steps() -> None:
    shifts = shifts_by_eye(card(), {"slow": 2.5, "quick": 6.0})
    assert [round(s.shift_mm, 6) for s in shifts] == [0.1, 0.24]
    found = fit_reversal(shifts, beam_radius_mm=0.08)
    assert found.reversal_offset_mm == pytest.approx(0.09, abs=0.02)
    assert 0.01 < found.reversal_offset_sd_mm < 0.04


def test_one_vernier_by_eye_tells_no_rise_time() -> None:
    found = fit_reversal(shifts_by_eye(card(), {"slow": -1.0}), beam_radius_mm=0.08)
    assert found.rise_time_s is None
    assert found.reversal_offset_mm == pytest.approx(-0.05, abs=0.02)


@pytest.mark.parametrize("lines_up", [{"slowest": 2.0}, {"slow": 11.0}, {"slow": float("nan")}])
def test_what_is_on_no_vernier_is_refused(lines_up: dict[str, float]) -> None:
    with pytest.raises(InvalidInput, match="lines-up"):
        shifts_by_eye(card(), lines_up)


def test_nothing_seen_is_refused() -> None:
    with pytest.raises(InvalidInput, match="strokes"):
        fit_reversal((), beam_radius_mm=0.08)


def test_a_shift_at_one_speed_only_is_offset_and_lag_together() -> None:
    one = Shift(vernier="quick", speed_mm_per_s=400.0, shift_mm=0.2, shift_sd_mm=0.004, by="photograph")
    found = fit_reversal([one], beam_radius_mm=0.08)
    assert found.rise_time_s is None
    assert found.reversal_offset_sd_mm > 0.1  # a laser 0.4 ms late explains as much
