"""[iiviinfrared] II-VI Infrared, tutorial on the spot size of a focused CO2 beam: S = 4 M² λ f / (π D) + k D³ / f².

- Worked example, 5.00 in (127 mm) ZnSe meniscus, 10.6 µm, M² = 1: least spot "about 85 µm at D approx 25 mm". SEEN.
- k = 0.0187 (meniscus), 0.0286 (plano-convex): MEM; the example above bears out the first. The second stands alone.
- D_opt = (4 λ f³ / (3 π k))^(1/4) = 26.50 mm, S = 86.26 µm, S(25) = 86.68 µm: DERIVED from form and k, recomputed.
Tolerances: half of the last digit printed. For the SEEN example "about": 85 and 25 are printed to two digits and read
off a curve that is flat at its bottom, so 2 % on the spot and 2 mm on the diameter.
Left out: lenses of germanium and gallium arsenide, which no CO2 bench of ours has; the thermal rule of lens size.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest
from scipy.optimize import minimize_scalar

import outside
from evenburn.core.nouns.machine import Lens, LensShape
from evenburn.core.optics.beam import aberration_diameter_mm, beam_of_lens, diffraction_diameter_mm
from outside import HALF_DIGIT

LENS = "ZnSe meniscus of 127 mm, 10.6 µm, M² 1"
check = partial(outside.check, field="optics", source="iiviinfrared")
ABOUT_WHY: dict[str, Any] = {
    "trust": "seen",
    "why": "printed as “about”: two digits, read off a curve that is flat at its bottom",
}
DIGITS: dict[str, Any] = {"trust": "derived", "why": HALF_DIGIT}

FOCAL_mm = 127.0
ABOUT = 0.02
ABOUT_D_mm = 2.0
UM_2_DIGITS_AFTER_POINT = 0.005
MM_2_DIGITS_AFTER_POINT = 0.005


def lens(beam_diameter_mm: float, *, shape: LensShape = "meniscus") -> Lens:
    return Lens(
        name="5 inch",
        focal_length_mm=FOCAL_mm,
        beam_diameter_mm=beam_diameter_mm,
        beam_quality_m2=1.0,
        wavelength_um=10.6,
        focus_stand_off_mm=100.0,
        shape=shape,
    )


def spot_um(beam_diameter_mm: float, *, shape: LensShape = "meniscus") -> float:
    return 2e3 * beam_of_lens(lens(beam_diameter_mm, shape=shape)).waist_radius_mm


def best_diameter_mm() -> float:
    return float(minimize_scalar(spot_um, bounds=(5.0, 60.0), method="bounded", options={"xatol": 1e-6}).x)


def test_least_spot_is_about_85_um_at_a_beam_of_about_25_mm() -> None:
    best = best_diameter_mm()
    check(f"beam of the least spot, {LENS}", got=best, expected=25.0, tolerance=ABOUT_D_mm, unit="mm", **ABOUT_WHY)
    check(f"least spot, {LENS}", got=spot_um(best), expected=85.0, tolerance=85.0 * ABOUT, unit="µm", **ABOUT_WHY)
    name = f"spot of a beam of 25 mm, {LENS}"
    check(name, got=spot_um(25.0), expected=85.0, tolerance=85.0 * ABOUT, unit="µm", **ABOUT_WHY)


def test_derived_digits_of_the_same_example() -> None:
    best = best_diameter_mm()
    mm, um = MM_2_DIGITS_AFTER_POINT, UM_2_DIGITS_AFTER_POINT
    check(f"… in closed form, beam, {LENS}", got=best, expected=26.50, tolerance=mm, unit="mm", **DIGITS)
    check(f"… least spot, {LENS}", got=spot_um(best), expected=86.26, tolerance=um, unit="µm", **DIGITS)
    check(f"… spot of a beam of 25 mm, {LENS}", got=spot_um(25.0), expected=86.68, tolerance=um, unit="µm", **DIGITS)


def test_at_the_best_diameter_diffraction_is_three_times_the_aberration() -> None:
    # the least of a/D + b D³ has a/D = 3 b D³; closed form, so only the minimiser's last digits differ
    best = best_diameter_mm()
    bent = aberration_diameter_mm(focal_length_mm=FOCAL_mm, beam_diameter_mm=best, shape="meniscus")
    spread = diffraction_diameter_mm(
        wavelength_um=10.6, focal_length_mm=FOCAL_mm, beam_diameter_mm=best, beam_quality_m2=1.0
    )
    assert spread / bent == pytest.approx(3.0, rel=1e-5)


def test_aberration_goes_as_the_cube_of_the_beam_and_the_inverse_square_of_the_focal_length() -> None:
    base = aberration_diameter_mm(focal_length_mm=50.0, beam_diameter_mm=10.0, shape="meniscus")
    assert aberration_diameter_mm(focal_length_mm=50.0, beam_diameter_mm=20.0, shape="meniscus") == 8.0 * base
    assert aberration_diameter_mm(focal_length_mm=100.0, beam_diameter_mm=10.0, shape="meniscus") == base / 4.0


def test_a_plano_convex_lens_aberrates_more_by_the_ratio_of_the_constants() -> None:
    excess_um = spot_um(25.0, shape="plano-convex") - spot_um(25.0)
    assert excess_um == pytest.approx(1e3 * (0.0286 - 0.0187) * 25.0**3 / FOCAL_mm**2, rel=1e-9)
