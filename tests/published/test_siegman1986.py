"""[siegman1986] A. E. Siegman, Lasers, ch. 17: w(z)² = w0² (1 + (z/zR)²), zR = π w0² / (M² λ).

- Propagation law: MEM, SEEN in the notes of [prahl-beamsize]; widths of [iso11146-1] (w = 2σ): SEEN there.
- Table 1a of our check values (λ = 10.6 µm, ideal thin lens, d = 4 M² λ f / (π D)): DERIVED, five rows.
- Encircled power 1 − exp(−2 r²/w²), depth of focus: standard closed forms, DERIVED.
Tolerances: half of the last digit printed. The table holds no aberration, so its lenses are given their computed
waist through `diffraction_diameter_mm`; the Rayleigh length comes from the code under test (w0 2f/D).
Left out: the protocol for fitting M² and the 0.85 rule for round beams, which the code does not have.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf

import outside
from evenburn.core.nouns.machine import Lens
from evenburn.core.optics.beam import (
    Beam,
    beam_of_lens,
    beam_radius_mm,
    depth_of_focus_mm,
    diffraction_diameter_mm,
    power_fraction_inside,
)
from evenburn.core.optics.lines import line_peak_dose_J_per_mm2
from outside import HALF_DIGIT

check = partial(outside.check, field="optics", source="siegman1986", trust="derived", why=HALF_DIGIT)

UM_PRINTED = 0.005
MM_PRINTED = 0.00005

# f mm, D mm, M², d0 µm, zR mm, w at 0.5, 1, 2, 3 mm in µm
TABLE_1A = [
    (38.1, 6.0, 1.0, 85.70, 0.5442, (58.19, 89.64, 163.21, 240.08)),
    (50.8, 6.0, 1.0, 114.27, 0.9675, (64.31, 82.17, 131.20, 186.15)),
    (50.8, 6.0, 1.2, 137.12, 1.1610, (74.65, 90.49, 136.57, 189.97)),
    (63.5, 10.0, 1.0, 85.70, 0.5442, (58.19, 89.64, 163.21, 240.08)),
    (101.6, 6.0, 1.0, 228.54, 3.8699, (115.22, 118.02, 128.63, 144.58)),
]


def ideal_beam(*, focal_length_mm: float, beam_diameter_mm: float, beam_quality_m2: float) -> Beam:
    """A beam without aberration, its Rayleigh length left to the code."""
    waist_mm = 0.5 * diffraction_diameter_mm(
        wavelength_um=10.6,
        focal_length_mm=focal_length_mm,
        beam_diameter_mm=beam_diameter_mm,
        beam_quality_m2=beam_quality_m2,
    )
    return beam_of_lens(
        Lens(
            name="ideal",
            focal_length_mm=focal_length_mm,
            beam_diameter_mm=beam_diameter_mm,
            beam_quality_m2=beam_quality_m2,
            wavelength_um=10.6,
            focus_stand_off_mm=10.0,
            waist_radius_mm=waist_mm,
        )
    )


@pytest.mark.parametrize("row", TABLE_1A)
def test_table_1a(row: tuple[float, float, float, float, float, tuple[float, ...]]) -> None:
    f_mm, d_mm, m2, spot_um, rayleigh_mm, radii_um = row
    beam = ideal_beam(focal_length_mm=f_mm, beam_diameter_mm=d_mm, beam_quality_m2=m2)
    lens = f"f {f_mm:g} mm, D {d_mm:g} mm, M² {m2:g}, 10.6 µm"
    spot = 2e3 * beam.waist_radius_mm
    check(f"spot, {lens}", got=spot, expected=spot_um, tolerance=UM_PRINTED, unit="µm")
    found_mm = beam.rayleigh_length_mm
    check(f"Rayleigh length, {lens}", got=found_mm, expected=rayleigh_mm, tolerance=MM_PRINTED, unit="mm")
    offsets_mm = (0.5, 1.0, 2.0, 3.0)
    radii = 1e3 * beam_radius_mm(beam, offset_mm=list(offsets_mm))
    for offset_mm, got, radius_um in zip(offsets_mm, radii, radii_um, strict=True):
        name = f"beam radius {offset_mm:g} mm off the waist, {lens}"
        check(name, got=got, expected=radius_um, tolerance=UM_PRINTED, unit="µm")
    # the other form of the Rayleigh length, π w0² / (M² λ): equal to rounding without aberration
    assert beam.rayleigh_length_mm == pytest.approx(math.pi * beam.waist_radius_mm**2 / (m2 * 10.6e-3), rel=1e-12)


def test_equal_f_over_d_gives_equal_waist_and_rayleigh_length() -> None:
    first = ideal_beam(focal_length_mm=38.1, beam_diameter_mm=6.0, beam_quality_m2=1.0)
    fourth = ideal_beam(focal_length_mm=63.5, beam_diameter_mm=10.0, beam_quality_m2=1.0)
    assert fourth.waist_radius_mm == pytest.approx(first.waist_radius_mm, rel=1e-12)
    assert fourth.rayleigh_length_mm == pytest.approx(first.rayleigh_length_mm, rel=1e-12)


def test_the_beam_is_as_wide_above_the_focus_as_below() -> None:
    beam = ideal_beam(focal_length_mm=50.8, beam_diameter_mm=6.0, beam_quality_m2=1.2)
    z = np.array([0.5, 1.0, 2.0, 3.0])
    np.testing.assert_array_equal(beam_radius_mm(beam, offset_mm=-z), beam_radius_mm(beam, offset_mm=z))


@pytest.mark.parametrize(("ratio", "share"), [(0.5, 0.39347), (1.0, 0.86466), (1.5, 0.98889), (2.0, 0.99966)])
def test_encircled_power(ratio: float, share: float) -> None:
    got = power_fraction_inside(ratio * 0.057, beam_radius_mm=0.057)
    check(f"share of power inside {ratio:g} w", got=got, expected=share, tolerance=5e-6)


@pytest.mark.parametrize(("growth", "rayleighs"), [(0.05, 0.3202), (0.10, 0.4583), (math.sqrt(2.0) - 1.0, 1.0)])
def test_depth_of_focus(growth: float, rayleighs: float) -> None:
    beam = Beam(waist_radius_mm=0.06, rayleigh_length_mm=1.0)
    name = f"depth of focus over the Rayleigh length, {100.0 * growth:.0f} % growth of the radius"
    check(name, got=depth_of_focus_mm(beam, growth=growth), expected=rayleighs, tolerance=5e-5)


def test_half_of_the_power_lies_inside_0_5887_w_so_full_width_at_half_height_is_1_17741_w() -> None:
    # in two dimensions the circle of half the power and the width at half height are the same: exp(−2 r²/w²) = ½
    half_mm = brentq(lambda r: power_fraction_inside(r, beam_radius_mm=1.0) - 0.5, 0.1, 1.0, xtol=1e-14)
    check("full width at half height over the 1/e² radius", got=2.0 * half_mm, expected=1.17741, tolerance=5e-6)


def test_w_is_twice_the_standard_deviation() -> None:
    # a Gaussian line profile of standard deviation σ and area P/v has the peak P / (v σ √(2π)); ours is given w = 2σ
    sigma_mm = 0.031
    peak = line_peak_dose_J_per_mm2(power_W=7.0, speed_mm_per_s=90.0, beam_radius_mm=2.0 * sigma_mm)
    assert peak == pytest.approx(7.0 / 90.0 / (sigma_mm * math.sqrt(2.0 * math.pi)), rel=1e-12)


def test_knife_edge_10_to_90_percent_is_1_2816_w() -> None:
    # the closed form itself, with σ = w/2; evidence for the width the detail model uses
    width = 2.0 * brentq(lambda x: 0.5 * (1.0 + float(erf(x * math.sqrt(2.0)))) - 0.9, 0.0, 2.0)
    assert width == pytest.approx(1.2816, abs=5e-5)
