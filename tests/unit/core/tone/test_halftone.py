"""One interface to every halftone, its inverse, and the choice between dots and power, with the reason."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest

from evenburn.core.nouns.mark import Halftone
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_L, usable_range
from evenburn.core.tone.halftone import (
    HALFTONES,
    Burning,
    averaged_exposures_for_tones,
    choose_reproduction,
    clustered_cell_px,
    coverages_for_tones,
    screened,
    tones_of_coverages_L,
)
from unit.core.examples import CURVE, SLATE

BURNING = Burning(
    curve=CURVE, full_exposure=usable_range(CURVE)[1] - 0.1, beam_radius_mm=0.1, smear_mm=0.03, pixel_mm=0.1
)
EVERY_HALFTONE = pytest.mark.parametrize("name", HALFTONES)
DETAIL_mm = 0.15


def test_every_halftone_a_person_can_name_is_there() -> None:
    assert get_args(Halftone) == HALFTONES


@EVERY_HALFTONE
def test_dots_cover_what_was_asked(name: Halftone) -> None:
    """A soft ramp of 192 dots: masks to a step of 1/256 in each column, error diffusion but for what leaves at the edges."""
    ramp = np.tile(np.linspace(0.0, 1.0, 192, dtype=np.float32), (192, 1))
    dots = screened(ramp, name=name, cell_px=4)
    assert dots.shape == ramp.shape
    assert dots.dtype == np.bool_
    assert float(dots.mean()) == pytest.approx(0.5, abs=0.01)


@EVERY_HALFTONE
@pytest.mark.parametrize("curve", [CURVE, SLATE], ids=["maple", "slate"])
def test_a_wished_tone_comes_back_through_the_coverage(name: Halftone, curve: CharacteristicCurve) -> None:
    burning = replace(BURNING, curve=curve, full_exposure=usable_range(curve)[1] - 0.1)
    coverages, tones = tones_of_coverages_L(burning, name=name)
    assert (coverages[0], coverages[-1]) == (0.0, 1.0)
    assert tones[0] == pytest.approx(curve.bare_L, abs=1e-6)
    assert abs(tones[-1] - tones[0]) > 20.0
    wished = np.linspace(tones[0], tones[-1], 33).astype(np.float32)
    share = coverages_for_tones(wished, coverages=coverages, tone_of_coverage=tones)
    assert ((share >= 0.0) & (share <= 1.0)).all()
    assert np.interp(share, coverages, tones) == pytest.approx(
        wished, abs=0.3
    )  # where more dots change nothing, either will do


def test_a_tone_no_coverage_gives_gets_the_nearest() -> None:
    coverages, tones = np.array([0.0, 0.5, 1.0]), np.array([80.0, 50.0, 40.0])
    share = coverages_for_tones(np.array([95.0, 10.0], np.float32), coverages=coverages, tone_of_coverage=tones)
    assert share.tolist() == [0.0, 1.0]


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_past_the_extreme_tone_no_more_dots_are_set(sign: float) -> None:
    """On a wood that turns back before it is covered, a tone is made with the fewest dots that make it."""
    coverages = np.linspace(0.0, 1.0, 5)
    tones = 50.0 - sign * np.array([0.0, 10.0, 20.0, 30.0, 25.0])
    wished = (50.0 - sign * np.array([0.0, 15.0, 25.0, 30.0, 40.0])).astype(np.float32)
    share = coverages_for_tones(wished, coverages=coverages, tone_of_coverage=tones)
    assert share == pytest.approx([0.0, 0.375, 0.625, 0.75, 0.75])


def test_lines_wide_apart_need_more_than_the_mean_dose_says() -> None:
    tones = np.array([60.0])
    close, wide = (
        float(averaged_exposures_for_tones(CURVE, tones, beam_radius_mm=0.1, line_spacing_mm=spacing)[0])
        for spacing in (0.05, 0.3)
    )
    assert float(tone_L(CURVE, close)) == pytest.approx(60.0, abs=0.05)  # no ripple to speak of
    assert abs(float(tone_L(CURVE, wide)) - 60.0) > 1.0


@pytest.mark.parametrize(("radius", "smear", "spacing"), [(0.1, 0.03, 0.1), (0.15, 0.08, 0.07), (0.1, 0.0, 0.1)])
def test_the_clustered_cell_keeps_dots_four_radii_apart(radius: float, smear: float, spacing: float) -> None:
    burning = replace(BURNING, beam_radius_mm=radius, smear_mm=smear, pixel_mm=spacing)
    apart_mm = clustered_cell_px(burning) * math.sqrt(2.0) * spacing
    blurred_mm = math.hypot(radius, 2.0 * smear)
    assert 4.0 * blurred_mm <= apart_mm < 4.0 * blurred_mm + math.sqrt(2.0) * spacing


def test_the_clustered_cell_keeps_within_its_bounds() -> None:
    assert clustered_cell_px(replace(BURNING, beam_radius_mm=0.01, smear_mm=0.0)) == 2
    assert clustered_cell_px(replace(BURNING, beam_radius_mm=1.0)) == 12


def test_power_follows_the_tone_where_the_laser_is_quick_enough() -> None:
    choice = choose_reproduction(BURNING, detail_mm=DETAIL_mm, least_share=0.02)
    assert choice.name == "continuous"
    assert "0.03\u00a0mm of travel" in choice.why
    assert "0.15\u00a0mm" in choice.why or "0.14\u00a0mm" in choice.why


def test_a_slow_laser_makes_dots_and_its_own_blur_is_no_excuse() -> None:
    """What the recipe keeps grows with the blur; the laser is held to what the beam alone could keep."""
    slow = replace(BURNING, smear_mm=0.3)
    kept_mm = math.hypot(0.1, 0.6) + 0.05
    choice = choose_reproduction(slow, detail_mm=kept_mm, least_share=0.02)
    assert choice.name != "continuous"
    assert "the laser needs 0.30\u00a0mm of travel to answer, too much beside the 0.15\u00a0mm" in choice.why


def test_a_least_power_that_leaves_a_contour_makes_dots() -> None:
    choice = choose_reproduction(BURNING, detail_mm=DETAIL_mm, least_share=0.5)
    step = CURVE.bare_L - float(tone_L(CURVE, BURNING.full_exposure + math.log10(0.5)))
    assert choice.name != "continuous"
    assert f"already makes {step:.0f}\u00a0L*" in choice.why


def test_coarse_steps_of_power_make_dots() -> None:
    assert choose_reproduction(BURNING, detail_mm=DETAIL_mm, least_share=0.02, step_share=0.001).name == "continuous"
    choice = choose_reproduction(BURNING, detail_mm=DETAIL_mm, least_share=0.02, step_share=0.1)
    assert choice.name != "continuous"
    assert "steps of power" in choice.why


def test_asked_for_dots_only_their_kind_is_chosen() -> None:
    choice = choose_reproduction(BURNING, detail_mm=DETAIL_mm, least_share=0.02, dots_only=True)
    assert choice.name in HALFTONES
    assert "you ask for them" in choice.why


def test_clusters_where_single_dots_hang_on_every_error_of_exposure() -> None:
    """A wood that scatters much against one that does not, else alike."""
    uneven = replace(BURNING, curve=replace(CURVE, evenness_L=9.0, board_L=9.0))
    even = replace(BURNING, curve=replace(CURVE, evenness_L=0.3, board_L=0.3))
    chosen = [choose_reproduction(b, detail_mm=DETAIL_mm, least_share=0.5) for b in (uneven, even)]
    assert [c.name for c in chosen] == ["clustered", "blue-noise"]
    assert "single dots would shift by" in chosen[0].why
    assert "less than the eye notices" in chosen[1].why
