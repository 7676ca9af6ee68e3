"""Tones that are told apart: how many, how far from one another, and from the bare surface."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from evenburn.adapters.formats.wood_toml import shipped_ids, shipped_wood
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_range_L
from evenburn.core.response.shades import shades_L, spread_L


def from_to(bare_L: float, full_L: float, *, evenness_L: float) -> CharacteristicCurve:
    """Return a steep curve that reaches its full tone, and whose least exposure leaves the surface bare."""
    curve = shipped_wood("hard-maple").curve
    return replace(
        curve,
        bare_L=bare_L,
        full_L=full_L,
        reversal_L=0.0,
        x_mid=0.0,
        steepness_per_decade=40.0,
        x_low=-2.0,
        x_high=2.0,
        x_char=2.0,
        evenness_L=evenness_L,
        board_L=0.0,
    )


def test_nine_shades_between_83_and_34_on_a_wood_with_blotches_of_2_6() -> None:
    # the drawing of a wood's page, shared/look/wood.png, made before this code: bare L* 83.0, evenness 2.6 L*,
    # nine shades from L* 78 to L* 34, printed to whole L* and once to 0.5
    shades = shades_L(from_to(83.0, 34.0, evenness_L=2.6))
    assert len(shades) == 9
    assert shades[0] == pytest.approx(78.0, abs=0.5)
    assert shades[-1] == pytest.approx(34.0, abs=0.01)  # what is left of a steep logistic two decades on


@pytest.mark.parametrize(("evenness_L", "count"), [(0.6, 41), (2.5, 10), (2.6, 9), (12.0, 2), (12.6, 1), (26.0, 0)])
def test_steps_of_twice_the_spread_from_80_to_30(evenness_L: float, count: int) -> None:
    # by hand: 50 / (2 × 2.5) = 10, 50 / 5.2 = 9.6, 50 / 24 = 2.08, 50 / 25.2 = 1.98, 50 / 52 < 1, 50 / 1.2 = 41.7
    assert len(shades_L(from_to(80.0, 29.9999, evenness_L=evenness_L))) == count


def test_an_even_surface_is_not_said_to_show_differences_that_nobody_sees() -> None:
    shades = shades_L(from_to(80.0, 30.0, evenness_L=0.01))
    assert len(shades) in {49, 50}  # 50 L* in steps of 1 L*, the last one a hair's breadth short of the full tone
    assert min(abs(a - b) for a, b in pairwise(shades)) >= 1.0 - 1e-9


def test_blotches_of_3_and_boards_of_4_spread_by_5() -> None:
    assert spread_L(replace(from_to(80.0, 30.0, evenness_L=3.0), board_L=4.0)) == pytest.approx(5.0)  # Pythagoras


@pytest.mark.parametrize("wood_id", shipped_ids())
def test_shades_of_every_wood_are_told_apart_and_lie_where_it_can_be_burnt(wood_id: str) -> None:
    curve = shipped_wood(wood_id).curve
    shades = shades_L(curve)
    faint, full = tone_range_L(curve)
    steps = [abs(a - b) for a, b in pairwise((curve.bare_L, *shades))]
    assert len(shades) >= 2
    assert min(steps) >= 2.0 * spread_L(curve) - 1e-6
    assert max(steps[1:]) < 4.0 * spread_L(curve)  # no shade is left out that had room
    assert all(min(faint, full) - 1e-6 <= tone <= max(faint, full) + 1e-6 for tone in shades)
    assert shades[-1] == pytest.approx(full)
    assert list(shades) == sorted(shades, reverse=full < curve.bare_L)


def test_the_first_shade_is_no_fainter_than_what_was_measured() -> None:
    curve = replace(from_to(83.0, 34.0, evenness_L=2.0), x_low=-0.02)
    faint, _ = tone_range_L(curve)
    assert faint < 75.0  # the least exposure measured is far from the bare surface
    assert shades_L(curve)[0] == pytest.approx(faint)
