"""Hypothesis strategies: random benches, pictures of powers and curves, each within what a workshop could meet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from evenburn.core.nouns.events import Event, Sweep, Travel
from evenburn.core.nouns.machine import Lens, Machine, Side
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve, Wood
from unit.core.examples import curve, machine

PowerPicture = NDArray[np.float32]
POWER_STEPS_W = 0.25  # pictures hold multiples of it, which float32 holds exactly


def between(low: float, high: float) -> st.SearchStrategy[float]:
    """Return floats of a closed range."""
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


@st.composite
def machines(draw: st.DrawFn, *, jerk: bool | None = None) -> Machine:
    """Draw a bench: with limited jerk, without, or either; slow and fast, lazy and prompt lasers, both signs of offset."""
    limited = draw(st.booleans()) if jerk is None else jerk
    return machine(
        speed_max_mm_per_s=draw(between(100.0, 1500.0)),
        rapid_mm_per_s=draw(between(50.0, 1500.0)),
        accel_x_mm_per_s2=draw(between(500.0, 20000.0)),
        accel_y_mm_per_s2=draw(between(300.0, 20000.0)),
        jerk_mm_per_s3=draw(between(2e4, 1e6)) if limited else None,
        line_overhead_s=draw(st.sampled_from([0.0, 0.003, 0.05])),
        rise_time_s=draw(between(0.0, 0.001)),
        reversal_offset_mm=draw(between(-0.2, 0.2)),
    )


@st.composite
def power_machines(draw: st.DrawFn) -> Machine:
    """Draw a bench by its power: any S scale from 1 to 65535, straight or bent between none and all of it."""
    power_max_W = draw(between(5.0, 150.0))
    fractions = sorted(draw(st.sets(st.integers(5, 95), max_size=4)))
    bend = draw(between(0.6, 1.8))
    points = [(0.0, 0.0), *((f / 100.0, power_max_W * (f / 100.0) ** bend) for f in fractions), (1.0, power_max_W)]
    return machine(
        power_max_W=power_max_W,
        power_curve=tuple(points),
        power_word_max=float(draw(st.sampled_from([1, 100, 255, 1000, 4095, 65535]))),
    )


@st.composite
def pictures(draw: st.DrawFn, *, most_rows: int = 8, most_columns: int = 12, burnt: bool = False) -> PowerPicture:
    """Draw a small picture of powers, much of it off; `burnt` asks for at least one pixel that is on. [W]"""
    shape = (draw(st.integers(1, most_rows)), draw(st.integers(1, most_columns)))
    steps = draw(hnp.arrays(np.int16, shape, elements=st.one_of(st.just(0), st.integers(0, 240)), fill=st.just(0)))
    if burnt and not steps.any():
        steps[draw(st.integers(0, shape[0] - 1)), draw(st.integers(0, shape[1] - 1))] = draw(st.integers(1, 240))
    return (steps * POWER_STEPS_W).astype(np.float32)


@st.composite
def two_bars(draw: st.DrawFn) -> PowerPicture:
    """Draw a picture of two upright bars with nothing between them. [W]"""
    gap = draw(st.integers(4, 60))
    line = [20.0] * draw(st.integers(1, 3)) + [0.0] * gap + [30.0] * draw(st.integers(1, 3))
    return np.tile(np.array(line, np.float32), (draw(st.integers(1, 12)), 1))


@st.composite
def curves(draw: st.DrawFn) -> CharacteristicCurve:
    """Draw a curve: woods that darken and slates that lighten, with or without a turn, a char limit inside or outside."""
    bare = draw(between(60.0, 92.0))
    full = draw(between(10.0, 45.0))
    if draw(st.booleans()):
        bare, full = full, bare
    x_mid = draw(between(-1.0, 0.5))
    turn = draw(st.sampled_from([0.0, 0.05, 0.2])) * (bare - full)
    return curve(
        bare_L=bare,
        full_L=full,
        x_mid=x_mid,
        steepness_per_decade=draw(between(3.0, 12.0)),
        asymmetry=draw(between(0.3, 3.0)),
        reversal_L=turn,
        x_reversal=x_mid + draw(between(0.6, 2.0)),
        kappa=draw(between(-0.3, 0.3)),
        pass_exponent=draw(between(0.8, 1.0)),
        x_low=x_mid - draw(between(0.4, 1.5)),
        x_high=x_mid + draw(between(0.4, 1.5)),
        x_char=x_mid + draw(between(0.5, 2.0)),
        covariance=np.diag(np.square([0.4, 0.9, 0.02, 0.3, 0.08, 0.3, 0.04, 0.02, 0.03])),
    )


@st.composite
def sweeps(draw: st.DrawFn) -> Sweep:
    """Draw one sweep along either axis, either way, with runs of any power and room before and after."""
    runs = draw(st.lists(st.tuples(between(0.01, 20.0), between(0.0, 60.0)), min_size=1, max_size=6))
    lengths = np.array([length for length, _ in runs])
    sign = draw(st.sampled_from([-1.0, 1.0]))
    first = draw(between(50.0, 350.0))
    edges = first + sign * np.concatenate(([0.0], np.cumsum(lengths)))
    room = draw(between(0.1, 40.0))
    return Sweep(
        axis=draw(st.sampled_from(["x", "y"])),
        cross_mm=draw(between(0.0, 400.0)),
        start_mm=float(edges[0]) - sign * room,
        end_mm=float(edges[-1]) + sign * room,
        speed_mm_per_s=draw(between(10.0, 800.0)),
        edges_mm=edges,
        power_W=np.array([power for _, power in runs]),
    )


@st.composite
def moves(draw: st.DrawFn) -> Event:
    """Draw a rapid or a sweep."""
    if draw(st.booleans()):
        return Travel(to_mm=(draw(between(0.0, 600.0)), draw(between(0.0, 400.0))))
    return draw(sweeps())


def over_decades(low: float, high: float) -> st.SearchStrategy[float]:
    """Return floats of a closed range, each decade as likely as the next."""
    return between(float(np.log10(low)), float(np.log10(high))).map(lambda decade: float(10.0**decade))


SIDES: tuple[Side | None, ...] = (None, "left", "right", "front", "back")


@st.composite
def benches(draw: st.DrawFn) -> Machine:
    """Draw a bench of any make: bed, motion, laser and power scale all random, its two axes unlike."""
    power_max_W = draw(between(2.0, 150.0))
    bend = draw(between(0.6, 1.8))
    fractions = sorted(draw(st.sets(st.integers(5, 95), max_size=4)))
    points = [(0.0, 0.0), *((f / 100.0, power_max_W * (f / 100.0) ** bend) for f in fractions), (1.0, power_max_W)]
    least = draw(between(0.0, 0.4))
    cap = draw(between(least + 0.02, 1.0))
    if fractions and fractions[0] <= 30 and draw(st.integers(0, 7)) == 7:
        points[1] = (points[1][0], 0.0)  # a meter that reads nothing there yet; a file that allows no more is refused
        cap = max(cap, points[1][0] + 0.05)
    return machine(
        bed_x_mm=draw(between(120.0, 1000.0)),
        bed_y_mm=draw(between(120.0, 800.0)),
        power_max_W=power_max_W,
        power_curve=tuple(points),
        power_least_fraction=least,
        power_cap_fraction=cap,
        power_word_max=draw(st.sampled_from([100.0, 255.0, 1000.0, 4095.0, 10000.0])),
        speed_max_mm_per_s=draw(between(20.0, 1000.0)),
        rapid_mm_per_s=draw(between(20.0, 1500.0)),
        accel_x_mm_per_s2=draw(over_decades(200.0, 20000.0)),
        accel_y_mm_per_s2=draw(over_decades(200.0, 20000.0)),
        jerk_mm_per_s3=draw(st.one_of(st.none(), over_decades(1e4, 1e6))),
        line_overhead_s=draw(st.sampled_from([0.0, 0.0, 0.004, 0.05])),
        rise_time_s=draw(st.one_of(st.just(0.0), between(0.0, 0.001))),
        reversal_offset_mm=draw(st.one_of(st.just(0.0), between(-0.3, 0.3))),
        reversal_sd_mm=draw(st.sampled_from([0.0, 0.0, 0.01, 0.05])),
        extraction_side=draw(st.sampled_from(SIDES)),
        corner_tolerance_mm=draw(st.sampled_from([0.001, 0.02, 0.2])),
    )


@st.composite
def lenses(draw: st.DrawFn) -> Lens:
    """Draw a lens and its beam: for CO2 lasers, and for those near 1 µm and in the blue."""
    return Lens(
        name="some lens",
        focal_length_mm=draw(between(38.0, 127.0)),
        beam_diameter_mm=draw(between(3.0, 12.0)),
        beam_quality_m2=draw(between(1.0, 2.5)),
        wavelength_um=draw(st.sampled_from([10.6, 10.6, 1.06, 0.45])),
        focus_stand_off_mm=draw(between(3.0, 60.0)),
        shape=draw(st.sampled_from(["meniscus", "plano-convex"])),
    )


@st.composite
def woods(draw: st.DrawFn) -> Wood:
    """Draw a lot with a curve of its own, all of its parameters bound up with one another in the covariance."""
    mixed = np.random.default_rng(draw(st.integers(0, 2**32 - 1))).normal(size=(9, 9))
    spread = np.diag([0.4, 0.9, 0.02, 0.3, 0.08, 0.3, 0.04, 0.02, 0.03]) * draw(between(0.0, 2.0)) / 3.0
    known = spread @ mixed @ mixed.T @ spread
    lot = replace(
        draw(curves()),
        covariance=0.5 * (known + known.T),
        evenness_L=draw(between(0.0, 6.0)),
        board_L=draw(between(0.0, 4.0)),
        reading_L=draw(between(0.0, 2.0)),
    )
    return Wood(
        id="some-lot",
        name="some lot",
        surface="bare",
        curve=lot,
        bare_ab=(6.0, 20.0),
        full_ab=(4.0, 6.0),
        grain=True,
        burns_unevenly=draw(st.booleans()),
        finishing=(),
        cut_J_per_mm3=draw(st.one_of(st.none(), between(1.0, 10.0))),
    )


assert len(CURVE_PARAMETERS) == 9, "curves() writes a covariance for nine parameters"
