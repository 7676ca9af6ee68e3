"""Depth of focus, how far a stand-off may be off, and other lenses: against Gaussian beams worked out here.

The lens has w0 = 0.075057 mm (by hand in test_beam) and θ = D/2f = 6/101.6, so zR = w0/θ = 1.27097 mm. The curve is the
plain logistic L = 80 − 60/(1 + exp(−8 x)).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from evenburn.core.nouns.machine import Lens
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.lens_table import focus_tolerance, lens_facts, narrowest, other_lenses
from evenburn.core.planning.recipe import search
from unit.core.examples import LENS, MACHINE, plain_curve
from unit.core.planning.set_marks import set_mark
from unit.core.planning.wishes import WISH, wish

W0_mm, ZR_mm = 0.075057, 1.27097
LONG = Lens(
    name="4 inch",
    focal_length_mm=101.6,
    beam_diameter_mm=6.0,
    beam_quality_m2=1.3,
    wavelength_um=10.6,
    focus_stand_off_mm=60.0,
)
STEP_mm = 0.011  # it is looked for in steps of 0.01


def radius_mm(offset_mm: float) -> float:
    return W0_mm * math.sqrt(1.0 + (offset_mm / ZR_mm) ** 2)


def offset_of_radius_mm(radius: float) -> float:
    return ZR_mm * math.sqrt((radius / W0_mm) ** 2 - 1.0)


def bisect(grows: Callable[[float], float], low: float, high: float) -> float:
    """Return where a growing function passes nought."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if grows(middle) < 0.0 else (low, middle)
    return low


def tone(x: float) -> float:
    return 80.0 - 60.0 / (1.0 + math.exp(-8.0 * x))


# ---- lenses ----------------------------------------------------------------------------------------------------------


def test_spot_and_depth_of_every_lens() -> None:
    # check-values: a growth of 5 % is reached at ±0.3202 zR (derived); half of its last digit. Twice the focal length has
    # twice the diffracted spot, 0.29710 mm, and a fourth of the aberration, 0.000391 mm: zR = w0 · 2f/D = 5.0375 mm.
    short, long = lens_facts(replace(MACHINE, lenses=(LENS, LONG)), LENS)
    assert (short.name, short.in_use, long.name, long.in_use) == ("2 inch", True, "4 inch", False)
    assert short.growth == long.growth == 0.05
    assert short.spot_diameter_mm == pytest.approx(2.0 * W0_mm, abs=2e-6)
    assert short.depth_mm == pytest.approx(0.3202 * ZR_mm, abs=5e-5 * ZR_mm + 1e-5)
    assert long.spot_diameter_mm == pytest.approx(0.29749, abs=1e-5)
    assert long.rayleigh_length_mm == pytest.approx(5.0375, abs=2e-4)
    assert long.depth_mm == pytest.approx(0.3202 * 5.0375, abs=5e-4)
    for facts in (short, long):
        assert facts.spot_diameter_mm == 2.0 * facts.waist_radius_mm


# ---- tolerance -------------------------------------------------------------------------------------------------------


def test_detail_is_lost_where_the_beam_has_grown_too_wide() -> None:
    """The middle of a stroke s wide has erf(s/√2w) of the dose; at L* 50 half the tone, L* 65, is at 10^(−ln 3/8)."""
    share = 10.0 ** (-math.log(3.0) / 8.0)
    reach = math.sqrt(2.0) * bisect(lambda u: math.erf(u) - share, 0.0, 3.0)
    at = set_mark(power_W=10.0, offset_mm=1.0, sharpness_mm=0.2)  # 10/(200 · 0.05) = 1 J/mm², so x = 0 and L* 50
    widest = offset_of_radius_mm((0.2 - 0.5 * 0.05) / reach)
    found = focus_tolerance(at)
    assert (found.towards_gives, found.away_gives) == ("detail", "detail")
    assert found.away_mm == pytest.approx(widest - 1.0, abs=STEP_mm)
    assert found.towards_mm == pytest.approx(widest + 1.0, abs=STEP_mm)  # through focus, and as far on the other side


def test_lines_show_where_the_beam_gets_too_narrow() -> None:
    """Summed lines 0.12 mm apart; what is unseen is 1 L* at most, and at 300 mm no less for lines as fine as these."""

    def dose(u: float, w: float) -> float:
        lines = (math.exp(-2.0 * ((u + k) * 0.12 / w) ** 2) for k in range(-8, 9))
        return 0.12 * math.sqrt(2.0 / math.pi) / w * sum(lines)

    def shown(w: float) -> float:
        return 1.0 - (tone(math.log10(dose(0.5, w))) - tone(math.log10(dose(0.0, w))))

    narrowest_mm = bisect(shown, 0.09, 0.2)
    at = set_mark(power_W=24.0, offset_mm=3.0, spacing_mm=0.12)
    found = focus_tolerance(at)
    assert found.towards_gives == "banding"
    assert found.towards_mm == pytest.approx(3.0 - offset_of_radius_mm(narrowest_mm), abs=STEP_mm)
    assert found.away_gives == ""  # nothing within four Rayleigh lengths
    assert found.away_mm == pytest.approx(4.0 * ZR_mm, abs=1e-4)
    assert found.text.endswith("further and more")


