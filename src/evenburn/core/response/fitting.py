"""Fitting a characteristic curve to what was read: robust, with a prior from the species, the form chosen by evidence.

Parameters are estimated at their most probable values given a Gaussian prior; outliers count less, as under Student's t.
Which of the curve's finer features are let go, asymmetry, the turn back past the darkest point, passes that do not add,
is decided by the evidence (Laplace's approximation), not by the smallest residual. What all patches of a reading share,
the offset and stretch that paper and toner leave, is estimated beside them: it does not average out over patches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import gammaln

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, LEAST_BARE_L, CharacteristicCurve
from evenburn.core.response.curve import DWELL_REFERENCE_ms, exposure_shift, tone_L

FloatArray = NDArray[np.float64]

FREEDOM = 5.0  # degrees of freedom of Student's t: tails for the odd patch with a knot in it
ROUNDS = 12
SETTLED_L = 1e-4
DIFFERENCE = 1e-5  # of a parameter, or of 1 where that is more
LEAST_SD_L = 1e-3  # no patch is read better, whatever is said
FEATURES = ("asymmetry", "reversal", "passes")
PLAIN = {"asymmetry": {"asymmetry": 1.0}, "reversal": {"reversal_L": 0.0}, "passes": {"pass_exponent": 1.0}}
LEAST_PATCHES = 3
WORTH_A_MENTION = (
    1.0  # of log evidence: less is "not worth more than a bare mention" [kass1995], and the simpler is taken
)
_INDEX = {name: i for i, name in enumerate(CURVE_PARAMETERS)}
_LOW = np.array([LEAST_BARE_L, 0.0, -8.0, 0.5, 0.05, -60.0, -8.0, -2.0, 0.0])
_HIGH = np.array([100.0, 100.0, 8.0, 150.0, 15.0, 60.0, 8.0, 2.0, 3.0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Observed:
    """Tones read of patches, (N,) each.

    Attributes
    ----------
    log10_dose : of the total dose of all passes. [log10 J/mm²]
    dwell_ms, passes : 2 w / v, and how often.
    tone_L, tone_L_sd : what was read, and its standard deviation without what all patches have in common. [L*]
    shared_L : (N, M) what each of M independent errors, by one standard deviation, does to every tone. [L*]
    """

    log10_dose: FloatArray
    dwell_ms: FloatArray
    passes: FloatArray
    tone_L: FloatArray
    tone_L_sd: FloatArray
    shared_L: FloatArray | None = None

    def shared(self) -> FloatArray:
        """Return what the patches share, (N, M); M is 0 where nothing is. Definition."""
        return np.zeros((self.log10_dose.size, 0)) if self.shared_L is None else self.shared_L


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """A fitted curve, and how it sits.

    Attributes
    ----------
    curve : with its covariance.
    residual_L : (N,) read minus fitted. [L*]
    weights : (N,) 1 for an ordinary patch, towards 0 for an outlier.
    scatter_L : spread from patch to patch beyond the reading's own. [L*]
    features : which of FEATURES the evidence asks for; all that were free where the prior is a known lot.
    covariance : (9, 9) of the curve's parameters, did the patches share no error: what more patches can narrow.
    shared : (M,) the errors that patches share, in their standard deviations, as far as the card tells.
    log_evidence : of every combination that was weighed.
    """

    curve: CharacteristicCurve
    residual_L: FloatArray
    weights: FloatArray
    scatter_L: float
    features: tuple[str, ...]
    covariance: FloatArray
    shared: FloatArray
    log_evidence: dict[tuple[str, ...], float]


def with_parameters(curve: CharacteristicCurve, vector: FloatArray) -> CharacteristicCurve:
    """Return a curve with its parameters from a vector in the order of CURVE_PARAMETERS. Definition."""
    changed: dict[str, Any] = {name: float(v) for name, v in zip(CURVE_PARAMETERS, vector, strict=True)}
    return replace(curve, **changed)


def predicted_tones_L(curve: CharacteristicCurve, observed: Observed) -> FloatArray:
    """Return the tones a curve gives for the patches observed, (N,). [L*] Source: `tone_L`."""
    shift = exposure_shift(curve, dwell_ms=observed.dwell_ms, passes=observed.passes)
    return tone_L(curve, observed.log10_dose + shift)


def _many_tones_L(vectors: FloatArray, observed: Observed) -> FloatArray:
    """Return the tones of the patches observed for K curves at once, (K, N), their parameters being (K, 9). [L*]

    Source
    ------
    `tone_L` and `exposure_shift`, written out for many parameters; a test holds the two together.
    """
    bare, full, mid, k, nu, turned, turn, kappa, beta = (column[:, None] for column in vectors.T)
    x = observed.log10_dose + kappa * np.log10(observed.dwell_ms / DWELL_REFERENCE_ms)
    x = x + (beta - 1.0) * np.log10(observed.passes)
    rise = np.exp(-np.logaddexp(0.0, np.log(np.expm1(nu * math.log(2.0))) - k * (x - mid)) / nu)
    return np.asarray(bare + (full - bare) * rise + turned * np.exp(-np.logaddexp(0.0, -k * (x - turn))), np.float64)


def tone_jacobian(curve: CharacteristicCurve, observed: Observed) -> FloatArray:
    """Return the change of each tone with each parameter, (N, 9). Source: central differences of `tone_L`."""
    return _jacobian(curve.parameters(), observed)


def _jacobian(base: FloatArray, observed: Observed) -> FloatArray:
    steps = DIFFERENCE * np.maximum(1.0, np.abs(base))
    tones = _many_tones_L(np.concatenate((base + np.diag(steps), base - np.diag(steps))), observed)
    return np.asarray(((tones[: base.size] - tones[base.size :]) / (2.0 * steps[:, None])).T, np.float64)


def fit_curve(
    observed: Observed,
    *,
    prior: CharacteristicCurve,
    prior_covariance: FloatArray,
    bare_L: float | None = None,
    bare_L_sd: float = 1.0,
    bare_shared_L: FloatArray | None = None,
    known: bool = False,
    provenance: Provenance,
) -> Fitted:
    """Return the curve that tones read and prior make most probable.

    Parameters
    ----------
    prior : what is believed before: a starting value, or the species.
    prior_covariance : (9, 9) how far this lot may lie from it, in the order of CURVE_PARAMETERS.
    bare_L, bare_L_sd : the untouched surface as read beside the patches; None where it was not. [L*]
    bare_shared_L : (M,) what the errors that the patches share do to it. [L*]
    known : the prior was fitted to patches itself, so that none of its features is let go of.

    Raises
    ------
    InvalidInput
        If there are too few patches, or numbers that are none.

    Source
    ------
    Maximum a posteriori with Student's t by reweighting [lange1989]; evidence by Laplace's method [mackay1992].
    """
    _demand(observed)
    observed = replace(observed, tone_L_sd=np.maximum(observed.tone_L_sd, LEAST_SD_L))
    if bare_L is not None:
        observed = _with_bare(observed, bare_L=bare_L, bare_L_sd=bare_L_sd, shared_L=bare_shared_L)
    found: dict[tuple[str, ...], _Solution] = {}
    for chosen in [(True,) * len(FEATURES)] if known else product((False, True), repeat=len(FEATURES)):
        features = tuple(name for name, on in zip(FEATURES, chosen, strict=True) if on)
        if "passes" in features and np.unique(observed.passes).size == 1 and not known:
            continue  # nothing was burnt twice: nothing is learnt of passes
        found[features] = _solve(observed, prior, prior_covariance, features=features)
    most = max(solution.log_evidence for solution in found.values())
    best = min(
        (features for features, solution in found.items() if solution.log_evidence >= most - WORTH_A_MENTION),
        key=lambda features: (len(features), -found[features].log_evidence),
    )
    solution = found[best]
    curve = with_parameters(prior, solution.vector)
    patches = slice(None) if bare_L is None else slice(None, -1)
    exposure = observed.log10_dose[patches] + exposure_shift(
        curve, dwell_ms=observed.dwell_ms[patches], passes=observed.passes[patches]
    )
    covariance = _covariance(observed, curve, prior_covariance, solution)
    covariance.setflags(write=False)
    low, high = float(exposure.min()), float(exposure.max())
    return Fitted(
        curve=replace(
            curve,
            covariance=covariance,
            x_low=low,
            x_high=high,
            x_char=max(_char_limit(curve, prior, high=high), low + 1e-6),
            provenance=provenance,
        ),
        residual_L=(observed.tone_L - predicted_tones_L(curve, observed) - observed.shared() @ solution.shared)[
            patches
        ],
        weights=solution.weights[patches],
        scatter_L=solution.scatter_L,
        features=best,
        covariance=_covariance(replace(observed, shared_L=None), curve, prior_covariance, solution),
        shared=solution.shared,
        log_evidence={features: each.log_evidence for features, each in found.items()},
    )


def _demand(observed: Observed) -> None:
    count = observed.log10_dose.size
    if count < LEAST_PATCHES:
        raise InvalidInput({"patches": f"{count} are too few for a curve; at least {LEAST_PATCHES} are needed"})
    for name in ("log10_dose", "dwell_ms", "passes", "tone_L", "tone_L_sd"):
        if not np.isfinite(getattr(observed, name)).all():
            raise InvalidInput({name: "holds a value that is no number"})


def _with_bare(observed: Observed, *, bare_L: float, bare_L_sd: float, shared_L: FloatArray | None) -> Observed:
    """Return the patches and, as one more, the bare wood: no dose worth naming."""
    row = np.zeros((1, observed.shared().shape[1])) if shared_L is None else np.atleast_2d(shared_L)
    return Observed(
        log10_dose=np.append(observed.log10_dose, -12.0),
        dwell_ms=np.append(observed.dwell_ms, 1.0),
        # it was burnt over by none: it must not look like a second kind
        passes=np.append(observed.passes, observed.passes[:1]),
        tone_L=np.append(observed.tone_L, bare_L),
        tone_L_sd=np.append(observed.tone_L_sd, bare_L_sd),
        shared_L=np.vstack((observed.shared(), row)),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solution:
    vector: FloatArray
    weights: FloatArray
    scatter_L: float
    shared: FloatArray
    log_evidence: float


def _solve(
    observed: Observed, prior: CharacteristicCurve, prior_covariance: FloatArray, *, features: tuple[str, ...]
) -> _Solution:
    """Return the most probable parameters with only some features let free, from several starts along the exposure."""
    base = prior.parameters()
    held = np.zeros(base.size, np.bool_)
    for feature, plain in PLAIN.items():
        if feature not in features:
            for name, value in plain.items():
                base[_INDEX[name]], held[_INDEX[name]] = value, True
    if "reversal" not in features:
        held[_INDEX["x_reversal"]] = True
    free = np.flatnonzero(~held & (np.diag(prior_covariance) > 0.0))
    root = np.linalg.cholesky(np.linalg.inv(prior_covariance[np.ix_(free, free)])).T
    shift_sd = math.sqrt(float(prior_covariance[_INDEX["x_mid"], _INDEX["x_mid"]]))
    starts = [
        _reweighted(observed, base=base, free=free, root=root, shifted=start * shift_sd) for start in (0.0, -1.0, 1.0)
    ]
    return max(starts, key=lambda solution: solution.log_evidence)


def _reweighted(
    observed: Observed,
    *,
    base: FloatArray,
    free: NDArray[np.intp],
    root: FloatArray,
    shifted: float,
) -> _Solution:
    """Return the solution from one start: weights and scatter settle by turns with the parameters."""
    low, high = _LOW[free], _HIGH[free]
    at = base[free].copy()
    at[free == _INDEX["x_mid"]] += shifted
    at = np.clip(at, low + 1e-9, high - 1e-9)
    common = observed.shared()
    count = common.shape[1]
    at = np.append(at, np.zeros(count))
    none = np.full(count, np.inf)
    bounds = (np.append(low, -none), np.append(high, none))
    weights, scatter, before = np.ones(observed.tone_L.size), 1.0, np.inf
    vector = base.copy()

    def vector_at(values: FloatArray) -> FloatArray:
        vector[free] = values[: free.size]
        return vector

    def over(values: FloatArray) -> FloatArray:
        tones = _many_tones_L(vector_at(values)[None, :], observed)[0]
        return np.asarray(tones + common @ values[free.size :] - observed.tone_L, np.float64)

    beliefs = np.zeros((at.size, at.size))  # what is believed of the numbers, as rows of residuals
    beliefs[: free.size, : free.size] = root
    beliefs[free.size :, free.size :] = np.eye(count)
    centre = np.append(base[free], np.zeros(count))

    residual = np.zeros_like(observed.tone_L)
    for _ in range(ROUNDS):
        sd = np.sqrt((np.square(observed.tone_L_sd) + scatter**2) / weights)

        def off(values: FloatArray, sd: FloatArray = sd) -> FloatArray:
            return np.concatenate((over(values) / sd, beliefs @ (values - centre)))

        def slopes(values: FloatArray, sd: FloatArray = sd) -> FloatArray:
            by = np.hstack((_jacobian(vector_at(values), observed)[:, free], common))
            return np.concatenate((by / sd[:, None], beliefs))

        at = least_squares(off, at, jac=slopes, bounds=bounds, x_scale="jac", max_nfev=60).x
        residual = -over(at)
        scatter = _scatter_L(residual, observed.tone_L_sd)
        variance = np.square(observed.tone_L_sd) + scatter**2
        weights = (FREEDOM + 1.0) / (FREEDOM + np.square(residual) / variance)
        weights = np.minimum(weights, 1.0)
        if abs(scatter - before) < SETTLED_L:
            break
        before = scatter
    variance = np.square(observed.tone_L_sd) + scatter**2
    jacobian = np.hstack((_jacobian(vector_at(at), observed)[:, free], common))
    precision = jacobian.T @ (jacobian * (weights / variance)[:, None]) + beliefs.T @ beliefs
    log_prior = -0.5 * float(np.square(beliefs @ (at - centre)).sum())
    log_prior += float(np.log(np.diag(root)).sum())  # the 2π of prior and volume are as many, and cancel
    return _Solution(
        vector=vector_at(at).copy(),
        weights=weights,
        scatter_L=scatter,
        shared=at[free.size :],
        log_evidence=_log_student(residual, variance) + log_prior - 0.5 * float(np.linalg.slogdet(precision)[1]),
    )


def _log_student(residual: FloatArray, variance: FloatArray) -> float:
    """Return the log probability of residuals under Student's t."""
    t2 = np.square(residual) / variance
    constant = gammaln(0.5 * (FREEDOM + 1.0)) - gammaln(0.5 * FREEDOM) - 0.5 * math.log(FREEDOM * math.pi)
    return float((constant - 0.5 * np.log(variance) - 0.5 * (FREEDOM + 1.0) * np.log1p(t2 / FREEDOM)).sum())


