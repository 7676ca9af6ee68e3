"""The focused beam of a lens, on and off focus; published numbers stand in tests/published."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest

from evenburn.core.nouns.machine import Lens
from evenburn.core.optics.beam import (
    ABERRATION_K,
    Beam,
    aberration_diameter_mm,
    beam_of_lens,
    beam_radius_mm,
    depth_of_focus_mm,
    diffraction_diameter_mm,
    power_fraction_inside,
    waist_after_lens,
)
from unit.core.examples import LENS

ROUNDING = 1e-12
BEAM = Beam(waist_radius_mm=0.06, rayleigh_length_mm=1.0)


def spread_mm(lens: Lens) -> float:
    return diffraction_diameter_mm(
        wavelength_um=lens.wavelength_um,
        focal_length_mm=lens.focal_length_mm,
        beam_diameter_mm=lens.beam_diameter_mm,
        beam_quality_m2=lens.beam_quality_m2,
    )


# ---- of a lens ------------------------------------------------------------------------------------------------------


def test_the_waist_is_half_of_spread_and_aberration_together() -> None:
    # by hand: 4 · 1.3 · 10.6e-3 · 50.8 / 6π = 0.148550 mm and 0.0187 · 6³ / 50.8² = 0.001565 mm, half a digit each
    beam = beam_of_lens(LENS)
    assert spread_mm(LENS) == pytest.approx(0.148550, abs=5e-7)
    bent = aberration_diameter_mm(focal_length_mm=50.8, beam_diameter_mm=6.0, shape="meniscus")
    assert bent == pytest.approx(0.001565, abs=5e-7)
    assert 2.0 * beam.waist_radius_mm == pytest.approx(0.148550 + 0.001565, abs=1e-6)


def test_far_off_focus_the_beam_fills_the_cone_of_the_lens() -> None:
    """However wide aberration and M² make the waist, at a distance L it is D L / 2f wide."""
    for lens in (LENS, replace(LENS, beam_quality_m2=2.0), replace(LENS, beam_diameter_mm=15.0, shape="plano-convex")):
        far_mm = 1000.0
        cone_mm = 0.5 * lens.beam_diameter_mm * far_mm / lens.focal_length_mm
        # zR is some 2 mm at most: (zR/L)²/2 = 2e-6
        assert float(beam_radius_mm(beam_of_lens(lens), offset_mm=far_mm)) == pytest.approx(cone_mm, rel=5e-6)


def test_a_measured_waist_replaces_the_computed_one_and_keeps_the_cone() -> None:
    measured = beam_of_lens(replace(LENS, waist_radius_mm=0.09))
    assert measured.waist_radius_mm == 0.09
    assert measured.rayleigh_length_mm == pytest.approx(0.09 * 2.0 * 50.8 / 6.0, rel=ROUNDING)


def test_a_measured_rayleigh_length_leaves_the_waist_alone() -> None:
    measured = beam_of_lens(replace(LENS, rayleigh_length_mm=1.7))
    assert measured.rayleigh_length_mm == 1.7
    assert measured.waist_radius_mm == beam_of_lens(LENS).waist_radius_mm


def test_both_measured_are_taken_as_they_are() -> None:
    both = beam_of_lens(replace(LENS, waist_radius_mm=0.09, rayleigh_length_mm=1.7))
    assert both == Beam(waist_radius_mm=0.09, rayleigh_length_mm=1.7)


def test_the_waist_does_not_hang_on_where_the_nozzle_stands() -> None:
    assert beam_of_lens(replace(LENS, focus_stand_off_mm=20.0)) == beam_of_lens(LENS)


def test_the_constant_of_each_shape_is_the_aberration_of_a_unit_lens() -> None:
    assert set(ABERRATION_K) == {"meniscus", "plano-convex"}
    for shape, k in ABERRATION_K.items():
        assert aberration_diameter_mm(focal_length_mm=1.0, beam_diameter_mm=1.0, shape=shape) == k


def test_spread_grows_with_wavelength_quality_and_focal_length_and_shrinks_with_the_beam() -> None:
    base = {"wavelength_um": 10.6, "focal_length_mm": 50.8, "beam_diameter_mm": 6.0, "beam_quality_m2": 1.3}
    plain = diffraction_diameter_mm(**base)
    for name, times in (
        ("wavelength_um", 2.0),
        ("focal_length_mm", 2.0),
        ("beam_quality_m2", 2.0),
        ("beam_diameter_mm", 0.5),
    ):
        changed = {**base, name: 2.0 * base[name]}
        assert diffraction_diameter_mm(**changed) == pytest.approx(times * plain, rel=ROUNDING), name


# ---- off focus ------------------------------------------------------------------------------------------------------


def test_in_focus_the_radius_is_the_waist() -> None:
    assert float(beam_radius_mm(BEAM, offset_mm=0.0)) == 0.06


def test_the_radius_never_falls_below_the_waist_and_grows_away_from_it() -> None:
    radii = beam_radius_mm(BEAM, offset_mm=np.linspace(0.0, 8.0, 81))
    assert radii.min() == 0.06
    assert (np.diff(radii) > 0.0).all()


@pytest.mark.parametrize("shape", [(0,), (1,), (5,), (2, 3)])
def test_radii_keep_the_shape_of_their_offsets(shape: tuple[int, ...]) -> None:
    assert beam_radius_mm(BEAM, offset_mm=np.zeros(shape)).shape == shape


def test_an_unknown_offset_has_no_radius() -> None:
    assert np.isnan(beam_radius_mm(BEAM, offset_mm=[math.nan, 0.0])).tolist() == [True, False]


@pytest.mark.parametrize("growth", [1e-6, 0.01, 0.05, 0.5, 3.0])
def test_at_the_end_of_the_depth_of_focus_the_beam_has_grown_by_so_much(growth: float) -> None:
    away_mm = depth_of_focus_mm(BEAM, growth=growth)
    # a growth of 1e-6 is lost to 1e-16/1e-6 of itself
    assert float(beam_radius_mm(BEAM, offset_mm=away_mm)) == pytest.approx(0.06 * (1.0 + growth), rel=ROUNDING)


def test_a_beam_that_may_not_grow_has_no_depth() -> None:
    assert depth_of_focus_mm(BEAM, growth=0.0) == 0.0


# ---- power in a circle ----------------------------------------------------------------------------------------------


def test_no_circle_holds_no_power_and_a_wide_one_all() -> None:
    assert power_fraction_inside(0.0, beam_radius_mm=0.06) == 0.0
    assert power_fraction_inside(0.6, beam_radius_mm=0.06) == 1.0  # e⁻²⁰⁰ is left out


def test_only_the_ratio_of_the_radii_counts() -> None:
    small, large = (power_fraction_inside(0.7 * w, beam_radius_mm=w) for w in (0.05, 5.0))
    assert small == pytest.approx(large, rel=ROUNDING)


def test_the_power_in_a_circle_is_the_integral_of_the_irradiance() -> None:
    # 2/(πw²) exp(−2r²/w²) over the disc by the midpoint rule in r: error (dr/w)²/6, 4e-8 of it
    w, edge, steps = 0.06, 0.05, 2000
    r = (np.arange(steps) + 0.5) * edge / steps
    rings = 2.0 / (math.pi * w * w) * np.exp(-2.0 * (r / w) ** 2) * 2.0 * math.pi * r * edge / steps
    assert power_fraction_inside(edge, beam_radius_mm=w) == pytest.approx(float(rings.sum()), rel=2e-7)


# ---- through a second lens ------------------------------------------------------------------------------------------


def test_a_worse_beam_makes_a_waist_wider_by_its_quality_where_it_comes_from_the_front_focus() -> None:
    """There the magnification is f / zR, and zR goes as 1 / M²."""
    waists = [
        waist_after_lens(
            waist_in_mm=3.0, distance_mm=50.8, focal_length_mm=50.8, wavelength_um=10.6, beam_quality_m2=m2
        )[0]
        for m2 in (1.0, 1.3)
    ]
    assert waists[1] == pytest.approx(1.3 * waists[0], rel=ROUNDING)


def test_a_lens_keeps_the_product_of_waist_and_angle() -> None:
    """Waist² over Rayleigh length, M² λ / π, is the same before and behind; propagated with our own law."""
    waist_mm, behind_mm = waist_after_lens(
        waist_in_mm=3.0, distance_mm=1500.0, focal_length_mm=50.8, wavelength_um=10.6, beam_quality_m2=1.2
    )
    spread = 1.2 * 10.6e-3 / math.pi
    before = Beam(waist_radius_mm=3.0, rayleigh_length_mm=9.0 / spread)
    after = Beam(waist_radius_mm=waist_mm, rayleigh_length_mm=waist_mm**2 / spread)
    # a thin lens changes no width: both beams are as wide where it stands
    at_lens = [float(beam_radius_mm(beam, offset_mm=z)) for beam, z in ((before, 1500.0), (after, behind_mm))]
    assert at_lens[0] == pytest.approx(at_lens[1], rel=1e-9)


def test_a_beam_cannot_be_changed_or_filled_by_position() -> None:
    with pytest.raises(FrozenInstanceError):
        BEAM.waist_radius_mm = 1.0  # type: ignore[misc]
    with pytest.raises(TypeError):
        Beam(0.06, 1.0)  # type: ignore[call-arg]
