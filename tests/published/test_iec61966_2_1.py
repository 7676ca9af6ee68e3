"""[iec61966-2-1] IEC 61966-2-1:1999, sRGB: transfer curve, and primaries to CIE XYZ.

- V ≤ 0.04045: V/12.92, else ((V + 0.055)/1.055)^2.4; back with the break at 0.0031308. SEEN.
- encode(0.18) = 0.4613561295 SEEN (documentation of colour-science); decodes of 10, 11, 64, 128, 188 of 255: DERIVED.
- rows to XYZ .4124 .3576 .1805 / .2126 .7152 .0722 / .0193 .1192 .9505, white x 0.3127 y 0.3290: SEEN.
Tolerances: half of the last digit printed. The two breaks are printed rounded, so that at the break both pieces differ by
up to 3e-8 in the published curve itself; a round trip may not be asked for more there.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.tone.colour import lab_from_srgb, luminance, srgb_decode, srgb_encode
from outside import HALF_DIGIT

BREAK_GAP = 3e-8


check = partial(outside.check, field="tone, colour and sight", source="iec61966-2-1")


def test_encode_of_0_18() -> None:
    got = srgb_encode(0.18)
    check("sRGB of luminance 0.18", got=got, expected=0.4613561295, tolerance=5e-11, trust="seen", why=HALF_DIGIT)


@pytest.mark.parametrize(
    ("level", "linear", "half_digit"),
    [
        (128, 0.2158605, 5e-8),
        (188, 0.5028865, 5e-8),
        (64, 0.0512695, 5e-8),
        (10, 0.00303527, 5e-9),
        (11, 0.00334654, 5e-9),
    ],
)
def test_decode_of_8_bit_levels(level: int, linear: float, half_digit: float) -> None:
    got, name = srgb_decode(level / 255.0), f"luminance of sRGB level {level} of 255"
    check(name, got=got, expected=linear, tolerance=half_digit, trust="derived", why=HALF_DIGIT)


def test_10_lies_on_the_straight_piece_and_11_on_the_curve() -> None:
    assert float(srgb_decode(10 / 255)) == 10 / 255 / 12.92
    assert float(srgb_decode(11 / 255)) == pytest.approx(((11 / 255 + 0.055) / 1.055) ** 2.4, rel=1e-14)


def test_the_break_of_1999_is_0_04045_and_not_the_draft_s_0_03928() -> None:
    # between the two the pieces differ; on the straight piece as the standard has it
    assert float(srgb_decode(0.04)) == 0.04 / 12.92


def test_every_8_bit_level_comes_back() -> None:
    levels = np.arange(256) / 255.0
    np.testing.assert_allclose(srgb_encode(srgb_decode(levels)), levels, rtol=0, atol=BREAK_GAP)


@pytest.mark.parametrize(("rgb", "share"), [((1, 0, 0), 0.2126), ((0, 1, 0), 0.7152), ((0, 0, 1), 0.0722)])
def test_luminance_of_the_primaries(rgb: tuple[int, int, int], share: float) -> None:
    lab = lab_from_srgb(np.array(rgb, dtype=np.float64))
    name = f"luminance of the primary {'red' if rgb[0] else 'green' if rgb[1] else 'blue'}"
    why = "rounding: four digits printed, all of them used"
    check(name, got=luminance(lab[0]), expected=share, tolerance=1e-12, trust="seen", why=why)


def test_white_is_neutral_within_the_digits_of_the_matrix() -> None:
    # X and Z of white add up to 0.9505 and 1.0890 in four digits, against 0.95046 and 1.08906 from x and y: 5e-5 off
    lightness, a, b = lab_from_srgb(np.ones(3))
    assert float(lightness) == pytest.approx(100.0, abs=1e-9)
    assert abs(float(a)) < 500.0 / 3.0 * 1e-4
    assert abs(float(b)) < 200.0 / 3.0 * 1e-4