def test_the_tone_moves_with_the_dwell() -> None:
    """With κ = 0.6 a spot as wide as makes L* 52.3 or 47.7 out of 50."""
    kappa = 0.6
    dwell_ms = 2e3 * radius_mm(2.0) / 200.0
    at = set_mark(power_W=10.0 * dwell_ms**-kappa, offset_mm=2.0, curve=plain_curve(kappa=kappa))
    lighter = bisect(lambda x: 52.3 - tone(x), -1.0, 1.0)
    darker = bisect(lambda x: 47.7 - tone(x), -1.0, 1.0)
    near, far = (offset_of_radius_mm(radius_mm(2.0) * 10.0 ** (x / kappa)) for x in (lighter, darker))
    found = focus_tolerance(at)
    assert (found.towards_gives, found.away_gives) == ("tone", "tone")
    assert found.towards_mm == pytest.approx(2.0 - near, abs=STEP_mm)
    assert found.away_mm == pytest.approx(far - 2.0, abs=STEP_mm)


def test_a_followed_line_gives_by_its_tone_as_one_over_the_radius() -> None:
    """The dose on the axis falls as 1/w: L* 52.3 where the spot is 10^−x as wide."""
    speed = 200.0
    peak_one = math.sqrt(math.pi / 2.0) * radius_mm(3.0) * speed  # W that give 1 J/mm² on the axis
    at = set_mark(power_W=peak_one, offset_mm=3.0, way="line")
    lighter = bisect(lambda x: 52.3 - tone(x), -1.0, 1.0)
    found = focus_tolerance(at)
    assert found.away_gives == "tone"
    away_mm = offset_of_radius_mm(radius_mm(3.0) * 10.0**-lighter) - 3.0
    assert found.away_mm == pytest.approx(away_mm, abs=STEP_mm)


def test_nearer_ends_at_the_nozzle() -> None:
    found = focus_tolerance(set_mark(power_W=10.0))
    assert found.towards_gives == "nozzle"
    assert found.towards_mm == 9.5


def test_what_does_not_hold_anyway_gives_no_tolerance() -> None:
    """Lines of 0.3 mm in focus show as they are; they are told elsewhere, and here only the tone counts."""
    at = set_mark(power_W=60.0, spacing_mm=0.3, sharpness_mm=0.05)
    assert focus_tolerance(at).towards_gives not in ("banding", "detail")


def test_a_cut_has_to_go_through() -> None:
    at = set_mark(
        power_W=40.0,
        speed_mm_per_s=5.0,
        way="cut",
        cut_J_per_mm3=4.0,
        thickness_mm=4.0,
        offset_mm=-2.0,
        curve=plain_curve(x_char=0.7),
    )
    found = focus_tolerance(at)
    assert (found.towards_gives, found.away_gives) == ("cut", "cut")
    # the waist lies in the middle of the thickness: either way it is the same
    assert found.towards_mm == pytest.approx(found.away_mm, abs=STEP_mm)


def test_the_narrowest_of_some_and_its_words() -> None:
    first = focus_tolerance(set_mark(power_W=24.0, offset_mm=3.0, spacing_mm=0.12))
    second = focus_tolerance(set_mark(power_W=10.0, offset_mm=1.0, sharpness_mm=0.2))
    both = narrowest([first, second])
    assert both.towards_mm == min(first.towards_mm, second.towards_mm)
    assert both.away_mm == min(first.away_mm, second.away_mm)
    assert "nearer, then" in both.text
    assert "further, then detail is lost" in both.text
    assert narrowest([first]) == first


# ---- other lenses ----------------------------------------------------------------------------------------------------


def test_another_lens_is_searched_with_its_own_beam() -> None:
    asked = wish(machine=replace(WISH.machine, lenses=(LENS, LONG)), sharpness_mm=0.5)
    found = search(asked)
    (offer,) = other_lenses(asked, found)
    alone = search(replace(asked, lens=LONG, beam=beam_of_lens(LONG)))
    assert offer.lens == "4 inch"
    assert offer.time_s == alone.time_s
    assert offer.saves_s == found.time_s - alone.time_s
    assert offer.stand_off_mm == 60.0 + offer.focus_offset_mm
    assert f"{alone.detail_mm:.2f}" in offer.text


def test_a_lens_that_loses_the_detail_would_not_do() -> None:
    asked = wish(machine=replace(WISH.machine, lenses=(LENS, LONG)), sharpness_mm=0.12)
    assert search(asked).gave_way == ()
    (offer,) = other_lenses(asked, search(asked))
    assert "would not do" in offer.text


def test_a_machine_with_one_lens_has_no_other() -> None:
    assert other_lenses(WISH, search(WISH)) == ()
