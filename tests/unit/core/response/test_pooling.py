"""Lots of one species: shrinkage by hand, the eight-schools example of a handbook, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.response.pooling import BELIEVED_LOTS, pool_lots
from unit.core.examples import CURVE

MID = CURVE_PARAMETERS.index("x_mid")


def lot(x_mid: float, *, sd: float) -> CharacteristicCurve:
    covariance = np.zeros((9, 9))
    covariance[MID, MID] = sd**2
    return replace(CURVE, x_mid=x_mid, covariance=covariance)


def between(sd: float) -> np.ndarray:
    covariance = np.zeros((9, 9))
    covariance[MID, MID] = sd**2
    return covariance


def test_eight_schools() -> None:
    """[gelman2013], table 5.2 (from memory): effects 28, 8, −3, 7, −1, 1, 18, 12 with standard errors 15, 10, 16, 11, 9, 11,
    10, 18. Their pooled mean is 7.7, with a standard error of 4.1, when the spread between schools is nothing.
    """
    effects = [28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0]
    errors = [15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]
    schools = [lot(e / 100.0, sd=s / 100.0) for e, s in zip(effects, errors, strict=True)]
    species = pool_lots(schools, believed_covariance=between(1e-4))
    assert 100.0 * species.mean[MID] == pytest.approx(7.7, abs=0.1)
    assert 100.0 * species.mean_covariance[MID, MID] ** 0.5 == pytest.approx(4.1, abs=0.1)
    assert 100.0 * species.lots[:, MID] == pytest.approx(7.7, abs=0.3)


def test_well_known_lots_stay_where_they_are_and_uncertain_ones_are_drawn_in() -> None:
    lots = [lot(-0.1, sd=1e-3), lot(0.1, sd=1e-3), lot(0.5, sd=1.0)]
    species = pool_lots(lots, believed_covariance=between(0.1))
    assert species.lots[:2, MID] == pytest.approx([-0.1, 0.1], abs=1e-3)
    assert species.lots[2, MID] == pytest.approx(species.mean[MID], abs=0.02)
    assert species.mean[MID] == pytest.approx(0.0, abs=0.01)


def test_the_spread_is_learnt_from_many_lots() -> None:
    generator = np.random.default_rng(1)
    truth = 0.05 * generator.normal(size=60)
    lots = [lot(float(x + 0.02 * generator.normal()), sd=0.02) for x in truth]
    found = pool_lots(lots, believed_covariance=between(0.05)).between_covariance[MID, MID] ** 0.5
    assert found == pytest.approx(0.05, rel=3.0 / (2.0 * (60 + BELIEVED_LOTS)) ** 0.5)  # three standard errors


def test_one_lot_alone_leaves_the_spread_that_was_believed() -> None:
    species = pool_lots([lot(0.2, sd=0.01)], believed_covariance=between(0.1))
    assert species.mean[MID] == pytest.approx(0.2)
    assert species.new_lot_covariance()[MID, MID] ** 0.5 > 0.1


def test_no_lots_and_lots_that_do_not_belong_together() -> None:
    with pytest.raises(InvalidInput, match="none"):
        pool_lots([], believed_covariance=between(0.1))
    light = replace(lot(0.0, sd=0.1), bare_L=30.0, full_L=60.0)
    with pytest.raises(InvalidInput, match="species"):
        pool_lots([lot(0.0, sd=0.1), light], believed_covariance=between(0.1))
