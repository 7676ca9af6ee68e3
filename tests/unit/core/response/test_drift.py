"""Whether it is the bench or the wood."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.errors import InvalidInput
from evenburn.core.response.drift import Shift, common_drift

WOODS = ("maple", "walnut", "beech", "oak")


def _shifts(decades: float, *, sd: float = 0.02, lots: tuple[str, ...] = WOODS, seed: int = 1) -> list[Shift]:
    generator = np.random.default_rng(seed)
    return [Shift(lot=k, decades=decades + float(generator.normal(0.0, sd)), decades_sd=sd) for k in lots]


def test_four_woods_that_lack_the_same_power_are_a_drift() -> None:
    lost = float(np.log10(0.88))  # the logarithm of what is left of the power, definition
    drift = common_drift(_shifts(lost))
    assert drift.named
    assert drift.power_share == pytest.approx(-0.12, abs=2.5 * drift.power_share_sd)
    assert drift.lots == 4


def test_one_wood_alone_is_never_a_drift() -> None:
    assert not common_drift(_shifts(-0.1, lots=("maple",)) * 5).named


def test_one_wood_off_among_four_is_its_own_matter() -> None:
    shifts = _shifts(0.0)
    shifts[0] = Shift(lot="maple", decades=-0.2, decades_sd=0.02)
    drift = common_drift(shifts)
    assert not drift.named
    assert drift.between_decades > 0.05


def test_false_alarms_are_rare_and_drifts_are_mostly_found() -> None:
    quiet = sum(common_drift(_shifts(0.0, seed=s)).named for s in range(400))
    found = sum(common_drift(_shifts(-0.055, seed=s)).named for s in range(400))
    assert quiet <= 8  # 20 to 1 on the evidence, and every lot left out in turn
    assert found >= 340


def test_more_marks_of_a_lot_make_it_no_surer() -> None:
    once = common_drift(_shifts(-0.05))
    often = common_drift(_shifts(-0.05) * 6)
    assert often.decades_sd == pytest.approx(once.decades_sd)


def test_nothing_and_no_number_are_refused() -> None:
    with pytest.raises(InvalidInput, match="none to compare"):
        common_drift([])
    with pytest.raises(InvalidInput, match="no number"):
        common_drift([Shift(lot="maple", decades=float("nan"), decades_sd=0.1)])
    with pytest.raises(InvalidInput, match="no number"):
        common_drift([Shift(lot="maple", decades=0.0, decades_sd=0.0)])
