"""Fitting a curve: against a general fitter where nothing is odd, then outliers, evidence, honesty and few patches."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import curve_fit

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.response.curve import exposure_shift, fit_sd_L, tone_L
from evenburn.core.response.fitting import (
    Fitted,
    Observed,
    _many_tones_L,
    fit_curve,
    predicted_tones_L,
    with_parameters,
)
from unit.core.examples import CURVE

TODAY = Provenance(kind="fitted", detail="a test")
WIDE = {
    "bare_L": 10.0,
    "full_L": 10.0,
    "x_mid": 0.3,
    "steepness_per_decade": 4.0,
    "asymmetry": 0.6,
    "reversal_L": 6.0,
    "x_reversal": 0.3,
    "kappa": 0.12,
    "pass_exponent": 0.12,
}
PRIOR = np.diag([WIDE[name] ** 2 for name in CURVE_PARAMETERS])


def card(truth: CharacteristicCurve, *, noise_L: float, seed: int, patches: int = 54) -> Observed:
    """Return what a card of six rows reads like: four dwells, one row in two passes."""
    generator = np.random.default_rng(seed)
    each = patches // 6
    dwell = np.repeat([0.7, 1.0, 1.5, 2.2, 1.2, 1.2], each)
    passes = np.repeat([1.0, 1.0, 1.0, 1.0, 1.0, 2.0], each)
    dose = truth.x_mid + np.tile(np.linspace(-0.9, 0.5, each), 6)
    bare = Observed(
        log10_dose=dose, dwell_ms=dwell, passes=passes, tone_L=0.0 * dose, tone_L_sd=np.full(dose.size, noise_L)
    )
    return replace(bare, tone_L=predicted_tones_L(truth, bare) + noise_L * generator.normal(size=dose.size))


def fitted(observed: Observed, **changes: Any) -> Fitted:
    settings: dict[str, Any] = {"prior": CURVE, "prior_covariance": PRIOR, "provenance": TODAY}
    return fit_curve(observed, **{**settings, **changes})


def tones(curve: CharacteristicCurve) -> NDArray[np.float64]:
    """Return tones over dose at two dwells."""
    doses = CURVE.x_mid + np.linspace(-0.7, 0.4, 12)
    return np.concatenate([tone_L(curve, doses + exposure_shift(curve, dwell_ms=d)) for d in (0.8, 2.0)])


def test_as_a_general_fitter_where_the_prior_is_as_good_as_none() -> None:
    """SciPy's curve_fit of the plain logistic, kappa and passes as well: the same tones within 0.1 L* of 60 to 90."""
    truth = replace(CURVE, asymmetry=1.0, reversal_L=0.0)
    seen = card(truth, noise_L=0.5, seed=1)

    def plain(_x: object, *b: float) -> Any:
        bare, full, mid, k, kappa, beta = b
        x = seen.log10_dose + kappa * np.log10(seen.dwell_ms) + (beta - 1.0) * np.log10(seen.passes)
        return full + (bare - full) / (1.0 + np.exp(k * (x - mid)))

    start = [truth.bare_L, truth.full_L, truth.x_mid, truth.steepness_per_decade, 0.1, 1.0]
    found, covariance = curve_fit(plain, np.zeros(54), seen.tone_L, p0=start, sigma=seen.tone_L_sd, absolute_sigma=True)
    ours = fitted(seen, prior_covariance=1e4 * PRIOR)
    theirs = replace(
        truth,
        bare_L=found[0],
        full_L=found[1],
        x_mid=found[2],
        steepness_per_decade=found[3],
        kappa=found[4],
        pass_exponent=found[5],
    )
    assert (
        np.abs(tones(ours.curve) - tones(theirs)).max() < 0.6
    )  # outliers weigh less with us, and passes may be let go
    mid = list(CURVE_PARAMETERS).index("x_mid")
    assert ours.curve.covariance[mid, mid] ** 0.5 > 0.5 * covariance[2, 2] ** 0.5


def test_outliers_move_nothing_and_are_named() -> None:
    seen = card(CURVE, noise_L=0.7, seed=2)
    clean = fitted(seen)
    spoilt = seen.tone_L.copy()
    spoilt[[7, 30]] += [25.0, -18.0]
    again = fitted(replace(seen, tone_L=spoilt))
    assert np.abs(tones(again.curve) - tones(clean.curve)).max() < 0.5
    assert set(np.argsort(again.weights)[:2].tolist()) == {7, 30}
    assert again.weights[[7, 30]].max() < 0.2


