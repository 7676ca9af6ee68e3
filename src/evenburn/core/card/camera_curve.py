"""The phone's tone curve: linear light in, encoded value out, as a standard curve bent by a few numbers.

A phone writes sRGB, and over it a curve of its own that deepens shadows and rolls lights off. What it does to paper, toner
and the greys between tells how much; what cannot be told stays at what is believed, and is counted as doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.tone.colour import srgb_decode

FloatArray = NDArray[np.float64]

NAMES = ("contrast", "bow", "tilt", "flare")
# What is believed of phones, starting values, no source: sRGB, which is 0, 0, 0, with a mild S, often a strong one, and
# its middle, 128 of 255, within 4 of sRGB's in two of three phones.
BELIEVED = np.array([0.2, 0.0, -0.02, 0.003])
BELIEVED_SD = np.array([0.2, 0.065, 0.055, 0.003])
LEAST = np.array([-0.5, -0.4, -0.4, 0.0])
MOST = np.array([1.1, 0.5, 0.4, 0.03])
_GRID = np.linspace(0.0, 1.0, 513)


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraCurve:
    """How a camera encodes light.

    Attributes
    ----------
    contrast : of an S-curve over sRGB's own, 0 is none.
    bow : how far the middle is lifted, a gamma other than sRGB's.
    tilt : how much more the S does to lights than to shadows.
    flare : light scattered over the whole picture, as a share of white.
    """

    contrast: float
    bow: float
    tilt: float
    flare: float

    def decoded(self) -> FloatArray:
        """Return the (256,) linear light of each encoded value 0 to 255, flare still in it. Definition."""
        v = _GRID
        s = v * (1.0 - v)
        coded = v + s * (self.contrast * (2.0 * v - 1.0) + self.bow + self.tilt * (2.0 * v - 1.0) ** 2)
        coded = np.maximum.accumulate(np.clip(coded, 0.0, 1.0) + 1e-9 * np.arange(v.size))
        return srgb_decode(np.interp(np.arange(256) / 255.0, coded, v))


def camera_curve(vector: FloatArray) -> CameraCurve:
    """Return the curve whose numbers stand in a vector, in the order of NAMES. Definition."""
    contrast, bow, tilt, flare = (float(v) for v in vector)
    return CameraCurve(contrast=contrast, bow=bow, tilt=tilt, flare=flare)
