"""What parallel lines leave: mean, ripple, single lines; published numbers stand in tests/published."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from evenburn.core.optics.lines import (
    WIDE_SPACING_RADII,
    dwell_ms,
    effective_passes,
    line_peak_dose_J_per_mm2,
    mean_dose_J_per_mm2,
    power_for_dose_W,
    radius_of_dwell_mm,
    ripple_factor,
    ripple_modulation,
)

ROUNDING = 1e-12


# ---- mean dose ------------------------------------------------------------------------------------------------------


def test_power_and_mean_dose_are_each_others_inverse() -> None:
    settings: dict[str, Any] = {
        "speed_mm_per_s": np.array([[50.0], [300.0]]),
        "line_spacing_mm": np.array([0.05, 0.1, 0.2]),
        "passes": 3,
    }
    dose = mean_dose_J_per_mm2(power_W=17.5, **settings)
    assert dose.shape == (2, 3)
    assert power_for_dose_W(dose_J_per_mm2=dose, **settings) == pytest.approx(np.full((2, 3), 17.5), rel=ROUNDING)


def test_twice_the_power_the_spacing_the_speed_or_the_passes() -> None:
    base: dict[str, Any] = {"power_W": 20.0, "speed_mm_per_s": 200.0, "line_spacing_mm": 0.1, "passes": 1}
    assert float(mean_dose_J_per_mm2(**base)) == pytest.approx(1.0, rel=ROUNDING)
    for name, times in (("power_W", 2.0), ("passes", 2.0), ("speed_mm_per_s", 0.5), ("line_spacing_mm", 0.5)):
        changed = {**base, name: 2 * base[name]}
        assert float(mean_dose_J_per_mm2(**changed)) == pytest.approx(times, rel=ROUNDING), name


def test_passes_need_not_be_said() -> None:
    once = mean_dose_J_per_mm2(power_W=20.0, speed_mm_per_s=200.0, line_spacing_mm=0.1)
    assert once == mean_dose_J_per_mm2(power_W=20.0, speed_mm_per_s=200.0, line_spacing_mm=0.1, passes=1)
    power = power_for_dose_W(dose_J_per_mm2=1.0, speed_mm_per_s=200.0, line_spacing_mm=0.1)
    assert power == power_for_dose_W(dose_J_per_mm2=1.0, speed_mm_per_s=200.0, line_spacing_mm=0.1, passes=1)


def test_no_power_no_dose() -> None:
    assert float(mean_dose_J_per_mm2(power_W=0.0, speed_mm_per_s=200.0, line_spacing_mm=0.1)) == 0.0
    assert float(power_for_dose_W(dose_J_per_mm2=0.0, speed_mm_per_s=200.0, line_spacing_mm=0.1)) == 0.0


def test_settings_are_told_by_name_only() -> None:
    loose: Callable[..., Any] = mean_dose_J_per_mm2
    with pytest.raises(TypeError):
        loose(20.0, 200.0, 0.1)  # speed and spacing swapped would go unseen


@pytest.mark.parametrize("shape", [(0,), (1,), (4,), (2, 3)])
def test_shapes_are_kept(shape: tuple[int, ...]) -> None:
    one = np.ones(shape)
    assert mean_dose_J_per_mm2(power_W=one, speed_mm_per_s=200.0, line_spacing_mm=0.1).shape == shape
    assert power_for_dose_W(dose_J_per_mm2=one, speed_mm_per_s=200.0, line_spacing_mm=0.1).shape == shape
    assert dwell_ms(beam_radius_mm=one, speed_mm_per_s=200.0).shape == shape
    assert ripple_factor(beam_radius_mm=0.1, line_spacing_mm=0.1, phase=one).shape == shape


def test_what_is_not_known_stays_unknown() -> None:
    unknown = [math.nan, 1.0]
    for values in (
        mean_dose_J_per_mm2(power_W=unknown, speed_mm_per_s=200.0, line_spacing_mm=0.1),
        power_for_dose_W(dose_J_per_mm2=unknown, speed_mm_per_s=200.0, line_spacing_mm=0.1),
        dwell_ms(beam_radius_mm=unknown, speed_mm_per_s=200.0),
        ripple_factor(beam_radius_mm=0.1, line_spacing_mm=0.1, phase=unknown),
        ripple_factor(beam_radius_mm=unknown, line_spacing_mm=1.0, phase=0.0),
    ):
        assert np.isnan(values).tolist() == [True, False]


# ---- one line -------------------------------------------------------------------------------------------------------


def test_the_energy_across_one_line_is_power_over_speed() -> None:
    """The peak times the Gaussian's own width, w √(π/2), holds all of it."""
    peak = line_peak_dose_J_per_mm2(power_W=30.0, speed_mm_per_s=250.0, beam_radius_mm=0.08)
    assert peak * 0.08 * math.sqrt(math.pi / 2.0) == pytest.approx(30.0 / 250.0, rel=ROUNDING)


def test_the_spot_passes_in_its_diameter_over_its_speed() -> None:
    # a spot of 0.12 mm at 300 mm/s takes 0.4 ms
    assert float(dwell_ms(beam_radius_mm=0.06, speed_mm_per_s=300.0)) == pytest.approx(0.4, rel=ROUNDING)
    # the beech of [kudela2019]: 10 mm wide at 6 and 58 mm/s, "interaction time 0.17-1.7 s"
    assert dwell_ms(beam_radius_mm=5.0, speed_mm_per_s=[58.0, 6.0]) == pytest.approx([170.0, 1700.0], abs=50.0)


