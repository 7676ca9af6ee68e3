"""What is told beside a recipe: reasons, the time against the least possible, banding that shows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.nouns.plan import LensOffer
from evenburn.core.nouns.recipe import Alternative, Binding
from evenburn.core.planning.choice import choice
from evenburn.core.planning.mark_plan import recipe_of
from evenburn.core.planning.recipe import search
from evenburn.core.planning.telling import (
    banding_text,
    is_held,
    is_over_least,
    lenses_worth_it,
    over_least_text,
    reasons_of,
)
from evenburn.core.tone.vision import unseen_banding_L
from unit.adapters.print.sample import sample_plan
from unit.core.planning.wishes import WISH

MARK = sample_plan().pieces[0].marks[0]


@pytest.mark.parametrize(
    ("time_s", "least_s", "text"),
    [  # by hand
        (432.0, 415.4, "4 % above the least possible"),
        (100.0, 100.0, "as short as can be"),
        (100.4, 100.0, "as short as can be"),
        (100.6, 100.0, "1 % above the least possible"),
        (244.0, 100.0, "144 % above the least possible"),
        (100.0, 0.0, ""),
    ],
)
def test_a_time_is_told_against_the_least(time_s: float, least_s: float, text: str) -> None:
    assert over_least_text(time_s, least_s=least_s).replace("\u00a0", " ") == text


def test_it_counts_from_the_share_from_which_a_constraint_binds() -> None:
    assert not is_over_least(101.9, least_s=100.0)
    assert is_over_least(102.1, least_s=100.0)
    assert not is_over_least(100.0, least_s=0.0)


def test_the_dearest_reasons_are_told_and_that_nothing_binds_is_no_hold() -> None:
    held = tuple(Binding(constraint="room", text=f"Reason {n}.") for n in range(3))
    mark = replace(MARK, binding=held)
    assert reasons_of(mark, most=2) == ("Reason 0.", "Reason 1.")
    assert is_held(mark)
    assert not is_held(replace(MARK, binding=()))
    assert not is_held(replace(MARK, binding=(Binding(constraint="none", text="Nothing holds it."),)))


def test_a_lens_is_worth_it_where_it_saves_more_than_two_percent() -> None:
    offer = LensOffer(
        lens="4 inch",
        stand_off_mm=60.0,
        focus_offset_mm=0.0,
        time_s=0.0,
        saves_s=0.019 * MARK.predicted.time_s,
        ripple_L=0.0,
        detail_mm=0.3,
        text="",
    )
    better = replace(offer, saves_s=0.021 * MARK.predicted.time_s)
    assert lenses_worth_it(replace(MARK, other_lenses=(offer, better))) == (better,)


@pytest.mark.parametrize("tone", [40.0, 60.0])
def test_banding_that_shows_is_told_so_in_every_recipe_to_choose(tone: float) -> None:
    """The words are those of `choice`; what is visible is asked of the eye's threshold anew."""
    wish = replace(WISH, tone_L=tone, sharpness_mm=0.2, unevenness_mm=0.4, widths=Widths(stroke_mm=1.2, gap_mm=1.2))
    found = search(wish)
    seen = []
    for one in choice(wish, found, recommended=recipe_of(wish, found, air_kPa=None)):
        period_mm = one.recipe.line_spacing_mm
        unseen_L = unseen_banding_L(tone=tone, period_mm=period_mm, distance_mm=wish.reading_distance_mm)
        seen.append(one.ripple_L > float(unseen_L))
        assert banding_text(one).endswith(", shows") == seen[-1]
    assert any(seen)
    assert not all(seen)


def test_banding_too_small_to_say_is_at_most_a_tenth() -> None:
    one = Alternative(
        name="smoother", recipe=MARK.recipe, time_s=1.0, ripple_L=0.004, detail_mm=0.2, text="2 s slower."
    )
    assert banding_text(one).replace("\u00a0", " ") == "0.1 L*"
