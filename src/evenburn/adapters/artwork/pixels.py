"""From the renderers' pixels to grey."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.tone.colour import LUMINANCE

Picture = NDArray[np.float32]
Bytes = NDArray[np.uint8]

ROWS_AT_ONCE = 256


def grey_of(drawn: Bytes, *, out: Picture) -> None:
    """Write the encoded grey 0–1 of pixels, (height, width, 3) blue, green, red; black and white come out exact.

    The luminance weights are laid on encoded values: on antialiased black that gives one minus the coverage.
    """
    blue, green, red = (drawn[..., i] for i in range(3))
    if np.array_equal(blue, green) and np.array_equal(green, red):
        np.multiply(green, np.float32(1.0 / 255.0), out=out)
    else:
        weights = np.ascontiguousarray(LUMINANCE[::-1], np.float32)[None, :] / np.float32(255.0)
        for first in range(0, len(drawn), ROWS_AT_ONCE):
            part = drawn[first : first + ROWS_AT_ONCE].astype(np.float32)
            out[first : first + ROWS_AT_ONCE] = cv2.transform(part, weights).reshape(part.shape[:2])
    out[out > 1.0 - 1e-6] = 1.0
