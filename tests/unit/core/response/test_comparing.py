"""Promised against got."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.nouns.outcome import Got, Outcome, Promised
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.comparing import curve_tone_L, observed_mark, shift_of, verdict_text
from evenburn.core.response.updating import updated_curve

CURVE = CharacteristicCurve(
    bare_L=80.0,
    full_L=20.0,
    x_mid=0.0,
    steepness_per_decade=8.0,
    asymmetry=1.0,
    reversal_L=0.0,
    x_reversal=3.0,
    kappa=0.0,
    pass_exponent=1.0,
    x_low=-1.0,
    x_high=1.0,
    x_char=1.0,
    covariance=np.diag([0.01, 0.25, 0.0004, 0.04, 0.0, 0.0, 0.0, 0.0, 0.0]),
    evenness_L=1.0,
    board_L=1.2,
    reading_L=0.0,
    provenance=Provenance(kind="fitted"),
)
PROMISED = Promised(tone_L=50.0, tone_L_sd=2.0, dose_J_per_mm2=1.0, dwell_ms=1.0, passes=1)
GOT = Got(tone_L=50.0, own_L_sd=0.3, shared_L_sd=0.4, spread_L=1.0, bare_L=None, inside_mm2=100.0, photographs=1)


def test_at_its_middle_the_logistic_slopes_by_a_quarter_of_its_reach() -> None:
    """Slope of a logistic at its middle is k/4 of its reach (calculus): 8/4 · (20 − 80) = −120 L* a decade."""
    shift = shift_of(CURVE, promised=PROMISED, got=replace(GOT, tone_L=50.0 + 0.05 * 120.0))

    assert shift is not None
    assert shift.slope_L_per_decade == pytest.approx(-120.0, abs=0.01)
    assert shift.decades == pytest.approx(-0.05, abs=1e-5)
    # by hand: x_mid 0.02·120 = 2.4, bare 0.1/2, full 0.5/2, and 0.3, 0.4, 1.2 of reading and board
    by_hand = math.sqrt(2.4**2 + 0.05**2 + 0.25**2 + 0.3**2 + 0.4**2 + 1.2**2) / 120.0
    assert shift.decades_sd == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize("dose", [0.02, 30.0])
def test_the_flat_ends_of_a_curve_tell_nothing(dose: float) -> None:
    assert shift_of(CURVE, promised=replace(PROMISED, dose_J_per_mm2=dose), got=GOT) is None


def test_passes_and_dwell_enter_as_the_curve_has_them() -> None:
    bent = replace(CURVE, kappa=0.1, pass_exponent=0.8)
    twice = replace(PROMISED, dose_J_per_mm2=2.0, dwell_ms=10.0, passes=2)
    # 10 ms add 0.1 decades by κ, two passes 0.3010 − 0.2·0.3010; tone of the logistic there
    x = math.log10(2.0) + 0.1 - 0.2 * math.log10(2.0)
    assert curve_tone_L(bent, twice) == pytest.approx(80.0 - 60.0 / (1.0 + math.exp(-8.0 * x)), abs=1e-9)


def test_what_was_got_moves_the_curve_towards_it() -> None:
    darker = replace(GOT, tone_L=46.0)
    updated = updated_curve(CURVE, observed_mark(PROMISED, darker), provenance=Provenance(kind="fitted"))

    assert 46.0 < curve_tone_L(updated.curve, PROMISED) < 50.0


@pytest.mark.parametrize(
    ("tone", "says"),
    [
        (47.9, "within what was promised: 2.1 L\\* darker"),
        (54.0, "within"),
        (42.0, "^8.0 L\\* darker than promised: 3.9"),
    ],
)
def test_the_verdict_is_in_plain_words(tone: float, says: str) -> None:
    outcome = Outcome(
        piece_id="oar",
        mark_id="front",
        wood_id="oak",
        machine_name="b",
        lens_name="l",
        date="2026-06-20",
        promised=PROMISED,
        got=replace(GOT, tone_L=tone),
        board_L=1.2,
        shift=None,
    )
    assert re.search(says, verdict_text(outcome))
