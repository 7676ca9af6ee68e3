"""From a photograph's light to tones of the wood, and back."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import exposures_for_tones, tone_L, tone_range_L
from evenburn.core.tone.colour import luminance
from evenburn.core.tone.reproduce import wished_tones_L
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
