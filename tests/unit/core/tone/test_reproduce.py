"""From a photograph's light to tones of the wood, and back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import exposure_for_tone, exposures_for_tones, tone_L, tone_range_L
from evenburn.core.tone.colour import luminance
from evenburn.core.tone.reproduce import coverage_for_tones, tone_of_coverage_L, wished_tones_L
from unit.core.examples import CURVE, SLATE, plain_curve

WOODS = pytest.mark.parametrize("c", [CURVE, SLATE, plain_curve()], ids=["maple", "slate", "plain"])


def wedge() -> NDArray[np.float32]:
    """Return eleven greys of equal steps in L*, white first, as luminance."""
    return luminance(np.linspace(100.0, 0.0, 11)).astype(np.float32)[None, :]


@WOODS
def test_an_eleven_step_wedge_comes_back_in_equal_steps(c: CharacteristicCurve) -> None:
    """Wished tone → exposure → tone: within 0.1 L*, so that no step of 3 to 6 L* is crooked by a thirtieth.

    Steps fainter than the curve's own range have no exposure; they are given none and stay bare.
    """
    full = float(tone_range_L(c)[1])
    wished = wished_tones_L(wedge(), bare_L=c.bare_L, full_L=full)[0].astype(np.float64)
    ends = sorted(tone_range_L(c))
    inside = (wished >= ends[0]) & (wished <= ends[1])
    assert inside.sum() >= 9  # at most the bare end falls out
    back = tone_L(c, exposures_for_tones(c, wished))
    assert back[inside] == pytest.approx(wished[inside], abs=0.1)
    assert np.diff(back[inside]) == pytest.approx(
        np.full(int(inside.sum()) - 1, (full - c.bare_L) / 10.0 * sign(c)), abs=0.2
    )


def sign(c: CharacteristicCurve) -> float:
    """Return which way the wedge runs: white first is bare wood first, on slate full tone first."""
    return 1.0 if c.full_L < c.bare_L else -1.0


def test_white_is_bare_wood_and_black_is_full_tone() -> None:
    light = np.array([[1.0, 0.0]], np.float32)
    assert wished_tones_L(light, bare_L=82.0, full_L=30.0)[0].tolist() == pytest.approx([82.0, 30.0], abs=1e-4)


def test_on_slate_white_is_burnt_and_black_is_bare() -> None:
    light = np.array([[1.0, 0.0]], np.float32)
    assert wished_tones_L(light, bare_L=34.0, full_L=68.0)[0].tolist() == pytest.approx([68.0, 34.0], abs=1e-4)


def test_middle_grey_lies_half_way_in_lightness() -> None:
    # L* of 0.184187 is 50.0001: check-values.md, 3
    light = np.array([[0.184187]], np.float32)
    assert float(wished_tones_L(light, bare_L=80.0, full_L=20.0)[0, 0]) == pytest.approx(50.0, abs=1e-3)


def ordered(coverage: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Return dots by an ordered 8 × 8 threshold, spread by bit reversal."""
    rank = np.zeros((8, 8))
    for y in range(8):
        for x in range(8):
            a, b = x ^ y, y
            rank[y, x] = sum(((a >> i & 1) << (5 - 2 * i)) | ((b >> i & 1) << (4 - 2 * i)) for i in range(3))
    threshold = np.tile((rank + 0.5) / 64.0, (coverage.shape[0] // 8 + 1, coverage.shape[1] // 8 + 1))
    return np.asarray(coverage > threshold[: coverage.shape[0], : coverage.shape[1]])


@pytest.mark.parametrize("c", [CURVE, SLATE], ids=["maple", "slate"])
def test_dots_run_from_bare_to_full_and_one_way(c: CharacteristicCurve) -> None:
    full = exposure_for_tone(c, float(0.9 * tone_range_L(c)[1] + 0.1 * c.bare_L))
    coverages, tones = tone_of_coverage_L(c, ordered, beam_radius_mm=0.1, line_spacing_mm=0.1, full_exposure=full)
    assert (coverages[0], coverages[-1]) == (0.0, 1.0)
    assert tones[0] == pytest.approx(c.bare_L, abs=1e-9)
    # lines a beam radius apart ripple by 1.4 %: 0.006 decades at some 100 L* a decade, both signs
    assert tones[-1] == pytest.approx(float(tone_L(c, full)), abs=0.3)
    assert (np.diff(tones) * np.sign(c.full_L - c.bare_L) > 0.0).all()


def stripes(coverage: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Return upright stripes sixteen dots apart."""
    rows, columns = coverage.shape
    return np.broadcast_to(np.arange(columns) % 16 < np.rint(16 * coverage[0]), (rows, columns)).copy()


@pytest.mark.parametrize("radius", [0.8, 1.15, 1.8, 1.9, 2.5, 2.65, 3.3, 3.4])
def test_a_stripe_gains_by_what_the_beam_spreads_beyond_its_edge(radius: float) -> None:
    """A wood that turns solid at a quarter of the dose, where ½ erfc(√2 x/w) = ¼: x = erf⁻¹(½) w/√2 = 0.33724 w.

    Followed at a quarter of a dot, so what counts is how many quarters have their middle within x. Radii are chosen just
    below and just above those middles, so that a beam wider or narrower by a tenth fails.
    """
    x = 0.4769362762 / math.sqrt(2.0) * radius  # erf⁻¹(½), from memory, as in art/test_detail.py
    quarters = int((np.arange(40) * 0.25 + 0.125 < x).sum())
    c = plain_curve(x_mid=math.log10(0.25), steepness_per_decade=4000.0)
    coverages, tones = tone_of_coverage_L(
        c, stripes, beam_radius_mm=radius * 0.1, line_spacing_mm=0.1, full_exposure=0.0
    )
    bare, full, half = luminance(c.bare_L), luminance(c.full_L), luminance(tones[coverages == 0.5])[0]
    area = (bare - half) / (bare - full)
    assert float(area) == pytest.approx(0.5 + 2.0 * quarters / 64.0, abs=1e-4)  # doses in float32, curve hard to 1e-3


def test_wished_tones_come_back_through_the_coverage() -> None:
    coverages = np.linspace(0.0, 1.0, 17)
    for tones in (80.0 - 50.0 * coverages**0.5, 30.0 + 40.0 * coverages**2):
        wished = np.linspace(tones.min(), tones.max(), 33).astype(np.float32)
        share = coverage_for_tones(wished, coverages=coverages, tone_of_coverage=tones)
        assert ((share >= 0.0) & (share <= 1.0)).all()
        assert np.interp(share, coverages, tones) == pytest.approx(wished, abs=1e-3)  # float32


def test_a_tone_no_coverage_gives_gets_the_nearest() -> None:
    coverages, tones = np.array([0.0, 0.5, 1.0]), np.array([80.0, 50.0, 40.0])
    share = coverage_for_tones(np.array([95.0, 10.0], np.float32), coverages=coverages, tone_of_coverage=tones)
    assert share.tolist() == [0.0, 1.0]
