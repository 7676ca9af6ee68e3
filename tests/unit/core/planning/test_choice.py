"""The recipes to choose from: beaten by nothing on the whole grid, apart from one another, told with true numbers."""

from __future__ import annotations

import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.nouns.mark import Hold
from evenburn.core.nouns.recipe import Alternative
from evenburn.core.planning.candidates import Found
from evenburn.core.planning.choice import HARD, LONGER, choice, front_of
from evenburn.core.planning.mark_plan import recipe_of
from evenburn.core.planning.power import power_fraction
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wide_area import predicted_tone_L
from evenburn.core.planning.wish import Wish
from unit.core.examples import SLATE, machine
from unit.core.planning import brute
from unit.core.planning.wishes import wish

COUNTS = 2e-4  # a recipe that is better by less than this in the loops' own figures is the same: see brute.SLACK
POWER_STEP = 0.1  # L*: half a step of the S word is 0.4 % of 8 W, times 60 L* a decade

WISHES = {
    "plain": wish(sharpness_mm=0.22),
    "fine artwork": wish(widths=Widths(stroke_mm=0.24, gap_mm=0.26)),
    "warped": wish(unevenness_mm=0.6, sharpness_mm=0.24),
    "slate": wish(curve=SLATE, tone_L=58.0, sharpness_mm=0.24),
    "shared focus": wish(common_offset_mm=2.0),
    "held spacing": wish(hold=Hold(line_spacing_mm=0.12)),
    "reversal not known": wish(machine=machine(speed_max_mm_per_s=160.0, reversal_sd_mm=0.3)),
}


def offered(w: Wish) -> tuple[Found, tuple[Alternative, ...]]:
    found = search(w)
    return found, choice(w, found, recommended=recipe_of(w, found, air_kPa=34.0))


def beats(c: brute.Candidate, a: Alternative) -> bool:
    """Return whether a candidate is at least as good in all three and better in one, by more than the figures differ."""
    ours = (a.time_s, a.ripple_L, a.detail_mm)
    theirs = (c.time_s, c.ripple_L, c.detail_mm)
    no_worse = all(t <= o for t, o in zip(theirs, ours, strict=True))
    return no_worse and any(t < o * (1.0 - COUNTS) - COUNTS for t, o in zip(theirs, ours, strict=True))


@pytest.mark.parametrize("name", WISHES)
def test_nothing_on_the_grid_beats_what_is_offered(name: str) -> None:
    w = WISHES[name]
    _, alternatives = offered(w)
    allowed = [c for c in brute.candidates(w) if not {*HARD} & {*c.broken(slack=-brute.SLACK)}]
    for a in alternatives:
        better = [c for c in allowed if beats(c, a)]
        assert not better, (a.name, a, better[0])


@pytest.mark.parametrize("name", WISHES)
def test_each_is_a_recipe_of_the_grid_that_gives_up_nothing_hard(name: str) -> None:
    w = WISHES[name]
    _, alternatives = offered(w)
    tried = {
        (c.axis, c.one_way, c.passes, c.spacing_mm, c.offset_mm, round(c.speed_mm_per_s, 6)): c
        for c in brute.candidates(w)
    }
    for a in alternatives:
        r = a.recipe
        one_way = r.direction == "one way"
        key = (r.scan_axis, one_way, r.passes, r.line_spacing_mm, r.focus_offset_mm, round(r.speed_mm_per_s, 6))
        c = tried[key]
        assert not {*HARD} & {*c.broken(slack=brute.SLACK)}
        assert a.time_s == pytest.approx(c.time_s, rel=1e-6)
        assert a.ripple_L == pytest.approx(c.ripple_L, abs=brute.SLACK)
        assert a.detail_mm == pytest.approx(c.detail_mm, abs=brute.SAME_DETAIL_mm)
        tone = predicted_tone_L(
            w,
            power_W=r.power_W,
            speed_mm_per_s=r.speed_mm_per_s,
            line_spacing_mm=r.line_spacing_mm,
            focus_offset_mm=r.focus_offset_mm,
            passes=r.passes,
        )
        assert tone == pytest.approx(w.tone_L, abs=POWER_STEP)


@pytest.mark.parametrize("name", WISHES)
def test_the_recommended_is_the_searchs_answer_and_the_others_differ_from_it_and_one_another(name: str) -> None:
    found, alternatives = offered(WISHES[name])
    assert 1 <= len(alternatives) <= 5
    (own,) = (a for a in alternatives if a.recommended)
    assert (own.time_s, own.ripple_L, own.detail_mm) == (found.time_s, found.banding_L, found.detail_mm)
    assert len({a.name for a in alternatives}) == len(alternatives)
    assert [a.time_s for a in alternatives] == sorted(a.time_s for a in alternatives)
    for a in alternatives:
        assert a.time_s <= LONGER * own.time_s
        assert a.recommended or a.recipe != own.recipe


def test_an_ordinary_wish_offers_three_to_five() -> None:
    for name in ("plain", "fine artwork", "warped", "slate"):
        assert 3 <= len(offered(WISHES[name])[1]) <= 5, name


def test_names_promise_what_the_numbers_keep() -> None:
    for w in WISHES.values():
        found, alternatives = offered(w)
        for a in alternatives:
            if "quicker" in a.name:
                assert a.time_s < found.time_s / 1.05
            if "as sharp" in a.name:
                assert a.detail_mm <= found.detail_mm
            if "sharper" in a.name:
                assert a.detail_mm < found.detail_mm / 1.05
            if "smoother" in a.name:
                assert a.ripple_L < found.banding_L


def test_artwork_that_is_kept_stays_kept() -> None:
    w = WISHES["fine artwork"]
    assert all(a.detail_mm <= 0.24 for a in offered(w)[1])


def test_words_hold_the_numbers() -> None:
    found, alternatives = offered(WISHES["plain"])
    quicker = next(a for a in alternatives if a.name == "quicker")
    assert f"{found.time_s - quicker.time_s:.0f}\u00a0s quicker" in quicker.text
    assert f"finest stroke {quicker.detail_mm:.2f} instead of {found.detail_mm:.2f}\u00a0mm" in quicker.text


def test_where_everything_is_held_there_is_nothing_to_choose() -> None:
    hold = Hold(
        speed_mm_per_s=120.0, line_spacing_mm=0.1, focus_offset_mm=1.0, passes=1, scan_axis="x", direction="both ways"
    )
    (only,) = offered(wish(hold=hold))[1]
    assert only.recommended
    assert only.name == "recommended"


def test_what_cannot_be_burnt_offers_nothing_beside_itself() -> None:
    w = wish(room_mm={"x": (0.001, 0.001), "y": (0.001, 0.001)})
    (only,) = offered(w)[1]
    assert only.recommended
    assert front_of(w).found == ()


def test_the_same_wish_offers_the_same() -> None:
    for w in WISHES.values():
        assert offered(w) == offered(w)


def test_a_photograph_of_dots_has_no_low_power_in_any_recipe() -> None:
    w = wish(faint_L=76.0, tone_L=34.0, sharpness_mm=0.22)
    found = search(w)
    graded = recipe_of(w, found, air_kPa=None)
    assert graded.power_low_W is not None
    assert graded.power_low_fraction == pytest.approx(float(power_fraction(w.machine, power_W=graded.power_low_W)))
    assert all(a.recipe.power_low_W is not None for a in choice(w, found, recommended=graded))
