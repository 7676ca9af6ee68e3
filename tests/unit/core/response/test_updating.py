"""What a finished piece says of its lot, and what it may not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.response.curve import exposure_for_tone, tone_slope_L_per_decade
from evenburn.core.response.fitting import Observed, predicted_tones_L
from evenburn.core.response.updating import updated_curve

SEEN = Provenance(kind="measured", detail="a finished piece")


def _curve(*, board_L: float, x_mid_sd: float = 0.05) -> CharacteristicCurve:
    """A lot of which only the place of the curve along the exposure is uncertain."""
    sds = np.zeros(len(CURVE_PARAMETERS))
    sds[CURVE_PARAMETERS.index("x_mid")] = x_mid_sd
    return replace(shipped_wood("hard-maple").curve, covariance=np.diag(sds**2), board_L=board_L)


def _marks(curve: CharacteristicCurve, *, off_L: float, count: int = 1, sd: float = 0.5) -> Observed:
    x = np.full(count, exposure_for_tone(curve, 52.0))
    burnt = Observed(
        log10_dose=x, dwell_ms=np.ones(count), passes=np.ones(count), tone_L=x, tone_L_sd=np.full(count, sd)
    )
    return replace(burnt, tone_L=predicted_tones_L(curve, burnt) + off_L)


def test_one_unknown_is_weighed_as_two_measurements_are() -> None:
    # two independent estimates of one number are weighed by their inverse variances: JCGM 100 (GUM), H.1 and textbooks;
    # here the curve's own and the mark's, both turned into exposure by the slope
    curve = _curve(board_L=1.2, x_mid_sd=0.02)
    marks = _marks(curve, off_L=0.2, sd=0.9)  # small, so that the curve is straight over it
    slope = float(tone_slope_L_per_decade(curve, marks.log10_dose[0]))
    mark_sd = np.hypot(0.9, 1.2) / abs(slope)
    weight = 0.02**2 / (0.02**2 + mark_sd**2)
    after = updated_curve(curve, marks, provenance=SEEN)
    moved = after.curve.x_mid - curve.x_mid
    assert moved == pytest.approx(weight * (-0.2 / slope), rel=0.03)
    sd_after = np.sqrt(after.curve.covariance[2, 2])
    assert sd_after == pytest.approx(0.02 * mark_sd / np.hypot(0.02, mark_sd), rel=0.03)
    assert after.curve.provenance == SEEN


def test_many_marks_of_one_board_are_not_many_boards() -> None:
    curve = _curve(board_L=2.0)
    one = updated_curve(curve, _marks(curve, off_L=1.5, sd=0.1), provenance=SEEN)
    many = updated_curve(curve, _marks(curve, off_L=1.5, sd=0.1, count=40), provenance=SEEN)
    assert many.curve.x_mid == pytest.approx(one.curve.x_mid, abs=2e-3)
    assert many.curve.covariance[2, 2] == pytest.approx(one.curve.covariance[2, 2], rel=0.02)


def test_what_marks_share_of_the_scale_does_not_average_out() -> None:
    curve = _curve(board_L=0.5, x_mid_sd=0.01)
    marks = _marks(curve, off_L=1.0, sd=0.1, count=10)
    shared = replace(marks, shared_L=np.full((10, 1), 1.5))
    alone = updated_curve(curve, marks, provenance=SEEN).curve
    with_scale = updated_curve(curve, shared, provenance=SEEN).curve
    assert abs(with_scale.x_mid - curve.x_mid) < 0.6 * abs(alone.x_mid - curve.x_mid)


def test_boards_one_after_the_other_come_to_the_lot() -> None:
    generator = np.random.default_rng(5)  # a seed without a board of more than three sd
    curve = _curve(board_L=1.5)
    truth = replace(curve, x_mid=curve.x_mid + 0.08)
    known = curve
    for _ in range(60):
        marks = _marks(truth, off_L=float(generator.normal(0.0, 1.5)), sd=0.3)
        known = updated_curve(known, marks, provenance=SEEN).curve
    sd = float(np.sqrt(known.covariance[2, 2]))
    assert abs(known.x_mid - truth.x_mid) < 3.0 * sd
    assert sd < 0.02


def test_what_cannot_be_is_not_learnt_from() -> None:
    curve = _curve(board_L=1.0)
    with pytest.raises(InvalidInput, match="lighter than this lot"):
        updated_curve(curve, _marks(curve, off_L=25.0), provenance=SEEN)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_no_number_is_no_mark(bad: float) -> None:
    curve = _curve(board_L=1.0)
    with pytest.raises(InvalidInput, match="no number"):
        updated_curve(curve, replace(_marks(curve, off_L=0.0), tone_L=np.array([bad])), provenance=SEEN)
    nothing = np.zeros(0)
    with pytest.raises(InvalidInput, match="none to learn"):
        updated_curve(
            curve,
            Observed(log10_dose=nothing, dwell_ms=nothing, passes=nothing, tone_L=nothing, tone_L_sd=nothing),
            provenance=SEEN,
        )
