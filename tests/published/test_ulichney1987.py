"""[ulichney1987] Blue noise: the spectrum of a grey is empty up to its principal frequency, √g/R up to ½ and √(1 − g)/R above.

- The formula: MEM; its values DERIVED (check-values.md, 9): .0625 → .25, .125 → .3536, .25 → .5, .75 → .5, in cycles a pixel.
Tolerances: a ring three of 64 frequencies wide is averaged, the spectrum of one pattern is noisy, and so its peak may lie one
and a half rings off. “Empty” is a tenth of white noise below half the principal frequency.
Left out: peaks of greys between ¼ and ¾. Their principal frequency lies beyond ½, where a square grid has the corners of
the spectrum only; no peak can be told there, but up to half of ½ empty it has to be.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.tone.screens import BLUE_SIDE_px, apply_mask, blue_noise_mask

PEAKS = [(0.0625, 0.2500), (0.125, 0.3536), (0.25, 0.5000), (0.75, 0.5000), (0.875, 0.3536), (0.9375, 0.2500)]
RING = 3 / BLUE_SIDE_px
EMPTY = 0.1


check = partial(outside.check, field="halftoning and density", source="ulichney1987", trust="from memory")


def spectrum(grey: float) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies, cycles a pixel, and the power of a grey's dots there over that of white noise."""
    side = BLUE_SIDE_px
    dots = apply_mask(np.full((side, side), grey, np.float32), blue_noise_mask()).astype(float)
    power = np.abs(np.fft.fft2(dots - dots.mean())) ** 2 / (dots.size * grey * (1.0 - grey))
    return np.hypot(np.fft.fftfreq(side)[:, None], np.fft.fftfreq(side)), power


@pytest.mark.parametrize(("grey", "principal"), PEAKS)
def test_the_spectrum_peaks_at_the_principal_frequency(grey: float, principal: float) -> None:
    frequency, power = spectrum(grey)
    rings = np.arange(3, 36) / BLUE_SIDE_px
    radial = [power[np.abs(frequency - ring) <= 0.5 * RING].mean() for ring in rings]
    got, name = rings[int(np.argmax(radial))], f"principal frequency of blue noise, grey {grey:g}"
    why = "one and a half rings of the spectrum, three of 64 frequencies wide: one pattern is noisy"
    check(name, got=got, expected=principal, tolerance=1.5 * RING, unit="cycles a pixel", why=why)


@pytest.mark.parametrize("grey", [0.0625, 0.125, 0.1875, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 0.9375])
def test_below_it_the_spectrum_is_empty(grey: float) -> None:
    frequency, power = spectrum(grey)
    low = (frequency > 0.0) & (frequency < 0.5 * min(np.sqrt(min(grey, 1.0 - grey)), 0.5))
    assert power[low].mean() < EMPTY


@pytest.mark.parametrize(("grey", "principal"), PEAKS)
def test_no_direction_is_preferred(grey: float, principal: float) -> None:
    # eight directions with some 20 to 90 frequencies each: noise alone scatters their means by 0.1 to 0.2
    frequency, power = spectrum(grey)
    at = np.fft.fftfreq(BLUE_SIDE_px)
    eighth = np.rint(np.mod(np.arctan2(at[:, None], at), np.pi) / (np.pi / 8.0)).astype(int) % 8
    ring = (frequency > 0.8 * principal) & (frequency < 1.3 * principal)
    means = np.array([power[ring & (eighth == n)].mean() for n in range(8)])
    assert means.std() / means.mean() < 0.3