# ---- ripple ---------------------------------------------------------------------------------------------------------


def test_ripple_repeats_with_the_lines_and_is_the_same_on_both_sides() -> None:
    phase = np.linspace(-0.5, 0.5, 21)
    for spacing in (0.08, 0.15, 0.5):
        here = ripple_factor(beam_radius_mm=0.1, line_spacing_mm=spacing, phase=phase)
        there = ripple_factor(beam_radius_mm=0.1, line_spacing_mm=spacing, phase=phase + 7.0)
        other = ripple_factor(beam_radius_mm=0.1, line_spacing_mm=spacing, phase=-phase)
        assert here == pytest.approx(there, abs=1e-12)  # phases near 7 are told to 1e-15
        assert here == pytest.approx(other, abs=ROUNDING)


def test_lines_and_harmonics_agree_where_the_one_takes_over_from_the_other() -> None:
    phase = np.linspace(0.0, 0.5, 11)
    below, at = (
        ripple_factor(beam_radius_mm=0.1, line_spacing_mm=0.1 * ratio, phase=phase)
        for ratio in (np.nextafter(WIDE_SPACING_RADII, 0.0), WIDE_SPACING_RADII)
    )
    assert below == pytest.approx(at, abs=1e-14)


def test_the_most_lies_on_the_line_and_the_least_midway() -> None:
    phase = np.linspace(0.0, 0.5, 101)
    for spacing in (0.1, 0.19, 0.21, 0.6):
        across = ripple_factor(beam_radius_mm=0.1, line_spacing_mm=spacing, phase=phase)
        assert (np.diff(across) < 0.0).all()


def test_ripple_broadcasts_beam_spacing_and_phase() -> None:
    beams, spacings, phases = np.array([0.05, 0.1])[:, None, None], np.array([0.08, 0.3, 1.0])[:, None], [0.0, 0.5]
    together = ripple_factor(beam_radius_mm=beams, line_spacing_mm=spacings, phase=phases)
    assert together.shape == (2, 3, 2)
    for i, j, k in np.ndindex(2, 3, 2):
        alone = ripple_factor(
            beam_radius_mm=float(beams[i, 0, 0]), line_spacing_mm=float(spacings[j, 0]), phase=phases[k]
        )
        assert float(together[i, j, k]) == float(alone)


def test_modulation_runs_from_nothing_to_all() -> None:
    spacings = [0.01, 0.1, 0.12, 0.15, 0.2, 0.3, 0.5, 1.0, 3.0]
    found = [ripple_modulation(beam_radius_mm=0.1, line_spacing_mm=p) for p in spacings]
    assert found[0] == pytest.approx(0.0, abs=1e-15)
    assert (np.diff(found) >= 0.0).all()
    assert found[-1] == 1.0


def test_only_the_ratio_of_spacing_to_beam_counts() -> None:
    fine, coarse = (ripple_modulation(beam_radius_mm=w, line_spacing_mm=1.3 * w) for w in (0.05, 5.0))
    assert fine == pytest.approx(coarse, rel=ROUNDING)


@pytest.mark.parametrize("spacing_mm", [0.03, 0.075, 0.1, 0.14])
def test_lines_that_overlap_are_worth_so_many_like_ones(spacing_mm: float) -> None:
    """(Σ H)² / Σ H² of Gaussian lines, both integrated over one spacing by SciPy 1.17, quad."""
    w = 0.1

    def doses(y: float) -> np.ndarray:
        return np.exp(-2.0 * ((np.arange(-40, 41) * spacing_mm + y) / w) ** 2)

    whole, _ = quad(lambda y: doses(y).sum(), 0.0, spacing_mm)
    squares, _ = quad(lambda y: np.square(doses(y)).sum(), 0.0, spacing_mm)
    like_lines = (whole / spacing_mm) ** 2 / (squares / spacing_mm)
    beside = effective_passes(passes=1, beam_radius_mm=w, line_spacing_mm=0.75 * w)
    got = effective_passes(passes=2, beam_radius_mm=w, line_spacing_mm=spacing_mm)
    assert float(beside) == pytest.approx(1.0, rel=1e-12)
    assert float(got) == pytest.approx(2.0 * like_lines / (math.sqrt(math.pi) / 0.75), rel=1e-9)


def test_two_passes_are_one_at_half_the_spacing_and_a_line_alone_is_one_line() -> None:
    fine, twice, alone, apart = (
        float(effective_passes(passes=n, beam_radius_mm=0.1, line_spacing_mm=p))
        for n, p in ((1, 0.05), (2, 0.1), (1, math.inf), (1, 0.5))
    )
    assert fine == pytest.approx(twice, rel=1e-12)
    assert alone == apart == pytest.approx(0.75 / math.sqrt(math.pi), rel=1e-12)


def test_a_radius_is_read_off_its_dwell() -> None:
    """A spot of radius 0.1 mm takes 1 ms at 200 mm/s: 2 w / v."""
    assert radius_of_dwell_mm(dwell_ms=1.0, speed_mm_per_s=200.0) == pytest.approx(0.1)