def _scatter_L(residual: FloatArray, sd: FloatArray) -> float:
    """Return the spread beyond the reading's own that makes the residuals most probable. [L*]"""
    grid = np.concatenate(([0.0], np.geomspace(0.02, 20.0, 60)))
    variance = np.square(sd) + np.square(grid)[:, None]
    t2 = np.square(residual) / variance
    scores = -(0.5 * np.log(variance) + 0.5 * (FREEDOM + 1.0) * np.log1p(t2 / FREEDOM)).sum(axis=1)
    scores = scores - np.square(grid) / 200.0  # a spread of more than some ten L* is no scatter any more
    return float(grid[int(np.argmax(scores))])


def _covariance(
    observed: Observed, curve: CharacteristicCurve, prior_covariance: FloatArray, solution: _Solution
) -> FloatArray:
    """Return the covariance with all features let free: what was not needed is still not known.

    What the patches share is let free beside them, so that it widens the answer however many patches there are.
    """
    free = np.flatnonzero(np.diag(prior_covariance) > 0.0)
    jacobian = np.hstack((tone_jacobian(curve, observed)[:, free], observed.shared()))
    variance = np.square(observed.tone_L_sd) + solution.scatter_L**2
    beliefs = np.eye(jacobian.shape[1])
    beliefs[: free.size, : free.size] = np.linalg.inv(prior_covariance[np.ix_(free, free)])
    precision = jacobian.T @ (jacobian * (solution.weights / variance)[:, None]) + beliefs
    full = np.zeros_like(prior_covariance)
    full[np.ix_(free, free)] = np.linalg.inv(precision)[: free.size, : free.size]
    return 0.5 * (full + full.T)


def _char_limit(curve: CharacteristicCurve, prior: CharacteristicCurve, *, high: float) -> float:
    """Return the char limit: as far past the middle as the species has it, or where the tone turns back. [log10 J/mm²]"""
    scale = prior.steepness_per_decade / curve.steepness_per_decade
    believed = curve.x_mid + (prior.x_char - prior.x_mid) * scale
    if curve.reversal_L == 0.0:
        return believed
    grid = np.linspace(curve.x_mid, max(high, believed), 2001)
    tones = tone_L(curve, grid)
    turn = int(np.argmin(tones) if curve.full_L < curve.bare_L else np.argmax(tones))
    return float(min(believed, grid[turn])) if turn < grid.size - 1 else believed
