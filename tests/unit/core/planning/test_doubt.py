"""What a curve's covariance leaves open: slope and tone at another dwell, against numerical and random answers."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.planning.doubt import curve_doubt
from evenburn.core.response.curve import fit_sd_L
from unit.core.examples import CURVE, SLATE, curve, plain_curve
from unit.core.planning import brute

FIRST_ORDER = 1e-3  # central differences of ours and of the loops
RANDOM = 0.05  # 4000 draws tell a standard deviation to 1 %, and the second order adds to it
TURNED = 0.02  # the turn back is held where it is: its own move is left out


@pytest.mark.parametrize(("name", "tone"), [("steepness_per_decade", 50.0), ("full_L", 30.0), ("asymmetry", 50.0)])
def test_the_slope_of_a_plain_logistic_by_hand(name: str, tone: float) -> None:
    """[gum2008], 5.1.2, for L' = A k G (1 − G), G = (L − bare)/A: by k L'/k, by the full tone k G² (its sign aside)."""
    sd = 0.5
    covariance = np.zeros((9, 9))
    covariance[CURVE_PARAMETERS.index(name), CURVE_PARAMETERS.index(name)] = sd**2
    c = plain_curve(covariance=covariance)
    rise = (tone - 80.0) / -60.0
    # d/dν of (1/ν)(1 − G^ν) at ν = 1 is −(1 − G) − G ln G
    by_hand = {
        "steepness_per_decade": 60.0 * rise * (1.0 - rise),
        "full_L": 8.0 * rise**2,
        "asymmetry": 60.0 * 8.0 * rise * abs((1.0 - rise) + rise * math.log(rise)),
    }
    doubt = curve_doubt(c, tone=tone)
    assert doubt.slope_L_per_decade_sd == pytest.approx(sd * by_hand[name], rel=FIRST_ORDER)
    assert doubt.slope_L_per_decade == pytest.approx(60.0 * 8.0 * rise * (1.0 - rise), rel=FIRST_ORDER)


@pytest.mark.parametrize("c", [CURVE, SLATE, curve(reversal_L=0.0)], ids=["wood", "slate", "no turn"])
def test_the_slope_is_as_uncertain_as_curves_drawn_at_random(c: CharacteristicCurve) -> None:
    """Small deviations, so that first order holds; each drawn curve is followed to where it has the tone."""
    tone = c.bare_L + 0.7 * (c.full_L - c.bare_L)
    small = replace(c, covariance=c.covariance * 0.01)
    generator = np.random.default_rng(4)
    near = brute.exposure_of(small, tone)
    slopes = []
    for vector in generator.multivariate_normal(small.parameters(), small.covariance, size=4000):
        changed: dict[str, Any] = dict(zip(CURVE_PARAMETERS, map(float, vector), strict=True))
        drawn = replace(small, **changed)
        slopes.append(brute.slope_at(drawn, tone, near))
    assert curve_doubt(small, tone=tone).slope_L_per_decade_sd == pytest.approx(
        float(np.std(slopes)), rel=RANDOM + TURNED
    )


@pytest.mark.parametrize("passes", [1, 2])
@pytest.mark.parametrize("dwell_ms", [0.2, 1.0, 7.0])
def test_the_tone_is_as_uncertain_as_the_whole_propagation_says(dwell_ms: float, passes: int) -> None:
    """The quadratic in log dwell and log passes is `fit_sd_L` at the dose that gives the tone, correlations included."""
    generator = np.random.default_rng(7)
    root = generator.normal(size=(9, 9)) * np.array([0.4, 0.9, 0.02, 0.3, 0.08, 0.3, 0.04, 0.02, 0.03])[:, None]
    c = curve(covariance=root @ root.T)
    x = brute.exposure_of(c, 40.0)
    dose = x - c.kappa * math.log10(dwell_ms) - (c.pass_exponent - 1.0) * math.log10(passes)
    whole = fit_sd_L(c, log10_dose=dose, dwell_ms=dwell_ms, passes=passes)
    ours = float(curve_doubt(c, tone=40.0).tone_L_sd(dwell_ms=dwell_ms, passes=passes))
    assert ours == pytest.approx(whole, rel=FIRST_ORDER)


def test_a_starting_value_is_known_best_at_one_millisecond_and_one_pass() -> None:
    """κ and the exponent of passes stand alone there: their parts are S σ log10 τ and S σ log10 n."""
    doubt = curve_doubt(CURVE, tone=40.0)
    slope = abs(brute.slope_at(CURVE, 40.0, brute.exposure_of(CURVE, 40.0)))
    at_best = float(doubt.tone_L_sd(dwell_ms=1.0, passes=1))
    for dwell_ms, passes in ((10.0, 1), (1.0, 2), (0.1, 2)):
        added = math.sqrt(float(doubt.tone_L_sd(dwell_ms=dwell_ms, passes=passes)) ** 2 - at_best**2)
        by_hand = slope * math.hypot(0.02 * math.log10(dwell_ms), 0.03 * math.log10(passes))
        assert added == pytest.approx(by_hand, rel=FIRST_ORDER)


def test_banding_grows_with_the_slope_but_never_beyond_its_share() -> None:
    doubt = curve_doubt(CURVE, tone=40.0)
    narrow = float(doubt.ripple_doubt_L(ripple_L=doubt.slope_L_per_decade * 0.01, decades=0.01))
    assert narrow == pytest.approx(doubt.slope_L_per_decade_sd * 0.01, rel=1e-9)
    wide = float(doubt.ripple_doubt_L(ripple_L=20.0, decades=5.0))
    assert wide == pytest.approx(20.0 * doubt.slope_L_per_decade_sd / doubt.slope_L_per_decade, rel=1e-9)
    bare = float(doubt.ripple_doubt_L(ripple_L=30.0, decades=np.inf))  # bare ground between the lines
    assert np.isfinite(bare)


def test_a_tone_out_of_reach_stands_for_the_nearest() -> None:
    """Beyond its darkest point the wood has no tone: there the curve is level, and how steep it is stays a number."""
    beyond = curve_doubt(CURVE, tone=5.0)
    assert beyond.slope_L_per_decade < 0.1
    assert np.isfinite(beyond.slope_L_per_decade_sd)
    assert float(beyond.ripple_doubt_L(ripple_L=0.01, decades=0.02)) < 1.0
