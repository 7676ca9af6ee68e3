"""The scale from encoded values to L*: on samples worked out here, without a picture, printer and camera known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.card import printed
from evenburn.core.card.camera_curve import CameraCurve
from evenburn.core.card.lightness import light_scale, smooth_field
from evenburn.core.card.sampling import Samples

FloatArray = NDArray[np.float64]
NOMINAL_L = np.array([0.0, 11.0, 22.0, 33.0, 44.0, 55.0, 66.0, 77.0, 87.0, 95.0])
HALF_mm = (80.0, 65.0)  # of a frame
ROUNDING_L = 0.25  # a step of 1 in 255 is 0.4 L*, halved; the curve has to be found beside it
TOLD_L = 0.7  # twice the doubt of two lightnesses told, ± 0.3 L*


def light_of(tone: FloatArray | float) -> FloatArray:
    """CIE L* to Y [cie15]."""
    return np.where(np.asarray(tone) > 8.0, ((np.asarray(tone) + 16.0) / 116.0) ** 3, np.asarray(tone) * 27.0 / 24389.0)


def tone_of(light: FloatArray) -> FloatArray:
    return 116.0 * np.cbrt(light) - 16.0


def coded(light: FloatArray, *, bend: float = 0.0) -> FloatArray:
    """sRGB of the standard [iec61966-2-1], by a logistic S about the middle where `bend` is above 0."""
    v = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1.0 / 2.4) - 0.055)
    if bend > 0.0:
        ends = 1.0 / (1.0 + np.exp(bend * np.array([0.5, -0.5])))
        v = (1.0 / (1.0 + np.exp(bend * (0.5 - v))) - ends[0]) / (ends[1] - ends[0])
    return 255.0 * v


def falling(places_mm: FloatArray, *, across: float) -> FloatArray:
    """A lamp's light: straight and bent, so much less at the far end."""
    x, y = places_mm[:, 0] / HALF_mm[0], places_mm[:, 1] / HALF_mm[1]
    return np.exp(0.5 * np.log(1.0 - across) * (0.8 * x + 0.5 * y + 0.2 * (x * x + 0.6 * y * y)))


