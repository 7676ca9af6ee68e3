"""Photographs made ready: an even wedge stays even, what is bare stays bare, nothing leaves its range."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.ndimage import gaussian_filter, gaussian_filter1d, uniform_filter

from evenburn.core.nouns.mark import Preparation
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.prepare import EDGE_L, _base, prepare_light

PLAIN = Preparation(local_contrast=0.0, sharpen=0.0)
SHARP = Preparation(local_contrast=0.0, sharpen=1.0)
LIFTED = Preparation(local_contrast=1.0, sharpen=0.0)
SIDE = 120
UNSEEN_L = 0.3  # a third of what anybody sees


def prepared(light: np.ndarray, preparation: Preparation = Preparation(), **changes: object) -> np.ndarray:  # noqa: B008
    given_ = {"coverage": None, "pixel_mm": 0.1, "resolvable_mm": 0.2, "darkens": True, **changes}
    return prepare_light(light.astype(np.float32), preparation=preparation, **given_)  # type: ignore[arg-type]


def wedge() -> np.ndarray:
    return np.tile(luminance(np.repeat(np.linspace(0.0, 100.0, 11), SIDE)), (SIDE, 1))


@pytest.mark.parametrize("preparation", [Preparation(), Preparation(local_contrast=1.0, sharpen=1.0)])
def test_a_wedge_that_fills_the_scale_stays_even(preparation: Preparation) -> None:
    level = lightness_L(prepared(wedge(), preparation))[SIDE // 2, SIDE // 2 :: SIDE]
    assert level == pytest.approx(np.linspace(0.0, 100.0, 11), abs=UNSEEN_L)


def test_a_ramp_that_fills_the_scale_stays_as_it_is() -> None:
    ramp = np.linspace(0.0, 100.0, 1001)
    level = lightness_L(prepared(np.tile(luminance(ramp), (300, 1)), PLAIN))
    assert level[150] == pytest.approx(ramp, abs=UNSEEN_L)


def test_what_was_spread_out_is_not_spread_again() -> None:
    rng = np.random.default_rng(1)
    picture = luminance(np.clip(55.0 + 9.0 * rng.standard_normal((200, 300)), 0.0, 100.0))
    once = prepared(picture, PLAIN)
    assert lightness_L(once).std() > 15.0  # it was spread
    assert lightness_L(prepared(once, PLAIN)) == pytest.approx(lightness_L(once), abs=1.0)


def test_a_dull_wedge_is_spread_in_even_steps() -> None:
    dull = np.tile(luminance(np.repeat(np.linspace(30.0, 80.0, 11), SIDE)), (SIDE, 1))
    level = lightness_L(prepared(dull))[SIDE // 2, SIDE // 2 :: SIDE]
    assert np.diff(level) == pytest.approx(10.0, abs=UNSEEN_L)


@settings(max_examples=20)
@given(st.lists(st.floats(0.0, 100.0), min_size=2, max_size=8), st.booleans())
def test_a_lighter_patch_stays_the_lighter(levels: list[float], darkens: bool) -> None:  # noqa: FBT001
    levels = sorted(levels)
    picture = np.tile(luminance(np.repeat(levels, 60)), (60, 1))
    strong = Preparation(local_contrast=1.0, sharpen=1.0, background_L=90.0 if darkens else 10.0)
    level = lightness_L(prepared(picture, strong, darkens=darkens, resolvable_mm=0.1))[30, 30::60]
    assert np.diff(level).min() >= -0.05  # rounding of single precision


def test_a_flat_dull_picture_is_spread_over_the_scale() -> None:
    dull = luminance(np.tile(np.linspace(40.0, 70.0, 500), (300, 1)))
    level = lightness_L(prepared(dull, PLAIN))
    assert level.min() < 20.0
    assert level.max() > 85.0


def test_an_even_grey_is_left_alone() -> None:
    grey = np.full((60, 60), 0.2)
    assert prepared(grey) == pytest.approx(grey, abs=1e-5)


def test_the_base_is_the_guided_filter() -> None:
    # [he2013] eq. 5, 6 and 8 with the picture as its own guide; means by scipy, an outside library
    rng = np.random.default_rng(3)
    level = (50.0 + 20.0 * rng.standard_normal((80, 90))).astype(np.float32)

    def mean(values: np.ndarray) -> np.ndarray:
        return uniform_filter(values.astype(np.float64), size=11, mode="reflect")

    about = mean(level)
    variance = mean(level.astype(np.float64) ** 2) - about**2
    a = variance / (variance + EDGE_L**2)
    expected = mean(a) * level + mean(about - a * about)
    inner = (slice(12, -12), slice(12, -12))  # the two libraries mirror at the border by half a pixel apart
    assert _base(level, radius_px=5)[inner] == pytest.approx(expected[inner], abs=1e-2)


def test_an_edge_is_steeper_after_sharpening_and_does_not_ring() -> None:
    edge = np.repeat([20.0, 80.0], SIDE)
    soft = np.convolve(np.pad(edge, 8, mode="edge"), np.ones(9) / 9.0, mode="same")[8:-8]
    scale = np.concatenate(([0.0, 100.0] * 20, soft))  # so that the tones need no spreading
    level = lightness_L(prepared(luminance(np.tile(scale, (SIDE, 1))), Preparation(local_contrast=0.0, sharpen=1.0)))
    row = level[SIDE // 2, 40 + 60 : -60]
    assert np.abs(np.diff(row)).max() > 1.2 * np.abs(np.diff(soft)).max()
    assert row.max() < 80.0 + 11.0
    assert row.min() > 20.0 - 11.0


def test_sharpening_gives_back_what_a_blur_takes() -> None:
    # A wave of frequency f keeps exp(−2 π² σ² f²) under a Gaussian blur (its Fourier transform, any textbook): a half
    # here. Unsharp masking of the same σ before it makes that ½ · (1 + ½) = ¾ where nothing is held back.
    sigma_px = 0.5 * 0.4 / 0.1
    period_px = sigma_px * np.sqrt(2.0 * np.pi**2 / np.log(2.0))
    wave = 50.0 + 8.0 * np.sin(2.0 * np.pi * np.arange(1200) / period_px)
    scale = np.concatenate((np.repeat([0.0, 100.0], 100), wave))  # so that the tones need no spreading
    before = np.tile(scale, (40, 1))
    after = lightness_L(prepared(luminance(before), SHARP, resolvable_mm=0.4))

    def swing(level: np.ndarray) -> float:
        return float(np.ptp(gaussian_filter1d(level[20], sigma_px)[500:1000])) / 16.0

    assert swing(before) == pytest.approx(0.5, abs=0.01)
    assert 0.65 < swing(after) <= 0.75  # noise threshold and bounds hold some of it back


def test_what_is_burnt_is_nearer_to_the_picture_when_sharpened() -> None:
    rng = np.random.default_rng(5)
    blocks = np.kron(rng.uniform(20.0, 80.0, (30, 30)), np.ones((7, 7)))
    blocks[:28, :28], blocks[:28, 28:56] = 0.0, 100.0  # so that the tones need no spreading
    ready = lightness_L(prepared(luminance(blocks), SHARP, resolvable_mm=0.3))
    plain, sharpened = gaussian_filter(blocks, 1.5), gaussian_filter(ready, 1.5)
    assert np.abs(sharpened - blocks).mean() < 0.85 * np.abs(plain - blocks).mean()


def test_grain_is_not_sharpened() -> None:
    rng = np.random.default_rng(2)
    grain = 0.3 * rng.standard_normal((200, 200))
    grain[:20, :20], grain[:20, 20:40] = -50.0, 50.0  # so that the tones need no spreading
    level = lightness_L(prepared(luminance(50.0 + grain), Preparation(local_contrast=1.0, sharpen=1.0)))
    assert level[120:, 120:].std() < 1.15 * 0.3


def test_local_contrast_lifts_what_is_small_and_leaves_no_halo() -> None:
    edge = np.tile(np.repeat([0.0, 100.0], 300), (300, 1))
    ripple = 4.0 * np.sin(2.0 * np.pi * np.arange(600) / 20.0)  # 2 mm
    picture = np.clip(0.6 * edge + 20.0 + ripple, 0.0, 100.0)
    picture[:30, :60], picture[:30, 60:120] = 0.0, 100.0
    level = lightness_L(prepared(luminance(picture), LIFTED, resolvable_mm=0.2))
    far = level[250, 60:220]
    assert np.ptp(far) > 1.25 * 8.0  # the ripple is lifted …

    flat = np.clip(0.6 * edge + 20.0, 0.0, 100.0)
    flat[:30, :60], flat[:30, 60:120] = 0.0, 100.0
    row = lightness_L(prepared(luminance(flat), LIFTED, resolvable_mm=0.2))[250]
    beside = np.concatenate((row[:297], row[303:]))  # … and but for the very edge both sides stay even
    assert np.abs(beside - np.repeat([20.0, 80.0], 297)).max() < 3.0  # a twentieth of the edge, at full strength


def test_a_picture_that_does_not_fill_its_box_has_no_rim() -> None:
    rng = np.random.default_rng(8)
    coverage = np.zeros((200, 260), np.float32)
    coverage[:, 30:230] = 1.0
    light = np.ones((200, 260))
    light[:, 30:230] = luminance(40.0)
    light[80:120, 100:160] = rng.uniform(0.0, 1.0, (40, 60))
    level = lightness_L(prepared(light, Preparation(local_contrast=1.0, sharpen=1.0), coverage=coverage))
    assert level[150, 30:230] == pytest.approx(level[150, 40], abs=UNSEEN_L)


@pytest.mark.parametrize("darkens", [True, False])
def test_half_covered_pixels_are_half_bare(darkens: bool) -> None:  # noqa: FBT001
    # light is the picture over white paper; what is left of the picture itself is laid over bare wood
    levels = np.repeat([0.0, 40.0, 100.0], SIDE)
    own = np.tile(luminance(levels), (SIDE, 1))
    coverage = np.full(own.shape, 0.5, np.float32)
    level = lightness_L(prepared(0.5 * own + 0.5, PLAIN, coverage=coverage, darkens=darkens))
    bare = 100.0 if darkens else 0.0
    assert level[SIDE // 2, SIDE // 2 :: SIDE] == pytest.approx(
        0.5 * (np.array([0.0, 40.0, 100.0]) + bare), abs=UNSEEN_L
    )


def test_a_fade_runs_out_over_its_width_and_rounds_the_corners() -> None:
    grey = np.full((400, 600), luminance(40.0))
    level = lightness_L(prepared(grey, Preparation(local_contrast=0.0, sharpen=0.0, fade_mm=6.0)))
    kept = (100.0 - level) / 60.0
    # a Gaussian blur of σ = 3 mm has 0.8413 at 3 mm inside a straight edge and 0.9772 at 6 mm (table of Φ, from memory);
    # from a half to the latter, through the smooth step t² (3 − 2 t)
    t = (0.8413 - 0.5) / (0.9772 - 0.5)
    assert kept[200, 29:31].mean() == pytest.approx(t * t * (3.0 - 2.0 * t), abs=0.02)  # found on coarse pixels
    assert kept[200, 0] < 0.02
    assert kept[200, 62] == pytest.approx(1.0, abs=0.01)
    assert kept[29:31, 29:31].mean() < kept[200, 29:31].mean() - 0.2  # in the corner it is further out
    assert (np.diff(kept[200, :300]) >= -1e-3).all()


def test_a_fade_wider_than_the_picture_leaves_its_middle() -> None:
    grey = np.full((100, 300), luminance(40.0))
    level = lightness_L(prepared(grey, Preparation(local_contrast=0.0, sharpen=0.0, fade_mm=50.0)))
    assert level[50, 150] == pytest.approx(40.0, abs=5.0)
    assert level[0, 150] > 97.0


@pytest.mark.parametrize("darkens", [True, False])
def test_where_there_is_no_picture_at_all_everything_is_bare(darkens: bool) -> None:  # noqa: FBT001
    out = prepared(np.full((9, 9), 0.3), coverage=np.zeros((9, 9), np.float32), darkens=darkens)
    assert (out == (1.0 if darkens else 0.0)).all()


def test_memory_stays_within_six_pictures() -> None:
    light = np.random.default_rng(3).random((1500, 2000), dtype=np.float32)
    coverage = np.ones_like(light)
    coverage[:100] = 0.0
    prepared(light[:50, :50])
    tracemalloc.start()
    prepared(light, Preparation(fade_mm=5.0, background_L=80.0), coverage=coverage)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 6 * light.nbytes + 40e6  # beside the two that are given; strips take the rest


@pytest.mark.parametrize("darkens", [True, False])
def test_outside_the_picture_the_wood_stays_bare(darkens: bool) -> None:  # noqa: FBT001
    coverage = np.zeros((SIDE, SIDE), np.float32)
    coverage[30:90, 30:90] = 1.0
    level = lightness_L(
        prepared(wedge()[:, :SIDE] * 0 + 0.3, Preparation(fade_mm=2.0), coverage=coverage, darkens=darkens)
    )
    bare = 100.0 if darkens else 0.0
    assert level[:29].mean() == pytest.approx(bare, abs=0.01)
    assert level[31, 60] == pytest.approx(bare, abs=3.0)  # the fade begins at the border …
    assert abs(level[60, 60] - bare) > 30.0  # … and the middle is kept


def test_a_background_becomes_bare_and_the_rest_stays() -> None:
    levels = np.repeat([0.0, 40.0, 60.0, 92.0, 100.0], SIDE)
    light = luminance(np.tile(levels, (SIDE, 1)))
    level = lightness_L(prepared(light, Preparation(local_contrast=0.0, sharpen=0.0, background_L=90.0)))
    middles = level[SIDE // 2, SIDE // 2 :: SIDE]
    assert middles[3:] == pytest.approx([100.0, 100.0], abs=0.01)
    assert middles[:3] == pytest.approx([0.0, 40.0, 60.0], abs=0.3)


@settings(max_examples=40)
@given(
    arrays(np.float32, st.tuples(st.integers(1, 24), st.integers(1, 24)), elements=st.floats(0.0, 1.0, width=32)),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
    st.booleans(),
)
def test_light_stays_light(light: np.ndarray, contrast: float, sharpen: float, darkens: bool) -> None:  # noqa: FBT001
    out = prepared(light, Preparation(local_contrast=contrast, sharpen=sharpen, fade_mm=1.0), darkens=darkens)
    assert out.shape == light.shape
    assert np.isfinite(out).all()
    assert out.min() >= 0.0
    assert out.max() <= 1.0 + 1e-6
