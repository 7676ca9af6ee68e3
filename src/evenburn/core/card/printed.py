"""What an office printer makes of a grey: paper and toner of unknown lightness, dots that spread by an unknown amount."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenburn.core.tone.colour import lightness_L, luminance, srgb_encode

FloatArray = NDArray[np.float64]

NAMES = ("paper_L", "toner_L", "gain", "skew", "spreading")
# paper and toner as issue 5 states them, L* 91–96 and 10–22, each evenly likely: sd is the width over the root of 12.
# Dot gain likewise, 5 to 35 %, common practice. Of the others only the order of size is known, no source.
BELIEVED = np.array([93.5, 16.0, 0.20, 0.0, 1.7])
BELIEVED_SD = np.array([5.0, 12.0, 0.30, 0.4 * np.sqrt(12.0), 0.5 * np.sqrt(12.0)]) / np.sqrt(12.0)
LEAST = np.array([90.0, 8.0, -0.35, -2.5, 1.0])
MOST = np.array([97.0, 24.0, 0.60, 2.5, 4.0])
# One printed step from another of the same grey: a share of its light, and so much of white, as where toner is thin. How
# much so is told by the steps themselves; before, it is believed to be within a few times of these. No source.
STEP_SHARE, STEP_WHITE, STEP_LOG_SD = 0.006, 0.0015, 0.8
STEP_LEAST_L = 0.05


def printed_L(vector: FloatArray, *, nominal_L: FloatArray) -> FloatArray:
    """Return the lightness a printer gives greys of the PDF. [L*]

    Parameters
    ----------
    vector : in the order of NAMES: paper and toner [L*], dot gain of a half tone as a share of the area, how much more of
        it in light tones than in dark, and Yule and Nielsen's n.
    nominal_L : (N,) of the greys in the PDF.

    Source
    ------
    [murray1936] with [yule1951]; the hump of dot gain is own choice, 4 g a (1 − a), turned by skew.
    """
    paper_L, toner_L, gain, skew, n = vector
    ink = 1.0 - srgb_encode(luminance(nominal_L))
    ink = np.clip(ink + 4.0 * gain * ink * (1.0 - ink) * (1.0 + skew * (1.0 - 2.0 * ink)), 0.0, 1.0)
    paper, toner = (float(luminance(v)) for v in (paper_L, toner_L))
    return lightness_L(((1.0 - ink) * paper ** (1.0 / n) + ink * toner ** (1.0 / n)) ** n)


def step_sd_L(
    tone_L: FloatArray, off_L: FloatArray | None = None, *, group: NDArray[np.intp] | None = None
) -> FloatArray:
    """Return the standard deviation of each step's tone about its grey, from how far the steps of one grey lie apart. [L*]

    Parameters
    ----------
    tone_L : (S,) of the steps.
    off_L : (S,) what each is off; without it, what is believed beforehand is returned.
    group : (S,) number of the grey.

    Source
    ------
    Own derivation, here: the most probable of a grid of shares, given a log-normal belief; Gauss's likelihood of residuals about each grey's mean.
    """
    light = luminance(tone_L)
    by_share, by_white = (tone_L + 16.0) / 3.0, (tone_L + 16.0) / 3.0 / np.maximum(light, 1e-3)
    if off_L is None or group is None:
        return np.sqrt(STEP_LEAST_L**2 + np.square(STEP_SHARE * by_share) + np.square(STEP_WHITE * by_white))
    count = np.bincount(group)
    apart = off_L - (np.bincount(group, off_L) / count)[group]
    freedom = 1.0 - 1.0 / count[group]
    logs = np.linspace(-2.5, 2.5, 21) * STEP_LOG_SD
    best, found = np.inf, np.zeros_like(tone_L)
    for a in logs:
        for b in logs:
            variance = STEP_LEAST_L**2 + np.square(np.exp(a) * STEP_SHARE * by_share)
            variance += np.square(np.exp(b) * STEP_WHITE * by_white)
            bad = float((freedom * np.log(variance) + np.square(apart) / variance).sum())
            bad += (a * a + b * b) / STEP_LOG_SD**2
            if bad < best:
                best, found = bad, np.sqrt(variance)
    return found
