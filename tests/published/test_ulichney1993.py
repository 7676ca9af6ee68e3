"""[ulichney1993] The void-and-cluster mask: ranks are a permutation, and dots of any rank are as far apart as they can be.

- The method: SEEN as described elsewhere, sigma 1.5 pixels MEM (check-values.md, 9).
Tolerances: none for the histogram. Void and cluster are judged by the published Gaussian written out here; two places whose
energies differ by rounding are alike.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.tone.screens import blue_noise_mask

SIDE = 64
SIGMA_px = 1.5
ROUNDING = 1e-9


check = partial(outside.check, field="halftoning and density", source="ulichney1993", trust="seen in part")


def energies(dots: np.ndarray) -> np.ndarray:
    """The toroidal Gaussian of dots, by Fourier."""
    far = np.minimum(np.arange(SIDE), SIDE - np.arange(SIDE))
    bell = np.exp(-(far[:, None] ** 2 + far**2) / (2.0 * SIGMA_px**2))
    return np.fft.ifft2(np.fft.fft2(dots) * np.fft.fft2(bell)).real


def ranks() -> np.ndarray:
    return np.rint(blue_noise_mask().astype(float) * SIDE * SIDE - 0.5).astype(int)


def test_the_histogram_is_flat() -> None:
    alike = int((np.sort(ranks().ravel()) == np.arange(SIDE * SIDE)).sum())
    name = "ranks of the void-and-cluster mask that occur once each"
    check(name, got=alike, expected=float(SIDE * SIDE), tolerance=0.0, why=outside.EXACT)


@pytest.mark.parametrize("count", [500, 1000, 2047, 2500, 3500, 4000])
def test_each_dot_past_the_first_went_into_the_largest_void(count: int) -> None:
    dots = ranks() < count
    energy = np.where(dots, np.inf, energies(dots))
    assert energy[ranks() == count][0] <= energy.min() + ROUNDING


@pytest.mark.parametrize("count", [5, 50, 200, 400])
def test_each_of_the_first_dots_was_the_tightest_cluster(count: int) -> None:
    dots = ranks() < count
    energy = np.where(dots, energies(dots), -np.inf)
    assert energy[ranks() == count - 1][0] >= energy.max() - ROUNDING


def test_the_pattern_it_begins_with_cannot_be_spread_any_further() -> None:
    # taking the tightest dot away makes the largest void where it was
    dots = ranks() < int(0.1 * SIDE * SIDE)
    tightest = np.unravel_index(np.where(dots, energies(dots), -np.inf).argmax(), dots.shape)
    dots[tightest] = False
    energy = np.where(dots, np.inf, energies(dots))
    assert energy[tightest] <= energy.min() + ROUNDING