def test_the_evidence_asks_for_a_turn_back_only_where_there_is_one() -> None:
    plain = replace(CURVE, asymmetry=1.0, reversal_L=0.0, pass_exponent=1.0)
    assert sum(fitted(card(plain, noise_L=0.7, seed=seed)).features == () for seed in range(6)) >= 4
    turning = replace(plain, reversal_L=25.0, x_reversal=plain.x_mid + 0.45)
    found = fitted(card(turning, noise_L=0.7, seed=3))
    assert "reversal" in found.features
    assert found.log_evidence["reversal",] > found.log_evidence[()] + 3.0
    assert found.curve.x_char <= turning.x_mid + 0.5
    assert "passes" in fitted(card(replace(plain, pass_exponent=0.7), noise_L=0.7, seed=3)).features
    assert fitted(card(replace(plain, asymmetry=4.0), noise_L=0.4, seed=3)).features != ()


def test_nothing_is_learnt_of_passes_where_all_patches_were_burnt_over_alike() -> None:
    """However that counts, and though the bare wood stands beside them."""
    seen = card(replace(CURVE, pass_exponent=1.0), noise_L=0.7, seed=3)
    alike = replace(seen, passes=np.full(seen.passes.size, 1.2))
    for bare in ({}, {"bare_L": CURVE.bare_L, "bare_L_sd": 0.5}):
        assert any("passes" in features for features in fitted(seen, **bare).log_evidence)
        assert not any("passes" in features for features in fitted(alike, **bare).log_evidence)


def test_the_stated_uncertainty_is_honest() -> None:
    """Of 20 woods drawn at random, 12 exposures and two dwells each: 85 to 99 % lie within two standard deviations."""
    generator = np.random.default_rng(5)
    inside = []
    for seed in range(20):
        truth = replace(
            CURVE,
            bare_L=CURVE.bare_L + 4.0 * generator.normal(),
            full_L=CURVE.full_L + 4.0 * generator.normal(),
            x_mid=CURVE.x_mid + 0.2 * generator.normal(),
            kappa=CURVE.kappa + 0.1 * generator.normal(),
            asymmetry=float(np.exp(0.3 * generator.normal())),
        )
        found = fitted(card(truth, noise_L=1.0, seed=seed), bare_L=truth.bare_L, bare_L_sd=0.5)
        for dose in CURVE.x_mid + np.linspace(-0.7, 0.4, 12):
            for dwell in (0.8, 2.0):
                right, got = (float(tone_L(c, dose + exposure_shift(c, dwell_ms=dwell))) for c in (truth, found.curve))
                inside.append(abs(got - right) < 2.0 * fit_sd_L(found.curve, log10_dose=float(dose), dwell_ms=dwell))
    assert 0.85 <= np.mean(inside) <= 0.99


def test_five_patches_move_a_known_curve() -> None:
    """A lot whose middle lies 0.12 decades off and whose surface is 5 L* darker: a strip brings it within 1.5 L*."""
    lot = replace(CURVE, x_mid=CURVE.x_mid + 0.12, bare_L=CURVE.bare_L - 5.0)
    known = np.diag([(0.25 * WIDE[name]) ** 2 for name in CURVE_PARAMETERS])
    generator = np.random.default_rng(9)
    dose = lot.x_mid + np.array([-0.35, -0.15, 0.0, 0.12, 0.3])
    strip = Observed(
        log10_dose=dose, dwell_ms=np.full(5, 1.1), passes=np.ones(5), tone_L=dose, tone_L_sd=np.full(5, 0.7)
    )
    strip = replace(strip, tone_L=predicted_tones_L(lot, strip) + 0.5 * generator.normal(size=5))
    before = np.abs(tones(CURVE) - tones(lot)).max()
    found = fitted(strip, prior_covariance=known, bare_L=lot.bare_L, bare_L_sd=0.5)
    assert before > 7.0
    assert np.quantile(np.abs(tones(found.curve) - tones(lot)), 0.9) < 1.5


