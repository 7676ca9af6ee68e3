"""A lot's curve after one more burn of it was measured: what a finished piece tells, weighed against what it cannot.

A mark shows one tone of one board. The board differs from the lot, paper and toner leave the scale a little open; only what
remains says something of the lot. All marks of a photograph share board and scale, so many marks of one board are not many
boards. What lies too far off is not learnt from: then something else than the wood's curve happened.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.response.fitting import Observed, predicted_tones_L, tone_jacobian, with_parameters

FloatArray = NDArray[np.float64]

INCREDIBLE_SDS = 3.5  # once in two thousand, were all as believed
ROUNDS, SETTLED_L = 12, 1e-3
_POSITIVE = ("steepness_per_decade", "asymmetry")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Updated:
    """A curve after what a board showed.

    Attributes
    ----------
    curve : with its covariance.
    off_L : (N,) seen minus predicted before. [L*]
    expected_L_sd : (N,) standard deviation of that, were all as believed. [L*]
    distance : of all of it together from what was believed, in standard deviations of one number.
    """

    curve: CharacteristicCurve
    off_L: FloatArray
    expected_L_sd: FloatArray
    distance: float


def updated_curve(
    curve: CharacteristicCurve, observed: Observed, *, provenance: Provenance, extra_L_sd: float = 0.0
) -> Updated:
    """Return the curve of a lot after marks of one of its boards were measured.

    Parameters
    ----------
    observed : the marks; `shared_L` holds what they share but the board, as the scale of the photograph.
    extra_L_sd : what else all marks of the board share: focus, power, air of that day. [L*]

    Raises
    ------
    InvalidInput
        If there is no mark, a value is no number, or the board lies too far off to belong to the lot.

    Source
    ------
    Iterated linear Gaussian update [barshalom2001]; board-to-board spread enters as an error that marks share.
    """
    if observed.tone_L.size == 0:
        raise InvalidInput({"marks": "there is none to learn from"})
    for name in ("log10_dose", "dwell_ms", "passes", "tone_L", "tone_L_sd"):
        if not np.isfinite(getattr(observed, name)).all():
            raise InvalidInput({name: "holds a value that is no number"})
    noise = _noise(observed, board_L=math.hypot(curve.board_L, extra_L_sd))
    prior, covariance = curve.parameters(), np.asarray(curve.covariance)
    off = observed.tone_L - predicted_tones_L(curve, observed)
    jacobian = tone_jacobian(curve, observed)
    spread = jacobian @ covariance @ jacobian.T + noise
    distance = math.sqrt(float(off @ np.linalg.solve(spread, off)) / off.size)
    if distance > INCREDIBLE_SDS:
        worst = int(np.argmax(np.abs(off) / np.sqrt(np.diag(spread))))
        raise InvalidInput(
            {
                "tone": f"came out {abs(off[worst]):.1f} L* {'lighter' if off[worst] > 0.0 else 'darker'} than this lot "
                f"gives, {distance:.1f} times what boards, reading and curve leave open; the curve stays as it is"
            },
            hint="Something else happened: look at focus, lens, mirrors and power, or burn a strip on this board.",
        )
    at = prior.copy()
    for _ in range(ROUNDS):
        here = with_parameters(curve, at)
        rows = tone_jacobian(here, observed)
        gain = np.linalg.solve(rows @ covariance @ rows.T + noise, rows @ covariance).T
        expected = predicted_tones_L(here, observed) + rows @ (prior - at)
        moved = _held(prior + gain @ (observed.tone_L - expected), prior)
        step = float(np.abs(predicted_tones_L(with_parameters(curve, moved), observed) - expected).max())
        settled = float(np.abs(rows @ (moved - at)).max()) < SETTLED_L
        at = moved
        if settled or not math.isfinite(step):
            break
    after = with_parameters(curve, at)
    rows = tone_jacobian(after, observed)
    gain = np.linalg.solve(rows @ covariance @ rows.T + noise, rows @ covariance).T
    keep = np.eye(prior.size) - gain @ rows
    known = keep @ covariance @ keep.T + gain @ noise @ gain.T  # Joseph's form stays symmetric and positive
    known = 0.5 * (known + known.T)
    known.setflags(write=False)
    moved_x = after.x_mid - curve.x_mid
    return Updated(
        curve=replace(after, covariance=known, x_char=curve.x_char + moved_x, provenance=provenance),
        off_L=off,
        expected_L_sd=np.sqrt(np.diag(spread)),
        distance=distance,
    )


def _noise(observed: Observed, *, board_L: float) -> FloatArray:
    """Return the covariance of what marks show beyond the lot's curve: their own, the scale's, the board's."""
    shared = observed.shared()
    return np.asarray(np.diag(np.square(observed.tone_L_sd)) + shared @ shared.T + board_L**2)


def _held(vector: FloatArray, prior: FloatArray) -> FloatArray:
    """Return parameters with those that have to be above 0 kept at no less than a third of what they were."""
    held = vector.copy()
    for name in _POSITIVE:
        index = CURVE_PARAMETERS.index(name)
        held[index] = max(held[index], prior[index] / 3.0)
    return held
