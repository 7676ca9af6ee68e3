"""Drift in words: the bench, one lot, nothing, or not to be told yet."""

from __future__ import annotations

import math

import pytest

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.outcome import ExposureShift, Got, Outcome, Promised
from evenburn.core.response.naming import named_drift

WOODS = ("hard-maple", "walnut", "beech", "oak")
LESS = math.log10(0.88)  # 12 % less power, by the definition of a decade


def outcome(wood: str, decades: float | None, *, sd: float = 0.02, shared_L: float = 0.2, **other: str) -> Outcome:
    """An outcome whose tone is off by a shift; the slope of -70 L* per decade stands for any."""
    slope = -70.0
    return Outcome(
        piece_id=other.get("piece", f"oar-{wood}"),
        mark_id="front",
        wood_id=wood,
        machine_name=other.get("machine", "Boathouse bench"),
        lens_name="2 inch",
        date="2026-06-20",
        promised=Promised(tone_L=45.0, tone_L_sd=2.0, dose_J_per_mm2=0.8, dwell_ms=1.0, passes=1),
        got=Got(
            tone_L=45.0 + slope * (decades or 0.0),
            own_L_sd=0.2,
            shared_L_sd=shared_L,
            spread_L=1.0,
            bare_L=80.0,
            inside_mm2=400.0,
            photographs=1,
        ),
        board_L=1.2,
        shift=None if decades is None else ExposureShift(decades=decades, decades_sd=sd, slope_L_per_decade=slope),
    )


def test_four_woods_that_got_less_name_the_bench() -> None:
    named = named_drift([outcome(w, LESS) for w in WOODS])

    assert named.kind == "drift"
    assert "12 ± 2 % less on all four woods" in named.text
    assert "lens and mirrors" in named.remedy


def test_more_is_named_as_more() -> None:
    assert "% more on all four woods" in named_drift([outcome(w, 0.06) for w in WOODS]).text


def test_one_wood_alone_is_not_the_bench() -> None:
    named = named_drift([outcome("hard-maple", LESS), outcome("hard-maple", LESS, piece="second")])

    assert named.kind == "too few"
    assert "one wood alone" in named.text
    assert named.lots[0].marks == 2


def test_one_wood_off_among_four_is_called_so() -> None:
    named = named_drift([outcome(w, -0.15 if w == "hard-maple" else 0.0) for w in WOODS])

    assert named.kind == "one lot"
    assert named.text.startswith("only hard-maple is off")


def test_nothing_off_is_no_drift() -> None:
    assert named_drift([outcome(w, 0.002) for w in WOODS]).kind == "none"


def test_woods_that_contradict_one_another_stay_open() -> None:
    named = named_drift([outcome(w, d) for w, d in zip(WOODS, (-0.15, 0.15, -0.15, 0.15), strict=True)])

    assert named.kind == "unclear"
    assert "walnut" in named.text


def test_what_paper_and_toner_may_explain_is_not_named() -> None:
    """A scale that may be off by 2 L* moves all four woods together by 2/70 of a decade: half of what is seen."""
    named = named_drift([outcome(w, LESS, shared_L=2.0) for w in WOODS])

    assert named.kind == "unclear"
    assert "--paper-L" in named.remedy


def test_outcomes_that_tell_nothing_are_named_and_left_out() -> None:
    named = named_drift([outcome("oak", None), *(outcome(w, LESS) for w in WOODS[:3])])

    assert named.left_out == ("oar-oak/front",)
    assert named.kind == "drift"


@pytest.mark.parametrize(
    ("outcomes", "says"),
    [
        ([outcome("oak", None)], "tells of the exposure"),
        ([outcome("oak", 0.0), outcome("oak", 0.0)], "given twice"),
        ([outcome("oak", 0.0), outcome("beech", 0.0, machine="Loft bench")], "2 machines"),
    ],
)
def test_what_cannot_be_compared_is_refused(outcomes: list[Outcome], says: str) -> None:
    with pytest.raises(InvalidInput, match=says):
        named_drift(outcomes)


def test_one_wood_off_while_the_others_lean_the_same_way_is_not_called_its_own() -> None:
    """Three woods at 0.04 with 0.045 each lean by 1.5 of their joint 0.026: too little to name, too much to acquit."""
    named = named_drift([outcome(w, -0.07 if w == "oak" else -0.04, sd=0.027 if w == "oak" else 0.045) for w in WOODS])

    assert named.kind == "unclear"
    assert "all four woods point the same way" in named.text