def made(
    *,
    paper_L: float = 93.5,
    toner_L: float = 16.0,
    across: float = 0.3,
    bend: float = 0.0,
    exposure: float = 0.8,
    thin: float = 0.0,
    gain: float = 0.18,
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0),
    seed: int = 3,
) -> tuple[Samples, FloatArray, FloatArray]:
    """Samples of a mat, and shares and places of patches of tones 20, 25 … 80 under the same light."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.linspace(-HALF_mm[0], HALF_mm[0], 40), np.linspace(-HALF_mm[1], HALF_mm[1], 32))
    white = np.column_stack([x.ravel(), y.ravel()])
    white = white[(np.abs(white[:, 0]) > 70.0) | (np.abs(white[:, 1]) > 55.0)]
    along = np.linspace(-40.0, 40.0, NOMINAL_L.size)
    sides = [
        (along, 0 * along + 50.0),
        (0 * along + 62.0, along),
        (-along, 0 * along - 50.0),
        (0 * along - 62.0, -along),
    ]
    steps = np.concatenate([np.column_stack(side) for side in sides])
    nominal = np.tile(NOMINAL_L, 4)
    ink = 1.0 - coded(light_of(nominal)) / 255.0
    ink = ink + 4.0 * gain * ink * (1.0 - ink)
    ink = np.clip(ink * (1.0 - thin * np.abs(rng.standard_normal(ink.size))), 0.0, 1.0)
    grey = light_of(paper_L) + ink * (light_of(toner_L) - light_of(paper_L))  # [murray1936]
    tones = np.arange(20.0, 81.0, 5.0)
    places = np.column_stack([np.linspace(-30.0, 30.0, tones.size), np.linspace(20.0, -20.0, tones.size)])

    def seen(light: FloatArray, at: FloatArray) -> FloatArray:
        rgb = (light / light_of(paper_L) * falling(at, across=across) * exposure)[:, None] * np.array(cast)
        return coded(rgb, bend=bend)

    none = np.zeros(len(steps))
    samples = Samples(
        white_mm=white,
        white_coded=seen(np.full(len(white), light_of(paper_L)), white),
        white_clipped=np.zeros(len(white)),
        step_mm=steps,
        step_coded=seen(grey, steps),
        step_clipped=none,
        step_nominal_L=nominal,
    )
    value = seen(light_of(tones), places)
    shares = np.zeros((tones.size, 3, 256))
    low = np.floor(value).astype(int)
    for n, c in np.ndindex(tones.size, 3):
        shares[n, c, low[n, c]] += 1.0 - (value[n, c] - low[n, c])
        shares[n, c, low[n, c] + 1] += value[n, c] - low[n, c]
    return samples, shares, places


TONES_L = np.arange(20.0, 81.0, 5.0)


def test_a_camera_of_plain_sRGB_and_a_believed_printer_come_back() -> None:
    """L* 50 is Y 0.184187 [cie15], sRGB 0.4663 of it (from memory: 119 of 255): no bend, no surprise."""
    assert float(light_of(50.0)) == pytest.approx(0.184187, abs=5e-7)
    assert coded(light_of(np.array([50.0])))[0] == pytest.approx(118.9, abs=0.1)
    samples, shares, places = made()
    scale = light_scale(samples, paper_L=93.5, toner_L=16.0)
    assert np.abs(scale.tones_L(shares, places_mm=places) - TONES_L).max() < TOLD_L


@pytest.mark.parametrize("bend", [2.5, 4.0])
@pytest.mark.parametrize("cast", [(1.0, 1.0, 1.0), (1.12, 1.0, 0.86)])
def test_an_s_curve_and_warm_light_are_taken_out(bend: float, cast: tuple[float, float, float]) -> None:
    """A logistic S is none of the model's own curves; told paper and toner, what is left are gain and offset."""
    samples, shares, places = made(bend=bend, cast=cast, exposure=0.7)
    plain = tone_of(shares @ light_of_code() @ np.array([0.2126, 0.7152, 0.0722]) / 0.7 * light_of(93.5))
    tones = light_scale(samples, paper_L=93.5, toner_L=16.0).tones_L(shares, places_mm=places)
    off = tones - TONES_L
    line = np.column_stack([np.ones(off.size), TONES_L])
    left = off - line @ np.linalg.lstsq(line, off, rcond=None)[0]
    assert np.abs(left).max() < 0.8  # issue 5
    assert np.abs(off).max() < 2.5
    assert np.abs(off).max() < 0.5 * np.abs(plain - TONES_L).max()  # what comes out without a scale is far worse


def light_of_code() -> FloatArray:
    v = np.arange(256) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def test_the_fall_off_of_the_light_is_followed() -> None:
    samples, shares, places = made(across=0.35)
    even, even_shares, _ = made(across=0.0)
    one = light_scale(samples, paper_L=93.5, toner_L=16.0).tones_L(shares, places_mm=places)
    other = light_scale(even, paper_L=93.5, toner_L=16.0).tones_L(even_shares, places_mm=places)
    assert np.abs(one - other).max() < TOLD_L


def test_a_finger_on_the_white_is_not_taken_for_a_fall_off() -> None:
    samples, _, _ = made()
    there = np.linalg.norm(samples.white_mm - np.array([-75.0, 0.0]), axis=1) < 12.0
    assert 5 < there.sum() < 0.1 * there.size
    shaded = replace(samples, white_coded=np.where(there[:, None], 0.7 * samples.white_coded, samples.white_coded))
    field, off = smooth_field(shaded)
    assert not field.keeps[there].any()
    assert np.abs(off[~there]).max() < 0.02


def test_what_is_told_lessens_the_doubt() -> None:
    samples, shares, places = made()

    def doubt(**told: float) -> float:
        scale = light_scale(samples, **told)
        slopes = scale.tone_slopes_L(shares, places_mm=places)
        return float(np.sqrt(np.einsum("ij,jk,ik->i", slopes, scale.covariance, slopes)).mean())

    assert doubt(paper_L=93.5, toner_L=16.0) < 0.75 * doubt()
    assert doubt(paper_L=93.5) < doubt()


