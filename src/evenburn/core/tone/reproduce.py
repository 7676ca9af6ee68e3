"""From a photograph's light to tones the wood can hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenburn.core.tone.colour import lightness_L

Picture = NDArray[np.float32]


def wished_tones_L(light: Picture, *, bare_L: float, full_L: float) -> Picture:
    """Return the tone wished at each pixel: the photograph's L* range laid onto the wood's. [L*]

    On a wood that darkens, white is bare wood and black the full tone; on slate, black is bare and white is full.

    Source
    ------
    Linear compression in L*, so that equal steps of lightness stay equal; own choice.
    """
    level = (lightness_L(light) / 100.0).astype(np.float32)
    share = 1.0 - level if full_L < bare_L else level
    return (bare_L + (full_L - bare_L) * share).astype(np.float32)
