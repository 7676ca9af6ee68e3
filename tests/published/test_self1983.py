"""[self1983] S. A. Self, Focusing of spherical Gaussian beams, Appl. Opt. 22, 658 (1983): the lens formula.

s'' = f [1 + (s/f − 1) / ((s/f − 1)² + (zR/f)²)], magnification 1 / √((1 − s/f)² + (zR/f)²).
- Formula: MEM. Example f = 50.8 mm, w_in = 3 mm, s = 1500 mm, 10.6 µm, M² = 1: zR_in = 2667.39 mm, w0 = 50.203 µm,
  s'' = 51.2058 mm: DERIVED, recomputed.
Tolerance: half of the last digit printed.
"""

from __future__ import annotations

from functools import partial

import pytest

import outside
from evenburn.core.optics.beam import diffraction_diameter_mm, waist_after_lens
from outside import HALF_DIGIT

check = partial(outside.check, field="optics", source="self1983", trust="derived", why=HALF_DIGIT)


def behind(*, waist_in_mm: float = 3.0, distance_mm: float = 1500.0, m2: float = 1.0) -> tuple[float, float]:
    return waist_after_lens(
        waist_in_mm=waist_in_mm,
        distance_mm=distance_mm,
        focal_length_mm=50.8,
        wavelength_um=10.6,
        beam_quality_m2=m2,
    )


def test_worked_example() -> None:
    waist_mm, behind_mm = behind()
    lens = "lens of 50.8 mm, waist of 3 mm 1500 mm before it, 10.6 µm"
    check(f"waist behind a {lens}", got=1e3 * waist_mm, expected=50.203, tolerance=0.0005, unit="µm")
    check(f"its distance, {lens}", got=behind_mm, expected=51.2058, tolerance=0.00005, unit="mm")


def test_a_waist_at_the_front_focus_lies_at_the_back_focus() -> None:
    # Self's remark that sets Gaussian beams apart from rays; there the spot is λ f / (π w_in), exactly
    waist_mm, behind_mm = behind(distance_mm=50.8)
    assert behind_mm == 50.8
    collimated_mm = diffraction_diameter_mm(
        wavelength_um=10.6, focal_length_mm=50.8, beam_diameter_mm=6.0, beam_quality_m2=1.0
    )
    assert 2.0 * waist_mm == pytest.approx(collimated_mm, rel=1e-12)


def test_a_small_waist_far_away_follows_the_rays() -> None:
    # zR/f → 0 gives the thin-lens law 1/s + 1/s'' = 1/f; zR of 5 µm is 7e-6 mm, its square lost beside (s/f − 1)²
    waist_mm, behind_mm = behind(waist_in_mm=0.005, distance_mm=152.4)
    assert behind_mm == pytest.approx(1.0 / (1.0 / 50.8 - 1.0 / 152.4), rel=1e-6)
    assert waist_mm == pytest.approx(0.005 * 0.5, rel=1e-6)
