"""[mellesgriot] CVI / Melles Griot, Optics Guide, Gaussian beam optics: the waist that spreads least over 100 m.

- 632.8 nm, z = 100 m: w0 = √(λ z / π) = 4.48 mm, w(z) = √2 w0 = 6.3 mm. MEM; recomputed 4.488 mm.
Tolerance: two digits after the point, the printed 4.48 cut and not rounded, so 0.01; 6.3 to half of its last digit.
"""

from __future__ import annotations

import math

import pytest

from evenburn.core.optics.beam import Beam, beam_radius_mm

FAR_mm = 100e3
WAVELENGTH_mm = 632.8e-6


def radius_at_the_end_mm(waist_mm: float) -> float:
    beam = Beam(waist_radius_mm=waist_mm, rayleigh_length_mm=math.pi * waist_mm**2 / WAVELENGTH_mm)
    return float(beam_radius_mm(beam, offset_mm=FAR_mm))


def test_the_waist_printed_spreads_to_the_radius_printed() -> None:
    assert radius_at_the_end_mm(4.48) == pytest.approx(6.3, abs=0.05)


def test_no_other_waist_arrives_smaller() -> None:
    best = min((4.0 + 0.001 * i for i in range(1000)), key=radius_at_the_end_mm)
    assert best == pytest.approx(4.48, abs=0.01)
