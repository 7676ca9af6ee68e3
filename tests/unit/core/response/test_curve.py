"""The characteristic curve: both ways, its usable range, and how sure it is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.errors import OutOfRange
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.response.curve import (
    effective_exposure,
    exposure_for_tone,
    exposure_shift,
    exposures_for_tones,
    fit_sd_L,
    tone_L,
    tone_range_L,
    tone_sd_L,
    tone_slope_L_per_decade,
    usable_range,
)
from unit.core.examples import CURVE, SLATE, curve, plain_curve

# the inverse interpolates a table of 2001 points over some 2 decades: step h = 1e-3, error h²/8 · |L''|/|L'| with
# |L''|/|L'| below k ln 10 ≈ 20 gives 3e-6 decades, and times a slope of 200 L* a decade 5e-4 L*
INVERSE_L = 1e-3


def generalised_logistic_by_hand(c: CharacteristicCurve, x: float) -> float:
    g = (1.0 + (2.0**c.asymmetry - 1.0) * math.exp(-c.steepness_per_decade * (x - c.x_mid))) ** (-1.0 / c.asymmetry)
    turn = 1.0 / (1.0 + math.exp(-c.steepness_per_decade * (x - c.x_reversal)))
    return c.bare_L + (c.full_L - c.bare_L) * g + c.reversal_L * turn


@pytest.mark.parametrize("c", [CURVE, SLATE, plain_curve()], ids=["maple", "slate", "plain"])
@pytest.mark.parametrize("x", [-1.2, -0.3, 0.0, 0.41, 0.8])
def test_tone_is_the_formula_written_out(c: CharacteristicCurve, x: float) -> None:
    assert float(tone_L(c, x)) == pytest.approx(generalised_logistic_by_hand(c, x), abs=1e-10)  # rounding


def test_half_of_the_way_is_done_at_x_mid_whatever_the_asymmetry() -> None:
    for asymmetry in (0.2, 1.0, 3.0):
        c = plain_curve(asymmetry=asymmetry, x_mid=-0.4)
        assert float(tone_L(c, -0.4)) == pytest.approx(50.0, abs=1e-9)  # rounding


def test_no_exposure_leaves_the_bare_surface() -> None:
    assert float(tone_L(CURVE, -math.inf)) == CURVE.bare_L
    assert float(tone_L(SLATE, -math.inf)) == SLATE.bare_L
    x = effective_exposure(CURVE, dose_J_per_mm2=0.0, dwell_ms=1.0)
    assert float(x) == -math.inf
    assert float(tone_L(CURVE, x)) == CURVE.bare_L


def test_exposure_without_end_is_full_tone_and_turn() -> None:
    assert float(tone_L(CURVE, 400.0)) == pytest.approx(CURVE.full_L + CURVE.reversal_L, abs=1e-9)  # no overflow


def test_empty_single_and_many_exposures_keep_their_shape() -> None:
    assert tone_L(CURVE, []).shape == (0,)
    assert tone_L(CURVE, [0.1]).shape == (1,)
    assert tone_L(CURVE, np.zeros((2, 3))).shape == (2, 3)


def test_what_is_not_known_stays_unknown() -> None:
    for c in (CURVE, SLATE):
        with np.errstate(invalid="ignore"):  # numpy says aloud that it was given one
            assert np.isnan(tone_L(c, [math.nan, 0.1])).tolist() == [True, False]
        assert np.isnan(exposures_for_tones(c, [math.nan, 50.0])).tolist() == [True, False]
        unknown = effective_exposure(c, dose_J_per_mm2=[math.nan, 1.0], dwell_ms=[1.0, 1.0])
        assert np.isnan(unknown).tolist() == [True, False]


def test_no_tones_ask_for_no_exposures() -> None:
    assert exposures_for_tones(CURVE, []).shape == (0,)


def test_parameters_stand_in_the_order_of_the_covariance() -> None:
    assert CURVE.parameters().tolist() == [82.0, 28.0, -0.3, 6.0, 0.8, 4.0, 1.0, 0.1, 0.95]
    assert CURVE.parameters().shape == (len(CURVE_PARAMETERS),)


def test_wood_darkens_and_slate_lightens_all_along_the_usable_range() -> None:
    for c, sign in ((CURVE, -1.0), (SLATE, 1.0)):
        low, high = usable_range(c)
        assert (sign * np.diff(tone_L(c, np.linspace(low, high, 500))) > 0.0).all()


def test_past_its_darkest_point_the_surface_turns_light_again() -> None:
    c = curve(reversal_L=8.0, x_reversal=0.6, x_char=3.0, x_high=2.0)
    _, turn = usable_range(c)
    assert turn < 2.0
    darkest = float(tone_L(c, turn))
    assert float(tone_L(c, turn + 0.3)) > darkest + 0.5
    assert abs(float(tone_slope_L_per_decade(c, turn))) < 1.0  # a grid step from the flat bottom


@pytest.mark.parametrize(
    ("changes", "end"),
    [
        ({"reversal_L": 0.0, "x_high": 0.5, "x_char": 0.9}, 0.5),
        ({"reversal_L": 0.0, "x_high": 0.9, "x_char": 0.5}, 0.5),
    ],
    ids=["what was measured", "char limit"],
)
def test_usable_range_stops_at_whichever_comes_first(changes: dict[str, float], end: float) -> None:
    low, high = usable_range(curve(**changes))
    assert low == CURVE.x_low
    assert high == pytest.approx(end, abs=1e-12)


def test_usable_range_stops_at_the_turn_before_the_char_limit() -> None:
    c = curve(reversal_L=15.0, x_reversal=0.3)
    _, high = usable_range(c)
    dense = np.linspace(c.x_low, min(c.x_high, c.x_char), 200_001)
    turn = dense[np.argmin(tone_L(c, dense))]
    assert turn < 0.5  # the turn is what binds here
    assert high == pytest.approx(turn, abs=(min(c.x_high, c.x_char) - c.x_low) / 2000)  # one step of its grid


@pytest.mark.parametrize("c", [CURVE, SLATE, curve(reversal_L=15.0, x_reversal=0.3)], ids=["maple", "slate", "turn"])
def test_exposure_for_tone_gives_the_tone_back(c: CharacteristicCurve) -> None:
    faint, full = tone_range_L(c)
    for tone in np.linspace(faint, full, 23)[1:-1]:
        x = exposure_for_tone(c, float(tone))
        low, high = usable_range(c)
        assert low <= x <= high
        assert float(tone_L(c, x)) == pytest.approx(tone, abs=INVERSE_L)


@pytest.mark.parametrize("c", [CURVE, SLATE], ids=["maple", "slate"])
def test_a_tone_the_wood_cannot_take_is_refused_and_told(c: CharacteristicCurve) -> None:
    darkest, lightest = sorted(tone_range_L(c))
    for tone in (darkest - 0.01, lightest + 0.01, math.nan, math.inf):
        with pytest.raises(OutOfRange) as caught:
            exposure_for_tone(c, tone)
        assert (caught.value.low, caught.value.high) == (darkest, lightest)
        assert caught.value.unit == "L*"


@pytest.mark.parametrize("c", [CURVE, SLATE], ids=["maple", "slate"])
def test_the_end_tones_themselves_are_taken(c: CharacteristicCurve) -> None:
    ends = usable_range(c)
    for tone, exposure in zip(tone_range_L(c), ends, strict=True):
        assert exposure_for_tone(c, tone) == pytest.approx(exposure, abs=1e-9)


def test_tones_in_an_array_past_the_ends_get_the_nearest_end() -> None:
    low, high = usable_range(CURVE)
    assert exposures_for_tones(CURVE, [100.0, 0.0]) == pytest.approx([low, high], abs=1e-12)
    low, high = usable_range(SLATE)
    assert exposures_for_tones(SLATE, [0.0, 100.0]) == pytest.approx([low, high], abs=1e-12)


def test_slope_is_that_of_the_formula_at_its_middle() -> None:
    # closed form at x_mid of the plain logistic: (full − bare) k / 4
    assert float(tone_slope_L_per_decade(plain_curve(), 0.0)) == pytest.approx(-60.0 * 8.0 / 4.0, rel=1e-6)


def test_the_same_energy_slower_or_in_more_passes_is_not_the_same_burn() -> None:
    c = curve(kappa=0.1, pass_exponent=0.95)
    once = float(effective_exposure(c, dose_J_per_mm2=1.0, dwell_ms=1.0))
    assert once == 0.0
    assert float(effective_exposure(c, dose_J_per_mm2=1.0, dwell_ms=10.0)) == pytest.approx(0.1, abs=1e-12)
    twice = effective_exposure(c, dose_J_per_mm2=1.0, dwell_ms=1.0, passes=2)
    assert float(twice) == pytest.approx(-0.05 * math.log10(2.0), abs=1e-12)
    assert exposure_shift(c, dwell_ms=[1.0, 10.0]) == pytest.approx([0.0, 0.1], abs=1e-12)


@pytest.mark.parametrize(
    ("c", "log10_dose", "dwell_ms", "passes"),
    [
        (CURVE, -0.3, 0.5, 1),
        (CURVE, 0.2, 2.0, 1),
        (CURVE, -0.8, 0.3, 2),
        (SLATE, 0.0, 1.0, 1),
    ],
    ids=["middle", "shoulder", "toe, two passes", "slate"],
)
def test_fit_sd_agrees_with_drawing_curves_at_random(
    c: CharacteristicCurve, log10_dose: float, dwell_ms: float, passes: int
) -> None:
    """First order against Monte Carlo; 40 000 draws leave 0.35 %, the curve's bend the rest: 5 % in all.

    The covariance is correlated, so that a forgotten off-diagonal shows; four tenths of CURVE's spread keep it first order.
    """
    rng = np.random.default_rng(20)
    sd = 0.4 * np.sqrt(np.diag(CURVE.covariance))
    mixing = np.eye(9) + 0.4 * np.triu(rng.uniform(-1.0, 1.0, (9, 9)), 1)
    correlation = mixing @ mixing.T
    scale = sd / np.sqrt(np.diag(correlation))
    covariance = correlation * np.outer(scale, scale)
    c = replace(c, covariance=covariance)
    draws = rng.multivariate_normal(c.parameters(), covariance, size=40_000)
    p = dict(zip(CURVE_PARAMETERS, draws.T, strict=True))
    x = log10_dose + p["kappa"] * np.log10(dwell_ms) + (p["pass_exponent"] - 1.0) * np.log10(passes)
    k, nu = p["steepness_per_decade"], p["asymmetry"]
    rise = (1.0 + (2.0**nu - 1.0) * np.exp(-k * (x - p["x_mid"]))) ** (-1.0 / nu)
    turn = 1.0 / (1.0 + np.exp(-k * (x - p["x_reversal"])))
    tones = p["bare_L"] + (p["full_L"] - p["bare_L"]) * rise + p["reversal_L"] * turn
    assert fit_sd_L(c, log10_dose=log10_dose, dwell_ms=dwell_ms, passes=passes) == pytest.approx(
        float(tones.std()), rel=0.05
    )


def test_one_pass_is_meant_where_none_is_said() -> None:
    for function in (fit_sd_L, tone_sd_L):
        assert function(CURVE, log10_dose=0.1, dwell_ms=2.0) == function(CURVE, log10_dose=0.1, dwell_ms=2.0, passes=1)
        assert function(CURVE, log10_dose=0.1, dwell_ms=2.0) != function(CURVE, log10_dose=0.1, dwell_ms=2.0, passes=2)
    assert effective_exposure(CURVE, dose_J_per_mm2=1.3, dwell_ms=2.0) == effective_exposure(
        CURVE, dose_J_per_mm2=1.3, dwell_ms=2.0, passes=1
    )


def test_a_curve_without_covariance_has_no_fit_sd() -> None:
    assert fit_sd_L(plain_curve(), log10_dose=0.0, dwell_ms=1.0) == 0.0


def test_what_the_person_meets_adds_reading_board_and_evenness_in_quadrature() -> None:
    c = plain_curve(evenness_L=2.0, board_L=1.0, reading_L=2.0)
    assert tone_sd_L(c, log10_dose=0.0, dwell_ms=1.0) == pytest.approx(3.0, abs=1e-12)  # √(4 + 1 + 4)
