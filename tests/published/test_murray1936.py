"""[murray1936] A. Murray, J. Franklin Inst. 221, 721 (1936): dots and ground add up by area, a = (1 − 10^−Dt)/(1 − 10^−Ds).

- The law: words SEEN, formula MEM. Worked example of [altphoto2004]: a true 50 % of dots on clear ground with solids of
  density 3.0 measures 0.3006, with 1.33 0.2812. SEEN and recomputed.
Our model has no constant for dot gain: dots are exposed under the beam and each place gets the tone of its dose. With a curve so
hard that a place is either bare or solid, and a beam that puts the edge where the dot ends, Murray's law has to come out.
 - Stripes 16 dots apart under a beam one spacing wide: an edge lies where the dose is half, so the curve turns there.
 - Single dots under a beam far narrower than a dot ([bayer1973]'s matrix gives every sixteenth exactly, in each 4 by 4 dots).
   There a line burns only the middle of its row, the one of five places that is looked at; the solid then is what full
   coverage gives, as a densitometer has it.
Tolerances: half of the last digit printed; 1e-6 of reflectance where doses are added in single precision.
Left out: densities of a paper in which light spreads ([yule1951]), which the exposure model does not have.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray

import outside
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.dot_gain import tone_of_coverage_L
from outside import HALF_DIGIT
from published.plain_curve import plain_curve

SINGLE_PRECISION = 1e-6
HARD_PER_DECADE = 2000.0
BAYER = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]])  # from memory


check = partial(outside.check, field="halftoning and density", source="altphoto2004", trust="seen", why=HALF_DIGIT)


def stripes(coverage: float) -> NDArray[np.bool_]:
    return np.tile(np.arange(16) < round(16 * coverage), (2, 1))


def single_dots(coverage: float) -> NDArray[np.bool_]:
    return np.asarray(round(16 * coverage) > BAYER)


def hard_curve(*, ground: float, solid: float, dose: float) -> CharacteristicCurve:
    """Bare below a dose and solid above it, with given reflectances; the full dose is 1."""
    return plain_curve(
        bare_L=float(lightness_L(ground)),
        full_L=float(lightness_L(solid)),
        x_mid=float(np.log10(dose)),
        steepness_per_decade=HARD_PER_DECADE,
    )


def reflectances(
    curve: CharacteristicCurve, dots_of: Callable[[float], NDArray[np.bool_]], *, radius_over_spacing: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    coverages = np.linspace(0.0, 1.0, 17)
    tones = tone_of_coverage_L(
        curve,
        dots_of,
        coverages=coverages,
        beam_radius_mm=radius_over_spacing * 0.1,
        line_spacing_mm=0.1,
        full_exposure=0.0,
    )
    return coverages, luminance(tones)


@pytest.mark.parametrize(("solid_density", "density"), [(3.0, 0.3006), (1.33, 0.2812)])
def test_worked_example_of_half_coverage(solid_density: float, density: float) -> None:
    curve = hard_curve(ground=1.0, solid=10.0**-solid_density, dose=0.5)
    coverages, seen = reflectances(curve, stripes, radius_over_spacing=1.0)
    half = int(np.flatnonzero(coverages == 0.5)[0])
    name = f"density of 50 % of dots of density {solid_density:g}, exposed under the beam"
    check(name, got=-np.log10(seen[half]), expected=density, tolerance=0.00005)


def test_the_law_gives_back_the_area_of_stripes() -> None:
    # stripes and gaps of 4 dots and more, so that both edges are on their own
    curve = hard_curve(ground=0.6, solid=0.05, dose=0.5)
    coverages, seen = reflectances(curve, stripes, radius_over_spacing=1.0)
    wide = (coverages >= 0.25) & (coverages <= 0.75)
    assert wide.sum() == 9
    area = (1.0 - seen / 0.6) / (1.0 - 0.05 / 0.6)
    np.testing.assert_allclose(area[wide], coverages[wide], rtol=0, atol=SINGLE_PRECISION)


def test_single_dots_under_a_narrow_beam_add_up_by_area() -> None:
    curve = hard_curve(ground=0.6, solid=0.05, dose=0.5)
    coverages, seen = reflectances(curve, single_dots, radius_over_spacing=1e-3)
    assert seen[0] == pytest.approx(0.6, abs=SINGLE_PRECISION)
    np.testing.assert_allclose(seen, (1.0 - coverages) * seen[0] + coverages * seen[-1], rtol=0, atol=SINGLE_PRECISION)


def test_a_wide_beam_on_a_wood_that_takes_a_little_dose_gains() -> None:
    # what the printer calls dot gain: more area than was set, at every coverage between the ends
    curve = hard_curve(ground=0.6, solid=0.05, dose=0.25)
    coverages, seen = reflectances(curve, stripes, radius_over_spacing=1.5)
    wide = (coverages >= 0.25) & (coverages <= 0.75)
    area = (1.0 - seen / 0.6) / (1.0 - 0.05 / 0.6)
    assert (area[wide] > coverages[wide] + 0.02).all()
