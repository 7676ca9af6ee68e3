"""[colour-science] Mansencal et al., Colour 0.4.7, a reference library of colour science, on colours drawn at random.

- sRGB to L*a*b* and back, L* and luminance, encode and decode. The library has the same four-digit matrix from sRGB to XYZ
  and the same white, so forward both agree to rounding: 1e-9.
- XYZ to sRGB there uses the standard's printed inverse, also in four digits, ours the inverse itself; a row of the one
  differs from that of the other by 9.2e-5 in all, times XYZ up to 1.09, times the slope of 12.92 near black: 1.3e-3.
- It also gives the just noticeable difference of [mahy1994], 2.3, which the recipe search uses for a change of tone.
Colours outside sRGB are left out: we cut them, the library does not.
"""

from __future__ import annotations

import warnings
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray

import outside
from evenburn.core.planning.candidates import TONE_HOLDS_L
from evenburn.core.tone.colour import lab_from_srgb, lightness_L, luminance, srgb_decode, srgb_encode, srgb_from_lab

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # on import it says that it cannot draw, which nobody asks it to
    import colour

ROUNDING = 1e-9
PRINTED_INVERSE = 1.3e-3
D65 = np.array([0.3127, 0.3290])
Colours = NDArray[np.float64]


check = partial(outside.check, field="tone, colour and sight", source="colour-science", trust="seen", expected=0.0)
ROUNDED = "rounding: the same four-digit matrix and white"


@pytest.fixture(scope="module")
def rgb() -> Colours:
    drawn = np.random.default_rng(6).random((2000, 3))
    dark = 0.05 * np.random.default_rng(7).random((500, 3))  # about the break of the transfer curve, and char
    return np.concatenate([drawn, dark])


@pytest.fixture(scope="module")
def lab(rgb: Colours) -> Colours:
    return np.asarray(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(rgb), D65), dtype=np.float64)


def test_lab_of_srgb(rgb: Colours, lab: Colours) -> None:
    far = np.abs(lab_from_srgb(rgb) - lab).max()
    name = "farthest from its L*a*b*, 2500 colours of sRGB"
    check(name, got=far, tolerance=ROUNDING * 100, why=ROUNDED)


def test_srgb_of_lab_is_where_the_lab_came_from(rgb: Colours, lab: Colours) -> None:
    # the published breaks do not meet exactly, 3e-8, see test_iec61966_2_1.py
    np.testing.assert_allclose(srgb_from_lab(lab), rgb, rtol=0, atol=3e-8 + ROUNDING)


def test_srgb_of_lab_by_the_printed_inverse(lab: Colours) -> None:
    theirs = np.clip(colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, D65)), 0.0, 1.0)
    far = np.abs(srgb_from_lab(lab) - theirs).max()
    why = "it takes the inverse matrix as printed, in four digits: 9.2e-5 of a row, times 1.09, times 12.92"
    check("farthest from its sRGB of the same L*a*b*", got=far, tolerance=PRINTED_INVERSE, why=why)


def test_transfer_curve(rgb: Colours) -> None:
    np.testing.assert_allclose(srgb_decode(rgb), colour.cctf_decoding(rgb, function="sRGB"), rtol=0, atol=ROUNDING)
    np.testing.assert_allclose(srgb_encode(rgb), colour.cctf_encoding(rgb, function="sRGB"), rtol=0, atol=ROUNDING)


def test_lightness_and_luminance(rgb: Colours) -> None:
    y = rgb[:, 1]
    far = np.abs(lightness_L(y) - colour.lightness(100.0 * y, method="CIE 1976")).max()
    check("farthest from its L*, 2500 luminances", got=far, tolerance=1e-10, why="rounding")
    level = 100.0 * y
    theirs = colour.luminance(level, method="CIE 1976") / 100.0
    np.testing.assert_allclose(luminance(level), theirs, rtol=0, atol=ROUNDING)


def test_just_noticeable_difference() -> None:
    outside.check(
        "change of tone that the recipe search takes for unnoticed",
        got=TONE_HOLDS_L,
        expected=float(colour.difference.JND_CIE1976),
        tolerance=0.0,
        unit="L*",
        field="tone, colour and sight",
        source="mahy1994",
        trust="seen",
        why=outside.EXACT,
    )
