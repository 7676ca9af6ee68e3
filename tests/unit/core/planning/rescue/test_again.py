"""One burn over another: doses add as passes do, and the eye decides what hides."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.planning.rescue.again import SEEN_L, both_exposures, burnt_again
from evenburn.core.response.curve import effective_exposure, tone_L
from unit.core.examples import curve

PLAIN = curve(kappa=0.0, pass_exponent=1.0)


def test_by_reciprocity_two_halves_are_a_whole() -> None:
    # reciprocity law: only the sum of energy counts when both exponents are those of the law
    half = np.log10(0.4)
    assert float(both_exposures(PLAIN, old_exposure=half, new_exposure=half)) == pytest.approx(np.log10(0.8))
    assert float(both_exposures(PLAIN, old_exposure=np.log10(0.2), new_exposure=np.log10(0.6))) == pytest.approx(
        np.log10(0.8)
    )


@pytest.mark.parametrize("beta", [0.6, 0.86, 1.0, 1.3])
def test_two_like_burns_are_one_recipe_of_two_passes(beta: float) -> None:
    wood = curve(pass_exponent=beta)
    once = float(effective_exposure(wood, dose_J_per_mm2=0.5, dwell_ms=0.7, passes=1))
    twice = float(effective_exposure(wood, dose_J_per_mm2=1.0, dwell_ms=0.7, passes=2))

    assert float(both_exposures(wood, old_exposure=once, new_exposure=once)) == pytest.approx(twice)


def test_fivefold_comes_to_fourfold_with_schwarzschilds_exponent() -> None:
    # [schwarzschild1900]'s worked example: 4 times becomes about fivefold, 5.01, with p = 0.86
    wood = curve(pass_exponent=0.86)
    x = 0.0
    for _ in range(4):
        x = float(both_exposures(wood, old_exposure=x, new_exposure=0.0))
    assert 10.0**x == pytest.approx(4.0, rel=0.003)  # 5 for 5.01


def test_over_bare_wood_nothing_changes() -> None:
    assert float(both_exposures(PLAIN, old_exposure=-np.inf, new_exposure=0.1)) == pytest.approx(0.1)
    assert np.isneginf(float(both_exposures(PLAIN, old_exposure=-np.inf, new_exposure=-np.inf)))


def test_where_passes_do_not_add_the_stronger_counts() -> None:
    assert float(both_exposures(curve(pass_exponent=0.0), old_exposure=-0.4, new_exposure=0.2)) == 0.2


def test_the_tone_that_hides_does_hide_and_no_fainter_one_does() -> None:
    wood = curve(kappa=0.0, pass_exponent=1.0, reversal_L=0.0)  # its char limit lies far out on the shoulder
    old, new = -0.5, -0.3
    over = burnt_again(wood, old_exposure=old, new_exposure=new)

    assert over.is_seen()
    assert over.hides_L is not None
    tried = np.linspace(new, wood.x_char, 4000)
    gap = np.abs(tone_L(wood, both_exposures(wood, old_exposure=old, new_exposure=tried)) - tone_L(wood, tried))
    first = float(tone_L(wood, tried[int((gap <= SEEN_L).argmax())]))  # brute force, ten times finer
    assert over.hides_L == pytest.approx(first, abs=0.2)  # one step of the search


def test_where_char_comes_first_no_tone_hides() -> None:
    over = burnt_again(curve(x_char=-0.2), old_exposure=-0.3, new_exposure=-0.25)

    assert over.hides_L is None
    assert over.over_char > 1.0