@pytest.mark.parametrize(("paper_L", "toner_L"), [(91.0, 22.0), (96.0, 10.0), (93.5, 16.0)])
def test_unknown_paper_and_toner_stay_within_their_doubt(paper_L: float, toner_L: float) -> None:
    """The corners of what offices print: off by no more than two and a half of the sd that is stated."""
    samples, shares, places = made(paper_L=paper_L, toner_L=toner_L)
    scale = light_scale(samples)
    slopes = scale.tone_slopes_L(shares, places_mm=places)
    sd = np.sqrt(np.einsum("ij,jk,ik->i", slopes, scale.covariance, slopes))
    off = scale.tones_L(shares, places_mm=places) - TONES_L
    assert np.all(np.abs(off) < 2.5 * np.hypot(sd, ROUNDING_L))
    assert 0.3 < float(sd.mean()) < 3.0


def test_uneven_toner_moves_tones_by_less_than_black_itself() -> None:
    """0.6 % of toner gone, half normal, mean 0.6 √(2/π) %: that much of the paper's light shows through black."""
    even, shares, places = made()
    thin, _, _ = made(thin=0.006)
    through = 0.006 * np.sqrt(2.0 / np.pi) * (light_of(93.5) - light_of(16.0))
    black_moved = float(tone_of(light_of(16.0) + through)) - 16.0
    scattered = light_scale(thin, paper_L=93.5, toner_L=16.0).tones_L(shares, places_mm=places)
    smooth = light_scale(even, paper_L=93.5, toner_L=16.0).tones_L(shares, places_mm=places)
    assert np.abs(scattered - smooth).max() < black_moved


def test_step_sd_follows_what_steps_of_one_grey_lie_apart() -> None:
    """Steps scattered by 1 % of white: dL*/dY is 116/3 Y^(-2/3) [cie15], 1.2 L* at L* 50 and 4.9 at L* 16."""
    rng = np.random.default_rng(1)
    tone = np.repeat([16.0, 50.0, 80.0], 40)
    group = np.repeat([0, 1, 2], 40)
    slope = 116.0 / 3.0 * light_of(tone) ** (-2.0 / 3.0)
    sd = printed.step_sd_L(tone, 0.01 * slope * rng.standard_normal(tone.size), group=group)
    assert slope[[0, 40]] * 0.01 == pytest.approx([5.1, 1.19], rel=0.03)
    assert sd[[0, 40]] == pytest.approx(
        slope[[0, 40]] * 0.01, rel=0.3
    )  # 120 steps tell a spread within some 7 %, the grid's step is 22 %
    assert printed.step_sd_L(tone)[40] < 0.3 * sd[40]


def test_a_print_of_half_tones_is_murray_and_davies() -> None:
    """Half the area black on white paper, no dot gain: half the light [murray1936]; n = 2 of Yule: a quarter [yule1951]."""
    half_L = float(tone_of(light_of_code()[127:129].mean(keepdims=True))[0])  # code 0.5: ink 0.5
    paper, black = 100.0, 0.0
    one = printed.printed_L(np.array([paper, black, 0.0, 0.0, 1.0]), nominal_L=np.array([half_L]))
    two = printed.printed_L(np.array([paper, black, 0.0, 0.0, 2.0]), nominal_L=np.array([half_L]))
    assert float(light_of(one)[0]) == pytest.approx(0.5, abs=2e-3)
    assert float(light_of(two)[0]) == pytest.approx(0.25, abs=2e-3)


def test_no_bend_is_the_curve_of_the_standard() -> None:
    """IEC 61966-2-1: 119 of 255 is 0.1845 of light, 10 of 255 is 0.00304 (from memory)."""
    table = CameraCurve(contrast=0.0, bow=0.0, tilt=0.0, flare=0.0).decoded()
    assert table[[0, 255]] == pytest.approx([0.0, 1.0], abs=1e-5)
    assert table[119] == pytest.approx(0.1845, abs=2e-4)
    assert table[10] == pytest.approx(0.00304, abs=3e-5)
    bent = CameraCurve(contrast=1.1, bow=-0.4, tilt=0.4, flare=0.0).decoded()
    assert np.all(np.diff(bent) >= 0.0)