def test_the_same_again_is_the_same() -> None:
    seen = card(CURVE, noise_L=1.0, seed=4)
    assert fitted(seen).curve.parameters().tolist() == fitted(seen).curve.parameters().tolist()


def test_too_few_patches_and_numbers_that_are_none_are_refused() -> None:
    seen = card(CURVE, noise_L=1.0, seed=4)
    names = ("log10_dose", "dwell_ms", "passes", "tone_L", "tone_L_sd")
    two = Observed(**{name: getattr(seen, name)[:2] for name in names})
    with pytest.raises(InvalidInput, match="2 are too few"):
        fitted(two)
    bad = seen.tone_L.copy()
    bad[3] = np.nan
    with pytest.raises(InvalidInput, match="tone_L"):
        fitted(replace(seen, tone_L=bad))


def test_a_shared_error_is_not_averaged_away() -> None:
    """An offset of ± 2 L* on all 54 patches and the bare wood: the bare tone stays as uncertain as that."""
    seen = replace(card(CURVE, noise_L=0.7, seed=6), shared_L=np.full((54, 1), 2.0))
    shared = fitted(seen, bare_L=CURVE.bare_L, bare_L_sd=0.3, bare_shared_L=np.array([2.0]))
    own = fitted(replace(seen, shared_L=None), bare_L=CURVE.bare_L, bare_L_sd=0.3)
    assert 1.8 < shared.curve.covariance[0, 0] ** 0.5 < 2.1  # 2, less what a bare tone of ± 10 believed takes off
    assert own.curve.covariance[0, 0] ** 0.5 < 0.4
    assert shared.covariance[0, 0] ** 0.5 < 0.4
    assert np.abs(tones(shared.curve) - tones(own.curve)).max() < 1.5


def test_two_lights_apart_are_reconciled_where_their_patches_overlap() -> None:
    """Half of the patches read 3 L* too light by a light that says ± 3: found out to within 0.7 L* from the other half."""
    seen = card(CURVE, noise_L=0.5, seed=7)
    first = (np.arange(54) % 2).astype(float)
    seen = replace(seen, tone_L=seen.tone_L + 3.0 * first, shared_L=np.column_stack((3.0 * first, 0.1 * (1.0 - first))))
    found = fitted(seen)
    assert 3.0 * found.shared[0] == pytest.approx(3.0, abs=0.7)
    assert np.abs(found.residual_L).max() < 2.5
    assert np.abs(tones(found.curve) - tones(CURVE)).max() < 1.2


def test_a_known_curve_keeps_its_form() -> None:
    """Six patches of one pass say nothing of asymmetry, turn and passes: those stay as the lot has them."""
    lot = replace(CURVE, asymmetry=1.8, pass_exponent=0.9)
    dose = lot.x_mid + np.linspace(-0.4, 0.3, 6)
    strip = Observed(
        log10_dose=dose, dwell_ms=np.full(6, 1.1), passes=np.ones(6), tone_L=dose, tone_L_sd=np.full(6, 0.5)
    )
    strip = replace(strip, tone_L=predicted_tones_L(lot, strip))
    found = fitted(strip, prior=lot, prior_covariance=1e-3 * PRIOR, known=True)
    assert found.curve.asymmetry == pytest.approx(1.8, abs=0.05)
    assert found.curve.pass_exponent == pytest.approx(0.9, abs=1e-6)
    assert found.curve.reversal_L == pytest.approx(lot.reversal_L, abs=0.3)


def test_a_reading_that_claims_no_doubt_is_no_trouble() -> None:
    seen = card(CURVE, noise_L=0.5, seed=8)
    found = fitted(replace(seen, tone_L_sd=np.zeros(54)))
    assert np.abs(tones(found.curve) - tones(CURVE)).max() < 1.0


def test_tones_of_many_curves_are_those_of_each() -> None:
    seen = card(CURVE, noise_L=0.5, seed=8)
    vectors = np.random.default_rng(2).multivariate_normal(CURVE.parameters(), 0.04 * PRIOR, size=20)
    vectors[0, CURVE_PARAMETERS.index("reversal_L")] = 0.0
    each = [predicted_tones_L(with_parameters(CURVE, v), seen) for v in vectors]
    np.testing.assert_allclose(_many_tones_L(vectors, seen), each, rtol=1e-12, atol=1e-10)  # rounding only
