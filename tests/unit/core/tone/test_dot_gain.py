"""Dots burnt under the beam: energy kept, edges where theory puts them, and tones that run one way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import ripple_factor
from evenburn.core.response.curve import exposure_for_tone, tone_L, tone_range_L
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.dot_gain import dose_of_dots, tone_of_coverage_L
from evenburn.core.tone.screens import apply_mask, bayer_mask
from unit.core.examples import CURVE, SLATE, plain_curve


def ordered(coverage: float) -> NDArray[np.bool_]:
    return apply_mask(np.full((16, 16), coverage, np.float32), bayer_mask())


def stripes(coverage: float) -> NDArray[np.bool_]:
    """Return upright stripes sixteen dots apart."""
    return np.tile(np.arange(16) < round(16 * coverage), (2, 1))


@pytest.mark.parametrize("radius", [0.5, 1.0, 3.0, 12.0])
@pytest.mark.parametrize("smear", [0.0, 1e-4, 0.01, 0.4, 5.0])
def test_the_mean_dose_is_the_coverage(radius: float, smear: float) -> None:
    """However wide the beam or late the laser; half a line spacing is the narrowest beam that fifths still follow."""
    for coverage in (0.0, 0.25, 0.625, 1.0):
        dose = dose_of_dots(ordered(coverage), beam_radius_mm=radius, smear_mm=smear, line_spacing_mm=1.0)
        assert dose.shape == (80, 80)
        assert dose.min() >= 0.0
        assert dose.mean() == pytest.approx(coverage, abs=1e-4)


def test_a_full_area_has_the_ripple_of_its_lines() -> None:
    dose = dose_of_dots(np.ones((2, 2), np.bool_), beam_radius_mm=0.8, smear_mm=0.3, line_spacing_mm=1.0)
    phase = (np.arange(10) + 0.5) / 5.0 - 0.5
    expected = ripple_factor(beam_radius_mm=0.8, line_spacing_mm=1.0, phase=phase)
    np.testing.assert_allclose(dose, np.tile(expected[:, None], (1, 10)), rtol=1e-9)


def test_an_edge_under_a_beam_is_an_error_function() -> None:
    dose = dose_of_dots(np.tile(np.arange(32) < 16, (2, 1)), beam_radius_mm=2.0, smear_mm=0.0, line_spacing_mm=1.0)
    place = (np.arange(160) + 0.5) / 5.0 - 16.0  # ½ erfc(√2 x / w), [siegman1986]
    near = np.abs(place) < 6.0
    expected = [0.5 * math.erfc(math.sqrt(2.0) * x / 2.0) for x in place[near]]
    np.testing.assert_allclose(dose.mean(axis=0)[near], expected, atol=1e-7)  # ripple of 1e-8, averaged over fifths


def test_the_late_answer_is_exponential_led_by_its_mean_and_runs_to_and_fro() -> None:
    """Under a beam far narrower than the smear: 1 − e⁻ˣ from where the edge is commanded, its smear ahead."""
    dots = np.tile((np.arange(64) >= 16) & (np.arange(64) < 48), (2, 1))
    dose = dose_of_dots(dots, beam_radius_mm=0.02, smear_mm=2.0, line_spacing_mm=1.0)
    forward, backward = dose[2], dose[7]  # on the lines themselves
    place = (np.arange(320) + 0.5) / 5.0
    after = place - (16.0 - 2.0)
    rise = forward / forward.max()
    near = (after > 0.1) & (after < 20.0)
    np.testing.assert_allclose(rise[near], 1.0 - np.exp(-after[near] / 2.0), atol=1e-4)
    assert (rise[(after < -0.1) & (after > -8.0)] < 1e-4).all()  # e⁻¹¹ is left of the stripe before
    np.testing.assert_allclose(backward, forward[::-1], atol=1e-9 * forward.max())


@pytest.mark.parametrize("c", [CURVE, SLATE], ids=["maple", "slate"])
def test_dots_run_from_bare_to_full_and_one_way(c: CharacteristicCurve) -> None:
    full = exposure_for_tone(c, float(0.9 * tone_range_L(c)[1] + 0.1 * c.bare_L))
    coverages = np.linspace(0.0, 1.0, 17)
    tones = tone_of_coverage_L(
        c, ordered, coverages=coverages, beam_radius_mm=0.1, line_spacing_mm=0.1, full_exposure=full, smear_mm=0.03
    )
    assert tones[0] == pytest.approx(c.bare_L, abs=1e-9)
    # lines a beam radius apart ripple by 1.4 %: 0.006 decades at some 100 L* a decade, both signs
    assert tones[-1] == pytest.approx(float(tone_L(c, full)), abs=0.3)
    assert (np.diff(tones) * np.sign(c.full_L - c.bare_L) > 0.0).all()


@pytest.mark.parametrize("radius", [0.8, 1.0, 1.45, 1.52, 2.04, 2.11, 2.64, 2.7])
def test_a_stripe_gains_by_what_the_beam_spreads_beyond_its_edge(radius: float) -> None:
    """A wood that turns solid at a quarter of the dose, where ½ erfc(√2 x/w) = ¼: x = erf⁻¹(½) w/√2 = 0.33724 w.

    Looked at in fifths of a dot, so what counts is how many fifths have their middle within x. Radii are chosen just below
    and just above those middles, so that a beam wider or narrower by a tenth fails.
    """
    x = 0.4769362762 / math.sqrt(2.0) * radius  # erf⁻¹(½), from memory, as in art/test_detail.py
    fifths = int((np.arange(40) * 0.2 + 0.1 < x).sum())
    c = plain_curve(x_mid=math.log10(0.25), steepness_per_decade=4000.0)
    tones = tone_of_coverage_L(
        c,
        stripes,
        coverages=np.array([0.5]),
        beam_radius_mm=radius * 0.1,
        line_spacing_mm=0.1,
        full_exposure=0.0,
    )
    bare, full, half = luminance(c.bare_L), luminance(c.full_L), luminance(tones)[0]
    assert float((bare - half) / (bare - full)) == pytest.approx(
        0.5 + 2.0 * fifths / 80.0, abs=1e-4
    )  # curve hard to 1e-3


@pytest.mark.parametrize("c", [CURVE, SLATE], ids=["maple", "slate"])
def test_straight_pieces_of_the_curve_are_the_curve(c: CharacteristicCurve) -> None:
    """The mean over a tile with the curve itself at each place; 1e-4 L* is a hundredth of what anybody could measure."""
    dots = ordered(0.4)
    tone = tone_of_coverage_L(
        c, lambda _: dots, coverages=np.array([0.4]), beam_radius_mm=0.07, line_spacing_mm=0.1, full_exposure=0.4
    )
    with np.errstate(divide="ignore"):
        exposure = 0.4 + np.log10(dose_of_dots(dots, beam_radius_mm=0.7, smear_mm=0.0, line_spacing_mm=1.0))
    assert tone[0] == pytest.approx(float(lightness_L(luminance(tone_L(c, exposure)).mean())), abs=1e-4)


def test_the_edge_of_a_tile_can_be_left_out() -> None:
    """Sixteen solid rows and columns around bare wood: the middle of the hole is bare."""
    dots = np.ones((64, 64), np.bool_)
    dots[16:48, 16:48] = False

    def seen(settle_px: int) -> float:
        return float(
            tone_of_coverage_L(
                CURVE,
                lambda _: dots,
                coverages=np.array([0.5]),
                beam_radius_mm=0.1,
                line_spacing_mm=0.1,
                full_exposure=0.3,
                settle_px=settle_px,
            )[0]
        )

    assert seen(20) == pytest.approx(CURVE.bare_L, abs=1e-6)
    assert seen(0) < CURVE.bare_L - 10.0
