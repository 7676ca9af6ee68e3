"""[mellesgriot] CVI / Melles Griot, Optics Guide, Gaussian beam optics: the waist that spreads least over 100 m.

- 632.8 nm, z = 100 m: w0 = √(λ z / π) = 4.48 mm, w(z) = √2 w0 = 6.3 mm. MEM; recomputed 4.488 mm.
Tolerance: two digits after the point, the printed 4.48 cut and not rounded, so 0.01; 6.3 to half of its last digit.
"""

from __future__ import annotations

import math
from functools import partial

import outside
from evenburn.core.optics.beam import Beam, beam_radius_mm
from outside import HALF_DIGIT

check = partial(outside.check, field="optics", source="mellesgriot", trust="from memory", unit="mm")

FAR_mm = 100e3
WAVELENGTH_mm = 632.8e-6


def radius_at_the_end_mm(waist_mm: float) -> float:
    beam = Beam(waist_radius_mm=waist_mm, rayleigh_length_mm=math.pi * waist_mm**2 / WAVELENGTH_mm)
    return float(beam_radius_mm(beam, offset_mm=FAR_mm))


def test_the_waist_printed_spreads_to_the_radius_printed() -> None:
    got = radius_at_the_end_mm(4.48)
    check("radius after 100 m of a waist of 4.48 mm, 632.8 nm", got=got, expected=6.3, tolerance=0.05, why=HALF_DIGIT)


def test_no_other_waist_arrives_smaller() -> None:
    best = min((4.0 + 0.001 * i for i in range(1000)), key=radius_at_the_end_mm)
    cut = "printed cut, not rounded: a whole last digit"
    check("waist that spreads least over 100 m, 632.8 nm", got=best, expected=4.48, tolerance=0.01, why=cut)
