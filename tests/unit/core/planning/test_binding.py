"""What binds: each price is what the loops save with that limit loosened, and the words hold the numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.nouns.mark import Hold
from evenburn.core.nouns.recipe import Binding
from evenburn.core.planning.binding import WORTH, bindings_of
from evenburn.core.planning.mark_plan import recipe_of
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wish import Wish
from unit.core.examples import CURVE, SLATE, curve, machine
from unit.core.planning import brute
from unit.core.planning.test_recipe import FEASIBLE, GIVING_WAY, known_at
from unit.core.planning.wishes import WISH, wish

NEAR_BEST = 0.011  # of the time: the search may take a sharper recipe at a percent more, loosened or not
BENCH: dict[str, Any] = {"speed_max_mm_per_s": 160.0}


def priced(w: Wish) -> tuple[Binding, ...]:
    found = search(w)
    return bindings_of(w, found, recipe=recipe_of(w, found, air_kPa=None))


def least_s(w: Wish, *, spared: tuple[str, ...] = ()) -> float:
    """Return the least time of the loops, with constraints left out."""
    return min(c.time_s for c in brute.candidates(w) if not set(c.broken(slack=1e-6)) - set(spared))


def told(w: Wish) -> dict[str, Binding]:
    return {b.constraint: b for b in priced(w)}


weak = wish(machine=machine(speed_max_mm_per_s=160.0, power_cap_fraction=0.25))
uneven = wish(unevenness_mm=0.8, sharpness_mm=0.24)
unknown = wish(curve=known_at(dwell_ms=25.0), sharpness_mm=0.4)
early = wish(  # the crests of the ripple may not be more than a fifteenth above the mean
    curve=curve(x_char=brute.exposure_of(CURVE, 40.0) + 0.03), hold=Hold(focus_offset_mm=1.0), sharpness_mm=0.4
)
dear = wish(machine=machine(speed_max_mm_per_s=600.0, power_cap_fraction=0.2), sharpness_mm=0.4)

PRICES: dict[str, tuple[Wish, Callable[[Wish], Wish], tuple[str, ...]]] = {
    "sharpness": (wish(sharpness_mm=0.2), lambda w: replace(w, sharpness_mm=0.2 * 4.0 / 3.0), ()),
    "detail": (
        wish(widths=Widths(stroke_mm=0.2, gap_mm=0.5)),
        lambda w: replace(w, sharpness_mm=0.4, widths=Widths(stroke_mm=0.8 / 3.0, gap_mm=2.0 / 3.0)),
        (),
    ),
    "banding": (
        wish(hold=Hold(focus_offset_mm=1.5), sharpness_mm=0.4),
        lambda w: replace(w, banding_factor=2.0),
        (),
    ),
    "warp": (uneven, lambda w: replace(w, unevenness_mm=0.4), ()),
    "known range": (unknown, lambda w: w, ("known range",)),
    "char limit": (replace(early, banding_factor=20.0), lambda w: w, ("char",)),
    "held by hand": (wish(hold=Hold(speed_mm_per_s=60.0, passes=2)), lambda w: replace(w, hold=Hold()), ()),
    "common focus": (wish(common_offset_mm=1.0), lambda w: replace(w, common_offset_mm=None), ()),
    "top speed": (
        wish(machine=machine(**BENCH)),
        lambda w: replace(w, machine=machine(speed_max_mm_per_s=200.0)),
        (),
    ),
    "direction": (
        wish(machine=machine(reversal_sd_mm=0.3, **BENCH)),
        lambda w: replace(w, machine=machine(**BENCH)),
        (),
    ),
    "power cap": (dear, lambda w: replace(w, machine=replace(w.machine, power_cap_fraction=1.0)), ()),
    "tone": (dear, lambda w: replace(w, tone_L=45.0), ()),
}


@pytest.mark.parametrize("name", PRICES)
def test_a_price_is_what_the_loops_save_with_the_limit_loosened(name: str) -> None:
    w, loosen, spared = PRICES[name]
    binding = told(w)[name]
    here_s, there_s = least_s(w), least_s(loosen(w), spared=spared)
    assert binding.saves_s is not None
    assert binding.saves_s == pytest.approx(here_s - there_s, abs=NEAR_BEST * (here_s + there_s))
    assert "\u00a0s" in binding.text


def test_least_power_shows_where_it_costs_looks_and_not_time() -> None:
    """Room for 54 mm/s, and a laser that fires from 10 W: so much power on lines so close would be too dark."""
    w = wish(
        room_mm={"x": (0.3, 0.3), "y": (0.3, 0.3)},
        machine=machine(power_curve=((0.1, 10.0), (1.0, 60.0)), **BENCH),
        sharpness_mm=0.4,
    )
    halved = replace(w, machine=machine(power_curve=((0.1, 5.0), (1.0, 60.0)), **BENCH))
    assert "banding" in search(w).gave_way
    assert min(brute.rank(c.broken(slack=1e-6)) for c in brute.candidates(halved)) == 0
    binding = priced(w)[0]
    assert (binding.constraint, binding.saves_s) == ("least power", None)
    assert "firing from 5.0\u00a0W would keep the lines unseen" in binding.text


def test_what_is_held_is_named_where_it_costs_looks() -> None:
    held = told(GIVING_WAY["banding"])["held by hand"]
    assert held.text.startswith("You hold line spacing and focus offset; left free, the recipe would keep the lines")


def test_the_dearest_stands_first_and_none_saves_less_than_two_percent() -> None:
    for w in FEASIBLE.values():
        told_here = priced(w)
        if told_here[0].constraint == "none":
            assert len(told_here) == 1
            continue
        saved = [b.saves_s for b in told_here if b.saves_s is not None]
        assert len(saved) == len(told_here)  # nothing gives way, so there is but time to gain
        assert saved == sorted(saved, reverse=True)
        assert min(saved) > WORTH * search(w).time_s
        assert sum(b.constraint == "tone" for b in told_here) <= 1
        assert "tone" not in [b.constraint for b in told_here[3:]]


def test_a_darker_target_is_priced_beside_the_lighter_one() -> None:
    """A power cap makes time follow the dose: what 5 L* more or less cost is the ratio of doses."""
    text = told(dear)["tone"].text
    assert "5\u00a0L* lighter would save" in text
    assert "5\u00a0L* darker would cost" in text


def test_on_slate_the_cheaper_target_is_darker() -> None:
    w = replace(dear, curve=SLATE, tone_L=55.0)
    assert "5\u00a0L* darker would save" in told(w)["tone"].text


def test_room_that_a_move_can_give_is_asked_for_and_no_more() -> None:
    """2 mm on the left of 40: moved to the middle there are 21 mm on both sides, enough for 400 mm/s and more."""
    fast = machine(accel_x_mm_per_s2=5000.0)
    w = wish(
        machine=fast,
        room_mm={"x": (2.0, 38.0), "y": (2.0, 2.0)},
        hold=Hold(scan_axis="x"),
    )
    text = told(w)["room"].text
    assert "by the 2.0\u00a0mm of room on the left" in text
    move = float(text.split("; ")[1].split("\u00a0mm")[0])
    assert 0.0 < move <= 18.1
    tight = replace(w, room_mm={"x": (2.0, 2.0), "y": (2.0, 2.0)})
    assert "the other side has no more to give" in told(tight)["room"].text


def test_what_cannot_be_burnt_has_no_price() -> None:
    for name in ("run-up", "power"):
        assert priced(GIVING_WAY[name]) == ()


def test_nothing_is_told_to_save_by_giving_up_more() -> None:
    """A loosened wish whose recipe breaks something worse is no saving."""
    for w in GIVING_WAY.values():
        for binding in priced(w):
            assert binding.saves_s is None or 0.0 < binding.saves_s < search(w).time_s


def test_a_curve_that_is_a_guess_prices_its_card() -> None:
    unsure = replace(WISH, curve=replace(CURVE, covariance=CURVE.covariance * 49.0), sharpness_mm=0.199)
    sure = replace(unsure, curve=replace(CURVE, covariance=np.zeros((9, 9))))
    saves_s = told(unsure)["curve"].saves_s
    assert saves_s == pytest.approx(least_s(unsure) - least_s(sure), abs=NEAR_BEST * 2.0 * least_s(unsure))
